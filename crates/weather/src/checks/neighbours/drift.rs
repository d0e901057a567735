//! A difference to another source that grows from day to day: a sensor that
//! drifts.

use super::days::{Day, window};
use super::{Answer, median};
use crate::checks::Thresholds;

/// Days over which a drift is looked for.
const DAYS: i64 = 20;
/// How many of them must have a difference.
const FEWEST: usize = 18;

/// Judges the twenty days up to one by the median slope between any two of them
/// (Theil 1950 and Sen 1968), which a few odd days do not move.
pub(super) fn of_day(days: &[Day], n: usize, limits: &Thresholds) -> Answer {
    let last = days[n].number;
    let apart = |day: &Day| day.apart.map(|apart| (day.number as f64, apart));
    let points: Vec<(f64, f64)> = window(days, last - DAYS + 1, last).iter().filter_map(apart).collect();
    if points.len() < FEWEST || days[n].apart.is_none() {
        return Answer::Unknown;
    }
    let pairs = points.iter().enumerate().flat_map(|(n, a)| points[n + 1..].iter().map(move |b| (a, b)));
    let mut slopes: Vec<f64> = pairs.map(|(a, b)| (b.1 - a.1) / (b.0 - a.0)).collect();
    match median(&mut slopes) {
        None => Answer::Unknown,
        Some(slope) if slope.abs() <= limits.drift_c_per_day => Answer::Agrees,
        Some(slope) => {
            Answer::Parts(format!("drifts from another source by {slope:.2} °C a day over {DAYS} days"))
        }
    }
}
