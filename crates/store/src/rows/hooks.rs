//! Hooks: where a farm's alerts are called out to, and each call.

use std::fmt;

use model::time::Instant;
use serde_json::{Value, json};

use super::{AlertRow, Block, words};

/// An address that is called with a farm's alerts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hook {
    /// Id, given by the caller.
    pub id: String,
    /// The farm whose alerts it is told.
    pub farm_id: String,
    /// What its people call it.
    pub name: String,
    /// The address.
    pub url: String,
    /// The kinds of alerts it is told; none for all.
    pub kinds: Option<Vec<String>>,
    /// What calls are signed with, the newest last.
    pub secrets: Vec<HookSecret>,
    /// When it was added.
    pub created_at: Instant,
    /// When it was switched off.
    pub off_at: Option<Instant>,
    /// Why.
    pub off_because: Option<String>,
    /// Raised with each change; 1 when added, whatever is given.
    pub version: i64,
}

/// A secret that calls are signed with. It is kept as it is, since it signs.
#[derive(Clone, PartialEq, Eq)]
pub struct HookSecret {
    /// `whsec_` and base64.
    pub secret: String,
    /// When it was made.
    pub made_at: Instant,
    /// Until when it signs along; none for the one in use.
    pub until: Option<Instant>,
}

impl fmt::Debug for HookSecret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "HookSecret(…, {:?}, {:?})", self.made_at, self.until)
    }
}

impl HookSecret {
    /// Whether calls are signed with it at `now`.
    pub fn holds(&self, now: Instant) -> bool {
        self.until.is_none_or(|until| now < until)
    }

    /// Secrets as they are stored.
    pub(crate) fn to_doc(secrets: &[HookSecret]) -> Value {
        let one = |one: &HookSecret| json!({"secret": one.secret, "made_at": one.made_at.0, "until": one.until.map(|at| at.0)});
        secrets.iter().map(one).collect()
    }

    /// Stored secrets.
    pub(crate) fn from_doc(doc: &Value) -> Vec<HookSecret> {
        let one = |one: &Value| {
            Some(HookSecret {
                secret: one["secret"].as_str()?.to_owned(),
                made_at: Instant(one["made_at"].as_i64()?),
                until: one["until"].as_i64().map(Instant),
            })
        };
        doc.as_array().into_iter().flatten().filter_map(one).collect()
    }
}

words! {
    /// How a call stands.
    CallState {
        /// To be made at `next_try_at`.
        Waiting = "waiting",
        /// The receiver answered that it has it.
        Delivered = "delivered",
        /// Given up.
        Failed = "failed",
    }
}

/// One call of a hook. Id and body stay the same, however often it is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HookCall {
    /// Id; the receiver gets it with each try.
    pub id: String,
    /// The hook.
    pub hook_id: String,
    /// The alert it tells of; none for a test.
    pub alert_id: Option<String>,
    /// Type of what it tells: `alert.due` and the like, or `test`.
    pub kind: String,
    /// What is sent, JSON; none until it was sent first.
    pub body: Option<String>,
    /// When what it tells was decided.
    pub created_at: Instant,
    /// How it stands.
    pub state: CallState,
    /// Times that it was made.
    pub attempts: i64,
    /// The same since it was last replayed: what the pause until the next one follows.
    pub tries: i64,
    /// When someone had it made once more.
    pub replayed_at: Option<Instant>,
    /// When it is made next; none once delivered or given up.
    pub next_try_at: Option<Instant>,
    /// HTTP status of the last answer; none where none came.
    pub last_status: Option<i64>,
    /// Why the last try did not go well.
    pub last_error: Option<String>,
    /// When it was delivered or given up.
    pub done_at: Option<Instant>,
}

/// A call to be made now, by the holder of this lease alone.
#[derive(Debug, Clone, PartialEq)]
pub struct LeasedCall {
    /// The call; this try is counted already.
    pub call: HookCall,
    /// Its hook.
    pub hook: Hook,
    /// The alert with its block; none for a test.
    pub alert: Option<(AlertRow, Block)>,
    /// Shown when marking what came of it; every lease has a higher one.
    pub token: i64,
}

/// What came of a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CallEnd {
    /// The receiver has it.
    Delivered {
        /// HTTP status.
        status: i64,
    },
    /// To be tried again.
    Later {
        /// When.
        at: Instant,
        /// HTTP status, where an answer came.
        status: Option<i64>,
        /// Why.
        error: String,
    },
    /// Given up.
    Failed {
        /// HTTP status, where an answer came.
        status: Option<i64>,
        /// Why.
        error: String,
    },
    /// The receiver wants no more: the hook is switched off.
    Gone {
        /// HTTP status.
        status: i64,
        /// Why, as people are told.
        because: String,
    },
}
