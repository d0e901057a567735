//! What a server's answer, or the lack of one, means.

use std::io;
use std::time::Duration;

use mail_send::Error;
use smtp_proto::Response;

use super::{Outcome, Stage};

/// Longest text of a server that is passed on; what follows is dropped.
const LONGEST_TEXT: usize = 300;

/// `Ok` when the answer is one of `wanted`.
pub fn expect(stage: Stage, reply: &Response<String>, wanted: &[u16]) -> Result<(), Outcome> {
    if wanted.contains(&reply.code) { Ok(()) } else { Err(turned_down(stage, reply)) }
}

/// What an answer means that is not the one wanted.
pub fn turned_down(stage: Stage, reply: &Response<String>) -> Outcome {
    match reply.code {
        500..=599 => Outcome::Refused { stage, code: reply.code, text: text_of(reply) },
        400..=499 => later(stage, &said(reply)),
        _ => later(stage, &format!("the server is out of step: it answered {}", said(reply))),
    }
}

pub fn later(stage: Stage, cause: &str) -> Outcome {
    Outcome::Later { stage, cause: one_line(cause) }
}

pub fn unknown(cause: &str) -> Outcome {
    Outcome::Unknown { cause: one_line(cause) }
}

pub fn late(limit: Duration) -> String {
    format!("no whole answer within {limit:?}")
}

pub fn said(reply: &Response<String>) -> String {
    format!("{:03} {}", reply.code, text_of(reply))
}

/// The server's words with the enhanced code that mail-send has taken off them.
pub fn text_of(reply: &Response<String>) -> String {
    let [class, subject, detail] = reply.esc;
    if class == 0 {
        one_line(&reply.message)
    } else {
        one_line(&format!("{class}.{subject}.{detail} {}", reply.message))
    }
}

pub fn said_of(error: Error) -> String {
    match error {
        Error::Io(error) => io_text(&error),
        Error::Timeout => "no answer in time".to_owned(),
        Error::UnparseableReply => "the answer is not SMTP".to_owned(),
        other => other.to_string(),
    }
}

fn io_text(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::ConnectionReset | io::ErrorKind::BrokenPipe => {
            "the server cut the connection".to_owned()
        }
        _ => error.to_string(),
    }
}

/// Fit for a page, a log line and the journal.
pub fn one_line(text: &str) -> String {
    text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_TEXT).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_servers_words_are_one_short_line() {
        let said = one_line(&format!("no\r\n\u{1b}[31m{}\n", "x".repeat(5_000)));
        assert!(!said.contains(char::is_control));
        assert_eq!(said.chars().count(), LONGEST_TEXT);
    }
}
