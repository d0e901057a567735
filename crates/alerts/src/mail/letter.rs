//! A letter and the one byte string that it becomes.
//!
//! The same letter gives the same bytes for ever: the date comes from the
//! letter, the MIME boundary from its Message-ID. So what was composed and
//! what was sent can be compared byte by byte.

use std::time::{Duration, SystemTime};

use lettre::message::header::{ContentTransferEncoding, ContentType, HeaderName, HeaderValue, MessageId};
use lettre::message::{Mailbox, MultiPart, SinglePart};
use model::time::Instant;
use uuid::Uuid;

use super::wire;

/// What one mail says, and from whom to whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// Sender as the reader sees it: `Name <box@domain>` or `box@domain`.
    pub from: String,
    /// The one recipient, in the same form.
    pub to: String,
    /// Subject, any language, one line.
    pub subject: String,
    /// The message as plain text, any language.
    pub text: String,
    /// The same message as HTML.
    pub html: String,
    /// Message-ID without its angle brackets, as [`header_id`] makes it.
    pub header_id: String,
    /// The moment that the `Date` header shows.
    pub date: Instant,
    /// Further headers by name and value, in this order.
    pub headers: Vec<(String, String)>,
}

/// Why a letter cannot become a message.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LetterError {
    /// A value that would begin another header or hide something.
    #[error("the {field} holds a line break or control character; take it out")]
    Control {
        /// Which header.
        field: String,
    },
    /// Not an address that every mail server takes.
    #[error(
        "`{value}` in {field} is not a mail address; write box@domain or Name <box@domain>, the address in plain ASCII"
    )]
    Address {
        /// Which header.
        field: String,
        /// What stood there.
        value: String,
    },
    /// Not a Message-ID.
    #[error(
        "`{0}` is not a Message-ID; it is id@domain, each side of letters, digits and . _ - + = and not beginning with a dot"
    )]
    HeaderId(String),
    /// A further header that the letter already has a place for, or a name
    /// that is none.
    #[error(
        "`{0}` cannot be a further header; it is set from the letter itself, given twice, or not a header name"
    )]
    HeaderName(String),
    /// A year that mail cannot carry.
    #[error("{0} is not a date for a mail; it lies before 1970 or after 9999")]
    Date(Instant),
    /// The composed message is not fit for the wire.
    #[error("the composed message is not fit to be sent: {0}")]
    Composed(String),
}

/// Longest Message-ID without brackets; the header stays well inside one line
/// and the part before the `@` inside a file name.
const LONGEST_ID: usize = 200;

/// First second of the year 10000, which the date format cannot write.
const YEAR_10000: i64 = 253_402_300_800;

/// The headers that [`build`] sets from the letter itself; further headers may
/// not replace them. Those that begin with `Content-` are its own as well.
const OWN_HEADERS: [&str; 11] = [
    "From",
    "To",
    "Cc",
    "Bcc",
    "Sender",
    "Subject",
    "Date",
    "Message-ID",
    "MIME-Version",
    "Auto-Submitted",
    "Return-Path",
];

/// The Message-ID, without angle brackets, of the message known by `seed_id`
/// (a UUID or another id of ours) from the mail domain `domain`.
///
/// # Errors
/// [`LetterError::HeaderId`] when either holds what a Message-ID or a file
/// name cannot.
pub fn header_id(seed_id: &str, domain: &str) -> Result<String, LetterError> {
    let id = format!("{seed_id}@{domain}");
    local_part(&id)?;
    Ok(id)
}

/// The part of a Message-ID before its `@`: safe as a file name.
pub(super) fn local_part(header_id: &str) -> Result<&str, LetterError> {
    let fit = |part: &str| {
        !part.is_empty()
            && !part.starts_with('.')
            && !part.ends_with('.')
            && !part.contains("..")
            && part.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"._-+=".contains(&byte))
    };
    header_id
        .split_once('@')
        .filter(|(local, domain)| header_id.len() <= LONGEST_ID && fit(local) && fit(domain))
        .map(|(local, _)| local)
        .ok_or_else(|| LetterError::HeaderId(header_id.to_owned()))
}

