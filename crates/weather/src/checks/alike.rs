//! Whether the site's other sources went along.

use model::time::HOUR;

use super::line::Line;

/// How much earlier or later a front may come to another source of the site.
const REACH: i64 = 2 * HOUR;
/// Share of a change that another source must show to have gone along.
const SHARE: f64 = 0.5;

/// Whether another source changed by half as much in the same direction, as
/// quickly (an hour at least) and within two hours of it; none where none can
/// tell.
pub(super) fn went_along(others: &[Line], from: i64, to: i64, change: f64) -> Option<bool> {
    let along = |other: &Line| {
        // It must have come as far as the change itself.
        other.at(to)?;
        let run = other.steepest(from - REACH, to + REACH, (to - from).max(HOUR))?;
        Some(if change > 0.0 { run.rise } else { run.fall } >= SHARE * change.abs())
    };
    let told: Vec<bool> = others.iter().filter_map(along).collect();
    (!told.is_empty()).then(|| told.contains(&true))
}

/// Most that any other source ran between two moments, °C; none where none
/// can tell.
pub(super) fn most_moved(others: &[Line], from: i64, to: i64) -> Option<f64> {
    others.iter().filter_map(|other| other.range(from, to)).reduce(f64::max)
}
