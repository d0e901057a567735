//! The same hours of day on another level for some days running: a sensor in the
//! sun, a shield that fell off, another place.

use super::days::{Day, window};
use super::{Answer, median};
use crate::checks::Thresholds;

/// Days running that must part: weather parts two places for a day or two.
pub(super) const RUN: i64 = 3;
/// Days before them that they are judged by.
const BEFORE: i64 = 14;
/// How many of those must have these hours.
const FEWEST: usize = 7;
/// A median deviation as a standard deviation, for a normal spread.
const SPREAD: f64 = 1.4826;

/// Judges four hours of a day with those of the days before.
pub(super) fn of_slot(days: &[Day], n: usize, slot: usize, limits: &Thresholds) -> Answer {
    let last = days[n].number;
    let slots = |from, to| window(days, from, to).iter().filter_map(|day| day.slots[slot]);
    let mut before: Vec<f64> = slots(last - RUN - BEFORE + 1, last - RUN).collect();
    if before.len() < FEWEST || slots(last - RUN + 1, last).count() < RUN as usize {
        return Answer::Unknown;
    }
    let Some(usual) = median(&mut before) else {
        return Answer::Unknown;
    };
    before.iter_mut().for_each(|apart| *apart = (*apart - usual).abs());
    let spread = SPREAD * median(&mut before).unwrap_or(0.0);
    let far = limits.level_c.max(limits.level_spreads * spread);
    let off = || slots(last - RUN + 1, last).map(|apart| apart - usual);
    let least = off().map(f64::abs).fold(f64::INFINITY, f64::min);
    if least < far || !(off().all(|off| off > 0.0) || off().all(|off| off < 0.0)) {
        return Answer::Agrees;
    }
    let warmer = if off().all(|off| off > 0.0) { "warmer" } else { "colder" };
    Answer::Parts(format!(
        "from {:02} to {:02} UTC at least {least:.1} °C {warmer} beside another source than usual, {RUN} days running",
        slot * 4,
        slot * 4 + 4
    ))
}
