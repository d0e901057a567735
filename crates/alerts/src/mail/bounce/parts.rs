//! Headers and parts of a mail from outside, one level deep.

use std::borrow::Cow;

use mail_parser::decoders::base64::base64_decode;
use mail_parser::decoders::quoted_printable::quoted_printable_decode;
use mail_parser::{Message, MessageParser, MimeHeaders};

/// Longest block of headers that is read, in bytes.
const LONGEST_HEADERS: usize = 64 << 10;

/// A block of headers.
pub(super) struct Headers<'a>(pub(super) Message<'a>);

impl<'a> Headers<'a> {
    /// `None` when there is none, or it is too long.
    pub(super) fn of(block: &'a [u8]) -> Option<Headers<'a>> {
        if block.len() > LONGEST_HEADERS {
            return None;
        }
        MessageParser::default().parse_headers(block).map(Headers)
    }

    /// A field's text on one line, with one blank where there were several or a
    /// line was folded; `None` when it is not there or is empty.
    pub(super) fn text(&self, name: &str) -> Option<String> {
        let field = self.0.headers().iter().find(|field| field.name.as_str().eq_ignore_ascii_case(name))?;
        let words: Vec<&str> = field.value.as_text()?.split_whitespace().collect();
        (!words.is_empty()).then(|| words.join(" "))
    }
}

/// One part of a multipart body.
pub(super) struct Part<'a> {
    /// Its type, small letters: `text/plain`.
    pub(super) kind: String,
    /// Its content, decoded.
    pub(super) body: Cow<'a, [u8]>,
}

/// The parts between the lines of `boundary` (RFC 2046, 5.1.1). One whose headers
/// or content cannot be read is left out.
pub(super) fn parts<'a>(body: &'a [u8], boundary: &str) -> impl Iterator<Item = Part<'a>> {
    let delimiter = format!("--{boundary}").into_bytes();
    let (mut begins, mut found, mut at, mut closed) = (None, Vec::new(), 0, false);
    for line in body.split_inclusive(|byte| *byte == b'\n') {
        let marked = line.trim_ascii_end();
        let end = marked.strip_suffix(b"--") == Some(&delimiter);
        if !closed && (end || marked == delimiter) {
            if let Some(begins) = begins {
                found.push(&body[begins..at]);
            }
            begins = Some(at + line.len());
            closed = end;
        }
        at += line.len();
    }
    // One that was cut off has no last line; its last part goes to the end.
    if let (Some(begins), false) = (begins, closed) {
        found.push(&body[begins..]);
    }
    found.into_iter().filter_map(part)
}

fn part(bytes: &[u8]) -> Option<Part<'_>> {
    let (headers, body) = parted(bytes);
    let headers = Headers::of(headers)?;
    let kind = headers.0.content_type()?;
    let kind = format!("{}/{}", kind.ctype(), kind.subtype()?).to_ascii_lowercase();
    let encoding = headers.text("Content-Transfer-Encoding").unwrap_or_default().to_ascii_lowercase();
    let body = match encoding.as_str() {
        "base64" => Cow::Owned(base64_decode(body)?),
        "quoted-printable" => Cow::Owned(quoted_printable_decode(body)?),
        _ => Cow::Borrowed(body),
    };
    Some(Part { kind, body })
}

/// Headers, and what stands behind the empty line. Without one all is headers.
pub(super) fn parted(bytes: &[u8]) -> (&[u8], &[u8]) {
    let mut at = 0;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        at += line.len();
        if line.trim_ascii().is_empty() {
            return bytes.split_at(at);
        }
    }
    (bytes, &[])
}

/// Groups of fields with empty lines between.
pub(super) fn groups(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        while !rest.is_empty() {
            let (group, behind) = parted(rest);
            rest = behind;
            if !group.trim_ascii().is_empty() {
                return Some(group);
            }
        }
        None
    })
}
