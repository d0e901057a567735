//! How many flowers were open at any moment, and how many of them had time enough
//! to get their tubes through.

use serde::{Deserialize, Serialize};

use super::{Count, NINETY_PERCENT, Scale};
use crate::growth::{Bound, Course, Growth};
use crate::time::Instant;

/// Flowers on a tree with the edges of their interval.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Flowers {
    /// At least so many.
    pub low: f64,
    /// Likely so many; none where the counts do not tell.
    pub likely: Option<f64>,
    /// At most so many; none where nothing bounds them.
    pub high: Option<f64>,
}

impl Flowers {
    /// These with others.
    fn and(self, other: Flowers) -> Flowers {
        let sum = |a: Option<f64>, b: Option<f64>| Some(a? + b?);
        Flowers {
            low: self.low + other.low,
            likely: sum(self.likely, other.likely),
            high: sum(self.high, other.high),
        }
    }

    /// These, where there are no more on a tree.
    #[must_use]
    pub fn at_most(self, flowers: Option<f64>) -> Flowers {
        let Some(most) = flowers else { return self };
        let capped = |some: Option<f64>| some.map(|some| some.min(most));
        Flowers { low: self.low.min(most), likely: capped(self.likely), high: capped(self.high) }
    }

    /// The same with its edges on either side of what is likely, where the counts
    /// contradict one another.
    fn in_order(self) -> Flowers {
        let likely = self.likely;
        Flowers {
            low: likely.map_or(self.low, |likely| likely.min(self.low)),
            likely,
            high: self.high.map(|high| likely.map_or(high, |likely| likely.max(high))),
        }
    }

    /// Those of these that were not among the others yet.
    fn beyond(self, earlier: Flowers) -> Flowers {
        let less = |a: Option<f64>, b: f64| a.map(|a| (a - b).max(0.0));
        Flowers {
            low: (self.low - earlier.high.unwrap_or(self.low)).max(0.0),
            likely: earlier.likely.and_then(|earlier| less(self.likely, earlier)),
            high: less(self.high, earlier.low),
        }
    }
}

/// Bloom of a block as its counts have it: the same scale and degree-hours as the
/// start. A flower that has opened stays open, so counts that fall are taken for
/// several of one number.
pub struct Bloom<'a> {
    points: Vec<Point>,
    scale: Scale,
    course: &'a Course,
}

/// A count on the scale, with the edges of its interval.
#[derive(Debug, Clone, Copy)]
struct Point {
    at: Instant,
    /// Of the counts that are taken for one.
    mean: f64,
    level: f64,
    /// Edges; no count before has a higher low one, none after a lower high one.
    low: f64,
    high: f64,
    trees: usize,
}

