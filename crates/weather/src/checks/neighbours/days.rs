//! Two sources compared hour by hour and put together by days.

use model::time::{DAY, HOUR};

use super::median;
use crate::checks::line::Line;
use crate::checks::sheet::Course;

/// Parts of a day that are compared by themselves.
pub(super) const SLOTS: usize = 6;
/// Their length in seconds.
pub(super) const SLOT: i64 = DAY / SLOTS as i64;
/// Hours by which a source is tried against the other, either way.
pub(super) const REACH: i64 = 5;
/// How many shifts that makes.
pub(super) const SHIFTS: usize = 2 * REACH as usize + 1;
/// Hours in common that make a day.
const DAY_HOURS: usize = 18;
/// Hours in common that make a slot.
const SLOT_HOURS: usize = 3;

/// One day of this source beside one of another.
pub(super) struct Day {
    /// Days since 1970.
    pub number: i64,
    /// Median of the hours' differences, °C.
    pub apart: Option<f64>,
    /// Mean difference in each slot, °C.
    pub slots: [Option<f64>; SLOTS],
    /// Sums for each shift of the other source from −[`REACH`] to [`REACH`] hours.
    pub shifts: [Sums; SHIFTS],
}

/// Sums over pairs of hours, for their correlation.
#[derive(Clone, Copy, Default)]
pub(super) struct Sums {
    pub count: f64,
    x: f64,
    y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Sums {
    fn take(&mut self, x: f64, y: f64) {
        self.count += 1.0;
        self.x += x;
        self.y += y;
        self.xx += x * x;
        self.yy += y * y;
        self.xy += x * y;
    }

    /// Adds another day's.
    pub fn add(&mut self, other: &Sums) {
        self.count += other.count;
        self.x += other.x;
        self.y += other.y;
        self.xx += other.xx;
        self.yy += other.yy;
        self.xy += other.xy;
    }

    /// Correlation of the pairs; 0 where one side does not vary.
    pub fn correlation(&self) -> f64 {
        let spread = |square: f64, sum: f64| square - sum * sum / self.count;
        let (own, other) = (spread(self.xx, self.x), spread(self.yy, self.y));
        if own <= 1e-9 || other <= 1e-9 {
            return 0.0;
        }
        (self.xy - self.x * self.y / self.count) / (own * other).sqrt()
    }
}

/// First second of a day.
pub(super) fn begin(number: i64) -> i64 {
    number * DAY
}

/// The days on which there are readings.
pub(super) fn numbers(course: &Course) -> Vec<i64> {
    let mut numbers: Vec<i64> = course.at.iter().map(|at| at.div_euclid(DAY)).collect();
    numbers.dedup();
    numbers
}

/// Compares on each day.
pub(super) fn compare(numbers: &[i64], own: &Line, other: &Line) -> Vec<Day> {
    numbers.iter().map(|number| compare_day(*number, own, other)).collect()
}

fn compare_day(number: i64, own: &Line, other: &Line) -> Day {
    let hours = |hour: i64| begin(number) + hour * HOUR;
    let beside: Vec<Option<f64>> = (-REACH..24 + REACH).map(|hour| other.at(hours(hour))).collect();
    let mut day = Day { number, apart: None, slots: [None; SLOTS], shifts: [Sums::default(); SHIFTS] };
    let mut slots = [(0.0, 0_usize); SLOTS];
    let mut apart = Vec::with_capacity(24);
    for hour in 0..24 {
        let Some(celsius) = own.at(hours(hour as i64)) else {
            continue;
        };
        for (shift, sums) in day.shifts.iter_mut().enumerate() {
            // The last shift sets this hour beside the other's REACH hours ago.
            if let Some(other) = beside[hour + 2 * REACH as usize - shift] {
                sums.take(celsius, other);
            }
        }
        if let Some(other) = beside[hour + REACH as usize] {
            apart.push(celsius - other);
            let (sum, count) = &mut slots[hour * SLOTS / 24];
            *sum += celsius - other;
            *count += 1;
        }
    }
    if apart.len() >= DAY_HOURS {
        day.apart = median(&mut apart);
    }
    for (slot, (sum, count)) in day.slots.iter_mut().zip(slots) {
        *slot = (count >= SLOT_HOURS).then(|| sum / count as f64);
    }
    day
}

/// The days of numbers `from..=to`, where `days` end with one of them.
pub(super) fn window(days: &[Day], from: i64, to: i64) -> &[Day] {
    &days[days.partition_point(|day| day.number < from)..days.partition_point(|day| day.number <= to)]
}
