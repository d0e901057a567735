//! The sprayers' round: in which order, and when, sprayers go to the blocks of a farm
//! so that each gets its spray as near its mark as its slots allow.
//!
//! Times run in steps of [`STEP`]. For a given order the best times are found exactly,
//! waiting allowed. Up to [`MOST_EXACT`] blocks order and sprayer are found exactly too,
//! in O(s·2ⁿ·n²·t) for s sprayers, n blocks and t steps in the slots of a block, and
//! O(s·3ⁿ) for who goes where. Beyond, blocks are inserted one by one where they cost
//! least and the round is then mended by moving, swapping and turning parts of it, and
//! by taking out some blocks and putting them back; the work is bounded, the same input
//! gives the same round.
//!
//! The cost of a block is per tree and weighs by its area. Lateness counts at the
//! finish: in flowers a tree that come through after the mark, as a share of the fruit
//! wanted, where counts allow it, else in shares of the style; that one weighs as much
//! as the other is constructed. Earliness counts at the begin, in shares of the style:
//! [`EARLY_BEFORE`] times in a not-before leg, where it takes wanted flowers, and
//! [`EARLY_AFTER`] times in a not-after leg, where it misses flowers still to open.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::plan::MarkBound;
use crate::time::{DAY, Instant, MINUTE};

mod asked;
mod exact;
mod planned;
mod problem;
mod search;
mod table;
mod told;
mod way;

#[cfg(test)]
mod tests;

pub use planned::{LeftOut, Round, Run, Visit, Why, WhyLate, plan};
pub use way::{EARTH_KM, Spot, Ways};

/// All times of a round are whole steps of this, seconds: way and work are rounded up
/// to it, slots cut down.
pub const STEP: i64 = 5 * MINUTE;
/// So many blocks are planned exactly.
pub const MOST_EXACT: usize = 8;
/// Most blocks of one round.
pub const MOST_STOPS: usize = 500;
/// Most sprayers of one round.
pub const MOST_SPRAYERS: usize = 50;
/// Slots are looked at so far ahead, seconds.
pub const HORIZON: i64 = 7 * DAY;
/// What a share of the style before a not-before mark costs, against one after it
/// (constructed: very dear, for it takes wanted flowers).
pub const EARLY_BEFORE: f64 = 20.0;
/// What a share of the style before a not-after mark costs, against one after it
/// (constructed).
pub const EARLY_AFTER: f64 = 0.1;

/// A sprayer with its tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sprayer {
    /// What it is called.
    pub name: String,
    /// Area that it sprays in an hour, without filling, ha.
    pub hectares_per_hour: f64,
    /// What its tank holds, L; without it filling is not reckoned.
    #[serde(default)]
    pub tank_litres: Option<f64>,
    /// How long one filling takes, minutes, without the way to it.
    #[serde(default)]
    pub fill_minutes: f64,
    /// Where it is filled; none: at the block. It sets out full, runs the tank dry, and
    /// goes there and back from the block.
    #[serde(default)]
    pub fill_at: Option<Spot>,
    /// Where it stands first; none: where it is filled.
    #[serde(default)]
    pub starts_at: Option<Spot>,
    /// When it is free; none: now.
    #[serde(default)]
    pub free_from: Option<Instant>,
}

/// A stretch in which a block can be sprayed, such as a
/// [`Slot`](crate::slot::Slot).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Window {
    /// When it begins.
    pub begin: Instant,
    /// When it ends: by then the block is finished.
    pub end: Instant,
}

/// When a block's mark is reached. The round goes by the likely time; the edges are
/// shown beside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MarkTime {
    /// Early edge, where one is known.
    pub early: Option<Instant>,
    /// Likely time.
    pub likely: Instant,
    /// Late edge.
    pub late: Option<Instant>,
}

/// Flowers through at moments in order, straight between them; before the first none
/// more, after the last as steep as at the end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flowers {
    /// Moments with live flowers a tree that are through by then, never fewer.
    pub through: Vec<(Instant, f64)>,
    /// Fruit wanted on a tree, above 0.
    pub target: f64,
}

/// A block that is to be sprayed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stop {
    /// What it is called.
    pub block: String,
    /// Its area, ha.
    pub hectares: f64,
    /// Where it lies; none: no way to it is reckoned, and that is said.
    pub spot: Option<Spot>,
    /// Finished spray, L/ha; without it filling is not reckoned.
    pub litres_per_hectare: Option<f64>,
    /// Its slots.
    pub windows: Vec<Window>,
    /// When its mark is reached; none: it is not planned.
    pub mark: Option<MarkTime>,
    /// Side of the mark to stay on.
    pub bound: MarkBound,
    /// Growth around the mark, shares of the style an hour.
    pub style_per_hour: f64,
    /// Flowers through, where counts allow it.
    pub flowers: Option<Flowers>,
    /// Since when it is on hold after a frost over its leg: it is not planned before
    /// someone has looked at the flowers.
    #[serde(default)]
    pub hold_since: Option<Instant>,
    /// Whether of its last spray no re-entry time is recorded.
    #[serde(default)]
    pub reentry_unrecorded: bool,
}

/// Begin and end of the working day on the wall clock, minutes from midnight; an end
/// before the begin lies on the next day. Blocks are sprayed within it; the way there
/// may begin before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkingDay {
    /// 0 to 1439.
    pub begin: u32,
    /// 0 to 1440.
    pub end: u32,
}

/// What a round is planned from.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// The blocks.
    pub stops: Vec<Stop>,
    /// The sprayers.
    pub sprayers: Vec<Sprayer>,
    /// How ways between them are reckoned.
    pub ways: Ways,
    /// The working day, where one is kept.
    pub working: Option<WorkingDay>,
    /// Zone of its wall clock.
    pub zone: Tz,
    /// The present moment.
    pub now: Instant,
}
