//! Links that let their bearer do one thing once: become the first operator,
//! take a role on a farm, choose a new password.
//!
//! Opening one changes nothing, since programs that look through mail open
//! every link; only what is sent from its page uses it up.

use model::time::{DAY, HOUR, Instant};
use model::units::Units;
use store::{Link, LinkKind, Person, Role, Store, StoreError};

use crate::password::{Passwords, WeakPassword, check_new};
use crate::secret::{Use, hash, is_formed, new_secret};
use crate::token::{MakeError, new_id};

/// A claim lasts until the server is claimed or started again, at most so long.
const CLAIM: i64 = 7 * DAY;
/// Invitations wait for people who do not read mail each day.
pub const INVITATION: i64 = 7 * DAY;
/// A new password is chosen soon after it was asked for.
const RESET: i64 = HOUR;

/// Makes a claim when the server has no people yet, and gives its secret. A
/// claim made before works no more.
///
/// # Errors
/// [`MakeError`].
pub async fn claim(store: &Store, now: Instant) -> Result<Option<String>, MakeError> {
    if store.person_count().await? > 0 {
        return Ok(None);
    }
    let link = bare(LinkKind::Claim, now, CLAIM)?;
    keep(store, link).await.map(Some)
}

/// Invites the person of an address to a role on a farm, and gives the id of the
/// link and its secret.
///
/// # Errors
/// [`MakeError`]; not found when the farm is not there.
pub async fn invite(
    store: &Store,
    farm_id: &str,
    email: &str,
    role: Role,
    made_by: Option<&str>,
    now: Instant,
) -> Result<(String, String), MakeError> {
    let link = Link {
        email: Some(email.to_lowercase()),
        farm_id: Some(farm_id.to_owned()),
        role: Some(role),
        made_by: made_by.map(str::to_owned),
        ..bare(LinkKind::Invitation, now, INVITATION)?
    };
    Ok((link.id.clone(), keep(store, link).await?))
}

/// Makes a link by which the person of an address chooses a new password, and
/// gives its secret; none when nobody has that address.
///
/// # Errors
/// [`MakeError`].
pub async fn reset(store: &Store, email: &str, now: Instant) -> Result<Option<String>, MakeError> {
    let email = email.to_lowercase();
    if store.person_by_email(&email).await?.is_none() {
        return Ok(None);
    }
    let link = Link { email: Some(email), ..bare(LinkKind::Reset, now, RESET)? };
    keep(store, link).await.map(Some)
}

/// A link without its secret.
fn bare(kind: LinkKind, now: Instant, lasts: i64) -> Result<Link, MakeError> {
    Ok(Link {
        id: new_id(now)?,
        kind,
        hash: String::new(),
        email: None,
        farm_id: None,
        role: None,
        made_by: None,
        created_at: now,
        expires_at: now.plus(lasts),
        used_at: None,
    })
}

async fn keep(store: &Store, link: Link) -> Result<String, MakeError> {
    let secret = new_secret(Use::Link)?;
    store.add_link(&Link { hash: hash(&secret), ..link }).await?;
    Ok(secret)
}

/// What a link is for, while it works; looking does not use it up.
///
/// # Errors
/// When the database fails.
pub async fn look(
    store: &Store,
    kind: LinkKind,
    secret: &str,
    now: Instant,
) -> Result<Option<Link>, StoreError> {
    if !is_formed(Use::Link, secret) {
        return Ok(None);
    }
    let link = store.link_by_hash(&hash(secret)).await?;
    Ok(link.filter(|link| link.kind == kind && link.holds(now)))
}

/// What a person fills in behind a link.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// Their name; not asked by a reset.
    pub name: String,
    /// Their address; only a claim asks it, other links know it.
    pub email: String,
    /// The password that they choose.
    pub password: String,
}

/// Why a link was not redeemed. It still works unless it says [`Self::Over`].
#[derive(Debug, thiserror::Error)]
pub enum RedeemError {
    /// Used, ended, or never made.
    #[error("this link was used already or has ended; ask for a new one")]
    Over,
    /// The name is empty.
    #[error("a name is missing")]
    NoName,
    /// The password will not do.
    #[error("the password {0}")]
    Password(#[from] WeakPassword),
    /// The system or the database failed.
    #[error(transparent)]
    Failed(#[from] MakeError),
}

/// Uses a link up and gives the person it was for. Someone invited who has a
/// password already keeps it and need not choose one.
///
/// # Errors
/// [`RedeemError`].
pub async fn redeem(
    store: &Store,
    passwords: &Passwords,
    kind: LinkKind,
    secret: &str,
    given: Given,
    now: Instant,
) -> Result<Person, RedeemError> {
    let failed = |error: StoreError| RedeemError::Failed(error.into());
    let link = look(store, kind, secret, now).await.map_err(failed)?.ok_or(RedeemError::Over)?;
    let email = link.email.clone().unwrap_or_else(|| given.email.trim().to_lowercase());
    let known = store.person_by_email(&email).await.map_err(failed)?;
    let keeps_password =
        kind == LinkKind::Invitation && known.as_ref().is_some_and(|known| known.password.is_some());
    let password = if keeps_password {
        None
    } else {
        check_new(&given.password, &email)?;
        Some(passwords.hash(given.password).await.map_err(MakeError::from)?)
    };
    let name = given.name.trim().to_owned();
    if name.is_empty() && known.is_none() {
        return Err(RedeemError::NoName);
    }
    let id = new_id(now).map_err(MakeError::from)?;
    let person = Person { id, email, name, password, operator: false, created_at: now, units: Units::Both };
    store.redeem(&hash(secret), &person, now).await.map_err(failed)?.ok_or(RedeemError::Over)
}

#[cfg(test)]
mod tests;
