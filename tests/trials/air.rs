//! Invented air between 15 and 24 °C, where the reference curve is one straight
//! line, so that growth and crossings can be worked out here in a few lines.

use crate::dice::{Dice, hash};

pub(crate) const HOUR: i64 = 3600;
pub(crate) const DAY: i64 = 24 * HOUR;

/// Temperatures at one place, each full hour, joined by straight lines.
#[derive(Debug, Clone)]
pub(crate) struct Air {
    seed: u64,
}

impl Air {
    /// That of a cell, by its coordinates; each run has its own.
    pub(crate) fn of(seed: u64, latitude: f64, longitude: f64) -> Air {
        Air { seed: seed ^ hash(&format!("{latitude:.2} {longitude:.2}")) }
    }

    /// At a full hour, °C, in tenths: a day's course and some chance, never beyond
    /// 15.3 and 23.7.
    pub(crate) fn at(&self, hour: i64) -> f64 {
        let turn = (hour.rem_euclid(DAY) as f64 / DAY as f64 - 0.4) * std::f64::consts::TAU;
        let mut dice = Dice::new(self.seed ^ hour.div_euclid(HOUR).unsigned_abs());
        let chance = dice.between(-12, 13) as f64 / 10.0;
        ((19.5 + 3.0 * turn.sin() + chance) * 10.0).round() / 10.0
    }

    /// When tubes that start at `start` have come through `mark` of the style.
    pub(crate) fn crossing(&self, start: i64, mark: f64) -> i64 {
        let first = start.div_euclid(HOUR) * HOUR;
        let hours = (0..).map(|hour| first + hour * HOUR).map(|hour| (hour, self.at(hour)));
        crossing(hours, start, mark).expect("the hours never end")
    }
}

/// When tubes that start at `start` have come through `mark` of the style, seconds
/// since 1970, rounded up; none while the readings, in order of time, do not show it.
pub(crate) fn crossing(readings: impl Iterator<Item = (i64, f64)>, start: i64, mark: f64) -> Option<i64> {
    let mut grown = 0.0;
    let mut before: Option<(i64, f64)> = None;
    for (at, celsius) in readings {
        let Some((earlier, then)) = before.replace((at, celsius)) else { continue };
        if at <= start {
            continue;
        }
        let slope = (rate(celsius) - rate(then)) / (at - earlier) as f64;
        let from = earlier.max(start);
        let begin = rate(then) + slope * (from - earlier) as f64;
        let span = (at - from) as f64;
        let gain = (begin + slope * span / 2.0) * span;
        if grown + gain >= mark {
            // begin·x + slope·x²/2 = what is missing, in the form that stays exact
            // for a small slope.
            let missing = mark - grown;
            let root = (begin * begin + 2.0 * slope * missing).sqrt();
            return Some(from + (2.0 * missing / (begin + root)).ceil() as i64);
        }
        grown += gain;
    }
    None
}

/// Share of the style a second: 0.5 a day at 15 °C, 1.0 a day at 24 °C, a straight
/// line between (the curve that ships as `reference`).
fn rate(celsius: f64) -> f64 {
    (0.5 + (celsius - 15.0) / 18.0) / DAY as f64
}
