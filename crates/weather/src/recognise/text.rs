//! Which encoding the head of a file has, and its lines.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// How an encoding was told.
pub(super) struct Told {
    pub(super) encoding: &'static Encoding,
    pub(super) how: &'static str,
    pub(super) doubt: Option<&'static str>,
}

/// Tells the encoding of a file by its first bytes.
pub(super) fn encoding(head: &[u8]) -> Told {
    let sure = |encoding, how| Told { encoding, how, doubt: None };
    if let Some((encoding, _)) = Encoding::for_bom(head) {
        return sure(encoding, "byte order mark");
    }
    if let Some(encoding) = wide(head) {
        return sure(encoding, "every other byte is a zero");
    }
    match std::str::from_utf8(head) {
        Ok(_) if head.is_ascii() => return sure(UTF_8, "plain ASCII"),
        Ok(_) => return sure(UTF_8, "its letters are whole in UTF-8"),
        // A character that is cut off at the end of the head is none to blame.
        Err(error) if error.error_len().is_none() => return sure(UTF_8, "its letters are whole in UTF-8"),
        Err(_) => {}
    }
    // The degree sign alone means the same in all of Latin-1's family.
    let degrees_only = head.iter().filter(|byte| !byte.is_ascii()).all(|byte| *byte == 0xB0);
    Told {
        encoding: WINDOWS_1252,
        how: "not UTF-8",
        doubt: (!degrees_only).then_some(
            "letters beyond ASCII are not UTF-8 and were taken for windows-1252; where names of columns look \
             wrong, set `encoding`",
        ),
    }
}

/// UTF-16 without a byte order mark: of plain letters one byte is zero.
fn wide(head: &[u8]) -> Option<&'static Encoding> {
    let pairs = head.len() / 2;
    let zeros = |first: usize| head.iter().skip(first).step_by(2).filter(|byte| **byte == 0).count();
    let (high, low) = (zeros(0), zeros(1));
    if pairs >= 8 && low * 10 > pairs * 9 && high == 0 {
        Some(UTF_16LE)
    } else if pairs >= 8 && high * 10 > pairs * 9 && low == 0 {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// The head as text, without a byte order mark; a wrong byte becomes the
/// replacement character. Where the head is `cut` from a longer file, its last
/// line is left out.
pub(super) fn decoded(head: &[u8], encoding: &'static Encoding, cut: bool) -> String {
    let (text, _) = encoding.decode_with_bom_removal(head);
    match text.rfind('\n') {
        Some(end) if cut => text[..=end].to_owned(),
        _ => text.into_owned(),
    }
}
