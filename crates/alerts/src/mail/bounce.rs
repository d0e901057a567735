//! What a mail server sends back when it could not hand a mail on: a delivery
//! status notification (RFC 3464), and what it says of each recipient.
//!
//! Anybody can write one. So a bounce counts only when it names the Message-ID
//! of a mail that this server really handed over to that recipient
//! ([`Bounce::names`]); one that brings no headers of the mail is matched by
//! nothing and does no harm.
//!
//! The mail comes from outside and is read without trust: only headers go
//! through the parser, part by part, and only the one level of parts that a
//! notification has is looked at, so that nothing nested in it is ever opened.

mod parts;

use std::fmt;

use mail_parser::MimeHeaders;

use super::letter;
use super::smtp::one_line;
use parts::{Headers, parts};

/// Longest mail that is read, in bytes. Ours are some kilobytes; a bounce brings
/// one of them back with a page of words.
pub const LONGEST: u64 = 1 << 20;
/// Parts that are looked at: words for people, the report, the mail come back.
const MOST_PARTS: usize = 10;
/// Recipients that one report may tell of. A mail of ours has one, behind which
/// may stand a list.
const MOST_RECIPIENTS: usize = 50;
/// Longest address (RFC 5321, 4.5.3.1.3).
const LONGEST_ADDRESS: usize = 254;

/// What a mail server did about a recipient (RFC 3464, 2.3.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// It gave the mail up.
    Failed,
    /// It still tries.
    Delayed,
    /// It delivered the mail.
    Delivered,
    /// It handed the mail to a server that tells no more.
    Relayed,
    /// It handed the mail to several addresses behind this one.
    Expanded,
}

impl Action {
    /// Its word in a report.
    pub fn word(self) -> &'static str {
        match self {
            Action::Failed => "failed",
            Action::Delayed => "delayed",
            Action::Delivered => "delivered",
            Action::Relayed => "relayed",
            Action::Expanded => "expanded",
        }
    }

    fn read(text: &str) -> Option<Action> {
        let all = [Action::Failed, Action::Delayed, Action::Delivered, Action::Relayed, Action::Expanded];
        // A comment may stand behind it.
        let word = text.split([' ', '(', ';']).next().unwrap_or_default();
        all.into_iter().find(|action| action.word().eq_ignore_ascii_case(word))
    }
}

/// An enhanced status code such as 5.1.1 (RFC 3463).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Status {
    /// 2 done, 4 not now, 5 not at all.
    pub class: u8,
    /// What it is about: 1 the address, 2 the mailbox, 7 a rule …
    pub subject: u16,
    /// What exactly.
    pub detail: u16,
}

impl Status {
    fn read(text: &str) -> Option<Status> {
        let code = text.split([' ', '(', ';']).next()?;
        let mut numbers = code.split('.');
        let class = numbers.next().filter(|class| ["2", "4", "5"].contains(class))?;
        let mut number = || {
            let digits = numbers.next().filter(|digits| (1..=3).contains(&digits.len()))?;
            digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse().ok())?
        };
        let (subject, detail) = (number()?, number()?);
        if numbers.next().is_some() {
            return None;
        }
        Some(Status { class: class.parse().ok()?, subject, detail })
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.class, self.subject, self.detail)
    }
}

/// What a report says of one recipient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bounce {
    /// What was done.
    pub action: Action,
    /// Why.
    pub status: Status,
    /// The bare address that the mail was sent to, as far as the reporting server
    /// knew; where a list or an alias stands behind it, that which it led to.
    pub recipient: String,
    /// The bare address that it could not reach, where that is another.
    pub reached_for: Option<String>,
    /// Message-ID, without angle brackets, of the mail that came back. `None`
    /// when its headers did not come with the report.
    pub header_id: Option<String>,
    /// What the last server said, one line without control characters, to be
    /// shown; empty when it said nothing.
    pub diagnostic: String,
}

impl Bounce {
    /// Whether the address does not take mail and will not: `failed` with a
    /// status of 5. All else is noted and changes nothing.
    pub fn permanent(&self) -> bool {
        self.action == Action::Failed && self.status.class == 5
    }

    /// Whether this tells of the mail with Message-ID `header_id` that was handed
    /// over for `recipient`, both without angle brackets. Only then may it count.
    pub fn names(&self, header_id: &str, recipient: &str) -> bool {
        let same = |address: &str| address.eq_ignore_ascii_case(recipient);
        self.header_id.as_deref() == Some(header_id)
            && (same(&self.recipient) || self.reached_for.as_deref().is_some_and(same))
    }
}

