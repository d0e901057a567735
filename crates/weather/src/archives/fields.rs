//! The fields of a line, and where the header has them.

use memchr::memchr_iter;

use super::Archive;
use super::fault::ArchiveFault;
use crate::station_file::Listed;

/// The fields of some columns, from 0, blanks around them trimmed; none where
/// the line ends before the last of them. Quotes mean nothing in these formats.
pub(super) fn pick<const N: usize>(line: &[u8], delimiter: u8, columns: [usize; N]) -> Option<[&[u8]; N]> {
    let last = columns.into_iter().max()?;
    let mut picked = [&line[..0]; N];
    let mut from = 0;
    let mut ends = memchr_iter(delimiter, line);
    for column in 0..=last {
        let end = match ends.next() {
            Some(end) => end,
            None if column == last => line.len(),
            None => return None,
        };
        for (field, wanted) in picked.iter_mut().zip(columns) {
            if wanted == column {
                *field = &line[from..end];
            }
        }
        from = end + 1;
    }
    Some(picked.map(<[u8]>::trim_ascii))
}

/// A header of column names.
pub(super) struct Header<'a> {
    archive: Archive,
    line: u64,
    names: Vec<&'a [u8]>,
}

impl<'a> Header<'a> {
    pub(super) fn of(archive: Archive, line: u64, text: &'a [u8], delimiter: u8) -> Header<'a> {
        Header {
            archive,
            line,
            names: text.split(|byte| *byte == delimiter).map(<[u8]>::trim_ascii).collect(),
        }
    }

    /// Where a column stands, by any of its names; capitals do not matter.
    pub(super) fn find(&self, names: &[&str]) -> Option<usize> {
        self.names
            .iter()
            .position(|found| names.iter().any(|name| found.eq_ignore_ascii_case(name.as_bytes())))
    }

    /// The same of a column that must be there.
    pub(super) fn need(&self, names: &[&'static str]) -> Result<usize, ArchiveFault> {
        self.find(names).ok_or_else(|| {
            let mut found = Listed::default();
            self.names.iter().for_each(|name| found.add(name));
            ArchiveFault::NoColumn { archive: self.archive.word(), line: self.line, column: names[0], found }
        })
    }
}

/// The fields of a line in which quotes hold fields together, as header lines
/// with names have it.
pub(super) fn quoted(line: &[u8]) -> Vec<String> {
    let mut fields = vec![Vec::new()];
    let mut inside = false;
    for byte in line {
        match (byte, fields.last_mut()) {
            (b'"', _) => inside = !inside,
            (b',', _) if !inside => fields.push(Vec::new()),
            (byte, Some(field)) => field.push(*byte),
            (_, None) => {}
        }
    }
    fields.iter().map(|field| String::from_utf8_lossy(field.trim_ascii()).into_owned()).collect()
}
