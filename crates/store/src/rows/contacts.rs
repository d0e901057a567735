//! Who gets a farm's alerts.

use model::time::Instant;
use serde_json::Value;

use super::words;

words! {
    /// Why an address of a farm gets nothing.
    Silence {
        /// Its owner stopped it.
        Stopped = "stopped",
        /// Mail to it came back for good.
        Bounced = "bounced",
    }
}

/// An address of a farm that gets nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Silenced {
    /// The farm.
    pub farm_id: String,
    /// Mail address in small letters.
    pub email: String,
    /// Why.
    pub because: Silence,
    /// What was said with it.
    pub detail: Option<String>,
    /// Since when.
    pub at: Instant,
}

/// Someone who gets a farm's alerts.
#[derive(Debug, Clone, PartialEq)]
pub struct Contact {
    /// Id, a UUIDv7.
    pub id: String,
    /// The farm.
    pub farm_id: String,
    /// What its people call them.
    pub name: String,
    /// Mail address in small letters.
    pub email: String,
    /// Another address that is to take its place once its owner has confirmed it.
    pub pending_email: Option<String>,
    /// When the confirmation that is open was asked for.
    pub asked_at: Instant,
    /// When the owner of `email` confirmed it; nothing goes out before.
    pub confirmed_at: Option<Instant>,
    /// What they want of the alerts ([`model::wishes::Wishes`]).
    pub wishes: Value,
    /// Rises with each change.
    pub version: i64,
    /// When they were added.
    pub created_at: Instant,
}

impl Contact {
    /// The address that waits to be confirmed.
    pub fn to_confirm(&self) -> Option<&str> {
        self.pending_email.as_deref().or(Some(self.email.as_str()).filter(|_| self.confirmed_at.is_none()))
    }
}

/// That a contact wants to hear nothing of a block while its season stays in a
/// state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mute {
    /// The contact.
    pub contact_id: String,
    /// The block.
    pub block_id: String,
    /// The bloom year.
    pub year: i32,
    /// The state.
    pub state: String,
    /// Since when.
    pub at: Instant,
}

/// One recipient of an alert, with what was decided for them and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Addressed {
    /// Mail address in small letters.
    pub recipient: String,
    /// Why it goes out, waits, or is left unsent.
    pub because: String,
    /// It waits until then.
    pub hold_until: Option<Instant>,
    /// It is left unsent.
    pub skipped: bool,
}

impl Addressed {
    /// One to whom it goes out.
    pub fn sent(recipient: impl Into<String>, because: impl Into<String>) -> Addressed {
        Addressed { recipient: recipient.into(), because: because.into(), hold_until: None, skipped: false }
    }
}

/// Words to an address beside the alerts, to be composed.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// Id; the same id again changes nothing.
    pub id: String,
    /// The farm that it is about; none where it is the server's.
    pub farm_id: Option<String>,
    /// Mail address in small letters.
    pub recipient: String,
    /// What it says, as those who compose it know it.
    pub kind: String,
    /// The facts.
    pub about: Value,
    /// When it came up.
    pub at: Instant,
}
