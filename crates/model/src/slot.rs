//! Hours in which the sprayer can go out, around the time a leg needs it.
//!
//! Each hour ahead is held against the limits that were set ([`Limits`]): what
//! speaks against it stands there with its figure and the limit, and what nobody
//! tells of the air is "not known" and never counts as practical. Hours join to
//! slots. Without any limit nothing is called practical. All of it is facts; the
//! label and the person decide.
//!
//! A not-before leg looks for the first slot from its mark on, a not-after leg for
//! the last one that ends by it; each is looked for again with the early and the
//! late edge of the mark's time.

use serde::{Deserialize, Serialize};

use crate::legs::Leg;
use crate::plan::MarkBound;
use crate::sun::Sun;
use crate::time::{HOUR, Instant};

mod check;
mod hours;
mod judged;
mod kept;
mod limits;
mod reason;
mod search;
mod told;
mod what;

#[cfg(test)]
mod tests;

pub use check::{CHECK_AHEAD, bloom_check};
pub use hours::{Hour, Hours, dew_point, humidity};
pub use judged::{Beside, HourStand, Margin, Stand};
pub use kept::{Kept, slot_lost};
pub use limits::{BEES_STAY_IN_C, Fact, Limit, Limits, Status};
pub use reason::Reason;
pub use search::{Answer, Edge, EdgeSlot, Outcome, Slot, Way, find};
pub use what::What;

/// So long after the mark a spray of a leg is still looked for, seconds: the time for
/// which alerts are of use.
pub const LOOK_AFTER: i64 = 72 * HOUR;

/// What a leg asks for: its mark, the side to keep to, and when that is reached.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Share of the style.
    pub mark: f64,
    /// Side of the mark to stay on.
    pub bound: MarkBound,
    /// Early edge of the time it is reached, where one is known.
    pub early: Option<Instant>,
    /// Likely time; without it no slot is named.
    pub likely: Option<Instant>,
    /// Late edge.
    pub late: Option<Instant>,
}

impl Wanted {
    /// What a reckoned leg asks for, by its readings and the single forecast; none for
    /// a leg without a mark or one that has ended.
    pub fn of(leg: &Leg) -> Option<Wanted> {
        leg.ended_at.is_none().then_some(())?;
        Some(Wanted {
            leg: leg.number,
            mark: leg.mark?,
            bound: leg.bound?,
            early: leg.reached_earliest,
            likely: leg.reached_at.or(leg.expected_at),
            late: leg.reached_latest,
        })
    }
}

/// The spray before, as far as it stands in the way of the next one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastSpray {
    /// When it was finished.
    pub finished_at: Instant,
    /// Until when nobody works in the block; none where nobody recorded it.
    pub reentry_until: Option<Instant>,
}

/// All that an hour is judged by.
#[derive(Debug, Clone, Copy)]
pub struct Ask<'a> {
    /// What the leg asks for.
    pub wanted: Wanted,
    /// The air hour by hour, from some time before `now` on.
    pub hours: &'a Hours,
    /// The sun over the place.
    pub sun: Sun,
    /// Limits of the material and of the person.
    pub limits: &'a Limits,
    /// Id of the material that is to go on, where one is planned.
    pub material: Option<&'a str>,
    /// The spray before.
    pub last_spray: Option<LastSpray>,
    /// Moments at which a frost at the kill line was full, as
    /// [`Night::hit_at`](crate::frost::Night::hit_at) has them.
    pub frosts: &'a [Instant],
    /// 10 % kill line of the stage, °C, as [`line_c`](crate::frost::line_c) gives it.
    pub kill_line_c: f64,
    /// How long the work takes, seconds; a shorter slot is not named.
    pub needed: i64,
    /// The present moment; what lies before it is past.
    pub now: Instant,
}
