//! Calling the addresses that want to hear of alerts, after the Standard Webhooks
//! specification (standardwebhooks.com, version 1.0.0): signed POSTs, tried again
//! over days under one id and with one body.
//!
//! What a receiver answers decides: 2xx is done, 410 switches the hook off, and all
//! else is tried again. A redirect is not followed, and is a failure like others.

mod payload;
mod sign;

use std::pin::Pin;
use std::time::Duration;

use model::time::{Clock, HOUR, Instant, MINUTE};
use store::{CallEnd, Hook, LeasedCall, Store, StoreError};

pub use payload::payload;
pub use sign::{SecretError, Unverified, sign, verify};

/// A call is leased for so long. It must outlast the longest call that is still
/// taken for alive.
pub const LEASE: i64 = 5 * MINUTE;

/// The call is cut after this, well inside the lease: the specification asks for 15
/// to 30 s.
pub const LONGEST_CALL: Duration = Duration::from_secs(30);

/// A secret that was replaced signs along for so long.
pub const SIGNS_ALONG: i64 = 24 * HOUR;

/// Pauses after each try that did not go well, seconds: the schedule of the
/// specification's example, some three days. After the last one the call is given up.
pub const PAUSES: [i64; 9] =
    [5, 5 * MINUTE, 30 * MINUTE, 2 * HOUR, 5 * HOUR, 10 * HOUR, 14 * HOUR, 20 * HOUR, 24 * HOUR];

/// HTTP's "gone": the receiver wants no more calls.
const GONE: u16 = 410;

/// One POST as it goes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Post {
    /// The address.
    pub url: String,
    /// Its headers, the content type among them.
    pub headers: [(&'static str, String); 4],
    /// Its body, JSON.
    pub body: String,
}

/// What came of a POST.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Carried {
    /// The receiver answered.
    Answered {
        /// HTTP status.
        status: u16,
        /// The begin of what it said.
        said: String,
    },
    /// No answer came, or the address may not be asked, with the reason.
    Failed(String),
}

/// A POST under way.
pub type Carrying<'a> = Pin<Box<dyn Future<Output = Carried> + Send + 'a>>;

/// What POSTs go out by. It must follow no redirect and ask no address of this
/// machine or of the network behind it, save what the operator allows; and read no
/// more of an answer than it gives.
pub trait Carrier: Send + Sync {
    /// Makes one POST.
    fn carry<'a>(&'a self, post: &'a Post) -> Carrying<'a>;
}

/// What became of a call in one try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Called {
    /// The receiver has it.
    Delivered,
    /// To be tried again at the given time.
    Later(Instant, String),
    /// Given up.
    Failed(String),
    /// The receiver wants no more: its hook is off.
    Gone(String),
    /// The lease had gone to someone else.
    NotOurs,
}

/// Makes one leased call and records what became of it. Its body is kept before it
/// first goes out.
///
/// # Errors
/// When the store cannot be written; the lease then runs out and the call is handed
/// out again.
pub async fn call(
    store: &Store,
    carrier: &dyn Carrier,
    leased: &LeasedCall,
    clock: &dyn Clock,
) -> Result<Called, StoreError> {
    let (id, token) = (&leased.call.id, leased.token);
    let body = match &leased.call.body {
        Some(body) => body.clone(),
        None => {
            let body = payload(leased).to_string();
            if !store.keep_call_body(id, token, &body).await? {
                return Ok(Called::NotOurs);
            }
            body
        }
    };
    let carried = match post(&leased.hook, id, body, clock.now()) {
        Ok(post) => match tokio::time::timeout(LONGEST_CALL, carrier.carry(&post)).await {
            Ok(carried) => carried,
            Err(_) => Carried::Failed(format!("no answer came within {} seconds", LONGEST_CALL.as_secs())),
        },
        Err(error) => Carried::Failed(error.to_string()),
    };
    let now = clock.now();
    let (end, called) = settle(carried, leased.call.tries, now);
    Ok(if store.end_call(id, token, &end, now).await? { called } else { Called::NotOurs })
}

/// A POST of a body, signed with every secret of the hook that holds.
///
/// # Errors
/// When a secret of it is none.
pub fn post(hook: &Hook, id: &str, body: String, now: Instant) -> Result<Post, SecretError> {
    let holding = hook.secrets.iter().filter(|secret| secret.holds(now));
    let signature = sign(holding.map(|secret| secret.secret.as_str()), id, now, &body)?;
    let headers = [
        ("content-type", "application/json".to_owned()),
        ("webhook-id", id.to_owned()),
        ("webhook-timestamp", now.0.to_string()),
        ("webhook-signature", signature),
    ];
    Ok(Post { url: hook.url.clone(), headers, body })
}

/// What an answer to try number `tries` means.
fn settle(carried: Carried, tries: i64, now: Instant) -> (CallEnd, Called) {
    let (status, error) = match carried {
        Carried::Answered { status, .. } if (200..300).contains(&status) => {
            return (CallEnd::Delivered { status: status.into() }, Called::Delivered);
        }
        Carried::Answered { status: GONE, said } => {
            let because = told(format!("the receiver answered {GONE}, that it wants no more calls"), &said);
            let end = CallEnd::Gone { status: GONE.into(), because: because.clone() };
            return (end, Called::Gone(because));
        }
        Carried::Answered { status, said } if (300..400).contains(&status) => {
            let error =
                format!("the receiver answered {status}; redirects are not followed, change the address");
            (Some(status.into()), told(error, &said))
        }
        Carried::Answered { status, said } => {
            (Some(status.into()), told(format!("the receiver answered {status}"), &said))
        }
        Carried::Failed(cause) => (None, cause),
    };
    match pause(tries) {
        Some(pause) => {
            let at = now.plus(pause);
            (CallEnd::Later { at, status, error: error.clone() }, Called::Later(at, error))
        }
        None => (CallEnd::Failed { status, error: error.clone() }, Called::Failed(error)),
    }
}

/// The pause after try number `tries`, from 1; none after the last.
fn pause(tries: i64) -> Option<i64> {
    usize::try_from(tries - 1).ok().and_then(|n| PAUSES.get(n)).copied()
}

/// A sentence with what the receiver said, in one line.
fn told(sentence: String, said: &str) -> String {
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    let said: String = said.chars().filter(|sign| !sign.is_control()).collect();
    if said.is_empty() { sentence } else { format!("{sentence}: {said}") }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may")]
mod tests;
