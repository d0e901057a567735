//! Text to records of fields, each with the line on which it begins.

mod lines;

use std::io::Read;

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

pub(crate) use lines::{by_blanks, by_place};

use super::fault::{FileFault, Limit};
use super::text::Text;
use super::{MAX_COLUMNS, MAX_LINE_BYTES};
use crate::mapping::Delimiter;

/// The records of a file, one at a time, held in room that does not grow.
pub(super) struct Records<R> {
    text: Text<R>,
    /// How much of the text's chunk has been read.
    taken: usize,
    reader: Reader,
    parts: Parts,
    fields: Box<[u8]>,
    ends: Box<[usize]>,
    columns: usize,
    line: u64,
}

/// What parts the fields.
enum Parts {
    /// The sign that the reader was made with.
    Sign,
    Blanks(Vec<u8>),
    Places(Vec<(usize, usize)>, Vec<u8>),
}

impl<R: Read> Records<R> {
    pub(super) fn new(text: Text<R>, delimiter: &Delimiter) -> Records<R> {
        let (sign, parts) = match delimiter {
            Delimiter::Sign(sign) => (*sign, Parts::Sign),
            Delimiter::Blanks => (b' ', Parts::Blanks(Vec::new())),
            Delimiter::Places(places) => (b' ', Parts::Places(places.clone(), Vec::new())),
        };
        Records {
            text,
            taken: 0,
            reader: ReaderBuilder::new().delimiter(sign).build(),
            parts,
            fields: vec![0; MAX_LINE_BYTES].into_boxed_slice(),
            ends: vec![0; MAX_COLUMNS + 1].into_boxed_slice(),
            columns: 0,
            line: 0,
        }
    }

    /// Goes on to the next record, over blank lines; false at the end.
    pub(super) fn advance(&mut self) -> Result<bool, FileFault> {
        if !self.skip_line_ends()? {
            return Ok(false);
        }
        self.line = self.reader.line();
        if !matches!(self.parts, Parts::Sign) {
            return self.advance_line();
        }
        let (mut written, mut columns) = (0, 0);
        loop {
            // At the end of the file the chunk is empty, which the reader
            // takes as the end of the last record.
            let (result, taken, out, ends) = self.reader.read_record(
                &self.text.chunk()[self.taken..],
                &mut self.fields[written..],
                &mut self.ends[columns..],
            );
            self.taken += taken;
            written += out;
            columns += ends;
            match result {
                ReadRecordResult::InputEmpty => {
                    self.text.advance(self.reader.line() - 1)?;
                    self.taken = 0;
                }
                ReadRecordResult::Record if columns > MAX_COLUMNS => {
                    return Err(self.too_large(Limit::Columns));
                }
                ReadRecordResult::Record => {
                    self.columns = columns;
                    return Ok(true);
                }
                ReadRecordResult::End => return Ok(false),
                ReadRecordResult::OutputEndsFull => return Err(self.too_large(Limit::Columns)),
                ReadRecordResult::OutputFull if self.reader.line() > self.line => {
                    return Err(self.too_large(Limit::Quote));
                }
                ReadRecordResult::OutputFull => return Err(self.too_large(Limit::Line)),
            }
        }
    }

    /// Goes over the line ends before the next record, so that its first line
    /// is known; false at the end of the file.
    fn skip_line_ends(&mut self) -> Result<bool, FileFault> {
        loop {
            let rest = &self.text.chunk()[self.taken..];
            let ends = rest.iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
            let lines = rest[..ends].iter().filter(|byte| **byte == b'\n').count();
            let exhausted = ends == rest.len();
            self.taken += ends;
            self.reader.set_line(self.reader.line() + lines as u64);
            if !exhausted {
                return Ok(true);
            }
            self.taken = 0;
            if !self.text.advance(self.reader.line() - 1)? {
                return Ok(false);
            }
        }
    }

    /// Goes over one line, whatever it holds; false at the end of the file.
    pub(super) fn skip_line(&mut self) -> Result<bool, FileFault> {
        let mut any = false;
        loop {
            let rest = &self.text.chunk()[self.taken..];
            let end = rest.iter().position(|byte| *byte == b'\n');
            any |= !rest.is_empty();
            if let Some(end) = end {
                self.taken += end + 1;
                self.reader.set_line(self.reader.line() + 1);
                return Ok(true);
            }
            self.taken = 0;
            if !self.text.advance(self.reader.line() - 1)? {
                return Ok(any);
            }
        }
    }

    fn too_large(&self, limit: Limit) -> FileFault {
        FileFault::TooLarge { line: self.line, limit }
    }

    /// Line on which the record begins, from 1.
    pub(super) fn line(&self) -> u64 {
        self.line
    }

    /// How many fields the record has.
    pub(super) fn columns(&self) -> usize {
        self.columns
    }

    /// A field, from 0, blanks around it trimmed.
    #[inline]
    pub(super) fn field(&self, column: usize) -> &[u8] {
        let from = if column == 0 { 0 } else { self.ends[column - 1] };
        self.fields[from..self.ends[column]].trim_ascii()
    }
}
