//! What notices say.

use model::time::Instant;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::Notice;

/// What a notice says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Word {
    /// The owner of an address is to confirm it.
    Confirm {
        /// Id of the contact.
        contact_id: String,
        /// Name of the farm.
        farm: String,
    },
    /// Another address is to take the place of this one.
    AddressChanging {
        /// Name of the farm.
        farm: String,
        /// The other one.
        to: String,
    },
    /// The farm's alerts do not come to this address any more.
    AddressRemoved {
        /// Name of the farm.
        farm: String,
    },
    /// Which alerts come, and when, was set anew.
    WishesChanged {
        /// Name of the farm.
        farm: String,
    },
    /// Someone else stopped mail to their address.
    Stopped {
        /// Name of the farm.
        farm: String,
        /// Whose.
        who: String,
    },
    /// Someone wants to see that mail arrives.
    Trial,
    /// A hook was switched off, since its receiver wants no more calls.
    HookOff {
        /// Name of the farm.
        farm: String,
        /// Name of the hook.
        hook: String,
        /// What the receiver said.
        cause: String,
    },
    /// A mail to someone else could not be delivered.
    Undelivered {
        /// Name of the farm.
        farm: String,
        /// To whom.
        to: String,
        /// One of the blocks that it was about.
        block: String,
        /// Kind of its alert.
        alert: String,
        /// What the mail server said.
        cause: String,
        /// Whether it came back after the server had taken it.
        bounced: bool,
    },
}

impl Word {
    /// The notice that says this to an address; the same words, address and seed make
    /// the same notice.
    pub fn notice(&self, farm_id: &str, recipient: &str, seed: &str, at: Instant) -> Notice {
        self.of(Some(farm_id), recipient, seed, at)
    }

    /// The same where it is no farm's affair.
    pub fn notice_of_no_farm(&self, recipient: &str, seed: &str, at: Instant) -> Notice {
        self.of(None, recipient, seed, at)
    }

    fn of(&self, farm_id: Option<&str>, recipient: &str, seed: &str, at: Instant) -> Notice {
        let about = serde_json::to_value(self).unwrap_or_default();
        let kind = about["kind"].as_str().unwrap_or_default().to_owned();
        let recipient = recipient.to_lowercase();
        let name = format!("{kind} {} {recipient} {seed}", farm_id.unwrap_or_default());
        Notice {
            id: Uuid::new_v5(&Uuid::NAMESPACE_OID, name.as_bytes()).to_string(),
            farm_id: farm_id.map(str::to_owned),
            recipient,
            kind,
            about,
            at,
        }
    }
}