impl<'a> Bloom<'a> {
    /// Bloom by counts sorted by time, of which there is at least one; with the
    /// flowers of a tree, where they are known.
    pub fn new(counts: &[Count], flowers: Option<f64>, course: &'a Course) -> Option<Bloom<'a>> {
        let most = counts.iter().map(|count| count.mean).fold(0.0, f64::max);
        let scale = Scale::new(flowers, 0.0, most);
        let points = points(counts, scale);
        (!counts.is_empty()).then_some(Bloom { points, scale, course })
    }

    /// Flowers of a tree, where they are known and can be right.
    pub fn flowers(&self) -> Option<f64> {
        self.scale.flowers
    }

    /// Open flowers on a tree at a moment.
    pub fn open_at(&self, at: Instant) -> Flowers {
        let after = self.points.partition_point(|point| point.at <= at);
        let open = match (after.checked_sub(1), self.points.get(after)) {
            (Some(before), Some(next)) => self.between(&self.points[before], next, at),
            // None was open at the first count, so none was before it.
            (None, Some(first)) if first.mean <= 0.0 => {
                Flowers { low: 0.0, likely: Some(0.0), high: Some(0.0) }
            }
            (None, Some(first)) => {
                let likely = self.extended(self.points.first().zip(self.points.get(1)), at);
                Flowers { low: 0.0, likely, high: Some(self.back(first.high)) }
            }
            (Some(last), None) => {
                let point = &self.points[last];
                let likely = match self.flowers() {
                    _ if at == point.at => Some(point.mean),
                    Some(_) => self.on_from_last(at),
                    // Nothing bends a bare logarithm down to the flowers there are.
                    None => None,
                };
                Flowers { low: self.back(point.low), likely, high: self.flowers() }
            }
            (None, None) => Flowers::default(),
        };
        open.in_order()
    }

    /// Open flowers at a moment as one number, for a decision: past the last count
    /// along the line through the last two, else as many as were counted last.
    pub fn reckoned_at(&self, at: Instant) -> f64 {
        let last = self.points.last().map_or(0.0, |last| last.mean);
        let likely = self.open_at(at).likely.or_else(|| self.on_from_last(at));
        likely.unwrap_or(last)
    }

    fn between(&self, before: &Point, next: &Point, at: Instant) -> Flowers {
        let share = self.share(before.at, next.at, at);
        let along = |a: f64, b: f64| self.back(a + (b - a) * share);
        let likely = Some(along(before.level, next.level));
        // One tree tells nothing of its error: anything between the two counts.
        if before.trees < 2 || next.trees < 2 {
            return Flowers { low: self.back(before.low), likely, high: Some(self.back(next.high)) };
        }
        Flowers { low: along(before.low, next.low), likely, high: Some(along(before.high, next.high)) }
    }

    fn on_from_last(&self, at: Instant) -> Option<f64> {
        let before = self.points.len().checked_sub(2).map(|n| &self.points[n]);
        self.extended(before.zip(self.points.last()), at)
    }

    /// Along the line through two rising counts, beyond them.
    fn extended(&self, pair: Option<(&Point, &Point)>, at: Instant) -> Option<f64> {
        let (a, b) = pair?;
        let degrees = self.course.degrees(a.at, b.at);
        let rise = b.level - a.level;
        if degrees <= 0 || rise <= 0.0 {
            return None;
        }
        let way = self.course.degrees(a.at, at) as f64 / degrees as f64;
        Some(self.back(a.level + rise * way))
    }

    /// How far of the way from one count to the next, by degree-hours, by the clock
    /// where there are none.
    fn share(&self, from: Instant, to: Instant, at: Instant) -> f64 {
        let degrees = self.course.degrees(from, to);
        let share = if degrees > 0 {
            self.course.degrees(from, at) as f64 / degrees as f64
        } else {
            at.since(from) as f64 / to.since(from).max(1) as f64
        };
        share.clamp(0.0, 1.0)
    }

    fn back(&self, level: f64) -> f64 {
        match self.scale.flowers {
            Some(flowers) => flowers / (1.0 + libm::exp(-level)),
            None => libm::exp(level),
        }
    }

    /// Flowers whose tubes were through by `until`, of those that opened after
    /// `opened_after` (all, without it): they opened so early that a whole style,
    /// `style` units of growth, lies behind them.
    pub fn through(
        &self,
        growth: &Growth,
        style: i64,
        opened_after: Option<Instant>,
        until: Instant,
    ) -> Flowers {
        let by =
            |bound| growth.left_behind(until, style, bound).map(|at| at.plus(-growth.curve().lag_seconds()));
        let sure = by(Bound::Low);
        let parted = sure.is_none() || growth.is_parted();
        let Some(latest) = (if parted { by(Bound::High) } else { sure }) else {
            return Flowers { low: 0.0, likely: Some(0.0), high: Some(0.0) };
        };
        let open = |at: Option<Instant>| match (at, opened_after) {
            (None, _) => Flowers { low: 0.0, likely: Some(0.0), high: Some(0.0) },
            (Some(at), None) => self.open_at(at),
            (Some(at), Some(after)) if at <= after => {
                Flowers { low: 0.0, likely: Some(0.0), high: Some(0.0) }
            }
            (Some(at), Some(after)) => self.open_at(at).beyond(self.open_at(after)),
        };
        if !parted {
            return open(sure);
        }
        let sure = open(sure);
        Flowers { high: open(Some(latest)).high, ..sure }
    }
}

/// The counts as points: those that fall pooled with the ones before them, each with
/// the trees it was made on for a weight, so that the numbers rise.
fn points(counts: &[Count], scale: Scale) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::with_capacity(counts.len());
    // Each run of pooled counts: how many there are, their trees, their sum.
    let mut runs: Vec<(usize, usize, f64)> = Vec::with_capacity(counts.len());
    let mut least = f64::NEG_INFINITY;
    for count in counts {
        let Count { at, mean, trees, .. } = *count;
        let (level, half) = (scale.at(count.level()), NINETY_PERCENT * scale.error(count));
        least = least.max(level - half);
        points.push(Point { at, mean, level, low: least, high: level + half, trees });
        runs.push((1, trees, mean * trees as f64));
        while let [.., (_, trees, sum), (more, more_trees, more_sum)] = runs[..]
            && sum / trees as f64 > more_sum / more_trees as f64
        {
            runs.pop();
            if let Some(run) = runs.last_mut() {
                *run = (run.0 + more, run.1 + more_trees, run.2 + more_sum);
            }
        }
    }
    let mut first = 0;
    for (counts, trees, sum) in runs {
        let mean = sum / trees as f64;
        for point in points[first..first + counts].iter_mut().filter(|_| counts > 1) {
            let pooled = Count { at: point.at, mean, trees, error: 0.0 };
            (point.mean, point.level) = (mean, scale.at(pooled.level()));
        }
        first += counts;
    }
    let mut most = f64::INFINITY;
    for point in points.iter_mut().rev() {
        most = most.min(point.high);
        point.high = most;
    }
    points
}

/// Flowers that came through, leg by leg and in all.
pub fn sum(legs: impl IntoIterator<Item = Flowers>) -> Option<Flowers> {
    legs.into_iter().reduce(Flowers::and)
}
