//! Alerts: what was told, or left untold with a reason.

use model::time::Instant;
use serde_json::Value;

use super::{Addressed, words};

words! {
    /// Whether an alert goes out.
    AlertStatus {
        /// Handed to the outbox.
        Told = "told",
        /// Kept, with the reason why nobody is told.
        Skipped = "skipped",
    }
}

/// One alert. Block, year, kind, subject and generation are its key and occur
/// once.
#[derive(Debug, Clone, PartialEq)]
pub struct AlertRow {
    /// Id, given by the caller.
    pub id: String,
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// Kind, as the contracts name it.
    pub kind: String,
    /// What within the season it is about.
    pub subject: String,
    /// From 1; a key that was withdrawn may be told again with the next one.
    pub generation: i64,
    /// Whether it goes out.
    pub status: AlertStatus,
    /// Why it does, or does not.
    pub reason: Option<String>,
    /// What the mail says.
    pub about: Value,
    /// When it was decided.
    pub raised_at: Instant,
    /// Not sent any more from here on.
    pub useful_until: Instant,
    /// When a correction took it back.
    pub withdrawn_at: Option<Instant>,
    /// When a person took note of it.
    pub acknowledged_at: Option<Instant>,
    /// Whether anyone may have a mail of it, where that was asked.
    pub mailed: bool,
}

/// What is to be done to the alerts of a season. Every one of them may be
/// written again without doing more.
#[derive(Debug, Clone, PartialEq)]
pub enum AlertWrite {
    /// Adds an alert; when it is told, one item for each recipient. Where its
    /// key exists already, nothing is touched.
    New {
        /// The alert.
        alert: AlertRow,
        /// To whom.
        to: Vec<Addressed>,
    },
    /// Tells an alert that was skipped: one item for each recipient. One that
    /// was told already is left as it is.
    Tell {
        /// The alert.
        alert_id: String,
        /// What the mail says.
        about: Value,
        /// Not sent any more from here on.
        useful_until: Instant,
        /// Why it is told now.
        reason: String,
        /// To whom.
        to: Vec<Addressed>,
    },
    /// Changes what is known about an alert without telling it again. A mail
    /// of it that no server was offered yet is composed anew.
    Retime {
        /// The alert.
        alert_id: String,
        /// What is now known.
        about: Value,
        /// Not sent any more from here on.
        useful_until: Instant,
    },
    /// An alert is of no use any more: what of it has not gone out stays here.
    /// Where nobody has a mail of it, it counts as skipped.
    Close {
        /// The alert.
        alert_id: String,
        /// From when on.
        at: Instant,
        /// Why.
        reason: String,
    },
    /// Takes an alert back; the first time holds. Those who may have a mail of
    /// it get the notice; where none has, the alert counts as skipped and no
    /// notice is kept.
    Withdraw {
        /// The alert.
        alert_id: String,
        /// The alert that tells so, raised when the other is taken back.
        notice: AlertRow,
    },
}

impl AlertWrite {
    /// The alerts that it adds or changes.
    pub(crate) fn alert_ids(&self) -> impl Iterator<Item = &str> {
        let (first, second) = match self {
            AlertWrite::New { alert, .. } => (&alert.id, None),
            AlertWrite::Tell { alert_id, .. }
            | AlertWrite::Retime { alert_id, .. }
            | AlertWrite::Close { alert_id, .. } => (alert_id, None),
            AlertWrite::Withdraw { alert_id, notice } => (alert_id, Some(&notice.id)),
        };
        std::iter::once(first.as_str()).chain(second.map(String::as_str))
    }
}
