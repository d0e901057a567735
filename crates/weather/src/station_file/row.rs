//! Rows to readings.

use std::io::Read;

use model::series::Reading;
use model::time::{FUTURE_TOLERANCE, Instant};
use model::units::{COLDEST_C, TemperatureUnit, WARMEST_C};

use super::clock::{Doubled, Moment, moment, tell_apart};
use super::fault::{FileFault, Limit, Listed, shown};
use super::header::Header;
use super::number::{Cell, Numbers};
use super::records::Records;
use super::tally::{Order, Range, Wanted};
use super::understood::{AsRead, FirstRead};
use super::{MAX_REFUSED_KEPT, MAX_ROWS, Refused, Rows, StationFile};
use crate::mapping::{Interval, Mapping, Role, WallClock};
use crate::stamp::{Layout, Stamp};
use crate::unit_name::word;

/// Reads the rows of one file.
pub(super) struct RowReader<'a> {
    mapping: &'a Mapping,
    header: &'a Header,
    layout: Layout,
    numbers: Numbers<'a>,
    /// No reading may lie after this; none for a forecast.
    latest: Option<Instant>,
    filter: Vec<Wanted<'a>>,
    readings: Vec<Reading>,
    doubled: Vec<Doubled>,
    refused: Vec<Refused>,
    rows: Rows,
    /// Rows that `where` kept.
    matched: u64,
    range: Range,
    order: Order,
    first_read: FirstRead,
    /// Date and time of a row, where they stand in two columns.
    joined: Vec<u8>,
}

