//! Marks on the links in mails, by which the server knows its own.

use hmac::{Hmac, Mac};
use sha2::Sha256;

use crate::{Result, StoreError};

/// Bytes of a fresh key.
const KEY_BYTES: usize = 32;
/// Bytes of a mark: 128 bits cannot be guessed.
const MARK_BYTES: usize = 16;

/// Makes and knows the marks on links. Its key never leaves the database and this
/// process.
#[derive(Clone)]
pub struct Seal {
    key: String,
}

impl std::fmt::Debug for Seal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Seal(key kept back)")
    }
}

impl Seal {
    /// A seal of this key.
    pub fn new(key: impl Into<String>) -> Seal {
        Seal { key: key.into() }
    }

    /// The mark of a text: hex, 32 digits.
    pub fn mark(&self, text: &str) -> String {
        hex(&self.mac(text).finalize().into_bytes()[..MARK_BYTES])
    }

    /// Whether a mark is that of the text; takes as long for every wrong one.
    pub fn is_ours(&self, text: &str, mark: &str) -> bool {
        let bytes: Option<Vec<u8>> = (0..mark.len())
            .step_by(2)
            .map(|at| mark.get(at..at + 2).and_then(|pair| u8::from_str_radix(pair, 16).ok()))
            .collect();
        bytes.is_some_and(|bytes| {
            bytes.len() == MARK_BYTES && self.mac(text).verify_truncated_left(&bytes).is_ok()
        })
    }

    /// The mark on the page of a message.
    pub fn of_mail(&self, message_id: &str) -> String {
        self.mark(&format!("mail {message_id}"))
    }

    /// Whether a mark is that on the page of a message.
    pub fn is_of_mail(&self, message_id: &str, mark: &str) -> bool {
        self.is_ours(&format!("mail {message_id}"), mark)
    }

    /// The mark on the page that confirms a contact's address.
    pub fn of_address(&self, contact_id: &str, email: &str) -> String {
        self.mark(&format!("confirm {contact_id} {email}"))
    }

    /// Whether a mark is that on the page that confirms a contact's address.
    pub fn is_of_address(&self, contact_id: &str, email: &str, mark: &str) -> bool {
        self.is_ours(&format!("confirm {contact_id} {email}"), mark)
    }

    fn mac(&self, text: &str) -> Hmac<Sha256> {
        let mut mac =
            Hmac::<Sha256>::new_from_slice(self.key.as_bytes()).expect("HMAC takes keys of any length");
        mac.update(text.as_bytes());
        mac
    }
}

/// A fresh key.
pub(crate) fn fresh() -> Result<String> {
    let mut fresh = [0; KEY_BYTES];
    getrandom::fill(&mut fresh)
        .map_err(|error| StoreError::Refused(format!("the system gives no random bytes: {error}")))?;
    Ok(hex(&fresh))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_known_by_its_own_seal_alone() {
        let (ours, theirs) = (Seal::new("one"), Seal::new("another"));
        let mark = ours.mark("mail m-1");
        assert!(ours.is_ours("mail m-1", &mark));
        assert!(!theirs.is_ours("mail m-1", &mark) && !ours.is_ours("mail m-2", &mark));
        for wrong in ["", "00", &mark[2..], &format!("{mark}00"), "zz", "\u{20ac}\u{20ac}"] {
            assert!(!ours.is_ours("mail m-1", wrong), "{wrong}");
        }
    }

    /// RFC 4231, test case 2, cut to its first half.
    #[test]
    fn the_mark_is_hmac_sha_256() {
        let mark = Seal::new("Jefe").mark("what do ya want for nothing?");
        assert_eq!(mark, "5bdcc146bf60754e6a042426089575c7");
    }
}
