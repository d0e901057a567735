//! Points at which a trial may end the program.
//!
//! A pass goes by each of them on its way. Nothing is there in a build that people
//! use: only a trial says what happens, once, before the loops begin. They stand in
//! this crate because all that writes or sends uses it.

use std::sync::OnceLock;

/// A cell is about to be asked for.
pub const FETCH: &str = "fetch";
/// The answer came and was read; nothing of it is stored.
pub const PARSE: &str = "parse";
/// Readings and forecast are written, not committed.
pub const STORE: &str = "store";
/// Readings and forecast are stored, the cell's lease still runs.
pub const STORED: &str = "stored";
/// Stale seasons were reckoned, nothing of it is written.
pub const RECKON: &str = "reckon";
/// Seasons are written, their alerts are not; not committed.
pub const SEASON: &str = "season";
/// Seasons, alerts and items are written, not committed.
pub const OUTBOX: &str = "outbox";
/// Messages are composed and kept, none is leased.
pub const COMPOSED: &str = "composed";
/// The mail server greeted; MAIL is not said.
pub const BEFORE_MAIL: &str = "before-mail";
/// The message is marked as offered; DATA is not said.
pub const OFFERED: &str = "offered";
/// DATA was answered with 354; nothing of the message is sent.
pub const AFTER_DATA: &str = "after-data";
/// The closing dot is on its way; its answer is not read.
pub const AFTER_DOT: &str = "after-dot";
/// The mail server took the message; nothing is written of that.
pub const AFTER_250: &str = "after-250";
/// What became of the message is committed.
pub const AFTER_COMMIT: &str = "after-commit";

/// All points, in the order in which a crossing goes by them.
pub const POINTS: [&str; 14] = [
    FETCH,
    PARSE,
    STORE,
    STORED,
    RECKON,
    SEASON,
    OUTBOX,
    COMPOSED,
    BEFORE_MAIL,
    OFFERED,
    AFTER_DATA,
    AFTER_DOT,
    AFTER_250,
    AFTER_COMMIT,
];

/// What a trial does at a point, given its name.
pub type AtPoint = Box<dyn Fn(&'static str) + Send + Sync>;

static AT_POINT: OnceLock<AtPoint> = OnceLock::new();

/// Has `act` called at each point from now on.
///
/// # Errors
/// With `act` itself, when one was set before.
pub fn set(act: AtPoint) -> Result<(), AtPoint> {
    AT_POINT.set(act)
}

/// Goes by a point.
pub fn point(name: &'static str) {
    if let Some(act) = AT_POINT.get() {
        act(name);
    }
}
