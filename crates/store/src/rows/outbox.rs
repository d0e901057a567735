//! The outbox: one item for each alert and recipient, one message a mail.

use model::time::Instant;

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
}
