//! Readings as one course of temperature, with its holes.

use super::{DAY, HOUR, curve};

/// The longest time between two readings that a straight line still joins.
const JOINED: i64 = 3 * HOUR;
/// How far back readings say what a missing hour may have been.
const LOOK_BACK: i64 = 10 * DAY;
/// Days with a reading at an hour that are enough to speak for that hour.
const ENOUGH_DAYS: usize = 3;

/// A temperature at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Unix second.
    pub at: i64,
    /// °C.
    pub celsius: f64,
}

/// A stretch in which one rule gives the rate.
pub struct Stretch {
    /// Unix second of its begin.
    pub from: i64,
    /// Unix second of its end.
    pub to: i64,
    /// What is known of it.
    pub law: Law,
}

/// What is known of a stretch.
#[derive(Clone, Copy)]
pub enum Law {
    /// A straight line between two readings, °C at both ends.
    Line(f64, f64),
    /// Unknown: the least and the greatest rate, fraction of the style a day, and
    /// the middle of the temperatures that may have been, °C.
    Between(f64, f64, f64),
}

/// Readings up to some moment.
pub struct Weather {
    readings: Vec<Reading>,
    /// Stretches without a hole between them, from the first reading to the last.
    stretches: Vec<Stretch>,
    /// Fraction of the style a day that no temperature exceeds.
    greatest: f64,
}

impl Weather {
    /// The readings up to `now`.
    pub fn new(readings: &[Reading], nodes: &[(f64, f64)], now: i64) -> Self {
        let mut known: Vec<Reading> = readings.iter().filter(|reading| reading.at <= now).copied().collect();
        known.sort_by_key(|reading| reading.at);
        let mut stretches = Vec::new();
        for pair in known.windows(2) {
            let (from, to) = (pair[0].at, pair[1].at);
            if to - from <= JOINED {
                stretches.push(Stretch { from, to, law: Law::Line(pair[0].celsius, pair[1].celsius) });
            } else {
                hole(&known, nodes, from, to, &mut stretches);
            }
        }
        Weather { readings: known, stretches, greatest: curve::greatest(nodes) }
    }

    /// The last reading.
    pub fn last(&self) -> Option<Reading> {
        self.readings.last().copied()
    }

    /// Stretches from one Unix second to another, as far as readings go. Before
    /// the first reading growth may have been anything; for degree-hours its
    /// temperature is held.
    pub fn between(&self, from: i64, to: i64) -> Vec<Stretch> {
        let Some(first) = self.readings.first() else { return Vec::new() };
        let before = Stretch { from, to: first.at, law: Law::Between(0.0, self.greatest, first.celsius) };
        let of_readings =
            self.stretches.iter().map(|one| Stretch { from: one.from, to: one.to, law: one.law });
        std::iter::once(before)
            .chain(of_readings)
            .filter_map(|stretch| {
                let cut = stretch.cut(from, to);
                (cut.from < cut.to).then_some(cut)
            })
            .collect()
    }
}

impl Stretch {
    /// The part of it that lies between two Unix seconds.
    fn cut(&self, from: i64, to: i64) -> Stretch {
        let (begin, end) = (self.from.max(from), self.to.min(to));
        let law = match self.law {
            Law::Line(a, b) => {
                let celsius = |at: i64| a + (b - a) * (at - self.from) as f64 / (self.to - self.from) as f64;
                Law::Line(celsius(begin), celsius(end))
            }
            unknown @ Law::Between(..) => unknown,
        };
        Stretch { from: begin, to: end, law }
    }
}

/// A hole between two readings, cut at the full hours UTC.
fn hole(known: &[Reading], nodes: &[(f64, f64)], from: i64, to: i64, stretches: &mut Vec<Stretch>) {
    let before: Vec<&Reading> =
        known.iter().filter(|reading| reading.at <= from && reading.at > from - LOOK_BACK).collect();
    let mut at = from;
    while at < to {
        let next = ((at.div_euclid(HOUR) + 1) * HOUR).min(to);
        let hour = at.rem_euclid(DAY) / HOUR;
        let same_hour: Vec<&Reading> =
            before.iter().filter(|reading| reading.at.rem_euclid(DAY) / HOUR == hour).copied().collect();
        let mut days: Vec<i64> = same_hour.iter().map(|reading| reading.at.div_euclid(DAY)).collect();
        days.dedup();
        let speak = if days.len() >= ENOUGH_DAYS { &same_hour } else { &before };
        // The reading at which the hole begins is one of them.
        let coldest = speak.iter().map(|reading| reading.celsius).fold(f64::INFINITY, f64::min);
        let warmest = speak.iter().map(|reading| reading.celsius).fold(f64::NEG_INFINITY, f64::max);
        let (least, greatest) = curve::range(nodes, coldest, warmest);
        let law = Law::Between(least, greatest, (coldest + warmest) / 2.0);
        stretches.push(Stretch { from: at, to: next, law });
        at = next;
    }
}
