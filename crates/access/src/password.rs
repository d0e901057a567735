//! Passwords: argon2id, a few at a time.

use std::sync::Arc;

use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;

use crate::secret::{NoRandom, random};

/// Memory for one hash in KiB, passes and lanes: the OWASP password storage
/// cheat sheet's setting for argon2id (published; m = 19 MiB, t = 2, p = 1).
const COST: (u32, u32, u32) = (19_456, 2, 1);

/// Hashes reckoned at once: each holds 19 MiB and a core.
const AT_ONCE: usize = 2;

/// Shortest password, characters; NIST SP 800-63B asks for at least 8
/// (published).
pub const SHORTEST: usize = 10;
/// Longest password, characters: a hash of a megabyte would be an attack.
pub const LONGEST: usize = 200;

/// Why a password was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WeakPassword {
    /// Too short or too long.
    #[error("expected {SHORTEST} to {LONGEST} characters")]
    Length,
    /// The address itself, or one character over and over.
    #[error("is too easily guessed; take a few unrelated words")]
    Guessable,
}

/// Reckons and checks hashes, a few at a time.
#[derive(Debug, Clone)]
pub struct Passwords {
    gate: Arc<Semaphore>,
    /// A hash that no password fits: unknown names take as long as known ones.
    nobody: Arc<str>,
}

impl Passwords {
    /// Ready to check. Reckons one hash, which takes some tens of
    /// milliseconds.
    ///
    /// # Errors
    /// [`NoRandom`].
    pub async fn new() -> Result<Passwords, NoRandom> {
        let gate = Arc::new(Semaphore::new(AT_ONCE));
        let first = Passwords { gate: gate.clone(), nobody: Arc::from("") };
        let nobody = first.hash("the password of nobody".to_owned()).await?;
        Ok(Passwords { gate, nobody: Arc::from(nobody) })
    }

    /// The hash of a password, in the PHC string format.
    ///
    /// # Errors
    /// [`NoRandom`], for the salt.
    pub async fn hash(&self, password: String) -> Result<String, NoRandom> {
        let salt = SaltString::encode_b64(&random::<16>()?).expect("a salt may have 16 bytes");
        let hash = self.reckon(move || {
            let hash = argon().hash_password(password.as_bytes(), &salt);
            hash.expect("the cost is within argon2's bounds").to_string()
        });
        Ok(hash.await)
    }

    /// Whether a password fits a hash. Without a hash it takes as long, and
    /// never fits.
    pub async fn fits(&self, password: String, hash: Option<&str>) -> bool {
        let known = hash.is_some();
        let hash = hash.unwrap_or(&self.nobody).to_owned();
        let fits = self
            .reckon(move || {
                let hash = PasswordHash::new(&hash);
                hash.is_ok_and(|hash| argon().verify_password(password.as_bytes(), &hash).is_ok())
            })
            .await;
        known && fits
    }

    async fn reckon<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> T {
        let _place = self.gate.acquire().await.expect("the gate is never closed");
        tokio::task::spawn_blocking(work).await.expect("hashing does not panic")
    }
}

fn argon() -> Argon2<'static> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).expect("a cost that argon2 takes");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// Whether a new password may be taken for the person of an address.
///
/// # Errors
/// [`WeakPassword`].
pub fn check_new(password: &str, email: &str) -> Result<(), WeakPassword> {
    let length = password.chars().count();
    if !(SHORTEST..=LONGEST).contains(&length) {
        return Err(WeakPassword::Length);
    }
    let small = password.to_lowercase();
    let mailbox = email.split('@').next().unwrap_or_default();
    let first = small.chars().next();
    if small == email || small == mailbox || small.chars().all(|letter| Some(letter) == first) {
        return Err(WeakPassword::Guessable);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_hash_fits_its_password_alone() {
        let passwords = Passwords::new().await.unwrap();
        let hash = passwords.hash("pears before apples".to_owned()).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert_ne!(hash, passwords.hash("pears before apples".to_owned()).await.unwrap(), "salted");
        assert!(passwords.fits("pears before apples".to_owned(), Some(&hash)).await);
        assert!(!passwords.fits("pears before applesx".to_owned(), Some(&hash)).await);
        assert!(!passwords.fits("the password of nobody".to_owned(), None).await);
        assert!(!passwords.fits("x".to_owned(), Some("no hash")).await);
    }

    #[test]
    fn what_is_easily_guessed_is_not_taken() {
        let weak = |password: &str| check_new(password, "ines.moor@larkmoor.example");
        assert_eq!(weak("pears before apples"), Ok(()));
        assert_eq!(weak("pears"), Err(WeakPassword::Length));
        assert_eq!(weak(&"a b".repeat(100)), Err(WeakPassword::Length));
        assert_eq!(weak("Ines.Moor@larkmoor.example"), Err(WeakPassword::Guessable));
        assert_eq!(weak("ines.moor!"), Ok(()));
        assert_eq!(weak("aaaaaaaaaaaa"), Err(WeakPassword::Guessable));
    }
}
