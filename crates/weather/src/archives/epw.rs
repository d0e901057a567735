//! EPW: weather files of EnergyPlus.
//!
//! Eight lines of header, the first `LOCATION,` with city, region, country,
//! source, station number, latitude, longitude, offset from UTC in hours and
//! elevation, the last `DATA PERIODS,` with the number of periods and of records
//! an hour. Rows are year, month, day, hour 1 to 24, minute, flags, dry-bulb
//! temperature in °C with 99.9 for missing (EnergyPlus's data dictionary, as
//! copied in public readers) and more. The temperature is the one at the time
//! indicated: see [`crate::archives`].
//!
//! With one record an hour the minute, which files write as 0, 30 or 60, says
//! nothing and the row is of the full hour. With more, minute 60 of hour h is h
//! o'clock and minute 30 half an hour before.

use std::io::Read;

use model::series::Flag;

use super::calendar::{Written, whole};
use super::fault::ArchiveFault;
use super::fields::{pick, quoted};
use super::lines::Lines;
use super::row::{Format, Report, Row, row_of, temperature, too_short};
use super::typical::{LocalStandard, station};
use super::{Archive, Options, Station};
use crate::station_file::{FileFault, shown};

pub(super) const FIRST: &[u8] = b"LOCATION,";
pub(super) const SECOND: &[u8] = b"DESIGN CONDITIONS";
const LAST: &[u8] = b"DATA PERIODS,";
/// The eight lines, and some room for files with more comments.
const MOST_HEADER_LINES: u64 = 16;
/// Year, month, day, hour, minute and temperature.
const COLUMNS: [usize; 6] = [0, 1, 2, 3, 4, 6];
const MISSING: f64 = 99.9;

/// The rows of a file.
pub(super) struct Epw {
    clock: LocalStandard,
    station: Station,
    hourly: bool,
}

impl Epw {
    /// Reads the header.
    pub(super) fn of<R: Read>(lines: &mut Lines<R>, options: &Options) -> Result<Epw, FileFault> {
        if !lines.advance()? {
            return Err(FileFault::Empty);
        }
        let site = quoted(lines.text());
        let [first, city, _, _, _, number, _, _, offset, ..] = &site[..] else {
            return Err(other_header(lines.number(), "LOCATION, with the station's offset from UTC"));
        };
        if !first.eq_ignore_ascii_case("LOCATION") {
            return Err(other_header(lines.number(), "LOCATION,"));
        }
        let clock = LocalStandard::of(offset, options)?;
        let station = station(number, city, options)?;
        while lines.advance()? && lines.number() <= MOST_HEADER_LINES {
            if begins(lines.text(), LAST) {
                let hourly = records_an_hour(lines.text()) == Some(1);
                return Ok(Epw { clock, station, hourly });
            }
        }
        Err(other_header(lines.number(), "DATA PERIODS, within the first 16 lines"))
    }

    fn read(&self, line: &[u8]) -> Result<Row, String> {
        let [year, month, day, hour, minute, value] =
            pick(line, b',', COLUMNS).ok_or_else(|| too_short(COLUMNS[5] + 1))?;
        let Some(celsius) = temperature(value, |value| value == MISSING)? else {
            return Ok(Row::Missing);
        };
        let written = self.written([year, month, day, hour, minute]).ok_or_else(|| {
            let parts = [year, month, day, hour, minute].map(shown).join(",");
            format!("time `{parts}` is none; expected year, month, day, hour 1 to 24 and minute")
        })?;
        let at = self.clock.moment(written)?;
        Ok(Row::Report(Report { at, celsius, flag: Flag::NotEvaluated, rank: 0 }))
    }

    fn written(&self, [year, month, day, hour, minute]: [&[u8]; 5]) -> Option<Written> {
        let (year, month, day) = (whole(year)?, whole(month)?, whole(day)?);
        let (hour, minute) = (whole(hour)?, whole(minute)?);
        if !(1..=24).contains(&hour) {
            return None;
        }
        let (hour, minute) = match minute {
            0..=60 if self.hourly => (hour, 0),
            60 => (hour, 0),
            1..60 => (hour - 1, minute),
            _ => return None,
        };
        Some(Written { year, month, day, hour, minute, second: 0 })
    }
}

impl Format for Epw {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(self.read(line))
    }

    fn column(&self) -> &'static str {
        "dry bulb temperature (the 7th)"
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        Ok(Some(self.station))
    }
}

fn begins(line: &[u8], head: &[u8]) -> bool {
    line.get(..head.len()).is_some_and(|found| found.eq_ignore_ascii_case(head))
}

fn records_an_hour(line: &[u8]) -> Option<i64> {
    let [records] = pick(line, b',', [2])?;
    whole(records)
}

fn other_header(line: u64, expected: &'static str) -> FileFault {
    ArchiveFault::OtherHeader { archive: Archive::Epw.word(), line, expected }.into()
}
