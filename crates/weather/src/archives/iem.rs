//! Airport weather from the Iowa Environmental Mesonet.
//!
//! A header `station,valid,…` with `tmpf` (°F) or `tmpc` (°C), parted by commas
//! or tabs; times like `2026-05-01 00:53` without an offset, on the clock that
//! the download was asked for, UTC unless another was; missing `M`, `null` or
//! blank; lines of `#DEBUG:` before the header in some of its forms, one of which
//! says the time zone (read in the Mesonet's own source, asos.py).
//!
//! Where both temperatures stand, `tmpc` is read. Rows on a clock with summer
//! time whose hour stands twice, or never, are refused: the file does not say
//! which of both it is, and in UTC there is none such.

use std::io::Read;

use model::series::Flag;
use model::units::TemperatureUnit;

use super::calendar::written;
use super::fault::ArchiveFault;
use super::fields::{Header, pick};
use super::lines::Lines;
use super::row::{Format, Report, Row, row_of, temperature, too_short};
use super::stations::Stations;
use super::{Archive, Options, Station};
use crate::mapping::WallClock;
use crate::station_file::{FileFault, Moment, moment, shown};

/// Begin of a comment.
pub(super) const COMMENT: u8 = b'#';
const MISSING: [&[u8]; 3] = [b"M", b"null", b"empty"];
/// The Mesonet's own mark for no value inside its database.
const MISSING_BELOW: f64 = -99.0;

/// The rows of a file.
pub(super) struct Iem {
    delimiter: u8,
    /// Station, time and temperature.
    columns: [usize; 3],
    unit: TemperatureUnit,
    clock: WallClock,
    stations: Stations,
}

impl Iem {
    /// Reads the lines before the rows.
    pub(super) fn of<R: Read>(lines: &mut Lines<R>, options: &Options) -> Result<Iem, FileFault> {
        let mut clock = options.clock;
        loop {
            if !lines.advance()? {
                return Err(FileFault::Empty);
            }
            if lines.text().first() != Some(&COMMENT) {
                break;
            }
            if clock.is_none() {
                clock = told_clock(lines.text(), lines.number())?;
            }
        }
        let delimiter = delimiter(lines.text()).ok_or(ArchiveFault::OtherHeader {
            archive: Archive::IemAsos.word(),
            line: lines.number(),
            expected: "station,valid,…",
        })?;
        let header = Header::of(Archive::IemAsos, lines.number(), lines.text(), delimiter);
        let (temperature, unit) = match header.find(&["tmpc"]) {
            Some(column) => (column, TemperatureUnit::Celsius),
            None => (header.need(&["tmpf"])?, TemperatureUnit::Fahrenheit),
        };
        Ok(Iem {
            delimiter,
            columns: [header.need(&["station"])?, header.need(&["valid"])?, temperature],
            unit,
            clock: clock.unwrap_or(WallClock::Utc),
            stations: Stations::new(options.station.as_ref()),
        })
    }

    fn read(&mut self, line: &[u8]) -> Result<Row, String> {
        if line.first() == Some(&COMMENT) {
            return Ok(Row::Nothing);
        }
        let [id, time, value] = pick(line, self.delimiter, self.columns)
            .ok_or_else(|| too_short(self.columns.into_iter().max().map_or(0, |last| last + 1)))?;
        if id == b"station" {
            return Ok(Row::Nothing);
        }
        if !self.stations.keeps(id) {
            return Ok(Row::Filtered);
        }
        if MISSING.contains(&value) {
            return Ok(Row::Missing);
        }
        let Some(value) = temperature(value, |value| value <= MISSING_BELOW)? else {
            return Ok(Row::Missing);
        };
        let local = written(time, b"9999-99-99 99:99")
            .and_then(|written| written.seconds())
            .ok_or_else(|| format!("time `{}` is none; expected one like 2026-05-01 00:53", shown(time)))?;
        let at = match moment(self.clock, local) {
            Moment::Once(at) => at,
            Moment::Twice { .. } => {
                return Err(format!(
                    "time `{}` stands twice in {}, where the clock is put back; download the file with tz=UTC",
                    shown(time),
                    self.clock
                ));
            }
            Moment::Never => {
                return Err(format!(
                    "time `{}` does not exist in {}: the clock was put forward over it",
                    shown(time),
                    self.clock
                ));
            }
        };
        let celsius = self.unit.to_celsius(value);
        Ok(Row::Report(Report { at, celsius, flag: Flag::NotEvaluated, rank: 0 }))
    }
}

impl Format for Iem {
    fn row(&mut self, line: &[u8]) -> Row {
        row_of(self.read(line))
    }

    fn column(&self) -> &'static str {
        match self.unit {
            TemperatureUnit::Fahrenheit => "tmpf",
            _ => "tmpc",
        }
    }

    fn station(self) -> Result<Option<Station>, ArchiveFault> {
        self.stations.only(None)
    }
}

/// What parts the fields, by the begin of the header.
pub(super) fn delimiter(header: &[u8]) -> Option<u8> {
    let after = header.strip_prefix(b"station")?;
    let delimiter = *after.first()?;
    let valid = after[1..].strip_prefix(b"valid")?.first() == Some(&delimiter);
    (valid && matches!(delimiter, b',' | b'\t')).then_some(delimiter)
}

/// The clock that a comment names.
pub(super) fn told_clock(comment: &[u8], line: u64) -> Result<Option<WallClock>, ArchiveFault> {
    let comment = String::from_utf8_lossy(comment);
    let Some((_, zone)) = comment.split_once("Time Zone").and_then(|(_, rest)| rest.split_once("->")) else {
        return Ok(None);
    };
    match zone.trim() {
        "GMT" | "Etc/UTC" => Ok(Some(WallClock::Utc)),
        zone => match WallClock::named(zone) {
            Ok(clock) => Ok(Some(clock)),
            Err(_) => Err(ArchiveFault::Clock { line, found: shown(zone.as_bytes()) }),
        },
    }
}
