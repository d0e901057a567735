//! What each format makes of a line.

use model::series::Flag;

use super::Station;
use super::fault::ArchiveFault;
use crate::station_file::{number, shown};

/// A line below the header.
pub(super) enum Row {
    /// A temperature.
    Report(Report),
    /// Without a temperature.
    Missing,
    /// Of another station than the one wanted.
    Filtered,
    /// Cannot be read, and why.
    Refused(String),
    /// No row: a comment, or the header again.
    Nothing,
}

/// A temperature as its row has it.
pub(super) struct Report {
    /// Seconds since 1970 in UTC.
    pub(super) at: i64,
    pub(super) celsius: f64,
    pub(super) flag: Flag,
    /// Which of several reports of one moment holds: the greatest.
    pub(super) rank: u8,
}

/// A format that has read its header.
pub(super) trait Format {
    /// Reads one line, which is not blank.
    fn row(&mut self, line: &[u8]) -> Row;
    /// What the column of the temperature is called.
    fn column(&self) -> &'static str;
    /// The station of the rows read.
    ///
    /// # Errors
    /// When the rows are not of one station.
    fn station(self) -> Result<Option<Station>, ArchiveFault>;
}

/// A row whose parts may be wrong.
pub(super) fn row_of(read: Result<Row, String>) -> Row {
    read.unwrap_or_else(Row::Refused)
}

/// A temperature in plain decimals, none where the cell is blank or one of the
/// format's marks for a missing value.
pub(super) fn temperature(cell: &[u8], is_missing: impl Fn(f64) -> bool) -> Result<Option<f64>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    match number(cell, b'.') {
        Some(value) => Ok((!is_missing(value)).then_some(value)),
        None => Err(format!("temperature `{}` is not a number; expected one like 11.5", shown(cell))),
    }
}

/// The reason for a row that ends before its temperature.
pub(super) fn too_short(expected: usize) -> String {
    format!("has fewer than {expected} fields, which the header has up to those that are read")
}
