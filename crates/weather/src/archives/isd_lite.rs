//! ISD-Lite: fixed columns without a header.
//!
//! Year in columns 1 to 4, month 6 to 7, day 9 to 10, hour 12 to 13, air
//! temperature 14 to 19 in tenths of a °C, missing −9999; seven more numbers of
//! six columns follow (NOAA's ISD-Lite format document, 20 June 2006, as copied
//! in public notes, and the column slices of meteostat's reader). Times are UTC,
//! rounded to the hour by NOAA. There is no quality code: NOAA leaves out what
//! its own checks refused.

use model::series::Flag;

use super::Station;
use super::calendar::{Written, whole};
use super::fault::ArchiveFault;
use super::row::{Format, Report, Row, row_of};
use crate::station_file::shown;

/// Where the temperature ends.
const NEEDED: usize = 19;
/// A whole line: the time, then eight numbers of six columns.
const WHOLE: usize = 61;
const MISSING: i64 = -9_999;

/// The rows of a file.
pub(super) struct IsdLite;

impl Format for IsdLite {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(read(line))
    }

    fn column(&self) -> &'static str {
        "air temperature (14 to 19)"
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        Ok(None)
    }
}

fn read(line: &[u8]) -> Result<Row, String> {
    if line.len() < NEEDED {
        return Err(format!("has {} columns; expected at least {NEEDED}", line.len()));
    }
    let cell = &line[13..NEEDED];
    let tenths = signed(cell)
        .ok_or_else(|| format!("temperature `{}` is not a whole number of tenths of a °C", shown(cell)))?;
    if tenths == MISSING {
        return Ok(Row::Missing);
    }
    let at = time(line).ok_or_else(|| {
        format!(
            "time `{}` is none; expected year, month, day and hour like 2013 04 28 17",
            shown(&line[..13])
        )
    })?;
    Ok(Row::Report(Report { at, celsius: tenths as f64 / 10.0, flag: Flag::NotEvaluated, rank: 0 }))
}

fn time(line: &[u8]) -> Option<i64> {
    if [4, 7, 10].into_iter().any(|gap| line[gap] != b' ') {
        return None;
    }
    let hour = whole(&line[11..13])?;
    let written = Written {
        year: whole(&line[0..4])?,
        month: whole(&line[5..7])?,
        day: whole(&line[8..10])?,
        hour,
        minute: 0,
        second: 0,
    };
    if hour > 23 {
        return None;
    }
    written.seconds()
}

/// A whole number of at most five digits with a sign perhaps.
fn signed(cell: &[u8]) -> Option<i64> {
    let cell = cell.trim_ascii();
    let (digits, sign) = match cell.split_first()? {
        (b'-', rest) => (rest, -1),
        _ => (cell, 1),
    };
    whole(digits).map(|value| sign * value)
}

/// Whether a line is one of this format to its last column.
pub(super) fn is_line(line: &[u8]) -> bool {
    line.len() == WHOLE && time(line).is_some() && line[13..].chunks(6).all(|cell| signed(cell).is_some())
}
