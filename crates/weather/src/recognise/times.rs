//! Which columns hold the time, and how it is written.

use super::rows::{Row, Sample};
use super::shape::{self, RFC3339};
use crate::mapping::TimeFormat;
use crate::stamp::{Layout, Stamp};

/// Share of the rows that must read as a time.
const ENOUGH: f64 = 0.9;
/// Rows of the header that the sample of a short file may have.
const MOST_ABOVE: usize = 4;
/// Cells from which patterns are taken.
const PROBES: usize = 16;

/// The columns of the time, and its pattern.
pub(super) struct Times {
    pub(super) dates: Vec<usize>,
    pub(super) time: usize,
    pub(super) format: String,
    pub(super) carries_offset: bool,
    /// How day and month were told apart, where they could be mistaken.
    pub(super) day_and_month: DayAndMonth,
    /// Other columns that hold a date and a time of day as well.
    pub(super) also: Vec<usize>,
    layout: Layout,
}

/// How day and month were told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DayAndMonth {
    /// The pattern leaves no doubt.
    Clear,
    /// A day after the twelfth.
    ByDay,
    /// The days follow one another only this way.
    ByOrder,
    /// Nothing tells.
    Open,
}

/// What is known of the columns beforehand.
pub(super) struct Known {
    pub(super) columns: Option<(Vec<usize>, usize)>,
    pub(super) format: Option<String>,
    /// Whether the month is to be taken first where nothing tells.
    pub(super) month_first: bool,
}

impl Times {
    /// Reads the time of a row.
    pub(super) fn read(&self, row: &Row) -> Option<Stamp> {
        self.layout.read(joined(row, &self.dates, self.time).as_bytes())
    }
}

/// The cells of a row that make up its time, one blank between each.
fn joined(row: &Row, dates: &[usize], time: usize) -> String {
    let mut text = String::new();
    for column in dates {
        text.push_str(row.cell(*column));
        text.push(' ');
    }
    text.push_str(row.cell(time));
    text
}

/// Finds the time in the sampled ones of all rows.
pub(super) fn find(sample: &Sample<'_>, rows: &[Row], known: &Known) -> Option<Times> {
    if let Some((dates, time)) = &known.columns {
        return among(sample, dates, *time, known);
    }
    let mut best: Option<Times> = None;
    for time in 0..sample.width {
        if let Some(found) = among(sample, &[], time, known) {
            if found.carries_offset {
                return Some(found);
            }
            match &mut best {
                Some(best) => best.also.push(time),
                None => best = Some(found),
            }
        }
    }
    best.or_else(|| apart(sample, rows, known)).or_else(|| in_parts(sample, known))
}

/// Looks again over all rows, so that days after the twelfth are seen wherever
/// they stand.
pub(super) fn over_all(found: Times, rows: &[Row], width: usize, known: &Known) -> Times {
    if !matches!(found.day_and_month, DayAndMonth::ByOrder | DayAndMonth::Open) {
        return found;
    }
    let rows: Vec<&Row> = rows.iter().filter(|row| row.cells.len() == width).collect();
    let all = Sample { rows, width, share: 1.0 };
    match among(&all, &found.dates, found.time, known) {
        Some(again) => Times { also: found.also, ..again },
        None => found,
    }
}

/// A date and a time of day in two columns.
fn apart(sample: &Sample<'_>, rows: &[Row], known: &Known) -> Option<Times> {
    // Of a short file the first rows may be its header.
    let last = sample.rows.last()?;
    for date in (0..sample.width).filter(|column| shape::is_date(last.cell(*column))) {
        // Bare numbers may be an hour only right behind the date.
        let near = [date + 1, date.wrapping_sub(1)];
        let others = (0..sample.width).filter(|column| !near.contains(column) && *column != date);
        for time in near.into_iter().chain(others) {
            // A number behind the date of each day is a daily value.
            let bare = time == date + 1
                && rows
                    .windows(2)
                    .any(|pair| !pair[0].cell(date).is_empty() && pair[0].cell(date) == pair[1].cell(date));
            if shape::is_clock(last.cell(time), !bare)
                && let Some(found) = among(sample, &[date], time, known)
            {
                return Some(found);
            }
        }
    }
    None
}

