//! How bloom goes on from the last two counts below the threshold.

use super::{Basis, Count, Scale, Start};
use crate::growth::Course;
use crate::time::Instant;

/// Standard deviation between the trees of a block as a share of their mean, where
/// only one of them was counted: a CV of 25 % (common practice, no source).
const BETWEEN_TREES: f64 = 0.25;

/// A point on the scale on which bloom opens in a straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Level {
    /// Its place.
    pub at: f64,
    /// Standard error of that.
    pub error: f64,
}

/// The line through the last two counts, which are both below the threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rise {
    /// When the last one was made.
    pub from: Instant,
    before: Level,
    last: Level,
    goal: f64,
    /// Degree units between the two.
    degrees: i64,
}

impl Rise {
    /// The line through the last two of `counts`; none where they do not rise, or the
    /// course does not reach to the last one, or nothing warm lay between them.
    pub(crate) fn of(
        counts: &[Count],
        threshold: f64,
        flowers: Option<f64>,
        course: &Course,
    ) -> Option<Rise> {
        let [.., before, last] = counts else {
            return None;
        };
        let scale = Scale::new(flowers, threshold, last.mean);
        let level = |count: &Count| {
            let one = Count { error: BETWEEN_TREES * count.level(), ..*count };
            let counted = if count.trees < 2 { &one } else { count };
            Level { at: scale.at(count.level()), error: scale.error(counted) }
        };
        let degrees = course.degrees(before.at, last.at);
        let rise = Rise {
            from: last.at,
            before: level(before),
            last: level(last),
            goal: scale.at(threshold),
            degrees,
        };
        (rise.last.at > rise.before.at && degrees > 0 && course.covers(last.at)).then_some(rise)
    }

    /// Degree units from the last count to the threshold when the two counts are off
    /// by so many of their standard errors; negative when the last is then beyond it
    /// already, none when the two do not rise.
    pub(crate) fn wanted(&self, before: f64, last: f64) -> Option<i64> {
        let low = self.before.at + before * self.before.error;
        let high = self.last.at + last * self.last.error;
        let wanted = libm::ceil((self.goal - high) / (high - low) * self.degrees as f64);
        (high > low && wanted <= i64::MAX as f64 / 4.0).then_some(wanted as i64)
    }

    /// Whether the counts behind it are known to some error.
    pub(crate) fn is_doubtful(&self) -> bool {
        self.before.error > 0.0 || self.last.error > 0.0
    }

    /// The start that it leads to when the hours at hand, read or foretold, are warm
    /// enough for it.
    pub(crate) fn expected(&self, course: &Course) -> Option<Start> {
        let at = course.gathered(self.from, self.wanted(0.0, 0.0)?)?;
        Some(Start { at, earliest: None, latest: None, basis: Basis::Expected })
    }
}
