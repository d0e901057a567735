//! Fields parted by runs of blanks, or by their place in the line.

use std::io::Read;

use super::{Parts, Records};
use crate::station_file::fault::{FileFault, Limit};
use crate::station_file::{MAX_COLUMNS, MAX_LINE_BYTES};

impl<R: Read> Records<R> {
    /// Takes the next line that holds more than blanks apart; false at the end
    /// of the file. The text stands at the begin of a line that is not empty.
    pub(super) fn advance_line(&mut self) -> Result<bool, FileFault> {
        let mut line = match &mut self.parts {
            Parts::Sign => return Ok(false),
            Parts::Blanks(line) | Parts::Places(_, line) => std::mem::take(line),
        };
        let found = loop {
            line.clear();
            self.line = self.reader.line();
            let more = self.gather(&mut line)?;
            if !line.trim_ascii().is_empty() {
                break true;
            }
            if !more {
                break false;
            }
        };
        if found {
            self.take_apart(&line)?;
        }
        match &mut self.parts {
            Parts::Sign => {}
            Parts::Blanks(room) | Parts::Places(_, room) => *room = line,
        }
        Ok(found)
    }

    /// Adds the rest of the line to `line`, without its end; false where the
    /// file ends with it.
    fn gather(&mut self, line: &mut Vec<u8>) -> Result<bool, FileFault> {
        loop {
            let rest = &self.text.chunk()[self.taken..];
            let end = rest.iter().position(|byte| *byte == b'\n');
            let part = &rest[..end.unwrap_or(rest.len())];
            if line.len() + part.len() > MAX_LINE_BYTES {
                return Err(self.too_large(Limit::Line));
            }
            line.extend_from_slice(part);
            if end.is_some() {
                self.taken += part.len() + 1;
                self.reader.set_line(self.reader.line() + 1);
                return Ok(true);
            }
            self.taken = 0;
            if !self.text.advance(self.reader.line() - 1)? {
                return Ok(false);
            }
        }
    }

    fn take_apart(&mut self, line: &[u8]) -> Result<(), FileFault> {
        let mut written = 0;
        self.columns = 0;
        let (fields, ends, columns) = (&mut self.fields, &mut self.ends, &mut self.columns);
        // No more is written than the line holds, and that has room.
        let mut put = |field: &[u8]| {
            if *columns == MAX_COLUMNS {
                return false;
            }
            fields[written..written + field.len()].copy_from_slice(field);
            written += field.len();
            ends[*columns] = written;
            *columns += 1;
            true
        };
        let fits = match &self.parts {
            Parts::Places(places, _) => by_place(line, places, &mut put),
            Parts::Sign | Parts::Blanks(_) => by_blanks(line, &mut put),
        };
        if fits { Ok(()) } else { Err(self.too_large(Limit::Columns)) }
    }
}

/// Gives each field between runs of blanks to `put`, a field in double quotes
/// without them; false once `put` takes no more.
pub(crate) fn by_blanks(line: &[u8], put: &mut impl FnMut(&[u8]) -> bool) -> bool {
    let mut rest = line.trim_ascii();
    while !rest.is_empty() {
        let quoted = rest.strip_prefix(b"\"").and_then(|inner| {
            let length = inner.iter().position(|byte| *byte == b'"')?;
            let behind = &inner[length + 1..];
            behind.first().is_none_or(u8::is_ascii_whitespace).then_some((&inner[..length], behind))
        });
        let (field, behind) = quoted.unwrap_or_else(|| {
            let length = rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len());
            rest.split_at(length)
        });
        if !put(field) {
            return false;
        }
        rest = behind.trim_ascii_start();
    }
    true
}

/// Gives the characters of each place to `put`, blank where the line ends
/// before; false once `put` takes no more.
pub(crate) fn by_place(line: &[u8], places: &[(usize, usize)], put: &mut impl FnMut(&[u8]) -> bool) -> bool {
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    let (mut passed, mut at) = (0, 0);
    // The places rise, so that each character is gone over once.
    let mut begin_of = |number: usize| {
        while passed < number && at < line.len() {
            at += 1;
            while line.get(at).is_some_and(|byte| byte & 0xC0 == 0x80) {
                at += 1;
            }
            passed += 1;
        }
        at
    };
    for (first, last) in places {
        let from = begin_of(first - 1);
        let to = begin_of(*last);
        if !put(&line[from..to]) {
            return false;
        }
    }
    true
}
