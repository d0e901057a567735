//! How a file was understood: the report of a reading from which nothing has
//! been kept yet.

use std::io::Read;

use model::series::{JOINED, Reading};
use model::time::Instant;
use model::units::TemperatureUnit;
use serde::Serialize;
use serde_json::Value;

use super::fault::shown;
use super::header::Header;
use super::records::Records;
use super::{Refused, Rows, Whole};
use crate::mapping::Mapping;

/// Readings further apart are a gap, seconds: nearer ones are joined by a
/// straight line.
pub const GAP: i64 = JOINED;
/// Gaps that a report lists; all are counted. More than these are a broken
/// station, not a list to read.
pub const MOST_GAPS_LISTED: usize = 50;
/// Refused rows that a report lists; all are counted.
pub const MOST_REFUSED_SHOWN: usize = 50;
/// First readings that a report shows: enough to see the step of the times.
pub const MOST_READ_SHOWN: usize = 5;
/// Cells of a row that a report shows.
const MOST_CELLS_SHOWN: usize = 20;

/// What was made of a file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Understood {
    /// How it was read, as the table of a mapping.
    pub mapping: Value,
    /// All columns of the file, in order.
    pub columns: Vec<Column>,
    /// Unit of the temperatures in the file.
    pub unit: TemperatureUnit,
    /// The clock of its times, as the mapping writes it; none where each time
    /// carries its offset.
    pub zone: Option<String>,
    /// Step between readings, seconds: the median; none for a single reading.
    pub cadence_seconds: Option<i64>,
    /// The earliest moment taken.
    pub first: Option<Instant>,
    /// The latest moment taken.
    pub last: Option<Instant>,
    /// Where readings are missing.
    pub gaps: Gaps,
    /// How many rows there were of each sort.
    pub rows: Rows,
    /// Rows that could not be read, by line, at most [`MOST_REFUSED_SHOWN`];
    /// [`Rows::refused`] counts all.
    pub refused: Vec<Refused>,
    /// The first readings in the order of the file, at most [`MOST_READ_SHOWN`].
    pub first_readings: Vec<AsRead>,
}

/// A column of the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its number, from 1.
    pub number: usize,
    /// Its header, shortened; none where the file has no header.
    pub name: Option<String>,
    /// What it is used for: `time`, `date`, `temperature`, `where`; none where
    /// it is not read.
    pub used_for: Option<&'static str>,
}

/// Gaps between readings, longer than [`GAP`].
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Gaps {
    /// How many there are.
    pub count: u64,
    /// The first of them, at most [`MOST_GAPS_LISTED`].
    pub listed: Vec<Gap>,
}

/// Two readings with too long between.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// The last reading before.
    pub after: Instant,
    /// The first reading behind.
    pub until: Instant,
    /// Seconds between the one and the begin of the other.
    pub seconds: i64,
}

/// A row and what was read from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AsRead {
    /// Line of the file.
    pub line: u64,
    /// Its cells, shortened, at most twenty.
    pub cells: Vec<String>,
    /// Its date and time as they stand in the file.
    pub time: String,
    /// Its temperature as it stands in the file.
    pub temperature: String,
    /// The moment of the reading, UTC: for a mean the end of its interval.
    pub at: Instant,
    /// The temperature, °C.
    pub celsius: f64,
    /// Its place among the readings in the order of the file.
    #[serde(skip)]
    place: usize,
}

impl Understood {
    pub(super) fn of(whole: &Whole, mapping: &Mapping) -> Understood {
        let Whole { file, header, first_read } = whole;
        Understood {
            mapping: mapping.to_json(),
            columns: columns(header),
            unit: mapping.unit,
            zone: mapping.time_zone.map(|zone| zone.to_string()),
            cadence_seconds: cadence(&file.readings),
            first: file.first,
            last: file.last,
            gaps: gaps(&file.readings),
            rows: file.rows,
            refused: file.refused.iter().take(MOST_REFUSED_SHOWN).cloned().collect(),
            first_readings: first_read.clone(),
        }
    }
}

fn columns(header: &Header) -> Vec<Column> {
    let used_for = |place| {
        if place == header.time {
            Some("time")
        } else if header.dates.contains(&place) {
            Some("date")
        } else if place == header.temperature {
            Some("temperature")
        } else {
            header.wanted.contains(&place).then_some("where")
        }
    };
    let one = |place: usize| Column {
        number: place + 1,
        name: header.names.get(place).map(|name| shown(name.as_bytes())),
        used_for: used_for(place),
    };
    (0..header.columns).map(one).collect()
}

/// The median of the steps between readings that follow one another.
pub(crate) fn cadence(readings: &[Reading]) -> Option<i64> {
    let mut steps: Vec<i64> = readings.windows(2).map(|pair| pair[1].at.since(pair[0].at)).collect();
    let middle = steps.len() / 2;
    (!steps.is_empty()).then(|| *steps.select_nth_unstable(middle).1)
}

pub(crate) fn gaps(readings: &[Reading]) -> Gaps {
    let mut gaps = Gaps::default();
    for pair in readings.windows(2) {
        let seconds = pair[1].from().since(pair[0].at);
        if seconds > GAP {
            gaps.count += 1;
            if gaps.listed.len() < MOST_GAPS_LISTED {
                gaps.listed.push(Gap { after: pair[0].at, until: pair[1].at, seconds });
            }
        }
    }
    gaps
}

/// The first rows that gave a reading.
#[derive(Default)]
pub(super) struct FirstRead {
    pub(super) rows: Vec<AsRead>,
}

impl FirstRead {
    /// Keeps the row that gives the reading at `place`, while there is room;
    /// `joined` is its date and time where they stand apart.
    #[inline]
    pub(super) fn note<R: Read>(
        &mut self,
        place: usize,
        reading: &Reading,
        row: &Records<R>,
        header: &Header,
        joined: &[u8],
    ) {
        if self.rows.len() < MOST_READ_SHOWN {
            self.keep(place, reading, row, header, joined);
        }
    }

    /// Apart, so that the way of the other rows stays short.
    #[cold]
    fn keep<R: Read>(
        &mut self,
        place: usize,
        reading: &Reading,
        row: &Records<R>,
        header: &Header,
        joined: &[u8],
    ) {
        let cells = row.columns().min(MOST_CELLS_SHOWN);
        self.rows.push(AsRead {
            line: row.line(),
            cells: (0..cells).map(|column| shown(row.field(column))).collect(),
            time: shown(if header.dates.is_empty() { row.field(header.time) } else { joined }),
            temperature: shown(row.field(header.temperature)),
            at: reading.at,
            celsius: reading.celsius,
            place,
        });
    }

    /// Takes over the moments of doubled hours once they are told apart, before
    /// the rows at `out` are taken from `readings`.
    pub(super) fn settle(&mut self, readings: &[Reading], out: impl Fn(usize) -> bool) {
        self.rows.retain(|row| !out(row.place));
        for row in &mut self.rows {
            row.at = readings[row.place].at;
        }
    }
}
