//! GHCNh: a header and fields parted by `|`.
//!
//! Times are UTC, in `DATE` (`2024-04-28T17:53:00`) or in five columns from
//! `Year` to `Minute`; `temperature` in °C, blank where missing; beside it
//! `temperature_Quality_Code`, `_Report_Type` and `_Source_Code`. Read in copies
//! of NOAA's GHCNh documentation and in working readers, not in a file of ours.
//!
//! Quality codes as flags:
//!
//! | code | flag |
//! |---|---|
//! | blank, `0`, `9` | not evaluated: no check failed, or gross limits only |
//! | `1`, `4`, `5` | pass |
//! | `2`, `6` | suspect |
//! | `3`, `7` | fail: erroneous |
//! | letters of the sources 313 to 348, which bring the ISD's codes: `A`, `C`, `M` | pass: looked at by a person or accepted |
//! | the same: `I`, `P`, `R`, `U` | suspect: put in, replaced or computed by someone |
//! | letters of other sources: `C`, `D`, `d`, `F`, `U` (outlying in the climate, distribution, frequent value, course of the day) | suspect |
//! | any other letter (world record, spike, streak, consistency, time stamp and the like) | fail |
//!
//! `4` is "passed the gross limits" in the ISD's document, but from NCEI's own
//! source, and readers take it as good. Which letters merely raise doubt is our
//! judgement: those are checks that a real cold or warm spell can fail.

use std::io::Read;

use model::series::Flag;

use super::calendar::{Written, whole, written};
use super::fault::ArchiveFault;
use super::fields::{Header, pick};
use super::lines::Lines;
use super::row::{Format, Report, Row, row_of, temperature, too_short};
use super::stations::Stations;
use super::{Archive, Options, Station};
use crate::station_file::{FileFault, shown};

pub(super) const DELIMITER: u8 = b'|';
/// Sources whose quality codes are those of the ISD.
const ISD_SOURCES: std::ops::RangeInclusive<i64> = 313..=348;
/// Numbers no temperature has, should they stand for missing.
const MISSING_BELOW: f64 = -999.0;

/// The rows of a file.
pub(super) struct Ghcnh {
    columns: Columns,
    stations: Stations,
    name: Option<String>,
}

struct Columns {
    station: usize,
    name: Option<usize>,
    /// Year, month, day, hour and minute; or the whole time five times over.
    time: [usize; 5],
    temperature: usize,
    quality: usize,
    report: Option<usize>,
    source: Option<usize>,
}

impl Ghcnh {
    /// Reads the header.
    pub(super) fn of<R: Read>(lines: &mut Lines<R>, options: &Options) -> Result<Ghcnh, FileFault> {
        if !lines.advance()? {
            return Err(FileFault::Empty);
        }
        let header = Header::of(Archive::Ghcnh, lines.number(), lines.text(), DELIMITER);
        let columns = Columns {
            station: header.need(&["STATION", "Station_ID"])?,
            name: header.find(&["Station_name"]),
            time: match header.find(&["DATE"]) {
                Some(date) => [date; 5],
                None => [
                    header.need(&["Year"])?,
                    header.need(&["Month"])?,
                    header.need(&["Day"])?,
                    header.need(&["Hour"])?,
                    header.need(&["Minute"])?,
                ],
            },
            temperature: header.need(&["temperature"])?,
            quality: header.need(&["temperature_Quality_Code"])?,
            report: header.find(&["temperature_Report_Type"]),
            source: header.find(&["temperature_Source_Code"]),
        };
        Ok(Ghcnh { columns, stations: Stations::new(options.station.as_ref()), name: None })
    }

    fn read(&mut self, line: &[u8]) -> Result<Row, String> {
        let Columns { station, name, time, temperature: value, quality, report, source } = self.columns;
        let places = [
            station,
            name.unwrap_or(station),
            time[0],
            time[1],
            time[2],
            time[3],
            time[4],
            value,
            quality,
            report.unwrap_or(station),
            source.unwrap_or(station),
        ];
        let [id, called, year, month, day, hour, minute, value, quality, of_report, of_source] =
            pick(line, DELIMITER, places)
                .ok_or_else(|| too_short(places.into_iter().max().map_or(0, |last| last + 1)))?;
        if id.eq_ignore_ascii_case(b"STATION") || id.eq_ignore_ascii_case(b"Station_ID") {
            return Ok(Row::Nothing);
        }
        if !self.stations.keeps(id) {
            return Ok(Row::Filtered);
        }
        if self.name.is_none() && name.is_some() && !called.is_empty() {
            self.name = Some(shown(called));
        }
        let Some(celsius) = temperature(value, |value| value <= MISSING_BELOW)? else {
            return Ok(Row::Missing);
        };
        let at = if time[0] == time[1] { stamp(year) } else { parts([year, month, day, hour, minute]) };
        let at = at.ok_or_else(|| {
            format!("time `{}` is none; expected one like 2024-04-28T17:53:00 in UTC", shown(year))
        })?;
        let source = source.and_then(|_| whole(of_source));
        Ok(Row::Report(Report {
            at,
            celsius,
            flag: flag(quality, source),
            rank: report.map_or(0, |_| rank(of_report)),
        }))
    }
}

impl Format for Ghcnh {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(self.read(line))
    }

    fn column(&self) -> &'static str {
        "temperature"
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        self.stations.only(self.name)
    }
}

fn stamp(cell: &[u8]) -> Option<i64> {
    let cell = cell.strip_suffix(b"Z").unwrap_or(cell);
    written(cell, b"9999-99-99 99:99:99").or_else(|| written(cell, b"9999-99-99 99:99"))?.seconds()
}

fn parts([year, month, day, hour, minute]: [&[u8]; 5]) -> Option<i64> {
    Written {
        year: whole(year)?,
        month: whole(month)?,
        day: whole(day)?,
        hour: whole(hour)?,
        minute: whole(minute)?,
        second: 0,
    }
    .seconds()
}

/// What NOAA found, by the code and the number of its source.
fn flag(code: &[u8], source: Option<i64>) -> Flag {
    let from_isd = source.is_some_and(|source| ISD_SOURCES.contains(&source));
    match code {
        b"" | b"0" | b"9" => Flag::NotEvaluated,
        b"1" | b"4" | b"5" => Flag::Pass,
        b"2" | b"6" => Flag::Suspect,
        b"A" | b"C" | b"M" if from_isd => Flag::Pass,
        b"I" | b"P" | b"R" | b"U" if from_isd => Flag::Suspect,
        b"C" | b"D" | b"d" | b"F" | b"U" => Flag::Suspect,
        _ => Flag::Fail,
    }
}

/// The routine report has the hour's own temperature in tenths; a special one
/// is made at any minute, often in whole degrees; a synoptic one is coded
/// again from either.
fn rank(report: &[u8]) -> u8 {
    let begins = |codes: [&[u8]; 2]| codes.into_iter().any(|code| report.starts_with(code));
    if begins([b"FM-15", b"FM15"]) {
        3
    } else if begins([b"FM-16", b"FM16"]) {
        2
    } else if begins([b"FM-12", b"FM12"]) {
        1
    } else {
        0
    }
}
