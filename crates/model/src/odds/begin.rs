//! Where a season's first leg begins, and the sums over the hours since.

use super::tubes::Row;
use crate::bloom::Rise;
use crate::time::HOUR;

/// Where the first leg of a case begins.
#[derive(Debug, Clone, Copy)]
pub(super) enum Begin {
    /// At a moment that is known to some error.
    Known(Known),
    /// Where the counts so far lead to, a count at so many seconds after the last
    /// reading and with so many degree units between the two.
    Rise { rise: Rise, counted: i64, gone: i64 },
}

/// Farthest that a start is drawn from its middle, in standard errors.
const FARTHEST_OFF: f64 = 4.0;

/// A moment, in seconds after the last reading, with its standard errors to either
/// side and what it never lies outside of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub at: i64,
    pub early: f64,
    pub late: f64,
    pub within: (i64, i64),
}

impl Begin {
    /// The soonest that it may be, in seconds after the last reading.
    pub(super) fn soonest(&self) -> i64 {
        match self {
            Begin::Known(known) => known.drawn(-FARTHEST_OFF),
            Begin::Rise { counted, .. } => *counted,
        }
    }
}

impl Known {
    pub(super) fn is_certain(&self) -> bool {
        self.early <= 0.0 && self.late <= 0.0
    }

    /// So many standard errors off, to either side by that side's own.
    pub(super) fn drawn(&self, off: f64) -> i64 {
        let off = off.clamp(-FARTHEST_OFF, FARTHEST_OFF);
        let seconds = off * if off < 0.0 { self.early } else { self.late };
        (self.at + seconds as i64).clamp(self.within.0, self.within.1)
    }
}

/// Running sums over the hours behind the last reading, the last knot at it.
pub(super) struct Behind {
    /// The first knot, in seconds after the last reading: 0 or before.
    pub from: i64,
    first: i64,
    sums: Vec<i64>,
}

impl Behind {
    /// From so many seconds after the last reading on; `at` gives the sum there.
    pub(super) fn new(from: i64, at: impl Fn(i64) -> i64) -> Behind {
        let from = from.min(0);
        let first = if from % HOUR == 0 { HOUR } else { -from % HOUR };
        let later = (0..).map(|hours| from + first + hours * HOUR).take_while(|knot| *knot <= 0);
        let begin = at(from);
        let sums = std::iter::once(from).chain(later).map(|knot| at(knot) - begin).collect();
        Behind { from, first, sums }
    }

    pub(super) fn row(&self) -> Row<'_> {
        Row { sums: &self.sums, first: self.first, guide: None }
    }

    /// The sum from a moment to the last reading.
    pub(super) fn since(&self, at: i64) -> i64 {
        let all = self.sums[self.sums.len() - 1];
        self.row().at(at.min(0) - self.from).map_or(0, |before| all - before)
    }
}
