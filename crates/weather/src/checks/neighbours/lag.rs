//! Times that run behind or ahead of another source's: a logger on another
//! clock.

use super::days::{Day, REACH, SHIFTS, Sums, window};
use super::{Answer, median};
use crate::checks::Thresholds;

/// Days over which a lag is estimated.
const DAYS: i64 = 7;
/// Share of their hours that both sources must have.
const SHARE: f64 = 0.8;
/// Sources that run less alike say nothing of a lag.
const ALIKE: f64 = 0.8;
/// How far back its own earlier estimates count, in days before those.
const BEFORE: i64 = 21;
/// How many of them it takes.
const FEWEST: usize = 5;

/// For the seven days up to each day, by how many hours this source runs behind
/// the other.
pub(super) fn estimates(days: &[Day]) -> Vec<Option<f64>> {
    days.iter().map(|day| estimate(window(days, day.number - DAYS + 1, day.number))).collect()
}

/// The shift at which both run most alike, by a parabola through the best whole
/// hour and its neighbours.
fn estimate(days: &[Day]) -> Option<f64> {
    let mut alike = [0.0; SHIFTS];
    for (shift, alike) in alike.iter_mut().enumerate() {
        let mut sums = Sums::default();
        days.iter().for_each(|day| sums.add(&day.shifts[shift]));
        if sums.count < SHARE * DAYS as f64 * 24.0 {
            return None;
        }
        *alike = sums.correlation();
    }
    let best = (0..SHIFTS).max_by(|a, b| alike[*a].total_cmp(&alike[*b]))?;
    if alike[best] < ALIKE {
        return None;
    }
    let hours = best as f64 - REACH as f64;
    if best == 0 || best + 1 == SHIFTS {
        return Some(hours);
    }
    let (before, after) = (alike[best - 1], alike[best + 1]);
    let bend = before - 2.0 * alike[best] + after;
    Some(if bend < 0.0 { hours + 0.5 * (before - after) / bend } else { hours })
}

/// Judges the lag of the days up to one against those before.
pub(super) fn of_day(days: &[Day], estimates: &[Option<f64>], n: usize, limits: &Thresholds) -> Answer {
    let Some(lag) = estimates[n] else {
        return Answer::Unknown;
    };
    let last = days[n].number - DAYS;
    let within = days.partition_point(|day| day.number <= last - BEFORE)
        ..days.partition_point(|day| day.number <= last);
    let mut before: Vec<f64> = estimates[within].iter().copied().flatten().collect();
    let usual = if before.len() >= FEWEST { median(&mut before) } else { None };
    let (far, apart) = match usual {
        Some(usual) => (limits.lag_hours, lag - usual),
        None => (limits.lag_unseen_hours, lag),
    };
    if apart.abs() <= far {
        return Answer::Agrees;
    }
    let behind = if apart > 0.0 { "behind" } else { "ahead of" };
    let usual = if usual.is_some() { ", more than before" } else { "" };
    Answer::Parts(format!("runs {:.1} hours {behind} another source over {DAYS} days{usual}", apart.abs()))
}
