//! Tokens of the API: 32 random bytes, shown once and kept as their SHA-256.
//!
//! A secret is never logged and never part of an error. Its hash needs no salt
//! and no slow function: 256 random bits cannot be guessed or tabled.

use std::fmt::Write;

use model::time::Instant;
use sha2::{Digest, Sha256};
use store::{ApiToken, Store, StoreError};

/// What every secret begins with, so that people and scanners of leaked
/// secrets know it for one.
const PREFIX: &str = "bt_";
/// Random bytes in a secret.
const BYTES: usize = 32;
/// Length of a secret in characters: the prefix and two digits a byte.
const LENGTH: usize = PREFIX.len() + 2 * BYTES;
/// Id of the token made at first start. It is fixed, so that of two programs
/// that start at once on one database only one makes it.
const FIRST: &str = "first";

/// Who makes a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    /// Id of the token.
    pub token_id: String,
    /// What the token is for.
    pub name: String,
}

/// Why a request may not come in.
#[derive(Debug, thiserror::Error)]
pub enum Denied {
    /// No token, one of another form, or none that is known: whoever asks
    /// learns no more than that.
    #[error("give a valid token, as `Authorization: Bearer bt_…`")]
    NoToken,
    /// The database could not say.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Why no token could be made.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// The system gave no random bytes.
    #[error("the system gives no random bytes for a token: {0}; see that its random source works")]
    NoRandom(getrandom::Error),
    /// The database did not take it.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes the first token when the store has none, and gives its secret, which
/// cannot be had again.
///
/// # Errors
/// When the system gives no random bytes or the database does not take it.
pub async fn first_token(store: &Store, now: Instant) -> Result<Option<String>, TokenError> {
    if store.token_count().await? > 0 {
        return Ok(None);
    }
    let secret = new_secret()?;
    let token = ApiToken {
        id: FIRST.to_owned(),
        name: "made at first start".to_owned(),
        hash: hash(&secret),
        created_at: now,
    };
    match store.add_token(&token).await {
        Ok(()) => Ok(Some(secret)),
        // Another program made it since it was asked for.
        Err(StoreError::Conflict { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Who the value of an `Authorization` header stands for.
///
/// # Errors
/// [`Denied::NoToken`] for everything that is not the secret of a known token.
pub async fn bearer(store: &Store, header: Option<&[u8]>) -> Result<Caller, Denied> {
    let secret = header.and_then(secret_in).ok_or(Denied::NoToken)?;
    let token = store.token_by_hash(&hash(secret)).await?.ok_or(Denied::NoToken)?;
    Ok(Caller { token_id: token.id, name: token.name })
}

/// The secret in a header's value, when it has the form of one.
fn secret_in(header: &[u8]) -> Option<&str> {
    let (scheme, secret) = std::str::from_utf8(header).ok()?.trim().split_once(' ')?;
    let secret = secret.trim_start();
    let digits = secret.strip_prefix(PREFIX)?;
    let formed = secret.len() == LENGTH && digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    (scheme.eq_ignore_ascii_case("bearer") && formed).then_some(secret)
}

fn new_secret() -> Result<String, TokenError> {
    let mut bytes = [0; BYTES];
    getrandom::fill(&mut bytes).map_err(TokenError::NoRandom)?;
    Ok(format!("{PREFIX}{}", hex(&bytes)))
}

/// SHA-256 of a secret, hex.
fn hash(secret: &str) -> String {
    hex(&Sha256::digest(secret.as_bytes()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a String takes all that is written to it");
        text
    })
}

#[cfg(test)]
mod tests;
