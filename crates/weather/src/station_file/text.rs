//! Bytes of a file to text, checked: UTF-8 without zeros, in chunks.

use std::io::Read;

use encoding_rs::{Decoder, DecoderResult, Encoding, UTF_8, UTF_16BE, UTF_16LE};

use super::MAX_FILE_BYTES;
use super::fault::{FileFault, Limit};

/// Bytes read at once.
const CHUNK: usize = 64 * 1024;
/// Byte order marks, and what they stand for.
const MARKS: [(&[u8], &Encoding); 3] =
    [(b"\xEF\xBB\xBF", UTF_8), (b"\xFF\xFE", UTF_16LE), (b"\xFE\xFF", UTF_16BE)];

/// A file's text.
pub(super) struct Text<R> {
    source: R,
    declared: &'static Encoding,
    /// None for UTF-8, which is only checked.
    decoder: Option<Decoder>,
    raw: Box<[u8]>,
    /// Bytes at the head of `raw` that wait for the rest of their character.
    held: usize,
    /// Bytes of the file before `raw`.
    offset: u64,
    /// Line ends before the present chunk.
    lines: u64,
    decoded: Vec<u8>,
    /// Where the present chunk lies in `raw` or `decoded`.
    chunk: std::ops::Range<usize>,
    begun: bool,
    ended: bool,
}

impl<R: Read> Text<R> {
    pub(super) fn new(source: R, declared: &'static Encoding) -> Text<R> {
        let decoder = (declared != UTF_8).then(|| declared.new_decoder_without_bom_handling());
        let room = decoder
            .as_ref()
            .and_then(|decoder| decoder.max_utf8_buffer_length_without_replacement(CHUNK))
            .unwrap_or(0);
        Text {
            source,
            declared,
            decoder,
            raw: vec![0; CHUNK].into_boxed_slice(),
            held: 0,
            offset: 0,
            lines: 0,
            decoded: vec![0; room],
            chunk: 0..0,
            begun: false,
            ended: false,
        }
    }

    /// The present chunk.
    pub(super) fn chunk(&self) -> &[u8] {
        let from = if self.decoder.is_some() { &self.decoded[..] } else { &self.raw[..] };
        &from[self.chunk.clone()]
    }

    /// Goes on to the next chunk; false at the end of the file. `lines` is the
    /// number of line ends up to here, which whoever went through them knows.
    pub(super) fn advance(&mut self, lines: u64) -> Result<bool, FileFault> {
        self.lines = lines;
        loop {
            if self.ended {
                self.chunk = 0..0;
                return Ok(false);
            }
            let (from, to) = self.fill()?;
            match self.decoder {
                None => self.check(from, to)?,
                Some(_) => self.decode(from, to)?,
            }
            if self.chunk().contains(&0) {
                let before = self.chunk().iter().take_while(|byte| **byte != 0).count();
                return Err(FileFault::Nul {
                    declared: self.declared.name().to_owned(),
                    line: self.lines + line_ends(&self.chunk()[..before]) + 1,
                });
            }
            if !self.chunk.is_empty() {
                return Ok(true);
            }
        }
    }

    /// Reads on behind the bytes held; gives where the new text lies.
    fn fill(&mut self) -> Result<(usize, usize), FileFault> {
        let consumed = if self.decoder.is_some() { 0 } else { self.chunk.end };
        // Held bytes stand behind the chunk given out last.
        self.raw.copy_within(consumed..consumed + self.held, 0);
        let mut to = self.held;
        // The first chunk must be long enough for a byte order mark.
        let least = if self.begun { to + 1 } else { 3 };
        while to < least {
            match self.source.read(&mut self.raw[to..]) {
                Ok(0) => {
                    self.ended = true;
                    break;
                }
                Ok(count) => to += count,
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(error) => return Err(FileFault::Unreadable(error)),
            }
        }
        self.offset_limit(to)?;
        let from = if self.begun { 0 } else { self.mark(to)? };
        self.begun = true;
        Ok((from, to))
    }

    fn offset_limit(&self, to: usize) -> Result<(), FileFault> {
        if self.offset + to as u64 > MAX_FILE_BYTES {
            return Err(FileFault::TooLarge { line: self.lines + 1, limit: Limit::Bytes });
        }
        Ok(())
    }

    /// Length of the byte order mark, which must be that of the encoding.
    fn mark(&self, to: usize) -> Result<usize, FileFault> {
        for (mark, encoding) in MARKS {
            if self.raw[..to].starts_with(mark) {
                if encoding == self.declared {
                    return Ok(mark.len());
                }
                return Err(FileFault::OtherEncoding {
                    found: encoding.name().to_owned(),
                    declared: self.declared.name().to_owned(),
                });
            }
        }
        // Sixteen bytes of plain text in a row are eight letters of no script.
        let wide = self.declared == UTF_16LE || self.declared == UTF_16BE;
        let head = &self.raw[..to.min(16)];
        if wide && head.len() == 16 && head.iter().all(|byte| (0x20..0x7F).contains(byte)) {
            return Err(self.wrong_byte(1, 0));
        }
        Ok(0)
    }

    /// Checks that `raw[from..to]` is UTF-8 and makes its whole characters the
    /// chunk.
    fn check(&mut self, from: usize, to: usize) -> Result<(), FileFault> {
        let valid = match std::str::from_utf8(&self.raw[from..to]) {
            Ok(_) => to,
            Err(error) => {
                let valid = from + error.valid_up_to();
                if error.error_len().is_some() || self.ended {
                    let line = self.lines + line_ends(&self.raw[from..valid]) + 1;
                    return Err(self.wrong_byte(line, self.offset + valid as u64));
                }
                valid
            }
        };
        self.chunk = from..valid;
        self.held = to - valid;
        self.offset += valid as u64;
        Ok(())
    }

    /// Decodes `raw[from..to]` into the chunk.
    fn decode(&mut self, from: usize, to: usize) -> Result<(), FileFault> {
        let decoder = self.decoder.as_mut().expect("only other encodings than UTF-8 are decoded");
        let (result, read, written) =
            decoder.decode_to_utf8_without_replacement(&self.raw[from..to], &mut self.decoded, self.ended);
        let before = self.offset;
        self.offset += to as u64;
        self.chunk = 0..written;
        match result {
            DecoderResult::InputEmpty => Ok(()),
            DecoderResult::OutputFull => {
                unreachable!("the buffer has the room that the decoder asked for")
            }
            DecoderResult::Malformed(length, after) => {
                let end = before + (from + read) as u64;
                let line = self.lines + line_ends(self.chunk()) + 1;
                Err(self.wrong_byte(line, end.saturating_sub(u64::from(length) + u64::from(after))))
            }
        }
    }

    fn wrong_byte(&self, line: u64, offset: u64) -> FileFault {
        FileFault::Encoding { declared: self.declared.name().to_owned(), line, offset }
    }
}

fn line_ends(text: &[u8]) -> u64 {
    text.iter().filter(|byte| **byte == b'\n').count() as u64
}