/// Why a mail is no bounce.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotABounce {
    /// Longer than [`LONGEST`].
    #[error("the mail is longer than any bounce that is read (1 MiB)")]
    TooLong,
    /// A mail of another kind: from a person, a holiday reply, a read receipt.
    #[error("the mail is no delivery report")]
    NotAReport,
    /// A report that says nothing that can be used of any recipient.
    #[error("the delivery report names no recipient with an action and a status")]
    NobodyNamed,
}

/// Reads a mail as its server kept it, and gives what it says of each recipient,
/// at least one.
///
/// # Errors
/// [`NotABounce`] says why it is none.
pub fn read(mail: &[u8]) -> Result<Vec<Bounce>, NotABounce> {
    if mail.len() as u64 > LONGEST {
        return Err(NotABounce::TooLong);
    }
    let (headers, body) = parts::parted(mail);
    let headers = Headers::of(headers).ok_or(NotABounce::NotAReport)?;
    let kind = headers.0.content_type().ok_or(NotABounce::NotAReport)?;
    let is = |name: &str, word: &str| kind.attribute(name).is_some_and(|is| is.eq_ignore_ascii_case(word));
    let report = kind.ctype().eq_ignore_ascii_case("multipart")
        && kind.subtype().is_some_and(|subtype| subtype.eq_ignore_ascii_case("report"))
        && is("report-type", "delivery-status");
    let boundary = kind.attribute("boundary").filter(|boundary| report && !boundary.is_empty());
    let boundary = boundary.ok_or(NotABounce::NotAReport)?;

    let (mut told, mut header_id) = (Vec::new(), None);
    for part in parts(body, boundary).take(MOST_PARTS) {
        match part.kind.as_str() {
            "message/delivery-status" | "message/global-delivery-status" if told.is_empty() => {
                // The first group is about the report as a whole.
                let groups = parts::groups(&part.body).skip(1).take(MOST_RECIPIENTS);
                told = groups.filter_map(recipient).collect();
            }
            "message/rfc822" | "text/rfc822-headers" | "message/global" | "message/global-headers"
                if header_id.is_none() =>
            {
                header_id = id_of(&part.body);
            }
            _ => {}
        }
    }
    if told.is_empty() {
        return Err(NotABounce::NobodyNamed);
    }
    told.iter_mut().for_each(|bounce| bounce.header_id.clone_from(&header_id));
    Ok(told)
}

/// One recipient's group of fields (RFC 3464, 2.3); the Message-ID comes after.
fn recipient(group: &[u8]) -> Option<Bounce> {
    let fields = Headers::of(group)?;
    let action = Action::read(&fields.text("Action")?)?;
    let status = Status::read(&fields.text("Status")?)?;
    let last = fields.text("Final-Recipient").as_deref().and_then(address);
    let first = fields.text("Original-Recipient").as_deref().and_then(address);
    let (recipient, reached_for) = match (first, last) {
        (Some(first), Some(last)) if first.eq_ignore_ascii_case(&last) => (first, None),
        (Some(first), last) => (first, last),
        (None, last) => (last?, None),
    };
    let diagnostic = fields.text("Diagnostic-Code").unwrap_or_default();
    let diagnostic = diagnostic.split_once(';').map_or(diagnostic.as_str(), |(_, said)| said);
    let diagnostic = one_line(diagnostic);
    Some(Bounce { action, status, recipient, reached_for, header_id: None, diagnostic })
}

/// `rfc822; box@domain` to the bare address; `None` for another kind of address.
fn address(text: &str) -> Option<String> {
    let (kind, address) = text.split_once(';')?;
    let kind = kind.trim();
    let mail = kind.eq_ignore_ascii_case("rfc822") || kind.eq_ignore_ascii_case("utf-8");
    let bare = address.trim().trim_start_matches('<').trim_end_matches('>');
    let fit = bare.len() <= LONGEST_ADDRESS
        && bare.contains('@')
        && !bare.contains(|c: char| c.is_control() || c.is_whitespace() || c == '<' || c == '>');
    (mail && fit).then(|| bare.to_owned())
}

/// The Message-ID in the headers of the mail that came back, when it is of a form
/// that ours have.
fn id_of(mail: &[u8]) -> Option<String> {
    let headers = Headers::of(parts::parted(mail).0)?;
    let id = headers.0.message_id()?;
    letter::local_part(id).is_ok().then(|| id.to_owned())
}

#[cfg(test)]
mod tests;
