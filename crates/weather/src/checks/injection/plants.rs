//! The errors that are planted.

use std::collections::HashSet;

use model::series::Reading;
use model::time::{DAY, HOUR, Instant, MINUTE};

use super::kit::Dice;
use crate::checks::Check;

/// 2013-04-20T00:00:00Z: three weeks after the files begin, so that there is
/// something to compare with.
const FIRST: Instant = Instant(1_366_416_000);
/// 2013-04-08T00:00:00Z: drifts take twenty days.
const FIRST_OF_DRIFTS: Instant = Instant(1_365_379_200);

/// What is planted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plant {
    Spike,
    Step,
    Flat12,
    Flat24,
    FutureStamp,
    OldStamp,
    ReStamped,
    Disagreeing,
    Fahrenheit,
    Kelvin,
    TimesTen,
    Sign,
    Sun,
    Drift,
    Lag1,
    Lag2,
    Lag3,
}

/// A series with something planted.
pub struct Planted {
    /// What there is at `now`.
    pub readings: Vec<Reading>,
    /// Right readings that come after it.
    pub later: Vec<Reading>,
    /// The clock; none for one long after all readings.
    pub now: Option<Instant>,
    /// The planted readings, by time and bits.
    wrong: HashSet<(Instant, u64)>,
    /// From the first to the last of them.
    stretch: Option<(Instant, Instant)>,
}

impl Planted {
    /// Whether a reading was planted.
    pub fn is_wrong(&self, reading: &Reading) -> bool {
        self.wrong.contains(&(reading.at, reading.celsius.to_bits()))
    }

    /// Whether a reading stands where nothing was planted.
    pub fn is_apart(&self, reading: &Reading) -> bool {
        self.stretch.is_none_or(|(from, to)| reading.at < from || reading.at > to)
    }

    fn wrong(&mut self, reading: Reading) {
        self.wrong.insert((reading.at, reading.celsius.to_bits()));
        let (from, to) = self.stretch.unwrap_or((reading.at, reading.at));
        self.stretch = Some((from.min(reading.at), to.max(reading.at)));
    }
}

impl Plant {
    pub const ALL: [Plant; 17] = [
        Plant::Spike,
        Plant::Step,
        Plant::Flat12,
        Plant::Flat24,
        Plant::FutureStamp,
        Plant::OldStamp,
        Plant::ReStamped,
        Plant::Disagreeing,
        Plant::Fahrenheit,
        Plant::Kelvin,
        Plant::TimesTen,
        Plant::Sign,
        Plant::Sun,
        Plant::Drift,
        Plant::Lag1,
        Plant::Lag2,
        Plant::Lag3,
    ];