/// The bare address of `Name <box@domain>` or `box@domain`, for the envelope.
///
/// # Errors
/// [`LetterError::Address`] when it is none, or not ASCII;
/// [`LetterError::Control`] on a line break.
pub fn address(mailbox: &str) -> Result<String, LetterError> {
    Ok(parsed("address", mailbox)?.email.to_string())
}

/// The whole message: headers, a plain and an HTML part, ASCII, CRLF.
///
/// # Errors
/// [`LetterError`] says which part of the letter cannot be sent as it is.
pub fn build(letter: &Letter) -> Result<String, LetterError> {
    local_part(&letter.header_id)?;
    let mut builder = lettre::Message::builder()
        .date(sent_at(letter.date)?)
        .from(parsed("From", &letter.from)?)
        .to(parsed("To", &letter.to)?)
        .subject(one_line("Subject", &letter.subject)?)
        .header(MessageId::from(format!("<{}>", letter.header_id)))
        // Keeps holiday replies from answering a machine (RFC 3834).
        .raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ));
    for (place, (name, value)) in letter.headers.iter().enumerate() {
        let earlier = &letter.headers[..place];
        let header = further(name, earlier)?;
        builder = builder.raw_header(HeaderValue::new(header, one_line(name, value)?));
    }
    let parts = MultiPart::alternative()
        .boundary(boundary(&letter.header_id))
        .singlepart(part(ContentType::TEXT_PLAIN, &letter.text))
        .singlepart(part(ContentType::TEXT_HTML, &letter.html));
    let bytes =
        builder.multipart(parts).map_err(|error| LetterError::Composed(error.to_string()))?.formatted();
    wire::fit(&bytes).map_err(|unfit| LetterError::Composed(unfit.to_string()))?;
    Ok(String::from_utf8(bytes).expect("bytes fit for the wire are ASCII"))
}

fn part(kind: ContentType, content: &str) -> SinglePart {
    SinglePart::builder()
        .header(kind)
        .header(ContentTransferEncoding::QuotedPrintable)
        .body(content.replace("\r\n", "\n").replace('\r', "\n"))
}

/// `=_` cannot stand in quoted-printable text, so no part can hold it.
fn boundary(header_id: &str) -> String {
    let digest = Uuid::new_v5(&Uuid::NAMESPACE_URL, format!("mid:{header_id}").as_bytes());
    format!("=_{}", digest.simple())
}

fn sent_at(date: Instant) -> Result<SystemTime, LetterError> {
    match u64::try_from(date.0) {
        Ok(seconds) if date.0 < YEAR_10000 => Ok(SystemTime::UNIX_EPOCH + Duration::from_secs(seconds)),
        _ => Err(LetterError::Date(date)),
    }
}

fn parsed(field: &str, mailbox: &str) -> Result<Mailbox, LetterError> {
    refuse_control(field, mailbox)?;
    mailbox
        .parse::<Mailbox>()
        .ok()
        .filter(|read| read.email.to_string().is_ascii())
        .ok_or_else(|| LetterError::Address { field: field.to_owned(), value: mailbox.to_owned() })
}

fn further(name: &str, earlier: &[(String, String)]) -> Result<HeaderName, LetterError> {
    let unfit = || LetterError::HeaderName(name.to_owned());
    let ours = OWN_HEADERS.iter().any(|own| own.eq_ignore_ascii_case(name))
        || name.to_ascii_lowercase().starts_with("content-");
    let twice = earlier.iter().any(|(other, _)| other.eq_ignore_ascii_case(name));
    if ours || twice || !name.bytes().all(|byte| byte.is_ascii_graphic()) {
        return Err(unfit());
    }
    HeaderName::new_from_ascii(name.to_owned()).map_err(|_| unfit())
}

/// A header's text, which must be one line. `=?` is parted, since a reader
/// would otherwise decode what follows into text that nobody here looked at.
fn one_line(field: &str, value: &str) -> Result<String, LetterError> {
    refuse_control(field, value)?;
    Ok(value.replace("=?", "= ?"))
}

fn refuse_control(field: &str, value: &str) -> Result<(), LetterError> {
    // Unicode's own line separators break lines in some readers.
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    if value.chars().any(breaks) {
        return Err(LetterError::Control { field: field.to_owned() });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
