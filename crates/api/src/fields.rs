//! Fields that several subjects share.

use model::input::{Fault, Faults, Fields};

use crate::limits;

/// A name: there, not blank, on one line, not too long.
pub(crate) fn name(fields: &Fields<'_>, field: &'static str) -> Option<String> {
    let text = fields.required_text(field)?;
    check_name(fields, field, &text).then_some(text)
}

/// Whether a text can be a name, with a fault where it cannot.
pub(crate) fn check_name(fields: &Fields<'_>, field: &'static str, text: &str) -> bool {
    let fits = text.chars().count() <= limits::NAME_CHARS && !text.contains(char::is_control);
    if !fits {
        let most = limits::NAME_CHARS;
        fields.fault(
            field,
            format!("expected at most {most} characters on one line, none of them a control character"),
        );
    }
    fits
}

/// The id that a client gives to what it adds, when it gives one.
pub(crate) fn given_id(fields: &Fields<'_>) -> Option<String> {
    let id = fields.text("id")?;
    if is_id(&id) {
        return Some(id);
    }
    let most = limits::ID_CHARS;
    fields.fault("id", format!("`{id}` is not an id; expected 1 to {most} letters, digits, `_` or `-`"));
    None
}

/// The same where the client must give it.
pub(crate) fn required_id(fields: &Fields<'_>) -> Option<String> {
    if fields.require("id") { given_id(fields) } else { None }
}

fn is_id(text: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-');
    (1..=limits::ID_CHARS).contains(&text.len()) && text.bytes().all(fits)
}

/// A mail address.
pub(crate) fn email(fields: &Fields<'_>, field: &'static str) -> Option<String> {
    let email = fields.required_text(field)?;
    if is_email(&email) {
        return Some(email);
    }
    fields.fault(field, NO_ADDRESS.replace('?', &email));
    None
}

const NO_ADDRESS: &str = "`?` is not a mail address; expected one like box@example.org, in plain ASCII";

/// Mail addresses; an empty list is one.
pub(crate) fn emails(fields: &Fields<'_>, field: &'static str) -> Vec<String> {
    if fields.value(field).and_then(|value| value.as_array()).is_some_and(Vec::is_empty) {
        return Vec::new();
    }
    let emails = fields.texts(field);
    if emails.len() > limits::EMAILS {
        fields.fault(field, format!("has {} addresses; at most {} are taken", emails.len(), limits::EMAILS));
    }
    for (n, email) in emails.iter().enumerate() {
        if !is_email(email) {
            fields.fault(field, NO_ADDRESS.replace('?', email));
        } else if emails[..n].contains(email) {
            fields.fault(field, format!("`{email}` stands there twice"));
        }
    }
    emails
}

/// Whether mail can be sent there as far as its form goes. No name beside the
/// address and no sign that parts addresses: it goes into a mail's header.
fn is_email(text: &str) -> bool {
    let fits = |byte: u8| byte.is_ascii_graphic() && !br#"<>()[],;:"\"#.contains(&byte);
    let dotted = |part: &str| part.split('.').all(|label| !label.is_empty());
    let Some((mailbox, domain)) = text.split_once('@') else { return false };
    text.len() <= limits::EMAIL_CHARS
        && text.bytes().all(fits)
        && !domain.contains('@')
        && dotted(mailbox)
        && dotted(domain)
}

/// The same faults with their places under `prefix`.
pub(crate) fn under(prefix: &str, faults: Faults) -> impl Iterator<Item = Fault> {
    faults.0.into_iter().map(move |fault| Fault { pointer: format!("{prefix}{}", fault.pointer), ..fault })
}

/// Reads a year of a path.
///
/// # Errors
/// When it is not one that seasons may have.
pub(crate) fn year(text: &str) -> Result<i32, crate::problem::Problem> {
    const YEARS: std::ops::RangeInclusive<i32> = 1900..=2199;
    let year = text.parse().ok().filter(|year| text.len() == 4 && YEARS.contains(year));
    year.ok_or_else(|| {
        let detail = format!("`{text}` is not a bloom year; expected four digits, from 1900 to 2199");
        crate::problem::Problem::parameter("year", detail)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_one_mailbox_pass() {
        for good in ["a@b", "orchard.mail+thinning@hill-farm.example", "x'y@example.org"] {
            assert!(is_email(good), "{good}");
        }
        let long = format!("{}@example.org", "a".repeat(243));
        for bad in [
            "",
            "@",
            "a@",
            "@b",
            "a b@c",
            "a@b@c",
            "a@b\r\nBcc: d@e",
            "A <a@b>",
            "a@b,c",
            "a@b..c",
            ".a@b",
            "ä@b",
            "a@b\u{0}",
            &long,
        ] {
            assert!(!is_email(bad), "{bad}");
        }
    }

    #[test]
    fn ids_stand_in_a_path_as_they_are() {
        assert!(is_id("north_bench-2") && is_id(&"a".repeat(64)));
        for bad in ["", "a/b", "a b", "ä", "..", "a%2f", &"a".repeat(65)] {
            assert!(!is_id(bad), "{bad}");
        }
    }
}
