//! The outbox: one item for each alert and recipient, one message a mail.

use model::time::Instant;
use serde::{Deserialize, Serialize};

use super::{AlertRow, Block, Farm, Site, words};

/// One alert for one recipient.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Id, made from alert and recipient.
    pub id: String,
    /// The alert.
    pub alert_id: String,
    /// Mail address.
    pub recipient: String,
    /// The message that carries it; none until composed, never changed after.
    pub message_id: Option<String>,
}

/// What was decided for one recipient of an alert.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemShown {
    /// Mail address.
    pub recipient: String,
    /// The message that carries it.
    pub message_id: Option<String>,
    /// Why it goes out, waits or does not.
    pub because: Option<String>,
    /// It waits until then.
    pub hold_until: Option<Instant>,
    /// Why it was left unsent.
    pub unsent_because: Option<String>,
    /// When another way was tried, since it could not be delivered.
    pub second_at: Option<Instant>,
}

/// An item without a message, with all that its mail speaks of.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncomposed {
    /// The item.
    pub item: Item,
    /// Its alert.
    pub alert: AlertRow,
    /// The alert's block.
    pub block: Block,
    /// The block's site.
    pub site: Site,
    /// The block's farm.
    pub farm: Farm,
    /// Message-IDs of earlier mails of the same thread to the same recipient, the
    /// oldest first.
    pub thread: Vec<String>,
}

words! {
    /// What a message is for.
    Purpose {
        /// It carries alerts.
        Alerts = "alerts",
        /// It carries a notice.
        Notice = "notice",
        /// What stands of all blocks in the morning.
        Digest = "digest",
        /// What is expected to fall into someone's quiet hours.
        Evening = "evening",
        /// It shows that mail goes out at all.
        Heartbeat = "heartbeat",
    }
}

/// A message that could not be delivered, of which nobody was told yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Failed {
    /// The message.
    pub message: Message,
    /// The farms whose alerts it carried, each with one of the blocks' names and the
    /// kind of its alert.
    pub of: Vec<(Farm, String, String)>,
    /// Whether it came back after a server had taken it.
    pub bounced: bool,
}

/// An alert that has not reached someone for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Undelivered {
    /// The item.
    pub item: Item,
    /// The farm.
    pub farm: Farm,
    /// The block.
    pub block_id: String,
    /// Kind of the alert.
    pub kind: String,
}

words! {
    /// How sending a message stands.
    MessageState {
        /// To be sent at `next_try_at`.
        Ready = "ready",
        /// Its bytes are on the way to a server.
        Offered = "offered",
        /// A server took it.
        Sent = "sent",
        /// Refused for good.
        Failed = "failed",
        /// Offered, and no answer came: it may have arrived.
        Unknown = "unknown",
    }
}

/// One mail. Body and Message-ID never change once stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// Id, given by the caller.
    pub id: String,
    /// The Message-ID header; unique.
    pub header_id: String,
    /// What it is for.
    pub purpose: Purpose,
    /// Mail address.
    pub recipient: String,
    /// The whole mail as sent, ASCII.
    pub body: String,
    /// When it was composed.
    pub composed_at: Instant,
    /// How sending it stands.
    pub state: MessageState,
    /// Times that it was offered to a server.
    pub attempts: i64,
    /// When it is to be tried next; none once sent or failed.
    pub next_try_at: Option<Instant>,
    /// What the last attempt that did not go well ended with.
    pub last_error: Option<String>,
    /// When a server took it.
    pub sent_at: Option<Instant>,
    /// Until when it is worth sending, where no alert that it carries says so.
    pub useful_until: Option<Instant>,
}

/// A message to be sent now, by the holder of this lease alone.
#[derive(Debug, Clone, PartialEq)]
pub struct LeasedMessage {
    /// The message.
    pub message: Message,
    /// Shown when marking what came of it; every lease has a higher one than
    /// the last.
    pub token: i64,
    /// The outcome of the attempt before is not known, so the recipient may
    /// have a copy already.
    pub unknown_before: bool,
    /// The alerts that it carries.
    pub carries: Vec<Carried>,
}

/// The key of an alert that a message carries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carried {
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// The kind.
    pub kind: String,
    /// What within the season it is about.
    pub subject: String,
    /// From 1.
    pub generation: i64,
}

/// What a journal says of a message that went out, or may have.
#[derive(Debug, Clone, PartialEq)]
pub struct Journaled {
    /// Its Message-ID.
    pub header_id: String,
    /// Mail address.
    pub recipient: String,
    /// The alerts that it carried.
    pub carries: Vec<Carried>,
    /// Whether a server said that it took it.
    pub taken: bool,
    /// When the journal says so.
    pub at: Instant,
}
