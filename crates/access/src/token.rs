//! Tokens of the API: made here, kept hashed.

use model::time::Instant;
use store::{Credential, CredentialKind, Scope, Store, StoreError};
use uuid::Builder;

use crate::secret::{NoRandom, Use, hash, new_secret, random};

/// Id of the token made at first start. It is fixed, so that of two programs
/// that start at once on one database only one makes it.
pub(crate) const FIRST: &str = "first";

/// Why nothing could be made.
#[derive(Debug, thiserror::Error)]
pub enum MakeError {
    /// The system gave no random bytes.
    #[error(transparent)]
    NoRandom(#[from] NoRandom),
    /// The database did not take it.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes the operator's first token when the store never had one, and gives its
/// secret, which cannot be had again.
///
/// # Errors
/// [`MakeError`].
pub async fn first_token(store: &Store, now: Instant) -> Result<Option<String>, MakeError> {
    if store.credential_count().await? > 0 {
        return Ok(None);
    }
    let wanted =
        Wanted { person_id: None, name: "made at first start", scope: Scope::Write, expires_at: None };
    match make(store, FIRST.to_owned(), CredentialKind::Token, wanted, now).await {
        Ok(secret) => Ok(Some(secret)),
        // Another program made it since it was asked for.
        Err(MakeError::Store(StoreError::Conflict { .. })) => Ok(None),
        Err(error) => Err(error),
    }
}

/// A token or sign-in to be made.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// Whose it is to be.
    pub person_id: Option<&'a str>,
    /// What it is for.
    pub name: &'a str,
    /// What it lets its bearer do.
    pub scope: Scope,
    /// When it ends by itself.
    pub expires_at: Option<Instant>,
}

/// Makes a token and gives its secret, which cannot be had again, behind its
/// id.
///
/// # Errors
/// [`MakeError`].
pub async fn new_token(
    store: &Store,
    wanted: Wanted<'_>,
    now: Instant,
) -> Result<(String, String), MakeError> {
    let id = new_id(now)?;
    Ok((id.clone(), make(store, id, CredentialKind::Token, wanted, now).await?))
}

pub(crate) async fn make(
    store: &Store,
    id: String,
    kind: CredentialKind,
    wanted: Wanted<'_>,
    now: Instant,
) -> Result<String, MakeError> {
    let secret = new_secret(match kind {
        CredentialKind::Token => Use::Token,
        CredentialKind::Session => Use::Session,
    })?;
    let credential = Credential {
        id,
        kind,
        person_id: wanted.person_id.map(str::to_owned),
        name: wanted.name.to_owned(),
        hash: hash(&secret),
        scope: wanted.scope,
        created_at: now,
        expires_at: wanted.expires_at,
        last_used_at: None,
        revoked_at: None,
    };
    store.add_credential(&credential).await?;
    Ok(secret)
}

/// A new id that rises with the clock given.
pub(crate) fn new_id(now: Instant) -> Result<String, NoRandom> {
    let millis = u64::try_from(now.0).unwrap_or_default() * 1_000;
    Ok(Builder::from_unix_timestamp_millis(millis, &random::<10>()?).into_uuid().to_string())
}
