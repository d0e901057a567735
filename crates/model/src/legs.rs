//! Runs of the clock: each from the start or a thinning spray to the next one.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::bloom::{Flowers, Start};
use crate::growth::{Bound, Growth, UNITS};
use crate::plan::MarkBound;
use crate::pollination::BeeHours;
use crate::series::Quality;
use crate::time::Instant;

/// A mark counts as reached this many units of 2⁻⁴⁰ before it, so that rounding
/// in the sums never adds a second to a crossing that falls on one. Each
/// reading rounds by up to half a unit: this covers 2,048 of them in a leg, 85
/// days of hours, and is a thousandth of a second's growth at 5 °C.
const ROUNDING: i64 = 1_024;

/// What ended a leg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EndedBy {
    /// The next thinning spray.
    Spray,
    /// No flower was left to open.
    BloomEnd,
    /// The block was stood down.
    StandDown,
    /// Nothing happened for too long.
    Age,
}

/// One leg of a season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Leg {
    /// 1 for the leg from the start.
    pub number: usize,
    /// `start`, or the id of the spray that opened it.
    pub opened_by: String,
    /// When it began.
    pub from: Instant,
    /// Share of the style at which its spray is due; none after the plan.
    pub mark: Option<f64>,
    /// Side of the mark that its spray must stay on.
    pub bound: Option<MarkBound>,
    /// When low progress reached the mark on readings.
    pub reached_at: Option<Instant>,
    /// The same from the early edge, with high progress.
    pub reached_earliest: Option<Instant>,
    /// The same from the late edge, with low progress.
    pub reached_latest: Option<Instant>,
    /// Since when high progress has been at the mark while low has not.
    pub may_be_reached_since: Option<Instant>,
    /// Last reading before the unread hours that leave that open.
    #[serde(default)]
    pub unread_from: Option<Instant>,
    /// When low progress came so far beyond the mark that the leg is overrun.
    #[serde(default)]
    pub overrun_at: Option<Instant>,
    /// When the forecast brings low progress to the mark.
    pub expected_at: Option<Instant>,
    /// Low progress at its end, or at the last reading.
    pub progress: f64,
    /// At least so much of the style.
    pub progress_low: f64,
    /// At most so much of the style.
    pub progress_high: f64,
    /// Hours for bees since it began, up to its end or the last reading; none where
    /// the place is not known.
    pub bee_hours: Option<BeeHours>,
    /// Live flowers a tree that came through in it before its spray: of the first leg
    /// all that opened early enough, of a later one those that opened since.
    pub flowers_through: Option<Flowers>,
    /// When it ended.
    pub ended_at: Option<Instant>,
    /// What ended it.
    pub ended_by: Option<EndedBy>,
    /// Id of the entry that ended it.
    pub ended_by_entry: Option<String>,
    /// Material of the spray that ended it.
    pub sprayed_with: Option<String>,
}

impl Leg {
    /// When its mark was reached, may have been, or will be by the forecast, in words;
    /// none where nothing is known of it.
    pub fn likely(&self, zone: Tz) -> Option<String> {
        if let Some(when) = self.reached(zone) {
            return Some(format!("mark reached {when}"));
        }
        if let Some(at) = self.may_be_reached_since {
            return Some(format!(
                "the mark may be reached since {}: hours without readings",
                at.spoken(zone)
            ));
        }
        self.expected_at.map(|at| format!("{} by the forecast", at.spoken(zone)))
    }

    /// When its mark was reached, with the range of it where hours were not read.
    pub fn reached(&self, zone: Tz) -> Option<String> {
        let at = self.reached_at?;
        let range = match (self.reached_earliest, self.reached_latest) {
            (Some(early), Some(late)) if early < late => {
                format!(" (between {} and {})", early.spoken(zone), late.spoken(zone))
            }
            _ => String::new(),
        };
        Some(format!("{}{range}", at.spoken(zone)))
    }
}

/// What opens a leg.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Opening {
    /// `start` or the id of a spray.
    pub by: String,
    /// When the clock began.
    pub at: Instant,
    /// Early edge, when known.
    pub earliest: Option<Instant>,
    /// Late edge, when known.
    pub latest: Option<Instant>,
}

impl Opening {
    pub(crate) fn start(start: &Start) -> Opening {
        Opening { by: "start".to_owned(), at: start.at, earliest: start.earliest, latest: start.latest }
    }
}

