//! The three loops, which share only the database.
//!
//! [`fetch`] leases cells, fetches them and stores what they bring, and takes what
//! is new in a watched folder ([`watch`]);
//! [`reckon`] takes what is stale, reckons it and writes season and alerts in
//! one transaction; [`deliver`] composes and sends, what comes back is read
//! ([`bounces`]), and [`hooks`] calls. Each pass takes no input,
//! looks at the whole present state and is idempotent: the same code in normal
//! running, after a restart, and on a second instance.

use std::path::PathBuf;
use std::sync::Arc;

use alerts::deliver::Outlet;
use alerts::hook::Carrier;
use alerts::journal::Journal;
use alerts::mail::bounce_box::BounceBox;
use alerts::sender::Sender;
use model::catalogue::Catalogue;
use model::time::Clock;
use store::Store;
use tokio::sync::Notify;
use weather::checks::Thresholds;
use weather::feeds::Feed;

mod ahead;
mod awake;
mod beside;
pub mod bounces;
pub mod catalogue;
pub mod deliver;
pub mod fetch;
mod grown;
pub mod hooks;
mod lenders;
mod meters;
pub mod reckon;
mod run;
pub mod watch;

pub use ahead::Learned;
pub use awake::Awake;
pub use deliver::Way;
pub use meters::Meters;
pub use run::run;

/// All that the loops work with.
#[derive(Clone)]
pub struct Engine {
    /// The database.
    pub store: Store,
    /// Where `now` comes from.
    pub clock: Arc<dyn Clock>,
    /// Curves and materials that ship, of an edition of its own for other
    /// [`Self::thresholds`].
    pub catalogue: Catalogue,
    /// What readings are checked by.
    pub thresholds: Arc<Thresholds>,
    /// The live feeds, one for each provider.
    pub feeds: Vec<Arc<dyn Feed>>,
    /// Folder in which station files are looked for, if any.
    pub station_files: Option<PathBuf>,
    /// Where mail goes.
    pub outlet: Outlet,
    /// Where what comes back to the sender's address is found, if anywhere.
    pub bounces: Option<Arc<BounceBox>>,
    /// Who mails come from.
    pub sender: Sender,
    /// What was sent, outside the database.
    pub journal: Journal,
    /// Name of this instance, that of its journal.
    pub instance: String,
    /// Whether the mail server answers.
    pub way: Arc<Way>,
    /// Since when the loops have been at work without a break.
    pub awake: Arc<Awake>,
    /// How far forecasts were off, as learned so far.
    pub learned: Arc<Learned>,
    /// Where the hourly heartbeat goes, if anywhere.
    pub heartbeat_to: Option<String>,
    /// What hooks are called by.
    pub carrier: Arc<dyn Carrier>,
    /// Rung when a loop may have something to do before its time.
    pub bells: Arc<Bells>,
    /// What is told to those who watch the service.
    pub meters: Meters,
}

/// One bell for each loop.
#[derive(Debug, Default)]
pub struct Bells {
    fetch: Notify,
    reckon: Notify,
    deliver: Notify,
}

impl Bells {
    /// Wakes the loop that reckons; it wakes the one that sends.
    pub fn seasons(&self) {
        self.reckon.notify_one();
    }

    /// Wakes the loop that sends.
    pub fn sends(&self) {
        self.deliver.notify_one();
    }

    /// Wakes the loop that fetches; it wakes the one that reckons.
    pub fn feeds(&self) {
        self.fetch.notify_one();
    }
}

/// Why a pass could not be finished; the next one tries again.
#[derive(Debug, thiserror::Error)]
pub enum PassError {
    /// The database failed.
    #[error(transparent)]
    Store(#[from] store::StoreError),
    /// A task of the pass ended unasked.
    #[error("a task of the pass ended unasked: {0}")]
    Task(#[from] tokio::task::JoinError),
}
