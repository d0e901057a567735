//! What pages show, seen for one caller alone: the same rows, plans and growth that
//! the API answers from.

mod hand;

use std::fmt;
use std::sync::Arc;

use access::Caller;
use axum::Router;
use axum::http::StatusCode;
use model::ahead::Ahead;
use model::catalogue::Catalogue;
use model::field_log::FieldLog;
use model::growth::Growth;
use model::plan::Plan;
use model::season::Season;
use model::time::Instant;
use serde::Deserialize;
use serde_json::Value;
use store::{Block, LogEntry, Site, Store};

mod region;
mod rounds;
mod season;

pub use rounds::Unplanned;

pub use self::hand::{Amiss, Answered, Asked, Undone, tag_of};
use crate::App;
use crate::desk::{Desk, Visit};
use crate::ground::field_log;
use crate::problem::{Problem, Wrong};
use crate::seasons::{assembled, stale};

pub(crate) mod air;

/// The way in for pages.
#[derive(Clone)]
pub struct Sight {
    desk: Arc<Desk>,
    hand: Router,
}

/// What one caller sees.
pub struct View {
    visit: Visit,
    /// The API's handlers, for what is done on pages.
    hand: Router,
}

/// A season with what it was reckoned from, save the weather.
pub struct SeasonSeen {
    /// The bloom year.
    pub year: i32,
    /// The site whose weather the block has.
    pub site: Site,
    /// What was agreed, under the farm's own tables and confirmations.
    pub plan: Plan,
    /// The field log.
    pub log: FieldLog,
    /// Its entries as they were written, in order of id.
    pub rows: Vec<LogEntry>,
    /// The season as it was last reckoned; none before that, and where it could
    /// not be.
    pub season: Option<Season>,
    /// What lies ahead of it, where it was reckoned.
    pub ahead: Option<Ahead>,
    /// When it was reckoned.
    pub reckoned_at: Option<Instant>,
    /// Whether something has changed since; it will be reckoned anew soon.
    pub stale: bool,
}

/// What became of an entry that a page sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// The log did not have it.
    Kept,
    /// The log had it already, with the same content.
    Known,
}

/// Why an entry was not added; nothing of it was stored.
#[derive(Debug)]
pub enum NotAdded {
    /// Something is wrong with it, or with who sends it; sent again as it is, it is
    /// refused again. Each fault with its pointer into the entry, where it has one.
    Refused(Vec<(Option<String>, String)>),
    /// Its id stands for another entry.
    Conflict(String),
    /// The server could not; it is worth sending again.
    Failed(String),
}

impl From<Problem> for NotAdded {
    fn from(problem: Problem) -> NotAdded {
        let of_id = |wrong: &Wrong| wrong.pointer.as_deref() == Some("/id");
        if problem.status.is_server_error() {
            return NotAdded::Failed(problem.detail);
        }
        if problem.status == StatusCode::CONFLICT && problem.errors.iter().any(of_id) {
            return NotAdded::Conflict(problem.detail);
        }
        NotAdded::Refused(match problem.errors.as_slice() {
            [] => vec![(None, problem.detail)],
            errors => errors.iter().map(|wrong| (wrong.pointer.clone(), wrong.detail.clone())).collect(),
        })
    }
}

/// Why something cannot be shown; the reader learns no more than that.
#[derive(Debug)]
pub struct Unseen(String);

impl fmt::Display for Unseen {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(&self.0)
    }
}

impl std::error::Error for Unseen {}

impl From<Problem> for Unseen {
    fn from(problem: Problem) -> Unseen {
        Unseen(format!("{}: {}", problem.code, problem.detail))
    }
}

impl From<store::StoreError> for Unseen {
    fn from(error: store::StoreError) -> Unseen {
        Unseen(error.to_string())
    }
}

impl Sight {
    /// The same application as the API's.
    pub fn new(app: App) -> Sight {
        let desk = Arc::new(Desk::new(app));
        Sight { hand: hand::router(&desk), desk }
    }

    /// What a caller sees.
    pub fn of(&self, caller: Caller) -> View {
        let id = self.desk.new_id();
        View { visit: Visit::new(self.desk.clone(), caller, id, None), hand: self.hand.clone() }
    }
}

impl View {
    /// The database on the caller's behalf: another farm's rows are not there.
    pub fn store(&self) -> &Store {
        &self.visit.store
    }

    /// Who looks.
    pub fn caller(&self) -> &Caller {
        &self.visit.caller
    }

    /// The moment of looking.
    pub fn now(&self) -> Instant {
        self.visit.now()
    }

    /// Curves, materials and tables, those that were added with them.
    ///
    /// # Errors
    /// When the database cannot say.
    pub async fn catalogue(&self) -> Result<Catalogue, Unseen> {
        Ok(self.visit.catalogue().await?)
    }

    /// A season of a block that the caller sees; none where neither plan nor log
    /// has begun it.
    ///
    /// # Errors
    /// When the database cannot say, or what it keeps does not read back.
    pub async fn season(&self, block: &Block, year: i32) -> Result<Option<SeasonSeen>, Unseen> {
        let store = self.store();
        let Some(row) = store.season(&block.id, year).await? else { return Ok(None) };
        let (site, plan) = self.visit.behind(block, year).await?;
        let catalogue = self.visit.catalogue().await?;
        let plan = assembled(year, block, &site, &plan, &catalogue)?
            .map_err(|faults| Unseen(format!("block {}, {year}: {faults}", block.id)))?;
        let versions = store.plans(&block.id, year).await?;
        let table = store.farm_rule(&block.farm_id, model::plan::VERDICT_TABLE).await?;
        let tables: Vec<_> =
            table.map(|table| (model::plan::VERDICT_TABLE.to_owned(), table)).into_iter().collect();
        let confirmed = store.confirmations(&block.farm_id).await?;
        let confirmed: Vec<_> =
            confirmed.into_iter().filter(|one| one.taken_back_at.is_none()).map(|one| one.doc).collect();
        let plan = plan
            .with_versions(versions.iter().map(|version| (version.at, &version.doc)))
            .under(&tables, &confirmed);
        let rows = store.log(&block.id, year).await?;
        let stale = stale(&row, catalogue.edition, self.now());
        let reckoned_at = row.reckoned.as_ref().map(|reckoned| reckoned.reckoned_at);
        let doc = row.reckoned.map(|reckoned| reckoned.doc);
        let ahead = doc.as_ref().and_then(|doc| Ahead::deserialize(doc).ok());
        let season = doc.and_then(|doc| serde_json::from_value(doc).ok());
        let log = field_log(&rows);
        Ok(Some(SeasonSeen { year, site, plan, log, rows, season, ahead, reckoned_at, stale }))
    }

    /// Appends one entry to the log of a season, as the API does.
    ///
    /// # Errors
    /// When it is not added, and why.
    pub async fn append(&self, block: &str, year: i32, entry: Value) -> Result<Came, NotAdded> {
        let appended = self.visit.append(block, &year.to_string(), entry).await?;
        Ok(if appended.new > 0 { Came::Kept } else { Came::Known })
    }

    /// A new id for an entry.
    pub fn new_id(&self) -> String {
        self.visit.new_id()
    }

    /// Growth of a block in its own air over a season, as its timeline has it.
    ///
    /// # Errors
    /// As [`View::season`], and when there is no such season.
    pub async fn growth(&self, block: &Block, year: i32) -> Result<Growth, Unseen> {
        Ok(self.visit.growth(block.clone(), year).await?)
    }
}
