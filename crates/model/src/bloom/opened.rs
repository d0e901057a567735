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
/// start.
pub struct Bloom<'a> {
    counts: &'a [Count],
    flowers: Option<f64>,
    scale: Scale,
    course: &'a Course,
}

impl<'a> Bloom<'a> {
    /// Bloom by counts sorted by time, of which there is at least one; with the
    /// flowers of a tree, where they are known.
    pub fn new(counts: &'a [Count], flowers: Option<f64>, course: &'a Course) -> Option<Bloom<'a>> {
        let most = counts.iter().map(|count| count.mean).fold(0.0, f64::max);
        let scale = Scale::new(flowers, 0.0, most);
        (!counts.is_empty()).then_some(Bloom { counts, flowers: scale.flowers, scale, course })
    }

    /// Open flowers on a tree at a moment.
    pub fn open_at(&self, at: Instant) -> Flowers {
        let after = self.counts.partition_point(|count| count.at <= at);
        match (after.checked_sub(1), self.counts.get(after)) {
            (Some(before), Some(next)) => self.between(&self.counts[before], next, at),
            (None, Some(first)) => Flowers {
                low: 0.0,
                likely: self.extended(self.counts.first().zip(self.counts.get(1)), at, first),
                high: Some(first.mean),
            },
            (Some(last), None) => {
                let (last, before) = (&self.counts[last], last.checked_sub(1).map(|n| &self.counts[n]));
                let likely = match self.flowers {
                    Some(_) => self.extended(before.zip(Some(last)), at, last),
                    // Nothing bends a bare logarithm down to the flowers there are.
                    None => (at == last.at).then_some(last.mean),
                };
                Flowers { low: last.mean, likely, high: self.flowers }
            }
            (None, None) => Flowers::default(),
        }
    }

    fn between(&self, before: &Count, next: &Count, at: Instant) -> Flowers {
        let share = self.share(before.at, next.at, at);
        let (a, b) = (self.scale.at(before.level()), self.scale.at(next.level()));
        let level = a + (b - a) * share;
        let (least, most) = (before.mean.min(next.mean), before.mean.max(next.mean));
        if before.trees < 2 || next.trees < 2 {
            return Flowers { low: least, likely: Some(self.back(level)), high: Some(most) };
        }
        let (by_a, by_b) = ((1.0 - share) * self.scale.error(before), share * self.scale.error(next));
        let spread = NINETY_PERCENT * libm::sqrt(by_a * by_a + by_b * by_b);
        Flowers {
            low: self.back(level - spread),
            likely: Some(self.back(level)),
            high: Some(self.back(level + spread)),
        }
    }

    /// Along the line through two rising counts, beyond them.
    fn extended(&self, pair: Option<(&Count, &Count)>, at: Instant, near: &Count) -> Option<f64> {
        if at == near.at {
            return Some(near.mean);
        }
        let (a, b) = pair?;
        let degrees = self.course.degrees(a.at, b.at);
        let rise = self.scale.at(b.level()) - self.scale.at(a.level());
        if degrees <= 0 || rise <= 0.0 {
            return None;
        }
        let way = self.course.degrees(a.at, at) as f64 / degrees as f64;
        Some(self.back(self.scale.at(a.level()) + rise * way))
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
        match self.flowers {
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
        let by = |bound| growth.left_behind(until, style, bound);
        let (Some(latest), sure) = (by(Bound::High), by(Bound::Low)) else {
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
        let sure = open(sure);
        Flowers { high: open(Some(latest)).high, ..sure }
    }
}

/// Flowers that came through, leg by leg and in all.
pub fn sum(legs: impl IntoIterator<Item = Flowers>) -> Option<Flowers> {
    legs.into_iter().reduce(Flowers::and)
}
