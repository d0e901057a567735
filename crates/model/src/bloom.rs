//! From counts of open flowers to the moment at which the clock starts.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::growth::Course;
use crate::time::Instant;

mod next;
mod opened;
mod rise;
mod walks;
pub(crate) use next::in_daylight;
pub use next::next_count;
pub use opened::{Bloom, Flowers, sum};
pub(crate) use rise::Rise;
pub use walks::{Alive, WIDE_SPREAD, Walk, WalkSeen, walks};

/// Two-sided 90 % point of the normal distribution.
pub(crate) const NINETY_PERCENT: f64 = 1.645;

/// What a start rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// A person logged it.
    Logged,
    /// Between a count below the threshold and one at or above it.
    BetweenCounts,
    /// The first count was at or above the threshold already.
    NoLaterThan,
    /// Not yet: foreseen from the counts below the threshold.
    Expected,
}

/// When live open flowers reached the threshold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Start {
    /// Most likely moment; the clock runs from here.
    pub at: Instant,
    /// Early edge of the 90 % interval, when known.
    pub earliest: Option<Instant>,
    /// Late edge of the 90 % interval, when known.
    pub latest: Option<Instant>,
    /// What it rests on.
    pub basis: Basis,
}

impl Start {
    /// The same in a sentence; `threshold` is the live open flowers a tree at which the
    /// clock starts.
    pub fn told(&self, threshold: f64, zone: Tz) -> String {
        let at = self.at.spoken(zone);
        let digits = if threshold < 10.0 && threshold.fract() != 0.0 { 1 } else { 0 };
        let wanted = format!("{threshold:.digits$}");
        let range = match (self.earliest, self.latest) {
            (Some(early), Some(late)) if early < late => {
                format!(" (90 times in 100 between {} and {})", early.spoken(zone), late.spoken(zone))
            }
            _ => String::new(),
        };
        match self.basis {
            Basis::Logged => format!("Bloom start as logged: {at}."),
            Basis::BetweenCounts => {
                format!("{wanted} live open flowers a tree were reached {at}{range}, by the counts.")
            }
            Basis::NoLaterThan => {
                format!(
                    "The first count already had {wanted} live open flowers a tree: started {at} or before."
                )
            }
            Basis::Expected => format!("{wanted} live open flowers a tree are expected {at}{range}."),
        }
    }
}

/// One count of open flowers over a sample of trees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Count {
    /// When the trees were counted.
    pub at: Instant,
    /// Mean of open flowers on a tree.
    pub mean: f64,
    /// Trees counted.
    pub trees: usize,
    /// Standard error of the mean; 0 for one tree.
    pub error: f64,
}

impl Count {
    /// Sums up the trees of one count, of which there is at least one.
    pub fn of(at: Instant, open_per_tree: &[i64]) -> Count {
        let trees = open_per_tree.len();
        let n = trees as f64;
        let mean = open_per_tree.iter().sum::<i64>() as f64 / n;
        let squares: f64 = open_per_tree.iter().map(|open| (*open as f64 - mean).powi(2)).sum();
        let error = if trees < 2 { 0.0 } else { libm::sqrt(squares / (n - 1.0) / n) };
        Count { at, mean, trees, error }
    }

    /// The mean as it enters a logarithm: none open counts as half a flower on
    /// all the trees together.
    fn level(&self) -> f64 {
        if self.mean > 0.0 { self.mean } else { 0.5 / self.trees as f64 }
    }
}

/// The scale on which bloom opens in a straight line over degree-hours:
/// ln(c/(F−c)) with the flowers F of the tree known, ln c otherwise.
#[derive(Debug, Clone, Copy)]
struct Scale {
    flowers: Option<f64>,
}

impl Scale {
    fn new(flowers: Option<f64>, threshold: f64, most: f64) -> Scale {
        // A count above all flowers, or a threshold there, has no logit.
        Scale { flowers: flowers.filter(|flowers| *flowers > threshold && *flowers > most) }
    }

