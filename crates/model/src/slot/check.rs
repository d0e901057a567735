//! When somebody should look at the flowers before a later leg's slot.

use chrono_tz::Tz;

use super::Slot;
use crate::bloom::in_daylight;
use crate::time::{HOUR, Instant};

/// So long before its slot the flowers of a later leg are looked at, seconds: time to
/// walk the block, decide and fill the tank (constructed).
pub const CHECK_AHEAD: i64 = 6 * HOUR;

/// The moment at which to look at the flowers before the slot of leg `leg`: the last
/// daylight (7 to 19 h of the wall clock) that lies [`CHECK_AHEAD`] before it, or the
/// first from now and from re-entry on when that is later. None for the first leg,
/// whose flowers are counted anyway, and where no daylight is left before the slot.
pub fn bloom_check(
    leg: usize,
    slot: &Slot,
    reentry_until: Option<Instant>,
    zone: Tz,
    now: Instant,
) -> Option<Instant> {
    if leg < 2 {
        return None;
    }
    let soonest = reentry_until.map_or(now, |until| until.max(now));
    let at = in_daylight(slot.begin.plus(-CHECK_AHEAD), zone, soonest);
    (at < slot.begin).then_some(at)
}
