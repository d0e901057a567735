//! How the legs would have gone in past springs.
//!
//! Each spring of a site's readings goes through the same growth as a season of now:
//! a start by a rule, then a leg for each mark, each begun when the one before it
//! reached its own. Nothing is drawn and nothing foretold: what was not read is said.

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::growth::{BLOOM_BASE_C, Bound, DEGREE_UNITS, Growth};
use crate::legs::Ruler;
use crate::time::{DAY, HOUR, Instant};

/// Legs are followed for so long after their start; slower ones count as not ended.
pub const LONGEST: i64 = 45 * DAY;
/// Most marks in a row.
pub const MOST_MARKS: usize = 12;

/// When the clock would have started.
#[derive(Debug, Clone, PartialEq)]
pub enum StartRule {
    /// On one day of each year, at a time of the site's wall clock.
    Day {
        /// 1 to 12.
        month: u32,
        /// 1 to 31; where a year has no such day, the last of the month.
        day: u32,
        /// Of the wall clock.
        time: NaiveTime,
    },
    /// When so many degree-hours above [`BLOOM_BASE_C`] have gathered since the begin
    /// of a day of each year.
    DegreeHours {
        /// 1 to 12.
        month: u32,
        /// 1 to 31.
        day: u32,
        /// °C·h.
        sum: f64,
    },
    /// At moments of the wall clock that somebody knows, one a year.
    Logged(Vec<NaiveDateTime>),
}

/// A leg of a past spring.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PastLeg {
    /// Share of the style.
    pub mark: f64,
    /// When it began.
    pub from: Instant,
    /// When low progress reached the mark; none where it did not within
    /// [`LONGEST`], or the readings end before.
    pub reached_at: Option<Instant>,
    /// When high progress did: another time where hours were not read.
    pub reached_earliest: Option<Instant>,
    /// How long it took, h.
    pub hours: Option<f64>,
}

/// A past spring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spring {
    /// Its year; of a rule late in the year that of the start.
    pub year: i32,
    /// When the clock would have started; none where that was not read.
    pub start: Option<Instant>,
    /// Its legs; those after one that did not end are left out.
    pub legs: Vec<PastLeg>,
    /// Hours from the start to the last mark that were not read.
    pub unknown_hours: f64,
}

/// What the springs have in common.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Range {
    /// Which leg, from 1.
    pub leg: usize,
    /// Springs in which it ended.
    pub n: usize,
    /// Hours from begin to mark: the least, the middle, the most.
    pub hours: (f64, f64, f64),
}

impl StartRule {
    /// A day of each year with its time, as `04-29T10:00`.
    ///
    /// # Errors
    /// What was expected, when it is none.
    pub fn on(text: &str) -> Result<StartRule, String> {
        let (day, time) = text.split_once('T').unwrap_or((text, "12:00"));
        let (month, day) = month_and_day(day)?;
        let time = NaiveTime::parse_from_str(time, "%H:%M")
            .map_err(|_| format!("`{time}` is no time of the wall clock; expected as 10:00"))?;
        Ok(StartRule::Day { month, day, time })
    }

    /// A sum of degree-hours since a day of each year, as `02-01`.
    ///
    /// # Errors
    /// What was expected, when the day is none or the sum not above 0.
    pub fn degree_hours(sum: f64, since: &str) -> Result<StartRule, String> {
        let (month, day) = month_and_day(since)?;
        if !(sum > 0.0 && sum <= 100_000.0) {
            return Err(format!("{sum} is no sum of degree-hours; expected more than 0, at most 100000"));
        }
        Ok(StartRule::DegreeHours { month, day, sum })
    }

