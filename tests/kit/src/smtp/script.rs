//! What the listener does otherwise than a mail server should.

use std::collections::HashMap;
use std::fmt;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::Duration;

/// Where in a conversation an [`Act`] takes place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// The greeting.
    Greeting,
    /// EHLO or HELO, also the one behind STARTTLS.
    Hello,
    /// STARTTLS.
    StartTls,
    /// AUTH, its first line.
    Auth,
    /// MAIL.
    Mail,
    /// RCPT.
    Rcpt,
    /// DATA.
    Data,
    /// In the midst of the message, once [`Script::body_after`] bytes of it
    /// have come.
    Body,
    /// The closing dot.
    Dot,
    /// QUIT.
    Quit,
}

/// What the listener does at a step. The usual answer is the one that a mail
/// server in good order gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Act {
    /// Says these bytes instead of the usual answer; lines end as written.
    Say(String),
    /// The usual answer, and these bytes in the same piece.
    Surplus(String),
    /// The usual answer, and these bytes after a pause, in a piece of their own.
    Then(Duration, String),
    /// Nothing, for as long as the client keeps the connection. At
    /// [`Step::Body`] nothing is read either.
    Hang,
    /// The usual answer, one byte after each pause.
    Drip(Duration),
    /// The usual answer after a pause.
    Late(Duration),
    /// Closes the connection.
    Close,
    /// The usual answer, and closes the connection.
    AnswerAndClose,
}

/// A byte stream both ways.
pub trait Duplex: Read + Write + Send {}
impl<T: Read + Write + Send> Duplex for T {}

/// Puts TLS (or anything else) over a socket, for the server's side.
pub type Wrap = Arc<dyn Fn(TcpStream) -> io::Result<Box<dyn Duplex>> + Send + Sync>;

/// How a listener behaves; [`Script::default`] is a mail server in good order
/// that offers no extension.
#[derive(Clone, Default)]
pub struct Script {
    pub(super) offers: Vec<String>,
    pub(super) offers_in_tls: Option<Vec<String>>,
    pub(super) acts: HashMap<Step, Act>,
    pub(super) body_after: usize,
    pub(super) tls: Option<Wrap>,
    pub(super) tls_at_once: bool,
    after: Option<(usize, Box<Script>)>,
}

impl fmt::Debug for Script {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Script {{ offers {:?}, {:?} }}", self.offers, self.acts)
    }
}

impl Script {
    /// A mail server in good order.
    pub fn normal() -> Script {
        Script::default()
    }

    /// Offers an extension in answer to EHLO, such as `SIZE 1000` or
    /// `AUTH PLAIN LOGIN`.
    #[must_use]
    pub fn offer(mut self, extension: &str) -> Script {
        self.offers.push(extension.to_owned());
        self
    }

    /// Offers these extensions, and no others, once TLS stands.
    #[must_use]
    pub fn offer_in_tls(mut self, extensions: &[&str]) -> Script {
        self.offers_in_tls = Some(extensions.iter().map(|&name| name.to_owned()).collect());
        self
    }

    /// Does `act` at `step`, each time the step comes.
    #[must_use]
    pub fn at(mut self, step: Step, act: Act) -> Script {
        self.acts.insert(step, act);
        self
    }

    /// How many bytes of the message come in before [`Step::Body`]'s act.
    #[must_use]
    pub fn body_after(mut self, bytes: usize) -> Script {
        self.body_after = bytes;
        self
    }

    /// Holds for the first `n` connections; `then` for those after them.
    #[must_use]
    pub fn for_first(mut self, n: usize, then: Script) -> Script {
        self.after = Some((n, Box::new(then)));
        self
    }

    /// After STARTTLS, which it offers, goes on inside `wrap`.
    #[must_use]
    pub fn start_tls(mut self, wrap: Wrap) -> Script {
        self.tls = Some(wrap);
        self.offer("STARTTLS")
    }

    /// Speaks inside `wrap` from the first byte.
    #[must_use]
    pub fn tls(mut self, wrap: Wrap) -> Script {
        self.tls = Some(wrap);
        self.tls_at_once = true;
        self
    }

    /// What holds for connection `n`, counted from 1.
    pub(super) fn for_connection(&self, n: usize) -> Script {
        match &self.after {
            Some((first, then)) if n > *first => then.for_connection(n - first),
            _ => self.clone(),
        }
    }
}
