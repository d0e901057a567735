//! One message to one recipient over one connection, and what became of it.
//!
//! The worst outcome is to call a message sent that was not, so:
//!
//! - A message is [`Outcome::Sent`] on `250` to the closing dot and on nothing
//!   else.
//! - A server that says anything when it is not its turn is out of step: the
//!   next answer could belong to the question before. See [`in_step`].
//! - Each step has its own deadline over its whole answer, so that a server
//!   cannot hold a sender by dripping bytes. A deadline drops the connection.
//! - Nothing is left of a connection when [`send`] ends, however it ends, so
//!   no later message can read its answers.
//!
//! The commands, the reading of answers, signing in and TLS are mail-send's.
//! Ours are the turn-taking underneath it, the deadlines, and the message's own
//! bytes: mail-send would add an empty line to them and would not tell a
//! failure before the dot from one after.

mod answers;
mod in_step;
mod relay;
mod secure;
mod session;

pub(crate) use answers::one_line;
pub use relay::{Credentials, Relay, RelayError, Security, Timeouts};

use std::fmt;
use std::future::Future;

/// Where in the conversation something ended it, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Before any connection: an address or message that no server can take.
    Envelope,
    /// Name lookup and TCP connection.
    Connect,
    /// The server's greeting.
    Greeting,
    /// EHLO.
    Hello,
    /// STARTTLS, the TLS handshake, the certificate.
    Tls,
    /// Signing in.
    Auth,
    /// MAIL FROM.
    Mail,
    /// RCPT TO.
    Rcpt,
    /// The caller's own mark before DATA.
    Offer,
    /// DATA.
    Data,
    /// The message, up to but without the closing dot.
    Body,
    /// The closing dot.
    Dot,
}

impl Stage {
    /// Whether what went wrong lies between us and the mail server, and not in
    /// this message or recipient: another message would fare no better, and
    /// this one may fare better once the server or our settings are put right.
    pub fn concerns_the_relay(self) -> bool {
        (Stage::Connect..=Stage::Auth).contains(&self)
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Stage::Envelope => "before connecting",
            Stage::Connect => "connecting",
            Stage::Greeting => "the greeting",
            Stage::Hello => "EHLO",
            Stage::Tls => "TLS",
            Stage::Auth => "signing in",
            Stage::Mail => "MAIL",
            Stage::Rcpt => "RCPT",
            Stage::Offer => "the mark before DATA",
            Stage::Data => "DATA",
            Stage::Body => "the message",
            Stage::Dot => "the closing dot",
        })
    }
}

/// What became of one try. Texts are one line without control characters and
/// can be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
#[must_use]
pub enum Outcome {
    /// The server took the message over with `250`.
    Sent {
        /// What it said, often its queue id.
        reply: String,
    },
    /// The server will not have it (5xx). Trying again changes nothing, except
    /// where [`Stage::concerns_the_relay`].
    Refused {
        /// Where.
        stage: Stage,
        /// The reply code; 553 or 554 of our own at [`Stage::Envelope`].
        code: u16,
        /// What it said.
        text: String,
    },
    /// Not sent, for certain; worth another try.
    Later {
        /// Where.
        stage: Stage,
        /// What was wrong.
        cause: String,
    },
    /// The dot was sent and no clear answer came: the message may have been
    /// taken.
    Unknown {
        /// What was wrong.
        cause: String,
    },
}

/// Gives `message` (a whole message as [`super::letter::build`] makes it) to
/// `relay` for `to`, on a connection of its own.
///
/// `from` and `to` are bare addresses ([`super::letter::address`]). `offered`
/// runs once, right before DATA: it records that the message is about to be
/// offered. On `false` nothing more is sent and the outcome is
/// [`Outcome::Later`] at [`Stage::Offer`].
///
/// Dropping the returned future drops the connection. Once `offered` has run,
/// a caller who drops it does not know whether the message was taken.
pub async fn send<F, Fut>(relay: &Relay, from: &str, to: &str, message: &str, offered: F) -> Outcome
where
    F: FnOnce() -> Fut + Send,
    Fut: Future<Output = bool> + Send,
{
    session::run(relay, session::Mail { from, to, message }, offered).await.unwrap_or_else(|ended| ended)
}
