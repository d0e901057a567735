//! Addresses of calendars, and what a calendar shows.

use model::time::{HOUR, Instant};

/// A reading is noted again only after so long: as often as readers are asked to
/// come.
const NOTED_EVERY: i64 = HOUR;

/// A secret address at which a farm's seasons stand as a calendar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calendar {
    /// Id, given by the caller.
    pub id: String,
    /// The farm.
    pub farm_id: String,
    /// Who or what reads it.
    pub name: String,
    /// SHA-256 of the secret, hex.
    pub hash: String,
    /// Who made it; none for the operator's first token and the command line.
    pub made_by: Option<String>,
    /// When it was made.
    pub created_at: Instant,
    /// When it was last read, to the hour.
    pub last_read_at: Option<Instant>,
    /// When it was taken back.
    pub revoked_at: Option<Instant>,
}

impl Calendar {
    /// Whether a reading at `now` is to be noted: not every one writes.
    pub fn is_noted(&self, now: Instant) -> bool {
        self.last_read_at.is_none_or(|at| now.since(at) >= NOTED_EVERY)
    }
}

/// A season as a calendar takes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalendarSeason {
    /// The block.
    pub block_id: String,
    /// Its name.
    pub block: String,
    /// Zone of its site.
    pub time_zone: String,
    /// The bloom year.
    pub year: i32,
    /// The season as it was last reckoned, JSON.
    pub doc: String,
    /// When that was.
    pub reckoned_at: Instant,
    /// Rises with each change of what the season was reckoned from, and with each of
    /// the block.
    pub revision: i64,
}
