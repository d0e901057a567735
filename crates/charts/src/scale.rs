//! From moments and values to pixels, and where the ticks are.

use chrono::{Days, NaiveDate, TimeZone};
use chrono_tz::Tz;
use model::time::{DAY, Instant};

/// A stretch of time laid from left to right.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TimeAxis {
    pub from: Instant,
    pub to: Instant,
    pub left: f64,
    pub right: f64,
}

impl TimeAxis {
    pub(crate) fn x(&self, at: Instant) -> f64 {
        let share = at.since(self.from) as f64 / self.to.since(self.from).max(1) as f64;
        self.left + share * (self.right - self.left)
    }

    pub(crate) fn holds(&self, at: Instant) -> bool {
        self.from <= at && at <= self.to
    }

    /// Pixels that a day of 24 hours is wide.
    fn day(&self) -> f64 {
        (self.right - self.left) * DAY as f64 / self.to.since(self.from).max(1) as f64
    }

    /// The local days of this axis, each with its begin and its end on the
    /// picture: all of them while their names fit, else every so many.
    pub(crate) fn days(&self, zone: Tz, narrowest: f64) -> Vec<(NaiveDate, f64, f64)> {
        let every = (narrowest / self.day()).ceil().max(1.0) as u64;
        let mut days = Vec::new();
        let mut date = self.from.local_date(zone);
        loop {
            let begin = day_begins(date, zone);
            if begin >= self.to {
                return days;
            }
            let Some(next) = date.checked_add_days(Days::new(1)) else {
                return days;
            };
            let end = day_begins(next, zone).min(self.to);
            days.push((date, self.x(begin.max(self.from)), self.x(end)));
            match date.checked_add_days(Days::new(every)) {
                Some(later) => date = later,
                None => return days,
            }
        }
    }
}

/// The first moment of a local date. Where the clocks skip midnight it is the
/// first hour that there is.
pub(crate) fn day_begins(date: NaiveDate, zone: Tz) -> Instant {
    (0..24)
        .filter_map(|hour| date.and_hms_opt(hour, 0, 0))
        .find_map(|wall| zone.from_local_datetime(&wall).earliest())
        .map(|begin| Instant(begin.timestamp()))
        .unwrap_or_else(|| Instant(date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp()))
}

/// Temperatures that no axis leaves, °C; no air near the ground does.
const COLDEST: f64 = -60.0;
const WARMEST: f64 = 60.0;
/// The axis of temperature where nothing is known, °C.
const UNSEEN: (f64, f64) = (0.0, 25.0);

/// A temperature as it is drawn, °C; none for what is no number.
pub(crate) fn drawable(celsius: f64) -> Option<f64> {
    celsius.is_finite().then(|| celsius.clamp(COLDEST, WARMEST))
}

/// Values laid from the bottom up.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ValueAxis {
    pub low: f64,
    pub high: f64,
    pub top: f64,
    pub bottom: f64,
}

impl ValueAxis {
    /// An axis that holds these temperatures, °C, with some room, from one multiple of
    /// 5 °C to another.
    pub(crate) fn celsius(known: impl Iterator<Item = f64>, top: f64, bottom: f64) -> ValueAxis {
        let ends = known.fold(None, |ends: Option<(f64, f64)>, celsius| {
            let (low, high) = ends.unwrap_or((celsius, celsius));
            Some((low.min(celsius), high.max(celsius)))
        });
        let (low, high) = ends.map_or(UNSEEN, |(low, high)| {
            (((low - 1.0) / 5.0).floor() * 5.0, ((high + 1.0) / 5.0).ceil() * 5.0)
        });
        ValueAxis { low, high, top, bottom }
    }

    pub(crate) fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.bottom - share * (self.bottom - self.top)
    }

    /// Multiples of `step` on this axis.
    pub(crate) fn ticks(&self, step: f64) -> Vec<f64> {
        let (first, last) = ((self.low / step).ceil() as i64, (self.high / step + 1e-9).floor() as i64);
        (first..=last).map(|n| n as f64 * step).collect()
    }
}

/// The part of a line between two temperatures, cut where it passes them.
pub(crate) fn between(line: &[(f64, f64)], from: f64, to: f64) -> Vec<(f64, f64)> {
    let mut part = Vec::new();
    for pair in line.windows(2) {
        let ((a, left), (b, right)) = (pair[0], pair[1]);
        let (begin, end) = (a.max(from), b.min(to));
        if begin >= end {
            continue;
        }
        let on = |celsius: f64| (celsius, left + (right - left) * (celsius - a) / (b - a));
        if part.is_empty() {
            part.push(on(begin));
        }
        part.push(on(end));
    }
    part
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(from: &str, to: &str) -> TimeAxis {
        TimeAxis {
            from: Instant::parse(from).unwrap(),
            to: Instant::parse(to).unwrap(),
            left: 0.0,
            right: 710.0,
        }
    }

    #[test]
    fn a_day_of_a_clock_change_is_an_hour_shorter() {
        let axis = axis("2013-03-09T05:00:00Z", "2013-03-12T04:00:00Z");
        let days = axis.days(chrono_tz::America::New_York, 10.0);
        let hours: Vec<f64> = days.iter().map(|(_, begin, end)| (end - begin) / 10.0).collect();
        assert_eq!(days.len(), 3);
        for (hours, expected) in hours.iter().zip([24.0, 23.0, 24.0]) {
            assert!((hours - expected).abs() < 1e-9, "{hours} is not {expected}");
        }
    }

    #[test]
    fn a_day_without_midnight_begins_at_its_first_hour() {
        let date = NaiveDate::from_ymd_opt(2018, 11, 4).unwrap();
        let begin = day_begins(date, chrono_tz::America::Sao_Paulo);
        assert_eq!(begin.to_string(), "2018-11-04T03:00:00Z");
    }

    #[test]
    fn a_long_stretch_names_every_so_many_days() {
        let axis = axis("2013-01-01T00:00:00Z", "2014-01-01T00:00:00Z");
        let days = axis.days(chrono_tz::UTC, 60.0);
        assert!((10..=12).contains(&days.len()), "{}", days.len());
    }

    #[test]
    fn ticks_are_multiples_within_the_axis() {
        let axis = ValueAxis { low: -3.0, high: 10.0, top: 0.0, bottom: 100.0 };
        assert_eq!(axis.ticks(5.0), [0.0, 5.0, 10.0]);
    }

    #[test]
    fn a_line_is_cut_where_it_passes() {
        let line = [(0.0, 0.0), (10.0, 1.0), (20.0, 0.0)];
        assert_eq!(between(&line, 5.0, 15.0), [(5.0, 0.5), (10.0, 1.0), (15.0, 0.5)]);
        assert_eq!(between(&line, f64::NEG_INFINITY, 5.0), [(0.0, 0.0), (5.0, 0.5)]);
        assert_eq!(between(&line, 20.0, f64::INFINITY), []);
    }
}
