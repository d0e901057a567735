//! The one HTTP client of all feeds.

use std::time::{Duration, UNIX_EPOCH};

use model::time::{DAY, Instant};
use reqwest::Response;
use reqwest::header::{AGE, DATE, HeaderValue, RETRY_AFTER};

use super::fault::{Cause, with_sources};
use super::reach::{Client, Reach, Redirects};

/// How providers are spoken to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClientSettings {
    /// Longest wait for a connection; 5 s by default.
    pub connect_timeout: Duration,
    /// Longest wait for a whole answer, connecting included; 20 s by default.
    pub total_timeout: Duration,
    /// How a provider can reach the operator, as an address or a page; stands
    /// in the `User-Agent`.
    pub contact: Option<String>,
    /// Hosts that may be asked though their addresses are not public, as servers of
    /// one's own: `host` or `host:port`, see [`Reach::new`]. None by default.
    pub allow: Vec<String>,
}

impl Default for ClientSettings {
    fn default() -> Self {
        ClientSettings {
            connect_timeout: Duration::from_secs(5),
            total_timeout: Duration::from_secs(20),
            contact: None,
            allow: Vec::new(),
        }
    }
}

/// What the program calls itself, with whom to reach where that is known.
fn agent(contact: Option<&str>) -> String {
    let program = concat!("bloomtide/", env!("CARGO_PKG_VERSION"));
    match contact.map(str::trim).filter(|contact| !contact.is_empty()) {
        Some(contact) => format!("{program} ({contact})"),
        None => program.to_owned(),
    }
}

/// The same for a provider that answers nobody without a contact.
///
/// # Errors
/// [`Cause::Request`] when it is missing or has signs that no header may have.
pub(super) fn agent_with_contact(provider: &str, contact: Option<&str>) -> Result<HeaderValue, Cause> {
    if contact.is_none_or(|contact| contact.trim().is_empty()) {
        return Err(Cause::Request(format!(
            "contact: {provider} answers nobody who does not say whom to reach; set a mail address or a page"
        )));
    }
    HeaderValue::from_str(&agent(contact)).map_err(|_| {
        Cause::Request("contact: has signs that no header may have; write it in plain ASCII".to_owned())
    })
}

/// Builds the client that feeds are made with. It asks public addresses alone,
/// and what the settings allow; redirects are followed on the host that was asked:
/// providers move a path, and nothing else is asked for on their word. The process
/// must have installed rustls' provider of cryptography before, once.
///
/// # Errors
/// When an allowed host is none, when the contact has signs that no header may
/// have, or when the system has no certificates to know servers by.
pub fn client(settings: &ClientSettings) -> Result<Client, Cause> {
    let reach = Reach::new(&settings.allow).map_err(|refused| Cause::Request(refused.to_string()))?;
    let builder = reqwest::Client::builder()
        .user_agent(agent(settings.contact.as_deref()))
        .connect_timeout(settings.connect_timeout)
        .timeout(settings.total_timeout);
    reach.client(builder, Redirects::SameHost).map_err(|error| {
        Cause::Request(format!(
            "{} (is the contact plain text, and are the system's certificates installed, as Debian's \
             ca-certificates has them?)",
            with_sources(&error)
        ))
    })
}

/// When an answer was given by its own `Date` and `Age` (RFC 9110, section 6.6.1; RFC
/// 9111, section 5.1); none where it does not tell.
pub(super) fn given_at(response: &Response) -> Option<Instant> {
    let header = |name| response.headers().get(name)?.to_str().ok();
    told_at(header(DATE), header(AGE))
}

/// Until when an answer's hours are past: by a clock that runs ahead here, hours still
/// to come would be taken for hours that were.
pub(super) fn past_until(given_at: Option<Instant>, now: Instant) -> Instant {
    given_at.map_or(now, |given| given.min(now))
}

fn told_at(date: Option<&str>, age: Option<&str>) -> Option<Instant> {
    let date = httpdate::parse_http_date(date?.trim()).ok()?.duration_since(UNIX_EPOCH).ok()?;
    let age = age.and_then(|age| age.trim().parse().ok()).unwrap_or(0_i64).clamp(0, DAY);
    // The last second of the one that it names.
    Some(Instant(i64::try_from(date.as_secs()).ok()?).plus(age + 1))
}

/// Seconds from `now` that the provider, or a proxy before it, asks to wait: it
/// tells them, or the moment until when (RFC 9110, section 10.2.3).
pub(super) fn asked_pause(response: &Response, now: Instant) -> Option<i64> {
    pause(response.headers().get(RETRY_AFTER)?.to_str().ok()?.trim(), now)
}

fn pause(text: &str, now: Instant) -> Option<i64> {
    if !text.is_empty() && text.bytes().all(|sign| sign.is_ascii_digit()) {
        // More than a number holds is for ever.
        return Some(text.parse().unwrap_or(i64::MAX));
    }
    let until = httpdate::parse_http_date(text).ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some((i64::try_from(until.as_secs()).ok()? - now.0).max(0))
}

/// The whole body, unpacked, when it is not longer than `most` bytes. It is
/// counted while it is unpacked, so that a small answer that swells is cut off
/// like a long one.
pub(super) async fn body(mut response: Response, most: usize) -> Result<Vec<u8>, Cause> {
    if response.content_length().is_some_and(|bytes| bytes > most as u64) {
        return Err(Cause::TooLong(most));
    }
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await.map_err(Cause::of)? {
        if body.len() + chunk.len() > most {
            return Err(Cause::TooLong(most));
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_tells_when_it_was_given() {
        let at = |text| Some(Instant::parse(text).unwrap());
        let date = Some("Fri, 01 May 2026 10:20:30 GMT");
        assert_eq!(told_at(date, None), at("2026-05-01T10:20:31Z"));
        // A cache had it for ten minutes.
        assert_eq!(told_at(date, Some("600")), at("2026-05-01T10:30:31Z"));
        assert_eq!(told_at(date, Some("soon")), at("2026-05-01T10:20:31Z"));
        assert_eq!(told_at(Some("today"), None), None);
        assert_eq!(told_at(None, Some("600")), None);
    }

    #[test]
    fn a_pause_is_asked_for_in_seconds_or_until_a_moment() {
        let now = Instant::parse("2026-05-01T10:20:30Z").unwrap();
        let cases = [
            ("120", Some(120)),
            ("0", Some(0)),
            ("99999999999999999999999", Some(i64::MAX)),
            // The form that servers write, and the two old ones that must be read.
            ("Fri, 01 May 2026 10:21:30 GMT", Some(60)),
            ("Friday, 01-May-26 10:21:30 GMT", Some(60)),
            ("Fri May  1 10:21:30 2026", Some(60)),
            // Over already.
            ("Fri, 01 May 2026 10:20:29 GMT", Some(0)),
            ("Thu, 01 Jan 1970 00:00:00 GMT", Some(0)),
            ("-5", None),
            ("1.5", None),
            ("soon", None),
            ("", None),
            ("2026-05-01T10:21:30Z", None),
        ];
        for (text, expected) in cases {
            assert_eq!(pause(text, now), expected, "{text}");
        }
    }
}
