//! Signing in with a password, and the throttle on it.

use model::time::{DAY, HOUR, Instant, MINUTE};
use store::{CredentialKind, Person, Scope, Store, StoreError};

use crate::password::Passwords;
use crate::secret::hash;
use crate::token::{MakeError, Wanted, make, new_id};

/// Attempts are counted over so long.
const WINDOW: i64 = 15 * MINUTE;
/// From one place for one address: a person who mistypes.
const FOR_BOTH: i64 = 10;
/// From one place for any address: a shared connection, or one who tries names.
const FROM_PLACE: i64 = 60;
/// For one address from anywhere: high, so that strangers do not lock its owner
/// out easily.
const FOR_ADDRESS: i64 = 200;

/// A sign-in ends after so long.
const SHORT: i64 = 12 * HOUR;
/// The same on a phone that is one person's own.
const LONG: i64 = 400 * DAY;

/// An attempt to sign in.
#[derive(Debug, Clone)]
pub struct Attempt<'a> {
    /// Mail address.
    pub email: &'a str,
    /// Password.
    pub password: String,
    /// Where it comes from: the client's network address.
    pub from: &'a str,
    /// The browser, as it names itself.
    pub browser: &'a str,
    /// Whether the person wants to stay signed in.
    pub long: bool,
    /// Secret of the sign-in that the browser brought along; it ends.
    pub before: Option<&'a str>,
}

/// A person who has signed in.
#[derive(Debug, Clone)]
pub struct SignedIn {
    /// The person.
    pub person: Person,
    /// Secret for the cookie.
    pub secret: String,
    /// When it ends.
    pub expires_at: Instant,
}

/// Why nobody was signed in.
#[derive(Debug, thiserror::Error)]
pub enum SignInError {
    /// Unknown address or wrong password: whoever asks learns not which.
    #[error("address and password do not fit")]
    Wrong,
    /// Too many attempts.
    #[error("too many attempts; try again after {0}")]
    Throttled(Instant),
    /// The system or the database failed.
    #[error(transparent)]
    Failed(#[from] MakeError),
}

impl From<StoreError> for SignInError {
    fn from(error: StoreError) -> SignInError {
        SignInError::Failed(error.into())
    }
}

/// Signs a person in with a new secret.
///
/// # Errors
/// [`SignInError`].
pub async fn sign_in(
    store: &Store,
    passwords: &Passwords,
    attempt: Attempt<'_>,
    now: Instant,
) -> Result<SignedIn, SignInError> {
    let email = attempt.email.trim().to_lowercase();
    // Keys are hashed: what was typed may be anything, a password too.
    let both = hash(&format!("both {} {email}", attempt.from));
    let limits = [
        (both.clone(), FOR_BOTH),
        (hash(&format!("place {}", attempt.from)), FROM_PLACE),
        (hash(&format!("address {email}")), FOR_ADDRESS),
    ];
    // Counted before the password is looked at, so that many at once do not
    // slip through together.
    for (key, most) in limits {
        let (number, since) = store.count_attempt(&key, now, WINDOW).await?;
        if number > most {
            return Err(SignInError::Throttled(since.plus(WINDOW)));
        }
    }
    let person = store.person_by_email(&email).await?;
    let held = person.as_ref().and_then(|person| person.password.as_deref());
    let fits = passwords.fits(attempt.password, held).await;
    let person = person.filter(|_| fits).ok_or(SignInError::Wrong)?;
    store.forget_attempts(&both).await?;
    if let Some(before) = attempt.before
        && let Some(before) = store.credential_by_hash(&hash(before)).await?
    {
        store.revoke(&before.id, now).await?;
    }
    let expires_at = now.plus(if attempt.long { LONG } else { SHORT });
    let wanted = Wanted {
        person_id: Some(&person.id),
        name: attempt.browser,
        scope: Scope::Write,
        expires_at: Some(expires_at),
    };
    let id = new_id(now).map_err(MakeError::from)?;
    let secret = make(store, id, CredentialKind::Session, wanted, now).await?;
    Ok(SignedIn { person, secret, expires_at })
}

/// Links for new passwords are counted over so long: one lasts as long.
const MAIL_WINDOW: i64 = HOUR;
/// To one address: a mail box is not filled.
const MAILS_TO_ADDRESS: i64 = 3;
/// From one place for any address.
const MAILS_FROM_PLACE: i64 = 20;

/// Whether a link for a new password may be mailed to an address, asked from a
/// place. An address that had enough is not told: whoever asks learns nothing of
/// it.
///
/// # Errors
/// [`SignInError::Throttled`] for a place that asked too often.
pub async fn may_mail(store: &Store, email: &str, from: &str, now: Instant) -> Result<bool, SignInError> {
    let place = hash(&format!("mail from {from}"));
    let (number, since) = store.count_attempt(&place, now, MAIL_WINDOW).await?;
    if number > MAILS_FROM_PLACE {
        return Err(SignInError::Throttled(since.plus(MAIL_WINDOW)));
    }
    let address = hash(&format!("mail to {}", email.trim().to_lowercase()));
    let (number, _) = store.count_attempt(&address, now, MAIL_WINDOW).await?;
    Ok(number <= MAILS_TO_ADDRESS)
}

#[cfg(test)]
mod tests;
