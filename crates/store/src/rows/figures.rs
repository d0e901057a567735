//! How much there is of what, for those who watch the service.

use model::time::Instant;

/// Counts of one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Figures {
    /// Farms that are not closed.
    pub farms: u64,
    /// Blocks that are not archived.
    pub blocks: u64,
    /// Seasons, of all years.
    pub seasons: u64,
    /// Alerts, with those that were taken back.
    pub alerts: u64,
    /// Messages that are neither sent nor given up, and items without one.
    pub unsent: u64,
    /// Messages that were given up.
    pub failed: u64,
    /// Cells of feeds.
    pub cells: u64,
    /// Of these, those whose latest fetch failed.
    pub cells_failing: u64,
    /// When a cell was last fetched well, or was added when it never was, of that
    /// for which it is longest ago.
    pub oldest_fetch: Option<Instant>,
    /// Sites of which people were told that nothing is heard, and still nothing is.
    pub blind_sites: u64,
    /// Cells that should have been fetched hours ago, and messages whose lease ran
    /// out hours ago.
    pub stuck: u64,
    /// Journals that must be read before mail goes out, after a restore.
    pub unread_journals: u64,
}
