//! Hourly air temperature of the Deutscher Wetterdienst.
//!
//! `STATIONS_ID;MESS_DATUM;QN_9;TT_TU;RF_TU;eor` with padded fields, times
//! `YYYYMMDDHH` in UTC, °C, missing −999 (copies of DWD's files and of its
//! descriptions in public readers).
//!
//! `QN_9` says how far DWD's checks have come, not what they found: values found
//! wrong are not given out. So 2, 3, 8, 9 and 10 (checked by single criteria, by
//! the routine, outside it, and the routine's last stages) pass; 1 (form only), 5
//! (historic, by eye), 7 (routine, not yet corrected) and no level are not
//! evaluated.

use std::io::Read;

use model::series::Flag;

use super::calendar::{whole, written};
use super::fault::ArchiveFault;
use super::fields::{Header, pick};
use super::lines::Lines;
use super::row::{Format, Report, Row, row_of, temperature, too_short};
use super::stations::Stations;
use super::{Archive, Options, Station};
use crate::station_file::{FileFault, shown};

pub(super) const DELIMITER: u8 = b';';
pub(super) const STATION: &str = "STATIONS_ID";
pub(super) const TEMPERATURE: &str = "TT_TU";
const MISSING: f64 = -999.0;

/// The rows of a file.
pub(super) struct Dwd {
    /// Station, time, quality level and temperature.
    columns: [usize; 4],
    stations: Stations,
}

impl Dwd {
    /// Reads the header.
    pub(super) fn of<R: Read>(lines: &mut Lines<R>, options: &Options) -> Result<Dwd, FileFault> {
        if !lines.advance()? {
            return Err(FileFault::Empty);
        }
        let header = Header::of(Archive::DwdHourly, lines.number(), lines.text(), DELIMITER);
        let columns = [
            header.need(&[STATION])?,
            header.need(&["MESS_DATUM"])?,
            header.need(&["QN_9"])?,
            header.need(&[TEMPERATURE])?,
        ];
        Ok(Dwd { columns, stations: Stations::new(options.station.as_ref()) })
    }

    fn read(&mut self, line: &[u8]) -> Result<Row, String> {
        let [id, time, level, value] = pick(line, DELIMITER, self.columns)
            .ok_or_else(|| too_short(self.columns.into_iter().max().map_or(0, |last| last + 1)))?;
        if id.eq_ignore_ascii_case(STATION.as_bytes()) {
            return Ok(Row::Nothing);
        }
        if !self.stations.keeps(id) {
            return Ok(Row::Filtered);
        }
        let Some(celsius) = temperature(value, |value| value == MISSING)? else {
            return Ok(Row::Missing);
        };
        let at = written(time, b"9999999999")
            .and_then(|written| written.seconds())
            .ok_or_else(|| format!("time `{}` is none; expected one like 2013042817", shown(time)))?;
        Ok(Row::Report(Report { at, celsius, flag: flag(level), rank: 0 }))
    }
}

impl Format for Dwd {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(self.read(line))
    }

    fn column(&self) -> &'static str {
        TEMPERATURE
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        self.stations.only(None)
    }
}

fn flag(level: &[u8]) -> Flag {
    match whole(level) {
        Some(2 | 3 | 8 | 9 | 10) => Flag::Pass,
        _ => Flag::NotEvaluated,
    }
}
