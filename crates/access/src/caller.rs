//! Who makes a request, and what they may do.

use model::time::Instant;
use model::units::Units;
use store::{Credential, CredentialKind, Membership, Person, Role, Scope, Store, StoreError};

use crate::secret::{Use, hash, is_formed};

/// Who makes a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    /// Id of the token or sign-in.
    pub credential_id: String,
    /// The person; none for the operator's first token.
    pub person_id: Option<String>,
    /// Whether all farms are theirs to see and change.
    pub operator: bool,
    /// Their roles, by farm.
    pub memberships: Vec<Membership>,
    /// What the token or sign-in lets them do at most.
    pub scope: Scope,
    /// Units that they read figures in.
    pub units: Units,
}

/// What is to be done on a farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// See it.
    Read,
    /// Log counts and sprays, take note of alerts.
    Log,
    /// Set blocks, sites, plans and people up.
    SetUp,
}

impl Caller {
    /// Whoever runs the program on the server itself: they could read its
    /// database anyway.
    pub fn at_the_server() -> Caller {
        Caller {
            credential_id: "command line".to_owned(),
            person_id: None,
            operator: true,
            memberships: Vec::new(),
            scope: Scope::Write,
            units: Units::Both,
        }
    }

    /// Whether the caller may do something on a farm.
    pub fn may(&self, deed: Deed, farm_id: &str) -> bool {
        if deed != Deed::Read && self.scope == Scope::Read {
            return false;
        }
        if self.operator {
            return true;
        }
        let role = self.memberships.iter().find(|membership| membership.farm_id == farm_id);
        role.is_some_and(|membership| match membership.role {
            Role::Advisor => true,
            Role::Grower => deed != Deed::SetUp,
            Role::Consultant => deed == Deed::Read,
        })
    }

    /// Whether the caller may read who did what on a farm.
    pub fn may_review(&self, farm_id: &str) -> bool {
        let advises = |one: &Membership| one.farm_id == farm_id && one.role == Role::Advisor;
        self.operator || self.memberships.iter().any(advises)
    }

    /// Whether the caller may add to what all farms share: curves and
    /// materials.
    pub fn may_share(&self) -> bool {
        let advises = self.memberships.iter().any(|membership| membership.role == Role::Advisor);
        self.scope == Scope::Write && (self.operator || advises)
    }

    /// Whether the caller may do what belongs to no one farm: add farms, and
    /// the server's own sites.
    pub fn may_operate(&self) -> bool {
        self.operator && self.scope == Scope::Write
    }
}

/// Why a request may not come in.
#[derive(Debug, thiserror::Error)]
pub enum Denied {
    /// No token, one of another form, or none that holds: whoever asks learns
    /// no more than that.
    #[error("give a valid token, as `Authorization: Bearer bt_…`")]
    NoToken,
    /// The database could not say.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Who the value of an `Authorization` header stands for.
///
/// # Errors
/// [`Denied::NoToken`] for everything that is not the secret of a token that
/// holds.
pub async fn bearer(store: &Store, header: Option<&[u8]>, now: Instant) -> Result<Caller, Denied> {
    let secret = header.and_then(secret_in).ok_or(Denied::NoToken)?;
    known(store, secret, CredentialKind::Token, now).await
}

/// Who the secret of a sign-in stands for.
///
/// # Errors
/// As [`bearer`].
pub async fn signed_in(store: &Store, secret: &str, now: Instant) -> Result<Caller, Denied> {
    if !is_formed(Use::Session, secret) {
        return Err(Denied::NoToken);
    }
    known(store, secret, CredentialKind::Session, now).await
}

async fn known(store: &Store, secret: &str, kind: CredentialKind, now: Instant) -> Result<Caller, Denied> {
    let found = store.credential_by_hash(&hash(secret)).await?;
    let credential = found.filter(|found| found.kind == kind && found.holds(now)).ok_or(Denied::NoToken)?;
    if credential.is_noted(now) {
        store.note_use(&credential.id, now).await?;
    }
    let Credential { id, person_id, scope, .. } = credential;
    let (operator, units, memberships) = match &person_id {
        None => (true, Units::Both, Vec::new()),
        Some(person) => {
            let Person { operator, units, .. } = store.person(person).await?.ok_or(Denied::NoToken)?;
            (operator, units, store.memberships_of(person).await?)
        }
    };
    Ok(Caller { credential_id: id, person_id, operator, memberships, scope, units })
}

/// The secret in a header's value, when it has the form of one.
fn secret_in(header: &[u8]) -> Option<&str> {
    let (scheme, secret) = std::str::from_utf8(header).ok()?.trim().split_once(' ')?;
    let secret = secret.trim_start();
    (scheme.eq_ignore_ascii_case("bearer") && is_formed(Use::Token, secret)).then_some(secret)
}

#[cfg(test)]
mod tests;