    fn at(&self, open: f64) -> f64 {
        match self.flowers {
            Some(flowers) => libm::log(open / (flowers - open)),
            None => libm::log(open),
        }
    }

    /// Standard error on this scale by the delta method.
    fn error(&self, count: &Count) -> f64 {
        let open = count.level();
        match self.flowers {
            Some(flowers) => count.error * flowers / (open * (flowers - open)),
            None => count.error / open,
        }
    }
}

/// The start from counts sorted by time, or what is foreseen of it.
///
/// `threshold` and `flowers` are per tree. Between the first count at or above
/// the threshold and the last one before it below, the scale is interpolated
/// in degree-hours above 4.5 °C, or in clock time when there are none.
pub fn from_counts(counts: &[Count], threshold: f64, flowers: Option<f64>, course: &Course) -> Option<Start> {
    let Some(above) = counts.iter().position(|count| count.mean >= threshold) else {
        return Rise::of(counts, threshold, flowers, course)?.expected(course);
    };
    let upper = &counts[above];
    let Some(lower) = counts[..above].last() else {
        return Some(Start {
            at: upper.at,
            earliest: None,
            latest: Some(upper.at),
            basis: Basis::NoLaterThan,
        });
    };
    let scale = Scale::new(flowers, threshold, upper.mean);
    let (low, high, goal) = (scale.at(lower.level()), scale.at(upper.level()), scale.at(threshold));
    let rise = high - low;
    // Half a flower on few trees can already exceed a tiny threshold.
    let share = if rise > 0.0 { ((goal - low) / rise).clamp(0.0, 1.0) } else { 1.0 };
    let spread = if rise > 0.0 {
        let by_lower = (goal - high) / (rise * rise) * scale.error(lower);
        let by_upper = (goal - low) / (rise * rise) * scale.error(upper);
        NINETY_PERCENT * libm::sqrt(by_lower * by_lower + by_upper * by_upper)
    } else {
        0.0
    };
    let between = Between::new(lower.at, upper.at, course);
    let edges = if lower.trees < 2 || upper.trees < 2 {
        (lower.at, upper.at)
    } else {
        (between.share(share - spread), between.share(share + spread))
    };
    Some(Start {
        at: between.share(share),
        earliest: Some(edges.0),
        latest: Some(edges.1),
        basis: Basis::BetweenCounts,
    })
}

/// The way from one count to the next, in degree-hours or in clock time.
struct Between<'a> {
    from: Instant,
    to: Instant,
    degrees: i64,
    course: &'a Course,
}

impl<'a> Between<'a> {
    fn new(from: Instant, to: Instant, course: &'a Course) -> Between<'a> {
        Between { from, to, degrees: course.degrees(from, to), course }
    }

    /// The moment at a share of the way, clipped to its ends and rounded up.
    fn share(&self, share: f64) -> Instant {
        let share = share.clamp(0.0, 1.0);
        let by_clock = self.from.plus(libm::ceil(self.to.since(self.from) as f64 * share) as i64);
        if self.degrees <= 0 || share == 0.0 || share == 1.0 {
            return by_clock;
        }
        let wanted = libm::ceil(self.degrees as f64 * share) as i64;
        match self.course.gathered(self.from, wanted) {
            Some(at) => at.clamp(self.from, self.to),
            // Beyond the last hour the temperature is held: clock time from there.
            None => self.beyond(wanted),
        }
    }

    fn beyond(&self, wanted: i64) -> Instant {
        let begin = self.course.series().end().unwrap_or(self.from).max(self.from);
        let (done, left) = (self.course.degrees(self.from, begin), self.course.degrees(begin, self.to));
        if left <= 0 {
            return self.to;
        }
        let share = (wanted - done) as f64 / left as f64;
        begin.plus(libm::ceil(self.to.since(begin) as f64 * share) as i64).clamp(self.from, self.to)
    }
}

#[cfg(test)]
mod tests;
