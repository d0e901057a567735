//! Plans, field logs, and seasons.

use model::time::Instant;
use serde_json::Value;

use super::{AlertRow, AlertWrite, Block, Contact, Farm, Mute, Silenced, Site};

/// One version of a season's plan; all versions are kept.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRow {
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// From 1, rising with each change.
    pub version: i64,
    /// The plan as given.
    pub doc: Value,
    /// When it was set.
    pub at: Instant,
}

/// One entry of a field log.
#[derive(Debug, Clone, PartialEq)]
pub struct LogEntry {
    /// Id from the writer, unique within the season.
    pub id: String,
    /// When it was observed.
    pub at: Instant,
    /// Kind, as the contracts name it.
    pub kind: String,
    /// The entry as given.
    pub doc: Value,
    /// When it reached the server; of an entry sent again, the first time.
    pub received_at: Instant,
}

/// What came of entries appended to a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Appended {
    /// Entries that the log did not have.
    pub new: u64,
    /// Entries that it had already, with the same content.
    pub unchanged: u64,
}

/// The versions of everything a season is reckoned from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Versions {
    /// Of the site's readings and forecast; of a block that was moved, of those
    /// of all its sites together.
    pub site: i64,
    /// Of the block.
    pub block: i64,
    /// Of the field log; 0 while it is empty.
    pub log: i64,
    /// Of the plan; 0 while there is none.
    pub plan: i64,
    /// Of the curves and materials that were added.
    pub catalogue: i64,
    /// Of the program: its model, and the curves and materials that it brings.
    pub program: i64,
}

impl Versions {
    /// Whether what the database keeps stands at the same versions, whatever
    /// the program.
    pub fn same_input(&self, other: &Versions) -> bool {
        Versions { program: 0, ..*self } == Versions { program: 0, ..*other }
    }
}

/// One block in one bloom year.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonRow {
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// Versions as they stand; `program` is 0, since the database does not know
    /// which program asks.
    pub versions_now: Versions,
    /// What was last reckoned; none before the first time.
    pub reckoned: Option<ReckonedState>,
}

/// A season as it was last reckoned.
#[derive(Debug, Clone, PartialEq)]
pub struct ReckonedState {
    /// Versions of what it was reckoned from.
    pub versions: Versions,
    /// The first moment at which time alone can change it.
    pub look_again_at: Option<Instant>,
    /// When it was reckoned.
    pub reckoned_at: Instant,
    /// The season's state, one word.
    pub state: String,
    /// The season as reckoned.
    pub doc: Value,
}

/// A place in the order in which stale seasons are gone through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StaleKey {
    /// The site: seasons that share weather come together.
    pub site_id: String,
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
}

/// A season to be reckoned, with all that it is reckoned from save the weather.
#[derive(Debug, Clone, PartialEq)]
pub struct Stale {
    /// The bloom year.
    pub year: i32,
    /// Versions of what is here, and of the program that asked.
    pub versions: Versions,
    /// The farm that owns the block.
    pub farm: Farm,
    /// The site whose weather the block has.
    pub site: Site,
    /// The block.
    pub block: Block,
    /// Whether it was at another site before, so that its weather is its own.
    pub moved: bool,
    /// The plan, where there is one.
    pub plan: Option<Value>,
    /// Every version of a plan that was changed, with when it was set, the first
    /// one first.
    pub plan_versions: Vec<(Instant, Value)>,
    /// The field log in order of id.
    pub log: Vec<LogEntry>,
    /// All alerts ever decided for the season, the oldest first.
    pub alerts: Vec<AlertRow>,
    /// What stands confirmed of materials on the farm.
    pub confirmed: Vec<Value>,
    /// The farm's own tables, each with its kind.
    pub rules: Vec<(String, Value)>,
    /// Blocks that it borrows from.
    pub lenders: Vec<Lender>,
    /// Who gets the farm's alerts, beside its own addresses.
    pub contacts: Vec<Contact>,
    /// Addresses of the farm that get nothing.
    pub silenced: Vec<Silenced>,
    /// Who wants to hear nothing of the block.
    pub mutes: Vec<Mute>,
    /// Whether a feed brings the site's readings.
    pub fed: bool,
}

/// A block that another borrows from, with what its season is reckoned from.
#[derive(Debug, Clone, PartialEq)]
pub struct Lender {
    /// The site whose weather it has.
    pub site: Site,
    /// The block.
    pub block: Block,
    /// Its plan, where there is one.
    pub plan: Option<Value>,
    /// Its field log in order of id.
    pub log: Vec<LogEntry>,
}

impl Stale {
    /// Its place in the order, to go on after it.
    pub fn key(&self) -> StaleKey {
        StaleKey { site_id: self.site.id.clone(), block_id: self.block.id.clone(), year: self.year }
    }
}

/// A season as reckoned, with what was decided to tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Reckoned {
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// Versions as they were read. It is written only while they still stand.
    pub versions: Versions,
    /// The first moment at which time alone can change it.
    pub look_again_at: Option<Instant>,
    /// The season's state, one word.
    pub state: String,
    /// The season.
    pub doc: Value,
    /// Its alerts, written only with the season.
    pub alerts: Vec<AlertWrite>,
    /// What is expected of it.
    pub expected: Vec<Expectation>,
}

/// What was expected of a season when a forecast came in. It is history: kept as it
/// was said, and held against what came.
#[derive(Debug, Clone, PartialEq)]
pub struct Expectation {
    /// `start`, or `leg/` and what opened the leg.
    pub subject: String,
    /// When the forecast behind it was issued. Of each six hours the first counts.
    pub issued_at: Instant,
    /// The odds.
    pub odds: Value,
}

/// The same with whose it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// What was expected.
    pub expectation: Expectation,
}

/// A place in the order of changes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChangeKey {
    /// Rises with each change.
    pub number: i64,
    /// What changed: `farm`, `site`, `block`, `season`, `alert`, `curve` or `material`.
    pub kind: String,
    /// Its id; of a season its block's.
    pub subject: String,
    /// The bloom year of a season or an alert, else 0.
    pub year: i32,
}

/// That something changed; of each thing only the latest is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// What, and its place.
    pub key: ChangeKey,
    /// The farm it belongs to; none where all see it.
    pub farm_id: Option<String>,
}

/// A block's season at one look.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardRow {
    /// The block.
    pub block_id: String,
    /// What its people call it.
    pub name: String,
    /// Its details, as JSON; most of them are not wanted.
    pub details: String,
    /// The farm that owns it.
    pub farm_id: String,
    /// The site whose weather it has.
    pub site_id: String,
    /// What its people call the site.
    pub site: String,
    /// Where the site lies, degrees north and east.
    pub place: (f64, f64),
    /// IANA zone.
    pub time_zone: String,
    /// The season's state; none before the first reckoning.
    pub state: Option<String>,
    /// The season as reckoned, JSON that is not read here: there are many.
    pub doc: Option<String>,
    /// When it was reckoned.
    pub reckoned_at: Option<Instant>,
    /// When open flowers were last counted.
    pub counted_at: Option<Instant>,
}
