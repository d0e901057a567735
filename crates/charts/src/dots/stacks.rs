//! How dots are stacked.

use model::time::{DAY, HOUR, Instant};

use super::{BIN, Dots, LEFT, MOST_NEVER, RIGHT};
use crate::chances;
use crate::scale::TimeAxis;

/// Room for so many dots on each other, however few there are.
const LEAST_STACK: usize = 5;
/// Shortest axis: with less a few minutes would look like much.
const SHORTEST: i64 = DAY;
/// How often longer than all dots the wait for the first one is before the axis begins
/// later than now.
const LONG_WAIT: i64 = 3;

/// Where each dot stands: the middle of its bin, and how many lie under it.
pub(super) struct Stacks {
    pub time: TimeAxis,
    pub dots: Vec<(f64, usize)>,
    highest: usize,
}

impl Stacks {
    pub(super) fn of(dots: &Dots<'_>) -> Stacks {
        let odds = dots.odds;
        let never = chances::never(odds);
        let columns = never.div_ceil(MOST_NEVER) as f64;
        let beside = if never > 0 { columns * BIN + 6.0 } else { 0.0 };
        let come: Vec<Instant> = odds.dots.iter().flatten().copied().collect();
        let first = come.iter().copied().min().unwrap_or(dots.now);
        let last = come.iter().copied().max().unwrap_or(dots.now);
        let last = if never > 0 { last.max(odds.horizon) } else { last };
        let wide = last.since(first).max(SHORTEST);
        let waits = first.since(dots.now) > LONG_WAIT * wide;
        let from = if waits { first.plus(-wide) } else { first.min(dots.now).plus(-2 * HOUR) };
        let to = last.max(dots.now).plus(2 * HOUR).max(from.plus(SHORTEST));
        let time = TimeAxis { from, to, left: LEFT, right: RIGHT - beside };
        let bins = ((time.right - time.left) / BIN).floor() as usize;
        let mut heights = vec![0; bins + 1];
        let place = |at: Instant| {
            let bin = (((time.x(at) - time.left) / BIN) as usize).min(bins - 1);
            let under = heights[bin];
            heights[bin] += 1;
            (time.left + BIN * (bin as f64 + 0.5), under)
        };
        let placed: Vec<(f64, usize)> = come.into_iter().map(place).collect();
        let highest = placed.iter().map(|(_, under)| under + 1).max().unwrap_or(0);
        Stacks { time, dots: placed, highest: highest.max(never.min(MOST_NEVER)) }
    }

    /// Of the panel, px.
    pub(super) fn height(&self) -> f64 {
        BIN * (self.highest.max(LEAST_STACK) as f64 + 1.0) + 8.0
    }
}
