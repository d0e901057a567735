//! TMY3: typical meteorological years of NREL.
//!
//! Line 1 has the station: number, name, state, offset from UTC in hours,
//! latitude, longitude, elevation. Line 2 names the columns, among them
//! `Date (MM/DD/YYYY)`, `Time (HH:MM)` and `Dry-bulb (C)`; hours run from 01:00 to
//! 24:00 in local standard time, missing is −9900. The temperature is the one at
//! the time indicated (Wilcox and Marion, Users Manual for TMY3 Data Sets,
//! NREL/TP-581-43156, table 1-3, as pvlib's documentation has it). A file of
//! another maker may write midnight as 00:00 of the day that begins, which is read
//! as such.
//!
//! Where a file has a last hour of 28 February in a leap year, it is the first
//! moment of the 29th here; pvlib moves it to 1 March.

use std::io::Read;

use model::series::Flag;

use super::calendar::{Written, whole};
use super::fault::ArchiveFault;
use super::fields::{Header, pick, quoted};
use super::lines::Lines;
use super::row::{Format, Report, Row, row_of, temperature, too_short};
use super::typical::{LocalStandard, station};
use super::{Archive, Options, Station};
use crate::station_file::{FileFault, shown};

pub(super) const DATE: &str = "Date (MM/DD/YYYY)";
const MISSING_BELOW: f64 = -9_900.0;

/// The rows of a file.
#[derive(Debug)]
pub(super) struct Tmy3 {
    /// Date, time and temperature.
    columns: [usize; 3],
    clock: LocalStandard,
    station: Station,
}

impl Tmy3 {
    /// Reads the two lines before the rows.
    pub(super) fn of<R: Read>(lines: &mut Lines<R>, options: &Options) -> Result<Tmy3, FileFault> {
        if !lines.advance()? {
            return Err(FileFault::Empty);
        }
        let site = quoted(lines.text());
        let [id, name, _, offset, ..] = &site[..] else {
            return Err(other_header(
                lines.number(),
                "the station's number, name, state and offset from UTC",
            ));
        };
        let (id, name, offset) = (id.clone(), name.clone(), offset.clone());
        if !lines.advance()? || !lines.text().trim_ascii().starts_with(DATE.as_bytes()) {
            return Err(other_header(lines.number(), DATE));
        }
        let header = Header::of(Archive::Tmy3, lines.number(), lines.text(), b',');
        let columns =
            [header.need(&[DATE])?, header.need(&["Time (HH:MM)"])?, header.need(&["Dry-bulb (C)"])?];
        Ok(Tmy3 {
            columns,
            clock: LocalStandard::of(&offset, options)?,
            station: station(&id, &name, options)?,
        })
    }

    fn read(&self, line: &[u8]) -> Result<Row, String> {
        let [date, time, value] = pick(line, b',', self.columns)
            .ok_or_else(|| too_short(self.columns.into_iter().max().map_or(0, |last| last + 1)))?;
        let Some(celsius) = temperature(value, |value| value <= MISSING_BELOW)? else {
            return Ok(Row::Missing);
        };
        let written = written(date, time).ok_or_else(|| {
            format!("time `{} {}` is none; expected one like 04/28/1997 17:00", shown(date), shown(time))
        })?;
        let at = self.clock.moment(written)?;
        Ok(Row::Report(Report { at, celsius, flag: Flag::NotEvaluated, rank: 0 }))
    }
}

impl Format for Tmy3 {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(self.read(line))
    }

    fn column(&self) -> &'static str {
        "Dry-bulb (C)"
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        Ok(Some(self.station))
    }
}

fn written(date: &[u8], time: &[u8]) -> Option<Written> {
    let mut date = date.split(|byte| *byte == b'/');
    let mut time = time.split(|byte| *byte == b':');
    let mut next = || date.next().and_then(whole);
    let (month, day, year) = (next()?, next()?, next()?);
    let (hour, minute) = (time.next().and_then(whole)?, time.next().and_then(whole)?);
    (date.next().is_none() && time.next().is_none()).then_some(Written {
        year,
        month,
        day,
        hour,
        minute,
        second: 0,
    })
}

fn other_header(line: u64, expected: &'static str) -> FileFault {
    ArchiveFault::OtherHeader { archive: Archive::Tmy3.word(), line, expected }.into()
}
