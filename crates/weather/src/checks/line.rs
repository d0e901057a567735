//! A source as straight lines between its readings.

use model::series::{JOINED, Reading};
use model::time::Instant;

use super::Thresholds;
use super::sheet::Course;

/// A source's temperature at any moment between readings that are at most
/// three hours apart.
pub(super) struct Line {
    at: Vec<i64>,
    celsius: Vec<f64>,
}

/// How far a temperature ran, °C.
pub(super) struct Run {
    /// Most that it rose.
    pub rise: f64,
    /// Most that it fell.
    pub fall: f64,
}

impl Line {
    /// Another source of the site; what it says after `latest`, outside the
    /// range, or itself flagged as failed, is left out.
    pub fn of_other(readings: &[Reading], latest: Instant, limits: &Thresholds) -> Line {
        let (low, high) = (limits.range_fail_below_c, limits.range_fail_above_c);
        let mut points: Vec<(i64, f64)> = readings
            .iter()
            .filter(|reading| reading.flag.usable() && reading.at <= latest)
            .filter(|reading| (low..=high).contains(&reading.celsius))
            .map(|reading| (reading.at.0 - reading.span / 2, reading.celsius))
            .collect();
        let order = |a: &(i64, f64), b: &(i64, f64)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1));
        if !points.is_sorted_by(|a, b| order(a, b).is_le()) {
            points.sort_by(order);
        }
        points.dedup_by_key(|point| point.0);
        let (at, celsius) = points.into_iter().unzip();
        Line { at, celsius }
    }

    /// The readings under check that are still believed.
    pub fn of_course(course: &Course) -> Line {
        Line { at: course.at.clone(), celsius: course.celsius.clone() }
    }

    /// °C at a moment.
    pub fn at(&self, moment: i64) -> Option<f64> {
        let next = self.at.partition_point(|at| *at < moment);
        if self.at.get(next) == Some(&moment) {
            return Some(self.celsius[next]);
        }
        let before = next.checked_sub(1)?;
        let length = self.at.get(next)? - self.at[before];
        let share = (moment - self.at[before]) as f64 / length as f64;
        (length <= JOINED).then(|| self.celsius[before] + (self.celsius[next] - self.celsius[before]) * share)
    }

    /// Furthest that it ran within `length` seconds, up to any of its readings
    /// from one moment to another; none where it has none there.
    pub fn steepest(&self, from: i64, to: i64, length: i64) -> Option<Run> {
        let within = self.at.partition_point(|at| *at < from)..self.at.partition_point(|at| *at <= to);
        let changes = within.filter_map(|n| Some(self.celsius[n] - self.at(self.at[n] - length)?));
        changes.fold(None, |run: Option<Run>, change| {
            let Run { rise, fall } = run.unwrap_or(Run { rise: 0.0, fall: 0.0 });
            Some(Run { rise: rise.max(change), fall: fall.max(-change) })
        })
    }

    /// °C from its least to its greatest value between two moments; none where
    /// it does not reach over both.
    pub fn range(&self, from: i64, to: i64) -> Option<f64> {
        let ends = [self.at(from)?, self.at(to)?];
        let within = self.at.partition_point(|at| *at < from)..self.at.partition_point(|at| *at <= to);
        let values = || self.celsius[within.clone()].iter().chain(&ends).copied();
        Some(values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min))
    }
}
