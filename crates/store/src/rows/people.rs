//! People, their roles, and what they come in with.

use model::time::{Instant, MINUTE};
use model::units::Units;
use serde_json::Value;

use super::words;

/// A person who may sign in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Id, given by the caller.
    pub id: String,
    /// Mail address in small letters; unique.
    pub email: String,
    /// What others call them.
    pub name: String,
    /// Hash of the password; none until one was chosen.
    pub password: Option<String>,
    /// Runs the server: sees all farms.
    pub operator: bool,
    /// When they were added.
    pub created_at: Instant,
    /// Units that they read figures in.
    pub units: Units,
}

/// On whose behalf the store is asked, and in which request. Without one it is
/// the house itself: the loops, and the doors by which people come in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Behalf {
    /// The person whose roles count: of farms, and of what belongs to farms,
    /// only theirs are there. None for operators, who see all.
    pub viewer: Option<String>,
    /// Who acts; none on the command line.
    pub person_id: Option<String>,
    /// The token or sign-in they act with.
    pub credential_id: Option<String>,
    /// The request, as the log names it.
    pub request_id: String,
    /// When.
    pub at: Instant,
}

words! {
    /// What a person may do on a farm.
    Role {
        /// Sets blocks and thresholds up, and invites others.
        Advisor = "advisor",
        /// Logs counts and sprays.
        Grower = "grower",
        /// Reads.
        Consultant = "consultant",
    }
}

/// A person's role on a farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Membership {
    /// The person.
    pub person_id: String,
    /// The farm.
    pub farm_id: String,
    /// What they may do there.
    pub role: Role,
    /// When they got this role.
    pub since: Instant,
}

words! {
    /// What a credential is.
    CredentialKind {
        /// For programs, in the `Authorization` header.
        Token = "token",
        /// For browsers, in a cookie.
        Session = "session",
    }
}

words! {
    /// What a credential lets its bearer do.
    Scope {
        /// Only read.
        Read = "read",
        /// All that the person may do.
        Write = "write",
    }
}

/// A use is noted again only after so long.
const NOTED_EVERY: i64 = 5 * MINUTE;

/// A token or a sign-in, kept as the hash of its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Credential {
    /// Id, given by the caller.
    pub id: String,
    /// What it is.
    pub kind: CredentialKind,
    /// Whose it is; none for the operator's first token.
    pub person_id: Option<String>,
    /// What it is for, or the browser that signed in.
    pub name: String,
    /// SHA-256 of the secret, hex.
    pub hash: String,
    /// What it lets its bearer do.
    pub scope: Scope,
    /// When it was made.
    pub created_at: Instant,
    /// When it ends by itself.
    pub expires_at: Option<Instant>,
    /// When it was last seen, to some minutes.
    pub last_used_at: Option<Instant>,
    /// When it was taken back.
    pub revoked_at: Option<Instant>,
}

impl Credential {
    /// Whether a use at `now` is to be noted: not every request writes.
    pub fn is_noted(&self, now: Instant) -> bool {
        self.last_used_at.is_none_or(|at| now.since(at) >= NOTED_EVERY)
    }

    /// Whether it lets anyone in at `now`.
    pub fn holds(&self, now: Instant) -> bool {
        self.revoked_at.is_none() && self.expires_at.is_none_or(|end| now < end)
    }
}

words! {
    /// What a link is for.
    LinkKind {
        /// Makes the first operator.
        Claim = "claim",
        /// Gives a role on a farm.
        Invitation = "invitation",
        /// Sets a new password.
        Reset = "reset",
    }
}

/// A link that works once, kept as the hash of its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Id, given by the caller.
    pub id: String,
    /// What it is for.
    pub kind: LinkKind,
    /// SHA-256 of the secret, hex.
    pub hash: String,
    /// The address it was made for; none for a claim.
    pub email: Option<String>,
    /// The farm that an invitation leads to.
    pub farm_id: Option<String>,
    /// The role that an invitation gives.
    pub role: Option<Role>,
    /// Who made it; none for the server itself.
    pub made_by: Option<String>,
    /// When it was made.
    pub created_at: Instant,
    /// When it ends unused.
    pub expires_at: Instant,
    /// When it was used.
    pub used_at: Option<Instant>,
}

impl Link {
    /// Whether it still works at `now`.
    pub fn holds(&self, now: Instant) -> bool {
        self.used_at.is_none() && now < self.expires_at
    }
}

/// One thing that someone did; never changed once written.
#[derive(Debug, Clone, PartialEq)]
pub struct Audit {
    /// Rises with time.
    pub number: i64,
    /// When it was done.
    pub at: Instant,
    /// The farm it was done on; none for what is the server's.
    pub farm_id: Option<String>,
    /// Who did it; none on the command line.
    pub person_id: Option<String>,
    /// What they are called now.
    pub person: Option<String>,
    /// The token or sign-in they used.
    pub credential_id: Option<String>,
    /// The request, as the log names it.
    pub request_id: String,
    /// What was done.
    pub deed: String,
    /// What it was done to.
    pub kind: String,
    /// Its id.
    pub subject: String,
    /// The bloom year, where it is a season's.
    pub year: Option<i32>,
    /// More about it.
    pub detail: Option<Value>,
}

/// A part of the audit, and from which end it is listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AuditPart {
    /// What has a higher number, the earliest first; all of it after 0.
    After(i64),
    /// What has a lower number, the latest first; all of it before `i64::MAX`.
    Before(i64),
    /// What was done at a time or after it, the latest first.
    Since(Instant),
}

/// An answer as it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// Where what was made stands.
    pub location: Option<String>,
    /// The body, JSON.
    pub body: String,
}

/// How a request with a key stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Asked {
    /// It is to be done; it first came at this time.
    First(Instant),
    /// It is being done.
    UnderWay,
    /// It was answered.
    Answered(Answer),
    /// The key stands for another request.
    Other,
}