    /// Moments of the wall clock, one a year, as `2013-04-29T10:00`.
    ///
    /// # Errors
    /// What was expected, when one is none or a year has two.
    pub fn logged<'a>(texts: impl IntoIterator<Item = &'a str>) -> Result<StartRule, String> {
        let mut all: Vec<NaiveDateTime> = Vec::new();
        for text in texts {
            let at = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M").map_err(|_| {
                format!("`{text}` is no moment of the wall clock; expected as 2013-04-29T10:00")
            })?;
            if all.iter().any(|other| other.year() == at.year()) {
                return Err(format!("{} has two starts; expected one a year", at.year()));
            }
            all.push(at);
        }
        Ok(StartRule::Logged(all))
    }

    /// Between which moments of a year readings are needed.
    pub fn window(&self, year: i32, zone: Tz) -> Option<(Instant, Instant)> {
        let begin = match self {
            StartRule::Day { month, day, time } => {
                Instant::on_wall(date(year, *month, *day)?.and_time(*time), zone)
            }
            StartRule::DegreeHours { month, day, .. } => {
                Instant::on_wall(date(year, *month, *day)?.and_time(NaiveTime::MIN), zone)
            }
            StartRule::Logged(all) => {
                let of_year = all.iter().find(|at| at.year() == year);
                Instant::on_wall(*of_year?, zone)
            }
        };
        let wait = if matches!(self, StartRule::DegreeHours { .. }) { 150 * DAY } else { 0 };
        Some((begin.plus(-DAY), begin.plus(wait + LONGEST * 2)))
    }

    fn start(&self, year: i32, zone: Tz, growth: &Growth) -> Option<Instant> {
        let course = growth.course();
        match self {
            StartRule::Day { month, day, time } => {
                let at = Instant::on_wall(date(year, *month, *day)?.and_time(*time), zone);
                course.covers(at).then_some(at)
            }
            StartRule::DegreeHours { month, day, sum } => {
                let from = Instant::on_wall(date(year, *month, *day)?.and_time(NaiveTime::MIN), zone);
                let wanted = (sum * HOUR as f64 * DEGREE_UNITS) as i64;
                course.covers(from).then(|| course.gathered(from, wanted)).flatten()
            }
            StartRule::Logged(all) => {
                let of_year = all.iter().find(|at| at.year() == year);
                Some(Instant::on_wall(*of_year?, zone)).filter(|at| course.covers(*at))
            }
        }
    }

    /// In words.
    pub fn told(&self) -> String {
        match self {
            StartRule::Day { month, day, time } => {
                format!("on day {day} of month {month} at {}", time.format("%H:%M"))
            }
            StartRule::DegreeHours { month, day, sum } => format!(
                "when {sum:.0} degree-hours above {BLOOM_BASE_C} °C had gathered since day {day} of month {month}"
            ),
            StartRule::Logged(all) => format!("as logged in {} years", all.len()),
        }
    }
}

fn month_and_day(text: &str) -> Result<(u32, u32), String> {
    let read = text.split_once('-').and_then(|(month, day)| Some((month.parse().ok()?, day.parse().ok()?)));
    // 29 February is a day of some years.
    let real = |(month, day): &(u32, u32)| NaiveDate::from_ymd_opt(2024, *month, *day).is_some();
    read.filter(real).ok_or_else(|| format!("`{text}` is no day of the year; expected as 04-29"))
}

/// A day of a year, or the last of its month.
fn date(year: i32, month: u32, day: u32) -> Option<NaiveDate> {
    (1..=day.min(31)).rev().take(4).find_map(|day| NaiveDate::from_ymd_opt(year, month, day))
}

/// One spring on growth that covers its [`StartRule::window`]. `style` is the mean
/// style length for a curve in mm, and 1 for one in shares of the style.
pub fn spring(growth: &Growth, year: i32, zone: Tz, rule: &StartRule, marks: &[f64], style: f64) -> Spring {
    let start = rule.start(year, zone, growth);
    let mut legs = Vec::new();
    let mut from = start;
    for mark in marks {
        let Some(begin) = from else { break };
        let wanted = Ruler::new(style).wanted(*mark);
        let within =
            |bound| growth.reached(begin, wanted, bound).filter(|at: &Instant| at.since(begin) <= LONGEST);
        let reached_at = within(Bound::Low);
        legs.push(PastLeg {
            mark: *mark,
            from: begin,
            reached_at,
            reached_earliest: within(Bound::High),
            hours: reached_at.map(|at| at.since(begin) as f64 / HOUR as f64),
        });
        from = reached_at;
    }
    let end = legs.iter().rev().find_map(|leg| leg.reached_at);
    let unknown_hours = start.zip(end).map_or(0.0, |(start, end)| growth.course().hours(start, end).unknown);
    Spring { year, start, legs, unknown_hours }
}

/// How long each leg took over all springs in which it ended.
pub fn ranges(springs: &[Spring]) -> Vec<Range> {
    let legs = springs.iter().map(|spring| spring.legs.len()).max().unwrap_or(0);
    (0..legs)
        .filter_map(|leg| {
            let mut hours: Vec<f64> =
                springs.iter().filter_map(|spring| spring.legs.get(leg)?.hours).collect();
            hours.sort_by(f64::total_cmp);
            let middle = hours.get(hours.len() / 2)?;
            let middle =
                if hours.len() % 2 == 1 { *middle } else { (middle + hours[hours.len() / 2 - 1]) / 2.0 };
            Some(Range { leg: leg + 1, n: hours.len(), hours: (hours[0], middle, hours[hours.len() - 1]) })
        })
        .collect()
}
