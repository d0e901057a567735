//! A file's lines, one at a time, held in room that does not grow.
//!
//! All that is read of these formats is ASCII; names of stations come in
//! several encodings and are only shown. So bytes are not decoded.

use std::io::Read;

use super::fault::{ArchiveFault, Packed};
use crate::station_file::{FileFault, Limit, MAX_FILE_BYTES, MAX_LINE_BYTES};

/// Bytes read at once, beside the part of a line that waits for its end.
const CHUNK: usize = 64 * 1024;
const UTF_8_MARK: &[u8] = b"\xEF\xBB\xBF";

/// The lines of a file.
pub(super) struct Lines<R> {
    source: R,
    buffer: Box<[u8]>,
    /// Where the present line lies.
    line: std::ops::Range<usize>,
    /// Begin of what has not been given out.
    next: usize,
    /// End of what has been read.
    filled: usize,
    /// Bytes of the file read, and the most that are taken.
    bytes: u64,
    most: u64,
    number: u64,
    ended: bool,
}

impl<R: Read> Lines<R> {
    pub(super) fn new(source: R) -> Lines<R> {
        Lines {
            source,
            buffer: vec![0; CHUNK + MAX_LINE_BYTES].into_boxed_slice(),
            line: 0..0,
            next: 0,
            filled: 0,
            bytes: 0,
            most: MAX_FILE_BYTES,
            number: 0,
            ended: false,
        }
    }

    /// Goes on to the next line that is not blank; false at the end.
    pub(super) fn advance(&mut self) -> Result<bool, FileFault> {
        while self.take_line()? {
            if !self.text().trim_ascii().is_empty() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn take_line(&mut self) -> Result<bool, FileFault> {
        let mut scanned = self.next;
        let end = loop {
            if let Some(place) = memchr::memchr(b'\n', &self.buffer[scanned..self.filled]) {
                break scanned + place;
            }
            if self.filled - self.next > MAX_LINE_BYTES {
                return Err(self.too_large(Limit::Line));
            }
            if self.ended {
                break self.filled;
            }
            scanned = self.fill()?;
        };
        if self.ended && self.next == self.filled {
            return Ok(false);
        }
        if end - self.next > MAX_LINE_BYTES {
            return Err(self.too_large(Limit::Line));
        }
        let text = &self.buffer[self.next..end];
        self.line = self.next..self.next + text.strip_suffix(b"\r").unwrap_or(text).len();
        self.next = self.filled.min(end + 1);
        self.number += 1;
        Ok(true)
    }

    /// Reads on behind the part of a line that is held; gives where the new
    /// bytes begin.
    fn fill(&mut self) -> Result<usize, FileFault> {
        self.buffer.copy_within(self.next..self.filled, 0);
        self.filled -= self.next;
        self.next = 0;
        let begin = self.bytes == 0;
        let from = self.filled;
        // The first piece must be long enough for a byte order mark.
        let least = from + if begin { UTF_8_MARK.len() } else { 1 };
        while self.filled < least {
            match self.source.read(&mut self.buffer[self.filled..]) {
                Ok(0) => {
                    self.ended = true;
                    break;
                }
                Ok(count) => {
                    self.filled += count;
                    self.bytes += count as u64;
                }
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(error) => return Err(FileFault::Unreadable(error)),
            }
        }
        if self.bytes > self.most {
            return Err(self.too_large(Limit::Bytes));
        }
        if begin {
            self.begin()?;
        }
        let fresh = &self.buffer[from.max(self.next)..self.filled];
        if let Some(place) = memchr::memchr(0, fresh) {
            let lines = memchr::memchr_iter(b'\n', &fresh[..place]).count() as u64;
            return Err(ArchiveFault::Zero { line: self.number + lines + 1 }.into());
        }
        Ok(from.max(self.next))
    }

    /// Looks at the first bytes: goes over a byte order mark, and tells a file
    /// that is still packed.
    fn begin(&mut self) -> Result<(), FileFault> {
        let head = &self.buffer[..self.filled];
        let packed = [(&b"\x1F\x8B"[..], Packed::Gzip), (b"PK", Packed::Zip)];
        if let Some((_, packed)) = packed.into_iter().find(|(mark, _)| head.starts_with(mark)) {
            return Err(ArchiveFault::Packed(packed).into());
        }
        if head.starts_with(UTF_8_MARK) {
            self.next = UTF_8_MARK.len();
        }
        Ok(())
    }

    fn too_large(&self, limit: Limit) -> FileFault {
        FileFault::TooLarge { line: self.number + 1, limit }
    }

    /// The present line, without its end.
    pub(super) fn text(&self) -> &[u8] {
        &self.buffer[self.line.clone()]
    }

    /// Its number in the file, from 1.
    pub(super) fn number(&self) -> u64 {
        self.number
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Blank lines for ever.
    struct Endless;

    impl Read for Endless {
        fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
            to.fill(b'\n');
            Ok(to.len())
        }
    }

    #[test]
    fn a_file_without_end_is_refused() {
        let mut lines = Lines::new(Endless);
        assert_eq!(lines.most, MAX_FILE_BYTES);
        lines.most = 300_000;
        let fault = lines.advance().expect_err("it never ends");
        assert!(
            matches!(fault, FileFault::TooLarge { limit: Limit::Bytes, line: 200_000..=300_001 }),
            "{fault}"
        );
    }
}
