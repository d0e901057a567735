//! A station's file of temperatures, read as a whole or not at all.
//!
//! A fault of the file as such (its encoding, a missing column, another unit)
//! refuses it before any row is given out; a row that cannot be read is refused
//! with its line and the reason, and the others are taken.

mod clock;
mod fault;
mod header;
mod number;
mod records;
mod row;
mod tally;
mod text;
mod understood;

use std::io::Read;

use model::series::Reading;
use model::time::Instant;
use serde::Serialize;

use crate::mapping::Mapping;

pub(crate) use clock::{Moment, moment};
pub(crate) use fault::shown;
pub use fault::{FileFault, Limit, Listed};
pub(crate) use header::{find as find_column, is_serial};
pub(crate) use number::{is_missing, number};
pub(crate) use records::{by_blanks as split_blanks, by_place as split_places};
pub use understood::{
    AsRead, Column, GAP, Gap, Gaps, MOST_GAPS_LISTED, MOST_READ_SHOWN, MOST_REFUSED_SHOWN, Understood,
};
pub(crate) use understood::{cadence, gaps};

/// Largest file: 5,000,000 rows of some 100 bytes.
pub const MAX_FILE_BYTES: u64 = 512 * 1024 * 1024;
/// Most rows below the header: 9 years of readings each minute.
pub const MAX_ROWS: u64 = 5_000_000;
/// Most columns: the widest station exports have some 200.
pub const MAX_COLUMNS: usize = 1_000;
/// Longest line, in bytes of UTF-8: 1,000 columns of 64 bytes. It bounds what
/// is held of a file whose lines or quotes never end.
pub const MAX_LINE_BYTES: usize = 64 * 1_000;
/// Refused rows that are kept with their reason; the others are only counted.
/// A person corrects the cause of the first hundred, not a thousand rows.
pub const MAX_REFUSED_KEPT: usize = 1_000;

/// What a file gave.
#[derive(Debug, Clone, PartialEq)]
pub struct StationFile {
    /// What was read, by [`Reading::at`], each moment once: where several rows
    /// have the same moment, the later line holds. With the mapping's role
    /// `forecast` these are the forecast's hours.
    pub readings: Vec<Reading>,
    /// Rows that could not be read, by line, at most [`MAX_REFUSED_KEPT`];
    /// [`Rows::refused`] counts all.
    pub refused: Vec<Refused>,
    /// How many rows there were of each sort.
    pub rows: Rows,
    /// The earliest moment taken.
    pub first: Option<Instant>,
    /// The latest moment taken.
    pub last: Option<Instant>,
}

/// A row that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Refused {
    /// Line of the file on which the row begins; the header is line 1.
    pub line: u64,
    /// What is wrong with it, and what was expected.
    pub reason: String,
}

/// Rows below the header: `seen` is the sum of the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Rows {
    /// All of them, blank lines aside.
    pub seen: u64,
    /// Given out as readings.
    pub taken: u64,
    /// Left out by `where`.
    pub filtered: u64,
    /// Without a temperature: blank, or a mark for a missing value.
    pub missing: u64,
    /// Could not be read.
    pub refused: u64,
    /// Read, but a later line has the same moment.
    pub superseded: u64,
}

/// Reads a file as `mapping` says. Rows more than ten minutes after `now` are
/// refused, unless the file is a forecast.
///
/// # Errors
/// A fault of the file as a whole; then nothing of it is given out.
pub fn read(source: impl Read, mapping: &Mapping, now: Instant) -> Result<StationFile, FileFault> {
    read_whole(source, mapping, now).map(|whole| whole.file)
}

/// Reads a file as [`read`] does and says how it was understood, for a person
/// to look at before anything of it is kept.
///
/// # Errors
/// A fault of the file as a whole; then nothing of it is given out.
pub fn understand(
    source: impl Read,
    mapping: &Mapping,
    now: Instant,
) -> Result<(StationFile, Understood), FileFault> {
    let whole = read_whole(source, mapping, now)?;
    let understood = Understood::of(&whole, mapping);
    Ok((whole.file, understood))
}

/// A file, its header and the first readings in the file's own order.
struct Whole {
    file: StationFile,
    header: header::Header,
    first_read: Vec<AsRead>,
}

fn read_whole(source: impl Read, mapping: &Mapping, now: Instant) -> Result<Whole, FileFault> {
    let mut records = records::Records::new(text::Text::new(source, mapping.encoding), &mapping.delimiter);
    let Some(header) = header::Header::of(&mut records, mapping)? else {
        return Err(FileFault::NoRows);
    };
    let mut rows = row::RowReader::new(mapping, &header, now)?;
    loop {
        rows.take(&records)?;
        if !records.advance()? {
            break;
        }
    }
    let (file, first_read) = rows.finish()?;
    Ok(Whole { file, header, first_read })
}

#[cfg(test)]
pub(crate) mod tests;
