//! Cold nights against the kill temperatures of the stage: which were read, and
//! which are foretold.

use chrono::{Days, NaiveDate, NaiveTime, TimeZone};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::growth::Course;
use crate::series::{JOINED, Law, Quality, Span};
use crate::stage::Stage;
use crate::time::{Instant, MINUTE};

mod ahead;
pub(crate) mod date;
mod stretch;
pub use ahead::{Ahead, COLD_MARGIN_C, cold_ahead, kill_line};
use stretch::{held, lowest, within};

/// Exposure for which the kill temperatures hold, seconds (published with them:
/// 30 minutes).
pub const EXPOSURE: i64 = 30 * MINUTE;
/// A night is worth a look when its minimum came as near as this to the 10 %
/// line, K (constructed).
pub const WORTH_A_LOOK_K: f64 = 2.0;
/// A night of no known stage is worth a look from here down, °C (constructed:
/// frost).
pub const FREEZING_C: f64 = 0.0;
/// Two temperatures nearer than this are one, K: sums and units leave less.
pub(crate) const SAME_K: f64 = 1e-9;

/// A night that came near what kills buds or flowers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Night {
    /// Local date on which it begins; a night runs from noon to noon.
    #[serde(with = "date")]
    pub date: NaiveDate,
    /// Lowest temperature read, °C; none when no hour of it was read.
    pub minimum_c: Option<f64>,
    /// When that was first reached.
    pub minimum_at: Option<Instant>,
    /// Stage last logged before the minimum.
    pub stage: Option<Stage>,
    /// Line that it was held against, °C: the 10 % kill of the stage as the feed
    /// can show it ([`line_c`]); none without a stage.
    pub line_c: Option<f64>,
    /// Moment at which 30 minutes at or below the line were full.
    pub hit_at: Option<Instant>,
    /// Whether 30 minutes lay at or below the 90 % line too.
    pub ninety: bool,
    /// Longest stretch at or below the line, whole minutes.
    pub minutes: i64,
    /// Whether hours without a reading might have been at the line.
    pub unknown: bool,
}

/// A kill temperature of the table as a feed can show it, °C: 28 °F is −2.22 °C,
/// and a feed of tenths says −2.2 for it. It is rounded to a tenth, or to a whole
/// degree where the readings are whole (`whole`), as some airports report. Where
/// rounding would make it colder the exact value stays, so that a feed in whole
/// °F counts at the table's own figure.
pub fn line_c(exact_c: f64, whole: bool) -> f64 {
    let rounded = if whole { exact_c.round() } else { (exact_c * 10.0).round() / 10.0 };
    exact_c.max(rounded)
}

/// The local date on which the night of a moment begins: nights run from noon
/// to noon.
pub fn night_of(at: Instant, zone: Tz) -> NaiveDate {
    let date = at.local_date(zone);
    if noon(date, zone).is_some_and(|noon| at < noon) { date.pred_opt().unwrap_or(date) } else { date }
}

/// Noon of a date; none on a date that a zone left out.
fn noon(date: NaiveDate, zone: Tz) -> Option<Instant> {
    let wall = date.and_time(NaiveTime::from_hms_opt(12, 0, 0)?);
    zone.from_local_datetime(&wall).earliest().map(|noon| Instant(noon.timestamp()))
}

