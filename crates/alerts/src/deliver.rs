//! Handing kept messages to a mail server, or to a folder where none is set.

use std::path::PathBuf;
use std::sync::Arc;

use model::time::{Clock, HOUR, Instant, MINUTE};
use store::{LeasedMessage, Store, StoreError, trial};

use crate::journal::{Journal, Wrote};
use crate::mail::folder;
use crate::mail::letter;
use crate::mail::smtp::{self, Outcome, Relay};

/// A message is leased for so long. It must outlast the slowest conversation
/// with a mail server that is still taken for alive.
pub const LEASE: i64 = 20 * MINUTE;

/// The conversation is cut after this, well inside the lease.
const LONGEST_SEND: std::time::Duration = std::time::Duration::from_secs(18 * 60);

/// Minutes after composing at which a message that was put off is tried again;
/// then hourly.
const TRIES: [i64; 6] = [1, 5, 10, 15, 30, 60];

/// Where mail goes.
#[derive(Debug, Clone)]
pub enum Outlet {
    /// To a mail server.
    Server {
        /// The server.
        relay: Relay,
        /// Bare address that the envelope comes from.
        from: String,
    },
    /// Into a folder, one `.eml` file a message.
    Folder(PathBuf),
}

/// What became of a message in one try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Delivered {
    /// Taken by the server or written to the folder.
    Sent,
    /// To be tried again.
    Later {
        /// When.
        at: Instant,
        /// What was wrong.
        cause: String,
        /// Whether it lies between us and the mail server: no other message would
        /// fare better now.
        relay: bool,
    },
    /// Given up.
    Failed(String),
    /// The lease had gone to someone else.
    NotOurs,
}

/// Sends one leased message and records what became of it. What cannot be sent
/// is put off again and again; when its alert is of no use any more, the store
/// gives it up.
///
/// # Errors
/// When the store cannot be written; the lease then runs out and the message
/// is handed out again.
pub async fn send(
    store: &Store,
    outlet: &Outlet,
    leased: &LeasedMessage,
    journal: &Journal,
    clock: &Arc<dyn Clock>,
) -> Result<Delivered, StoreError> {
    let message = &leased.message;
    let offered = || async {
        if !store.mark_offered(&message.id, leased.token).await.unwrap_or(false) {
            return false;
        }
        trial::point(trial::OFFERED);
        let written = journal.write(leased, Wrote::Offering, clock.now()).await;
        written.inspect_err(|error| tracing::error!(%error, "nothing goes out without the journal")).is_ok()
    };
    let outcome = match outlet {
        Outlet::Server { relay, from } => {
            let sending = smtp::send(relay, from, &message.recipient, &message.body, offered);
            match tokio::time::timeout(LONGEST_SEND, sending).await {
                Ok(outcome) => outcome,
                Err(_) => {
                    Outcome::Unknown { cause: "the mail server kept the connection open too long".to_owned() }
                }
            }
        }
        Outlet::Folder(_) if !offered().await => return Ok(Delivered::NotOurs),
        Outlet::Folder(path) => match folder::keep(path, &message.header_id, &message.body).await {
            Ok(_) => Outcome::Sent { reply: String::new() },
            Err(error) => Outcome::Later { stage: smtp::Stage::Envelope, cause: error.to_string() },
        },
    };
    let wrote = match &outcome {
        Outcome::Sent { .. } => Wrote::Accepted,
        Outcome::Unknown { .. } => Wrote::Unknown,
        Outcome::Refused { .. } | Outcome::Later { .. } => Wrote::NotTaken,
    };
    // What went out is known without this line too, as something that may have.
    let written = journal.write(leased, wrote, clock.now()).await;
    if let Err(error) = written {
        tracing::error!(%error, "what became of a message is not in the journal");
    }
    settle(store, leased, outcome, clock.now()).await
}

async fn settle(
    store: &Store,
    leased: &LeasedMessage,
    outcome: Outcome,
    now: Instant,
) -> Result<Delivered, StoreError> {
    let (id, token) = (&leased.message.id, leased.token);
    let next = next_try(leased.message.composed_at, now);
    let (ours, delivered) = match outcome {
        Outcome::Sent { .. } => (store.mark_sent(id, token, now).await?, Delivered::Sent),
        Outcome::Refused { stage, code, text } if !stage.concerns_the_relay() => {
            let error = format!("{code} at {stage}: {text}");
            (store.mark_failed(id, token, &error).await?, Delivered::Failed(error))
        }
        Outcome::Refused { stage, code, text } => {
            let cause = format!("{code} at {stage}: {text}");
            let ours = store.mark_later(id, token, next, &cause, true).await?;
            (ours, Delivered::Later { at: next, cause, relay: true })
        }
        Outcome::Later { stage, cause } => {
            let (cause, relay) = (format!("{stage}: {cause}"), stage.concerns_the_relay());
            let ours = store.mark_later(id, token, next, &cause, relay).await?;
            (ours, Delivered::Later { at: next, cause, relay })
        }
        Outcome::Unknown { cause } => {
            let ours = store.mark_unknown(id, token, next, &cause).await?;
            (ours, Delivered::Later { at: next, cause, relay: false })
        }
    };
    trial::point(trial::AFTER_COMMIT);
    Ok(if ours { delivered } else { Delivered::NotOurs })
}

/// When a message that could not be sent at `now` is tried again.
fn next_try(composed_at: Instant, now: Instant) -> Instant {
    let early = TRIES.iter().map(|minutes| composed_at.plus(minutes * MINUTE));
    let hours = now.since(composed_at) / HOUR + 1;
    early.filter(|at| *at > now).min().unwrap_or(composed_at.plus(hours.max(1) * HOUR))
}

/// Checks a sender's address for the envelope.
///
/// # Errors
/// When it is no mail address.
pub fn envelope_from(from: &str) -> Result<String, letter::LetterError> {
    letter::address(from)
}
