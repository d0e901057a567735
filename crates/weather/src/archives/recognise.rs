//! Telling the formats apart by the first bytes of a file.

use super::{Archive, dwd, epw, ghcnh, iem, isd_lite, tmy3};

/// How much of a file's begin tells its format: the headers of GHCNh and TMY3
/// have the columns looked for within the first two thousand bytes.
pub const HEAD_BYTES: usize = 8 * 1_024;
/// Lines of ISD-Lite that make a file one, where its name does not.
const ISD_LINES: usize = 2;
/// Most comments before the header of the Mesonet's files; five are usual.
const MOST_COMMENTS: usize = 20;

pub(super) fn recognise(head: &[u8], name: Option<&str>) -> Option<Archive> {
    let cut = head.len() >= HEAD_BYTES;
    let head = head.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(head);
    let lines: Vec<&[u8]> = head
        .split(|byte| *byte == b'\n')
        .map(|line| line.strip_suffix(b"\r").unwrap_or(line))
        .filter(|line| !line.trim_ascii().is_empty())
        .collect();
    let first = *lines.first()?;
    let second = lines.get(1).copied().unwrap_or_default();
    // The last line of a longer file is cut somewhere.
    let whole = if cut { &lines[..lines.len() - 1] } else { &lines[..] };
    if epw::FIRST.eq_ignore_ascii_case(first.get(..epw::FIRST.len()).unwrap_or_default())
        && second.get(..epw::SECOND.len()).is_some_and(|begin| begin.eq_ignore_ascii_case(epw::SECOND))
    {
        Some(Archive::Epw)
    } else if second.starts_with(tmy3::DATE.as_bytes()) && has(second, b',', "Dry-bulb (C)") {
        Some(Archive::Tmy3)
    } else if ["STATION", "Station_ID"].iter().any(|name| has(first, ghcnh::DELIMITER, name))
        && has(first, ghcnh::DELIMITER, "temperature")
        && has(first, ghcnh::DELIMITER, "temperature_Quality_Code")
    {
        Some(Archive::Ghcnh)
    } else if has(first, dwd::DELIMITER, dwd::STATION)
        && has(first, dwd::DELIMITER, "MESS_DATUM")
        && has(first, dwd::DELIMITER, dwd::TEMPERATURE)
    {
        Some(Archive::DwdHourly)
    } else if is_iem(&lines) {
        Some(Archive::IemAsos)
    } else if is_isd_lite(whole, name) {
        Some(Archive::IsdLite)
    } else {
        None
    }
}

fn has(header: &[u8], delimiter: u8, name: &str) -> bool {
    header
        .split(|byte| *byte == delimiter)
        .any(|field| field.trim_ascii().eq_ignore_ascii_case(name.as_bytes()))
}

fn is_iem(lines: &[&[u8]]) -> bool {
    let mut below = lines.iter().take(MOST_COMMENTS).skip_while(|line| line.first() == Some(&iem::COMMENT));
    below.next().is_some_and(|header| {
        iem::delimiter(header)
            .is_some_and(|delimiter| ["tmpf", "tmpc"].iter().any(|name| has(header, delimiter, name)))
    })
}

/// Some lines of the format and no other; one is enough in a file that is named
/// like `725030-14732-2013`.
fn is_isd_lite(lines: &[&[u8]], name: Option<&str>) -> bool {
    let least = if name.is_some_and(is_isd_name) { 1 } else { ISD_LINES };
    lines.len() >= least && lines.iter().all(|line| isd_lite::is_line(line))
}

fn is_isd_name(name: &str) -> bool {
    let base = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let mut parts = base.split('.').next().unwrap_or(base).split('-');
    let mut is = |length: usize, digits: bool| {
        parts.next().is_some_and(|part| {
            part.len() == length
                && part.bytes().all(|byte| byte.is_ascii_digit() || (!digits && byte.is_ascii_uppercase()))
        })
    };
    is(6, false) && is(5, true) && is(4, true)
}
