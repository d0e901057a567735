//! Runs of the clock, from the start or from a spray to the next one.

use super::log::Seen;
use super::weather::{Law, Weather};
use super::{Block, Crossing, DAY, PROGRESS_WITHIN, STEP, curve};

/// What opens the first leg.
pub const START: &str = "start";

/// What ended a leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndedBy {
    /// The next spray.
    Spray,
    /// No flower was left to open.
    BloomEnd,
    /// It was decided not to thin.
    StandDown,
    /// It had run for too long.
    Age,
}

/// One run of the clock.
#[derive(Clone, Debug)]
pub struct Leg {
    /// Id of the spray that opened it, or `start`.
    pub opened_by: String,
    /// Unix second of its begin.
    pub from: i64,
    /// Fraction of the style at which its spray is due; none after the plan.
    pub mark: Option<f64>,
    /// When low progress reached the mark.
    pub reached: Crossing,
    /// When high progress reached the mark: the earliest that it may have been.
    pub possible: Crossing,
    /// When low progress reached the overrun line.
    pub overrun: Crossing,
    /// Unix second of its end.
    pub ended_at: Option<i64>,
    /// What ended it.
    pub ended_by: Option<EndedBy>,
    /// Share of the style grown for certain at its end, or at the last reading.
    pub progress_low: f64,
    /// Share of the style that may have been grown by then.
    pub progress_high: f64,
}

/// The legs of a season that started at the Unix second `start`.
pub fn run(block: &Block, weather: &Weather, seen: &Seen, start: i64, now: i64) -> Vec<Leg> {
    let closed = [
        seen.stood_down().map(|at| (at, EndedBy::StandDown)),
        seen.bloom_end.map(|at| (at, EndedBy::BloomEnd)),
    ];
    let closed = closed.into_iter().flatten().min_by_key(|end| (end.0, end.1 == EndedBy::StandDown));
    // A block that is not to be thinned never had a clock.
    if closed.is_some_and(|(at, by)| by == EndedBy::StandDown && at <= start) {
        return Vec::new();
    }
    // What ends a leg that opened at a moment, where no spray does.
    let ends = |from: i64| {
        let old = (too_old(from, block.age_limit, &seen.amended), EndedBy::Age);
        closed.filter(|end| end.0 <= old.0).map_or(old, |(at, by)| (at.max(from), by))
    };
    let mut begins = vec![(start, START.to_owned())];
    for (at, id) in seen.sprays.iter().filter(|spray| spray.0 >= start) {
        // After its end a leg is ended by no spray.
        if *at > ends(begins[begins.len() - 1].0).0 {
            break;
        }
        begins.push((*at, id.clone()));
    }
    let last = Some(ends(begins[begins.len() - 1].0)).filter(|end| end.0 <= now);
    let ends = begins.iter().skip(1).map(|(at, _)| Some((*at, EndedBy::Spray))).chain([last]);
    begins
        .iter()
        .zip(ends)
        .enumerate()
        .map(|(n, ((from, opened_by), end))| {
            let mark = block.marks.get(n).copied();
            let line = mark.map(|mark| (mark + block.overrun_margin).max(1.0));
            let mut leg = Leg {
                opened_by: opened_by.clone(),
                from: *from,
                mark,
                reached: Crossing::default(),
                possible: Crossing::default(),
                overrun: Crossing::default(),
                ended_at: end.map(|end| end.0),
                ended_by: end.map(|end| end.1),
                progress_low: 0.0,
                progress_high: 0.0,
            };
            grow(&mut leg, line, block, weather, now);
            leg
        })
        .collect()
}

/// Unix second at which a leg that opened at `from` is too old; an amendment after
/// that reopens it for as long again.
fn too_old(from: i64, limit: i64, amended: &[i64]) -> i64 {
    amended.iter().fold(from + limit, |end, at| if *at > end { at + limit } else { end })
}

/// Adds up a leg's growth step by step.
fn grow(leg: &mut Leg, line: Option<f64>, block: &Block, weather: &Weather, now: i64) {
    for stretch in weather.between(leg.from, leg.ended_at.unwrap_or(now)) {
        let long = (stretch.to - stretch.from) as f64;
        let mut at = stretch.from;
        while at < stretch.to {
            // What is unknown has one rate throughout.
            let (next, low, high) = match stretch.law {
                Law::Line(a, b) => {
                    let next = (at + STEP).min(stretch.to);
                    let middle = (at + next - 2 * stretch.from) as f64 / 2.0;
                    let rate = curve::rate(&block.curve, a + (b - a) * middle / long);
                    (next, rate, rate)
                }
                Law::Between(low, high, _) => (stretch.to, low, high),
            };
            let days = (next - at) as f64 / DAY as f64;
            let step = |sum: f64, rate: f64| Step { at, next, before: sum, after: sum + rate * days };
            let low = step(leg.progress_low, low);
            let high = step(leg.progress_high, high);
            leg.progress_low = low.after;
            leg.progress_high = high.after;
            if let Some((mark, line)) = leg.mark.zip(line) {
                leg.reached.look(&low, mark);
                leg.possible.look(&high, mark);
                leg.overrun.look(&low, line);
            }
            at = next;
        }
    }
}

/// A step of a sum: its Unix seconds, and the progress at both.
struct Step {
    at: i64,
    next: i64,
    before: f64,
    after: f64,
}

impl Crossing {
    fn look(&mut self, step: &Step, line: f64) {
        for (found, line) in [
            (&mut self.earliest, line - PROGRESS_WITHIN),
            (&mut self.at, line),
            (&mut self.latest, line + PROGRESS_WITHIN),
        ] {
            if found.is_none() && step.after >= line {
                let share = (line - step.before) / (step.after - step.before);
                *found = Some(step.at + (share * (step.next - step.at) as f64).ceil() as i64);
            }
        }
    }
}