/// Year, month, day, hour, and minutes perhaps, in columns that follow one
/// another.
fn in_parts(sample: &Sample<'_>, known: &Known) -> Option<Times> {
    let last = sample.rows.last()?;
    let year = |column: &usize| matches!(last.cell(*column).parse(), Ok(1900_u16..=2199));
    for first in (0..sample.width.saturating_sub(3)).filter(year) {
        let dates = [first, first + 1, first + 2];
        let Some(hours) = among(sample, &dates, first + 3, known) else {
            continue;
        };
        let minutes = [first, first + 1, first + 2, first + 3];
        if repeats(sample, &hours)
            && let Some(found) = among(sample, &minutes, first + 4, known)
            && !repeats(sample, &found)
        {
            return Some(found);
        }
        return Some(hours);
    }
    None
}

/// Whether many rows have the time of the row before.
fn repeats(sample: &Sample<'_>, times: &Times) -> bool {
    let same = sample.rows.windows(2).filter(|pair| times.read(pair[0]) == times.read(pair[1])).count();
    same > 0 && same * 4 >= sample.rows.len()
}

/// The pattern that fits these columns, where one does.
fn among(sample: &Sample<'_>, dates: &[usize], time: usize, known: &Known) -> Option<Times> {
    let texts: Vec<String> = sample.rows.iter().map(|row| joined(row, dates, time)).collect();
    let mut formats: Vec<String> = Vec::new();
    match &known.format {
        Some(format) => formats.push(format.clone()),
        None => {
            for text in texts.iter().step_by(texts.len().div_ceil(PROBES).max(1)) {
                for format in shape::moments(text) {
                    if !formats.contains(&format) {
                        formats.push(format);
                    }
                }
            }
        }
    }
    let mut fitting: Vec<(usize, Times, Vec<i64>)> = Vec::new();
    for format in formats {
        let written =
            if format == RFC3339 { TimeFormat::Rfc3339 } else { TimeFormat::Pattern(format.clone()) };
        let Ok(layout) = Layout::of(&written) else { continue };
        let stamps: Vec<Option<Stamp>> = texts.iter().map(|text| layout.read(text.as_bytes())).collect();
        // The head of a short file is in the sample as well.
        let above = stamps.iter().take_while(|stamp| stamp.is_none()).count().min(MOST_ABOVE);
        let read: Vec<i64> = stamps.into_iter().flatten().map(Stamp::seconds).collect();
        if read.is_empty() || (read.len() as f64) < ENOUGH * (texts.len() - above) as f64 {
            continue;
        }
        let times = Times {
            dates: dates.to_vec(),
            time,
            format,
            carries_offset: layout.carries_offset(),
            day_and_month: DayAndMonth::Clear,
            also: Vec::new(),
            layout,
        };
        fitting.push((read.len(), times, read));
    }
    choose(fitting, known)
}

/// Chooses among patterns that fit: the one that reads most rows; of those the
/// one by which the times lie nearest to each other; of those the one of the
/// country.
fn choose(mut fitting: Vec<(usize, Times, Vec<i64>)>, known: &Known) -> Option<Times> {
    let candidates = fitting.len();
    let most = fitting.iter().map(|(count, ..)| *count).max()?;
    fitting.retain(|(count, ..)| *count == most);
    let told = if fitting.len() < candidates { DayAndMonth::ByDay } else { DayAndMonth::Clear };
    if fitting.len() == 1 {
        let (_, times, _) = fitting.pop()?;
        let mistakable = candidates > 1;
        return Some(Times { day_and_month: if mistakable { told } else { DayAndMonth::Clear }, ..times });
    }
    let roam = |read: &[i64]| read.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<i64>();
    let least = fitting.iter().map(|(_, _, read)| roam(read)).min()?;
    fitting.retain(|(_, _, read)| roam(read) == least);
    if fitting.len() == 1 {
        let (_, times, _) = fitting.pop()?;
        return Some(Times { day_and_month: DayAndMonth::ByOrder, ..times });
    }
    // A clock of twelve hours is of the countries that put the month first.
    let halves = fitting.iter().any(|(_, times, _)| times.format.contains("%p"));
    let wanted = if known.month_first || halves { "%m" } else { "%d" };
    let place = fitting.iter().position(|(_, times, _)| times.format.starts_with(wanted)).unwrap_or(0);
    let (_, times, _) = fitting.swap_remove(place);
    Some(Times { day_and_month: DayAndMonth::Open, ..times })
}
