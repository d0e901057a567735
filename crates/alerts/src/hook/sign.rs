//! Signatures of calls: HMAC-SHA256 over id, time and body, as the Standard
//! Webhooks specification has them under `v1`.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, Mac};
use model::time::{Instant, MINUTE};
use sha2::Sha256;

/// What a secret begins with.
const PREFIX: &str = "whsec_";

/// What a signature with a shared secret begins with.
const VERSION: &str = "v1,";

/// Random bytes that a secret may have.
const BYTES: std::ops::RangeInclusive<usize> = 24..=64;

/// A receiver takes no call whose time is off by more, seconds.
const TOLERANCE: i64 = 5 * MINUTE;

/// A secret that is none, or none at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the hook has no secret that signs; make it a new one")]
pub struct SecretError;

/// Why a receiver does not take a call for ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unverified {
    /// The secret has another form.
    #[error("the secret is not whsec_ and base64 of 24 to 64 bytes")]
    Secret,
    /// The time is none, or too far from the receiver's.
    #[error("the time of the call is none, or more than five minutes off")]
    Time,
    /// No signature is made with this secret over these bytes.
    #[error("no signature fits")]
    Signature,
}

type Code = Hmac<Sha256>;

/// The signatures of a call, one for each secret, with blanks between.
///
/// # Errors
/// When a secret has another form, or there is none.
pub fn sign<'a>(
    secrets: impl Iterator<Item = &'a str>,
    id: &str,
    at: Instant,
    body: &str,
) -> Result<String, SecretError> {
    let signed = secrets.map(|secret| {
        let code = over(secret, id, &at.0.to_string(), body.as_bytes()).ok_or(SecretError)?;
        Ok(format!("{VERSION}{}", STANDARD.encode(code.finalize().into_bytes())))
    });
    let signed: Vec<String> = signed.collect::<Result<_, SecretError>>()?;
    if signed.is_empty() { Err(SecretError) } else { Ok(signed.join(" ")) }
}

/// What a receiver does with a call: `time` and `signatures` are the headers as they
/// came. Signatures are compared in constant time.
///
/// # Errors
/// When the call is not to be taken for ours.
pub fn verify(
    secret: &str,
    id: &str,
    time: &str,
    signatures: &str,
    body: &[u8],
    now: Instant,
) -> Result<(), Unverified> {
    let at = time.parse().map(Instant).map_err(|_| Unverified::Time)?;
    if now.since(at).abs() > TOLERANCE {
        return Err(Unverified::Time);
    }
    let code = over(secret, id, time, body).ok_or(Unverified::Secret)?;
    let given = signatures.split(' ').filter_map(|one| one.strip_prefix(VERSION));
    let mut given = given.filter_map(|one| STANDARD.decode(one).ok());
    if given.any(|given| code.clone().verify_slice(&given).is_ok()) {
        Ok(())
    } else {
        Err(Unverified::Signature)
    }
}

/// The code over a call, not yet ended; none when the secret has another form.
fn over(secret: &str, id: &str, time: &str, body: &[u8]) -> Option<Code> {
    let key = STANDARD.decode(secret.strip_prefix(PREFIX)?).ok()?;
    if !BYTES.contains(&key.len()) {
        return None;
    }
    let mut code = Code::new_from_slice(&key).ok()?;
    for part in [id.as_bytes(), b".", time.as_bytes(), b".", body] {
        code.update(part);
    }
    Some(code)
}