    /// What it is, with its size.
    pub fn spoken(self) -> &'static str {
        match self {
            Plant::Spike => "spike of 6 to 20 °C",
            Plant::Step => "step of 5 to 15 °C for 2 to 8 h",
            Plant::Flat12 => "flat line of 12 h",
            Plant::Flat24 => "flat line of 24 h",
            Plant::FutureStamp => "stamps 1 h, 1 d or 1 y ahead",
            Plant::OldStamp => "stamps from 1970 or 2000",
            Plant::ReStamped => "12 to 36 h re-stamped by 12 to 96 h",
            Plant::Disagreeing => "duplicates off by 1 to 10 °C",
            Plant::Fahrenheit => "°F as °C for 3 to 48 h",
            Plant::Kelvin => "K as °C for 3 to 48 h",
            Plant::TimesTen => "×10 for 3 to 48 h",
            Plant::Sign => "sign turned for 3 to 48 h",
            Plant::Sun => "sun, +6 °C at midday, 3 to 6 days",
            Plant::Drift => "drift of 0.2 °C a day, 20 days",
            Plant::Lag1 => "1 h behind for 10 days",
            Plant::Lag2 => "2 h behind for 10 days",
            Plant::Lag3 => "3 h behind for 10 days",
        }
    }

    /// The check that is meant to find it.
    pub fn own(self) -> Check {
        match self {
            Plant::Spike => Check::Spike,
            Plant::Step => Check::Step,
            Plant::Flat12 | Plant::Flat24 => Check::FlatLine,
            Plant::FutureStamp => Check::Ahead,
            Plant::OldStamp | Plant::ReStamped => Check::LongPast,
            Plant::Disagreeing => Check::Disagreeing,
            Plant::Fahrenheit | Plant::Kelvin | Plant::TimesTen | Plant::Sign => Check::UnitMixUp,
            Plant::Sun | Plant::Drift | Plant::Lag1 | Plant::Lag2 | Plant::Lag3 => Check::Neighbours,
        }
    }

    /// Where it is planted so that a leg from `start` runs over it.
    pub fn on_the_way(self, start: Instant, dice: &mut Dice) -> Instant {
        match self {
            Plant::Drift => start.plus(-18 * DAY),
            Plant::Lag1 | Plant::Lag2 | Plant::Lag3 => start.plus(-dice.whole(0, 8) * DAY),
            Plant::Sun => start.plus(-dice.whole(0, 2) * DAY),
            _ => start.plus(dice.whole(-2, 24) * HOUR),
        }
    }

    /// Where it is planted otherwise.
    pub fn anywhere(self, dice: &mut Dice) -> Instant {
        let begin: Instant = if self == Plant::Drift { FIRST_OF_DRIFTS } else { FIRST };
        begin.plus(dice.whole(0, 30 * 24) * HOUR)
    }

    /// Plants it into hourly readings from `from` on.
    pub fn plant(self, truth: &[Reading], from: Instant, dice: &mut Dice) -> Planted {
        let first = truth.partition_point(|reading| reading.at < from);
        let mut grown = Planted {
            readings: truth.to_vec(),
            later: Vec::new(),
            now: None,
            wrong: HashSet::new(),
            stretch: None,
        };
        let sign = dice.sign();
        let run = dice.whole(3, 48) as usize;
        match self {
            Plant::Spike => grown.off(first, 1, sign * dice.number(6.0, 20.0)),
            Plant::Step => {
                grown.off(first, dice.whole(2, 8) as usize, sign * dice.number(5.0, 15.0));
            }
            Plant::Flat12 => grown.change(first, 12, |_, _| truth[first - 1].celsius),
            Plant::Flat24 => grown.change(first, 24, |_, _| truth[first - 1].celsius),
            Plant::FutureStamp => {
                let ahead = [HOUR, DAY, 365 * DAY][dice.whole(0, 2) as usize];
                grown.later = grown.readings.split_off(first);
                grown.now = Some(truth[first - 1].at.plus(5 * MINUTE));
                grown.stamp(dice.whole(1, 3) as usize, |at| at.plus(ahead));
            }
            Plant::OldStamp => {
                let begin = [0, 946_684_800][dice.whole(0, 1) as usize];
                grown.later = grown.readings.split_off(first);
                grown.now = Some(truth[first - 1].at.plus(5 * MINUTE));
                let last = truth[first - 1].at;
                grown.stamp(run.min(24), |at| Instant(begin).plus(at.since(last) + 30 * DAY));
            }
            Plant::ReStamped => {
                let back = dice.whole(12, 96) as usize;
                grown.change(first, dice.whole(12, 36) as usize, |n, _| truth[n - back].celsius);
            }
            Plant::Disagreeing => {
                let off = sign * dice.number(1.0, 10.0);
                for reading in &truth[first..first + dice.whole(1, 6) as usize] {
                    let wrong = Reading::instant(reading.at, reading.celsius + off);
                    grown.readings.push(wrong);
                    grown.wrong(wrong);
                }
            }
            Plant::Fahrenheit => grown.change(first, run, |_, celsius| celsius * 1.8 + 32.0),
            Plant::Kelvin => grown.change(first, run, |_, celsius| celsius + 273.15),
            Plant::TimesTen => grown.change(first, run, |_, celsius| celsius * 10.0),
            Plant::Sign => grown.change(first, run, |_, celsius| -celsius),
            Plant::Sun => {
                // From 9 to 17 on the wall clock of New York in summer.
                let sun = |n: usize| {
                    let hour = ((truth[n].at.0 - 13 * HOUR).rem_euclid(DAY)) as f64 / HOUR as f64;
                    if hour < 8.0 { 6.0 * (std::f64::consts::PI * hour / 8.0).sin() } else { 0.0 }
                };
                grown.change(first, 24 * dice.whole(3, 6) as usize, |n, celsius| celsius + sun(n));
            }
            Plant::Drift => {
                let begin = truth[first].at;
                let days = |n: usize| truth[n].at.since(begin) as f64 / DAY as f64;
                grown.change(first, 20 * 24, |n, celsius| celsius + sign * 0.2 * days(n));
            }
            Plant::Lag1 => grown.change(first, 240, |n, _| truth[n - 1].celsius),
            Plant::Lag2 => grown.change(first, 240, |n, _| truth[n - 2].celsius),
            Plant::Lag3 => grown.change(first, 240, |n, _| truth[n - 3].celsius),
        }
        grown
    }
}

impl Planted {
    /// Changes some readings; those that stay as they were are not wrong.
    fn change(&mut self, first: usize, count: usize, value: impl Fn(usize, f64) -> f64) {
        let end = (first + count).min(self.readings.len());
        for n in first..end {
            let right = self.readings[n];
            let changed = Reading { celsius: value(n, right.celsius), ..right };
            if changed != right {
                self.readings[n] = changed;
                self.wrong(changed);
            }
        }
    }

    fn off(&mut self, first: usize, count: usize, celsius: f64) {
        self.change(first, count, |_, right| right + celsius);
    }

    /// Gives the last readings other times.
    fn stamp(&mut self, count: usize, time: impl Fn(Instant) -> Instant) {
        let first = self.readings.len() - count;
        for n in first..self.readings.len() {
            let right = self.readings[n];
            self.readings[n] = Reading { at: time(right.at), ..right };
            self.wrong(self.readings[n]);
        }
    }
}
