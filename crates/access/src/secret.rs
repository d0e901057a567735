//! Secrets: 32 random bytes, shown once and kept as their SHA-256.
//!
//! A secret is never logged and never part of an error. Its hash needs no salt
//! and no slow function: 256 random bits cannot be guessed or tabled.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// What a secret begins with, by what it is for, so that people and scanners of
/// leaked secrets know it for one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Use {
    Token,
    Session,
    Link,
    Calendar,
}

impl Use {
    fn prefix(self) -> &'static str {
        match self {
            Use::Token => "bt_",
            Use::Session => "bs_",
            Use::Link => "bl_",
            Use::Calendar => "bc_",
        }
    }
}

/// Random bytes in a secret, each two digits of it.
const BYTES: usize = 32;

/// The system gave no random bytes.
#[derive(Debug, thiserror::Error)]
#[error("the system gives no random bytes for a secret: {0}; see that its random source works")]
pub struct NoRandom(getrandom::Error);

/// A new secret.
pub(crate) fn new_secret(of: Use) -> Result<String, NoRandom> {
    Ok(format!("{}{}", of.prefix(), hex(&random::<BYTES>()?)))
}

pub(crate) fn random<const N: usize>() -> Result<[u8; N], NoRandom> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(NoRandom)?;
    Ok(bytes)
}

/// A new secret that calls of a hook are signed with, in the form of the Standard
/// Webhooks specification. It is kept as it is, since it signs.
///
/// # Errors
/// When the system gives no random bytes.
pub fn hook_secret() -> Result<String, NoRandom> {
    Ok(format!("whsec_{}", STANDARD.encode(random::<BYTES>()?)))
}

/// Whether a text has the form of a secret for a use.
pub(crate) fn is_formed(of: Use, secret: &str) -> bool {
    secret.strip_prefix(of.prefix()).is_some_and(|digits| {
        digits.len() == 2 * BYTES && digits.bytes().all(|byte| byte.is_ascii_hexdigit())
    })
}

/// Whether a text has the form of a token's secret, wherever it stands.
pub fn looks_like_token(text: &str) -> bool {
    is_formed(Use::Token, text)
}

/// SHA-256 of a text, hex.
pub(crate) fn hash(secret: &str) -> String {
    hex(&Sha256::digest(secret.as_bytes()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a String takes all that is written to it");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4, the example of one block, as NIST prints it.
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(hash("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn two_secrets_differ() {
        let (one, other) = (new_secret(Use::Token).unwrap(), new_secret(Use::Token).unwrap());
        assert_ne!(one, other);
        assert!(is_formed(Use::Token, &one) && !is_formed(Use::Token, &one[1..]));
        assert!(!is_formed(Use::Link, &one) && !is_formed(Use::Token, &format!("{one}0")));
    }

    #[test]
    fn a_hooks_secret_is_32_bytes_of_base64() {
        let (one, other) = (hook_secret().unwrap(), hook_secret().unwrap());
        assert_ne!(one, other);
        assert_eq!(STANDARD.decode(one.strip_prefix("whsec_").unwrap()).unwrap().len(), BYTES);
    }
}
