//! Odds in words: as exact as they are known, and no more.

use chrono::{Duration, Timelike};
use chrono_tz::Tz;

use super::Odds;
use crate::time::{HOUR, Instant};

/// A moment on the wall clock of `zone`, rounded to how far early and late lie apart,
/// seconds: over 48 h to the half day that it lies in, over 12 h to the nearest three
/// hours, below that to the nearest hour.
pub fn rounded(at: Instant, apart: i64, zone: Tz) -> String {
    let local = at.utc().with_timezone(&zone).naive_local();
    if apart > 48 * HOUR {
        let half = if local.hour() < 12 { "before noon" } else { "after noon" };
        return format!("{}, {half}", local.format("%a %-d %b"));
    }
    let step = if apart >= 12 * HOUR { 3 * HOUR } else { HOUR };
    let into = i64::from(local.time().num_seconds_from_midnight());
    let nearest = (into + step / 2).div_euclid(step) * step;
    (local + Duration::seconds(nearest - into)).format("%a %-d %b, %H:%M").to_string()
}

impl Odds {
    /// The likely moment, as exact as it is known; none where it lies beyond the horizon.
    pub fn likely_told(&self, zone: Tz) -> Option<String> {
        self.early?;
        Some(rounded(self.likely?, self.apart(), zone))
    }

    /// How far early and late lie apart, seconds: what times are rounded by. To the
    /// horizon where there is no late time, without end where there is no early one.
    fn apart(&self) -> i64 {
        self.early.map_or(i64::MAX, |early| self.late.unwrap_or(self.horizon).since(early))
    }

    /// A moment no more exactly than it is known; for none, that it comes after the
    /// horizon if at all.
    pub fn when(&self, at: Option<Instant>, zone: Tz) -> String {
        match at {
            Some(at) => rounded(at, self.apart(), zone),
            None => format!("later than {}, or not at all", rounded(self.horizon, self.apart(), zone)),
        }
    }

    /// Early, likely and late, each as exact as they are known together; none where not
    /// even the early moment lies before the horizon.
    pub fn points(&self, zone: Tz) -> Option<[String; 3]> {
        self.early?;
        Some([self.early, self.likely, self.late].map(|at| self.when(at, zone)))
    }

    /// Early, likely and late in a sentence.
    pub fn told(&self, zone: Tz) -> String {
        match self.points(zone) {
            Some([early, likely, late]) => {
                format!("Early (1 in 10) {early}; likely (even odds) {likely}; late (1 in 10) {late}.")
            }
            None => {
                let horizon = rounded(self.horizon, i64::MAX, zone);
                format!("Later than {horizon}, or not at all, in more than 9 of 10 cases.")
            }
        }
    }
}