/// The nights between two moments that were worth a look, earliest first.
///
/// Only what was read counts, at the site or by a source that filled in; a
/// forecast never does, not even for an hour that has passed. Of a night that
/// begins before `from` or ends after `until` only the part between is looked
/// at. Readings run in straight lines from one to the next, and a mean stands
/// over its interval, so an hourly mean at the line counts as its hour.
///
/// Listed are nights with a minimum within [`WORTH_A_LOOK_K`] of the 10 % line
/// or with unknown hours whose range reaches the line; where no stage was logged
/// before the night's minimum, nights with one at or below [`FREEZING_C`].
pub fn nights(
    course: &Course,
    stages: &[(Instant, Stage)],
    zone: Tz,
    from: Instant,
    until: Instant,
) -> Vec<Night> {
    let spans = &course.series().spans;
    let (Some(begin), Some(end)) = (course.series().begin(), course.series().end()) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut date = night_of(from.max(begin), zone);
    let mut dusk = noon(date, zone);
    while let (Some(next), true) =
        (date.checked_add_days(Days::new(1)), dusk.is_none_or(|dusk| dusk < until.min(end)))
    {
        let dawn = noon(next, zone);
        if let (Some(dusk), Some(dawn)) = (dusk, dawn) {
            let (from, to) = (dusk.max(from), dawn.min(until));
            let part = Part { spans: within(spans, from, to), from, to, course };
            found.extend(part.night(date, stages));
        }
        (date, dusk) = (next, dawn);
    }
    found
}

/// The part of one night that is looked at.
struct Part<'a> {
    spans: &'a [Span],
    from: Instant,
    to: Instant,
    course: &'a Course,
}

impl Part<'_> {
    fn night(&self, date: NaiveDate, stages: &[(Instant, Stage)]) -> Option<Night> {
        let minimum = lowest(self.read(), self.from, self.to);
        let by = minimum.map_or(self.to, |(at, _)| at);
        // Of two logged at one moment the later in the list holds.
        let stage = stages.iter().filter(|(at, _)| *at <= by).max_by_key(|(at, _)| *at);
        let stage = stage.map(|(_, stage)| *stage);
        let whole = self.whole_degrees();
        let line = stage.map(|stage| line_c(stage.kill_10_c(), whole));
        let look = line.map_or(FREEZING_C, |line| line + WORTH_A_LOOK_K);
        let cold = minimum.is_some_and(|(_, celsius)| celsius <= look + SAME_K);
        let in_doubt = self.in_doubt(line.unwrap_or(FREEZING_C));
        let doubtful = in_doubt && line.is_some();
        if !cold && !doubtful {
            return None;
        }
        let held = |line: f64| held(self.read(), self.from, self.to, line);
        let ten = line.map(held).unwrap_or_default();
        let ninety = stage.map(|stage| held(line_c(stage.kill_90_c(), whole))).unwrap_or_default();
        Some(Night {
            date,
            minimum_c: minimum.map(|(_, celsius)| celsius),
            minimum_at: minimum.map(|(at, _)| at),
            stage,
            line_c: line,
            hit_at: ten.full_at,
            ninety: ninety.full_at.is_some(),
            minutes: ten.longest / MINUTE,
            unknown: in_doubt || self.unread(),
        })
    }

    /// What was read, at the site or by a source that filled in.
    fn read(&self) -> impl Iterator<Item = &Span> {
        self.spans.iter().filter(|span| matches!(span.quality, Quality::Observed | Quality::Filled))
    }

    /// Whether the site's own readings of the night are all whole degrees.
    fn whole_degrees(&self) -> bool {
        let mut own = self.spans.iter().filter(|span| span.quality == Quality::Observed).peekable();
        let whole = |celsius: f64| (celsius - celsius.round()).abs() < SAME_K;
        own.peek().is_some() && own.all(|span| matches!(span.law, Law::Line(a, b) if whole(a) && whole(b)))
    }

    /// Whether an hour between readings might have been at the line.
    fn in_doubt(&self, line: f64) -> bool {
        self.spans.iter().filter(|span| span.quality == Quality::Unknown).any(|span| match span.law {
            Law::Line(low, _) | Law::Within(low, _) => low <= line + SAME_K,
            Law::Anything => true,
        })
    }

    /// Whether the readings begin after the night did, or ended so long before
    /// the present end of it that no next one will be joined to them.
    fn unread(&self) -> bool {
        let series = self.course.series();
        series.begin().is_none_or(|begin| begin > self.from)
            || series.as_of.is_none_or(|as_of| self.to.since(as_of) > JOINED)
    }
}

#[cfg(test)]
mod tests;