impl<'a> RowReader<'a> {
    pub(super) fn new(
        mapping: &'a Mapping,
        header: &'a Header,
        now: Instant,
    ) -> Result<RowReader<'a>, FileFault> {
        let layout = Layout::of(&mapping.time_format).map_err(|detail| {
            FileFault::Unreadable(std::io::Error::other(format!("time_format: {detail}")))
        })?;
        let filter = std::iter::zip(&header.wanted, &mapping.rows_where)
            .map(|(column, (_, text))| Wanted {
                column: *column,
                text: text.trim().as_bytes(),
                seen: false,
                others: Listed::default(),
            })
            .collect();
        Ok(RowReader {
            mapping,
            header,
            layout,
            numbers: Numbers::of(mapping),
            latest: match mapping.role {
                Role::Observed => Some(now.plus(FUTURE_TOLERANCE)),
                Role::Forecast { .. } => None,
            },
            filter,
            readings: Vec::new(),
            doubled: Vec::new(),
            refused: Vec::new(),
            rows: Rows::default(),
            matched: 0,
            range: Range::default(),
            order: Order::default(),
            first_read: FirstRead::default(),
            joined: Vec::new(),
        })
    }

    /// Takes one row in.
    pub(super) fn take<R: Read>(&mut self, row: &Records<R>) -> Result<(), FileFault> {
        self.rows.seen += 1;
        if self.rows.seen > MAX_ROWS {
            return Err(FileFault::TooLarge { line: row.line(), limit: Limit::Rows });
        }
        if let Err(reason) = self.read(row) {
            self.refuse(row.line(), reason);
        }
        Ok(())
    }

    fn read<R: Read>(&mut self, row: &Records<R>) -> Result<(), String> {
        self.right_width(row)?;
        if !self.wanted(row) {
            self.rows.filtered += 1;
            return Ok(());
        }
        self.matched += 1;
        let cell = row.field(self.header.temperature);
        let value = match self.numbers.read(cell) {
            Cell::Number(value) => value,
            Cell::Missing => {
                self.rows.missing += 1;
                return Ok(());
            }
            Cell::Unreadable => {
                return Err(format!(
                    "temperature `{}` is not a number; expected one like 11{}5",
                    shown(cell),
                    self.numbers.decimal()
                ));
            }
        };
        let celsius = self.mapping.unit.to_celsius(value);
        if !self.range.takes(value, celsius) {
            return Err(format!(
                "temperature `{}` ({}) is {celsius:.1} °C, outside {COLDEST_C} to {WARMEST_C} °C",
                shown(cell),
                word(self.mapping.unit)
            ));
        }
        self.place(row, celsius)
    }

    /// A row may end in further blank fields, as some exports have it.
    fn right_width<R: Read>(&self, row: &Records<R>) -> Result<(), String> {
        let (found, expected) = (row.columns(), self.header.columns);
        if found == expected
            || (found > expected && (expected..found).all(|column| row.field(column).is_empty()))
        {
            return Ok(());
        }
        Err(format!("has {found} fields; expected {expected} as in the header"))
    }

    /// Whether `where` keeps the row.
    fn wanted<R: Read>(&mut self, row: &Records<R>) -> bool {
        let mut kept = true;
        for wanted in &mut self.filter {
            let found = row.field(wanted.column);
            if found == wanted.text {
                wanted.seen = true;
            } else {
                kept = false;
                if !wanted.seen {
                    wanted.others.add(found);
                }
            }
        }
        kept
    }

    /// Finds the row's moment and keeps its reading.
    fn place<R: Read>(&mut self, row: &Records<R>, celsius: f64) -> Result<(), String> {
        let time = row.field(self.header.time);
        let stamp = if self.header.dates.is_empty() {
            self.layout.read(time)
        } else {
            self.joined.clear();
            for date in &self.header.dates {
                self.joined.extend_from_slice(row.field(*date));
                self.joined.push(b' ');
            }
            self.joined.extend_from_slice(time);
            self.layout.read(&self.joined)
        };
        let written = || shown(if self.header.dates.is_empty() { time } else { &self.joined });
        let (moment, wall) = match stamp {
            None => {
                return Err(format!("time `{}` does not read as `{}`", written(), self.mapping.time_format));
            }
            Some(Stamp::Absolute(at)) => (Moment::Once(at), at),
            Some(Stamp::Local(local)) => (moment(self.clock(), local), local),
        };
        self.order.note(wall);
        let at = match moment {
            Moment::Once(at) => at,
            Moment::Twice { before, after } => {
                let reading = self.readings.len();
                self.doubled.push(Doubled { reading, line: row.line(), local: wall, before, after });
                before
            }
            Moment::Never => {
                return Err(format!(
                    "time `{}` does not exist in {}: the clock was put forward over it",
                    written(),
                    self.clock()
                ));
            }
        };
        let reading = self.reading(Instant(at), celsius);
        let in_years = (Instant::MIN..Instant::MAX).contains(&reading.at);
        let refusal = if !in_years {
            Some(format!("time `{}` lies outside the years 1900 to 2199", written()))
        } else {
            self.ahead(reading.at)
        };
        if let Some(reason) = refusal {
            if matches!(moment, Moment::Twice { .. }) {
                self.doubled.pop();
            }
            return Err(reason);
        }
        self.first_read.note(self.readings.len(), &reading, row, self.header, &self.joined);
        self.readings.push(reading);
        Ok(())
    }

    fn clock(&self) -> WallClock {
        // The mapping has a clock wherever its times carry no offset.
        self.mapping.time_zone.unwrap_or(WallClock::Utc)
    }

    fn reading(&self, stamp: Instant, celsius: f64) -> Reading {
        match self.mapping.interval {
            Interval::Instant => Reading::instant(stamp, celsius),
            Interval::MeanEnding(span) => Reading::mean_ending(stamp, span, celsius),
            Interval::MeanStarting(span) => Reading::mean_ending(stamp.plus(span), span, celsius),
        }
    }

    /// Why a reading that ends at `at` is refused as not yet observed.
    fn ahead(&self, at: Instant) -> Option<String> {
        let latest = self.latest.filter(|latest| at > *latest)?;
        Some(format!(
            "lies in the future: {at} is more than {} minutes after {}",
            FUTURE_TOLERANCE / 60,
            latest.plus(-FUTURE_TOLERANCE)
        ))
    }

    fn refuse(&mut self, line: u64, reason: String) {
        self.rows.refused += 1;
        if self.refused.len() < MAX_REFUSED_KEPT {
            self.refused.push(Refused { line, reason });
        }
    }

    /// Checks the file as a whole and gives its readings out, and the first of
    /// them in the order of the file.
    pub(super) fn finish(mut self) -> Result<(StationFile, Vec<AsRead>), FileFault> {
        if self.rows.seen == 0 {
            return Err(FileFault::NoRows);
        }
        self.check_filter()?;
        self.check_range()?;
        self.settle_doubled();
        let first_read = self.first_read.rows;
        let mut readings = self.readings;
        if !readings.is_sorted_by_key(|reading| reading.at) {
            // Stable, so that of one moment the later line stays last.
            readings.sort_by_key(|reading| reading.at);
        }
        let read = readings.len();
        readings.dedup_by(|later, kept| {
            let same = later.at == kept.at;
            if same {
                *kept = *later;
            }
            same
        });
        let mut rows = self.rows;
        rows.taken = readings.len() as u64;
        rows.superseded = (read - readings.len()) as u64;
        let file = StationFile {
            first: readings.first().map(|reading| reading.at),
            last: readings.last().map(|reading| reading.at),
            readings,
            refused: self.refused,
            rows,
        };
        Ok((file, first_read))
    }

    fn check_filter(&mut self) -> Result<(), FileFault> {
        if self.matched > 0 || self.rows.filtered == 0 {
            return Ok(());
        }
        let never = self.filter.iter().position(|wanted| !wanted.seen);
        let place = never.unwrap_or(0);
        let wanted = &mut self.filter[place];
        Err(FileFault::NoRowMatches {
            column: self.mapping.rows_where[place].0.clone(),
            wanted: self.mapping.rows_where[place].1.clone(),
            found: std::mem::take(&mut wanted.others),
            together: if never.is_none() { " together with the other columns" } else { "" },
        })
    }

    fn check_range(&self) -> Result<(), FileFault> {
        let Range { numbers, outside, fitting } = &self.range;
        if outside * 2 <= *numbers {
            return Ok(());
        }
        let fit: Vec<_> = std::iter::zip(TemperatureUnit::NAMES, fitting)
            .filter(|(_, fitting)| *fitting * 2 > *outside)
            .map(|(name, _)| name)
            .collect();
        let fitting = if fit.is_empty() {
            "those fit no unit known here; is it the right column?".to_owned()
        } else {
            format!("those would fit as {}", fit.join(" or as "))
        };
        Err(FileFault::Implausible {
            column: self.mapping.temperature_column.clone(),
            outside: *outside,
            numbers: *numbers,
            declared: word(self.mapping.unit),
            fitting,
        })
    }

    /// Gives the rows of doubled hours their moments, and takes out those
    /// that now turn out to lie in the future.
    fn settle_doubled(&mut self) {
        let mut settled = Vec::with_capacity(self.doubled.len());
        tell_apart(&self.doubled, self.order.newest_first(), |row, stamp| settled.push((*row, stamp)));
        let mut ahead = Vec::new();
        for (row, stamp) in settled {
            let reading = self.reading(stamp, self.readings[row.reading].celsius);
            self.readings[row.reading] = reading;
            if let Some(reason) = self.ahead(reading.at) {
                ahead.push((row.reading, row.line, reason));
            }
        }
        self.first_read.settle(&self.readings, |row| ahead.iter().any(|(place, ..)| *place == row));
        if ahead.is_empty() {
            return;
        }
        ahead.sort_unstable_by_key(|(place, ..)| *place);
        let mut places = ahead.iter().map(|(place, ..)| *place).peekable();
        let mut place = 0;
        self.readings.retain(|_| {
            let out = places.next_if_eq(&place).is_some();
            place += 1;
            !out
        });
        for (_, line, reason) in ahead {
            self.refuse(line, reason);
        }
        self.refused.sort_by_key(|refused| refused.line);
    }
}