/// What closed a leg.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Closing {
    pub at: Instant,
    pub by: EndedBy,
    pub entry: Option<String>,
}

/// The ruler that growth is measured with.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ruler {
    /// Units of 2⁻⁴⁰ in a whole style.
    style: f64,
}

impl Ruler {
    /// For a curve in shares of the style 1; for one in mm its mean length.
    pub(crate) fn new(style_length: f64) -> Ruler {
        Ruler { style: style_length * UNITS }
    }

    /// Units that a mark stands for.
    pub(crate) fn wanted(&self, mark: f64) -> i64 {
        (mark * self.style) as i64 - ROUNDING
    }

    /// Units as a share of the style.
    pub(crate) fn progress(&self, units: i64) -> f64 {
        units.max(0) as f64 / self.style
    }
}

/// What a leg is to reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Target {
    /// Share of the style at which its spray is due.
    pub mark: f64,
    /// Side of the mark that its spray must stay on.
    pub bound: MarkBound,
    /// Share of the style from which on it is overrun.
    pub overrun: f64,
}

/// Begin of the last unread hours up to a moment: the time of the reading before.
fn unread_before(at: Instant, growth: &Growth) -> Option<Instant> {
    let spans = &growth.course().series().spans;
    let begun = spans.iter().rev().filter(|span| span.from <= at.0);
    begun.into_iter().find(|span| span.quality == Quality::Unknown).map(|span| Instant(span.from))
}

/// Runs one leg.
pub(crate) fn run(
    number: usize,
    opening: Opening,
    target: Option<Target>,
    closing: Option<Closing>,
    growth: &Growth,
    ruler: Ruler,
) -> Leg {
    let from = opening.at;
    let as_of = growth.course().as_of();
    let ended_at = closing.as_ref().map(|closing| closing.at);
    // Growth counts up to here; what lies later is not read yet.
    let until = match (as_of, ended_at) {
        (Some(as_of), Some(end)) => as_of.min(end),
        (Some(as_of), None) => as_of,
        (None, _) => from,
    };
    let uncertain = growth.uncertain_from(from);
    // A lag that is not in the rate goes by before anything grows.
    let lag = growth.curve().lag_seconds();
    let grown = |bound| {
        let from = from.plus(lag);
        if until <= from {
            return 0.0;
        }
        ruler.progress(growth.units_at(until, bound) - growth.units_at(from, bound))
    };
    let progress_low = grown(Bound::Low);
    let progress_high = if uncertain { grown(Bound::High) } else { progress_low };

    let by_now = |at: &Instant| *at <= until;
    let crossing = |from: Instant, bound| {
        target.and_then(|target| growth.reached(from.plus(lag), ruler.wanted(target.mark), bound))
    };
    let likely = crossing(from, Bound::Low);
    let overrun = |target: Target| growth.reached(from.plus(lag), ruler.wanted(target.overrun), Bound::Low);
    let reached_at = likely.filter(by_now);
    let early_edge = opening.earliest;
    let reached_earliest = match early_edge {
        Some(edge) if edge == from && !uncertain => likely,
        Some(edge) => crossing(edge, Bound::High),
        None => None,
    };
    let reached_latest = match opening.latest {
        Some(edge) if edge == from => likely,
        Some(edge) => crossing(edge, Bound::Low),
        None => None,
    };
    let may_be =
        if uncertain && reached_at.is_none() { crossing(from, Bound::High).filter(by_now) } else { None };
    Leg {
        number,
        opened_by: opening.by,
        from,
        mark: target.map(|target| target.mark),
        bound: target.map(|target| target.bound),
        reached_at,
        reached_earliest: reached_earliest.filter(by_now),
        reached_latest: reached_latest.filter(by_now),
        may_be_reached_since: may_be,
        unread_from: may_be.and_then(|at| unread_before(at, growth)),
        overrun_at: reached_at.and(target).and_then(overrun).filter(by_now),
        expected_at: likely.filter(|_| reached_at.is_none() && closing.is_none()),
        progress: progress_low,
        progress_low,
        progress_high,
        bee_hours: None,
        flowers_through: None,
        ended_at,
        ended_by: closing.as_ref().map(|closing| closing.by),
        ended_by_entry: closing.and_then(|closing| closing.entry),
        sprayed_with: None,
    }
}
