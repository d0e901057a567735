//! What a season must come to, worked out a second time and plainly: the part
//! of the design page that decides what growers are told, written apart from
//! the model and sharing no formula with it. Progress is summed in steps of
//! five seconds, so the sums are dull and their error is known.
//!
//! One source of instants, a curve in shares of the style without a lag, one
//! plan for the whole spring. Forecasts, offsets of the block, frost on the way,
//! damage counts, walks of several woods and lent starts are not reckoned here: a
//! spring in which they matter has no answer from this program.

#![allow(dead_code, unused_imports, reason = "each trial asks for the part that it counts")]

mod curve;
mod legs;
mod log;
mod start;
mod told;
mod weather;

pub use legs::{EndedBy, Leg};
pub use log::{Entry, What};
pub use told::{Kind, Told};
pub use weather::Reading;

use weather::Weather;

/// Seconds in an hour.
pub const HOUR: i64 = 3_600;
/// Seconds in a day.
pub const DAY: i64 = 86_400;
/// Seconds of one step of a sum.
pub const STEP: i64 = 5;
/// Seconds by which a time found here may differ from the exact one: a step,
/// and one for rounding up. A crossing whose pace is nearly nothing may differ
/// by more, which [`Crossing::agrees`] allows for.
pub const WITHIN: i64 = STEP + 1;
/// Progress by which two sums of one leg may differ: two seconds of a start at
/// the fastest pace of any curve here, 1.3 of a style a day.
pub const PROGRESS_WITHIN: f64 = 3e-5;

/// What was agreed for a block.
#[derive(Clone, Debug)]
pub struct Block {
    /// Nodes of the curve: °C, rising, and fraction of the style a day.
    pub curve: Vec<(f64, f64)>,
    /// The mark of each planned spray, in their order; fractions of the style.
    pub marks: Vec<f64>,
    /// Open flowers a tree at which the clock starts.
    pub threshold: f64,
    /// Flowers a tree, open or not, where they were counted.
    pub flowers: Option<f64>,
    /// Fraction of the style beyond the mark at which a leg is overrun.
    pub overrun_margin: f64,
    /// Seconds after its begin at which the last leg ends by itself.
    pub age_limit: i64,
}

/// Where a season stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The threshold is not reached.
    Watching,
    /// A leg runs.
    Growing,
    /// The mark is reached and no spray logged.
    Due,
    /// The overrun line is reached and no spray logged.
    Overrun,
    /// Bloom has ended, or the last leg is too old.
    Done,
    /// It was decided not to thin.
    StoodDown,
}

/// When a rising sum reached a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Crossing {
    /// Unix second, rounded up; none where it never did.
    pub at: Option<i64>,
    /// The same for a line lower by [`PROGRESS_WITHIN`].
    pub earliest: Option<i64>,
    /// The same for a line higher by [`PROGRESS_WITHIN`].
    pub latest: Option<i64>,
}

impl Crossing {
    /// Whether an exact reckoning may have come to `other`.
    pub fn agrees(&self, other: Option<i64>) -> bool {
        match other {
            Some(other) => {
                self.earliest.is_some_and(|earliest| other >= earliest - WITHIN)
                    && self.latest.is_none_or(|latest| other <= latest + WITHIN)
            }
            None => self.latest.is_none(),
        }
    }

    /// Whether it is beyond doubt that the line was reached, or that it was not.
    pub fn certain(&self) -> bool {
        self.earliest.is_some() == self.latest.is_some()
    }
}

/// A block's season.
#[derive(Clone, Debug)]
pub struct Season {
    /// Unix second at which the clock started.
    pub start: Option<i64>,
    /// Runs of the clock, in order.
    pub legs: Vec<Leg>,
    /// Where it stands.
    pub state: State,
    /// Unix second of the last reading used.
    pub as_of: Option<i64>,
}

/// The season of a block on one source's readings and on its log, in whatever
/// order, as known at `now` (Unix seconds).
pub fn reckon(block: &Block, readings: &[Reading], entries: &[Entry], now: i64) -> Season {
    let weather = Weather::new(readings, &block.curve, now);
    let seen = log::Seen::new(entries, now);
    let start = start::find(block, &weather, &seen);
    let legs = start.map_or_else(Vec::new, |start| legs::run(block, &weather, &seen, start, now));
    let state = state(&seen, &legs);
    Season { start, legs, state, as_of: weather.last().map(|last| last.at) }
}

fn state(seen: &log::Seen, legs: &[Leg]) -> State {
    // What was decided last outranks how the season went.
    if seen.stood_down().is_some() {
        return State::StoodDown;
    }
    match legs.last() {
        _ if seen.bloom_end.is_some() => State::Done,
        None => State::Watching,
        Some(last) if last.ended_at.is_some() => State::Done,
        Some(last) if last.overrun.at.is_some() => State::Overrun,
        Some(last) if last.reached.at.is_some() => State::Due,
        Some(_) => State::Growing,
    }
}
