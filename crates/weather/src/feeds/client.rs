//! The one HTTP client of all feeds.

use std::time::Duration;

use reqwest::Response;
use reqwest::header::{HeaderValue, RETRY_AFTER};
use reqwest::redirect::{Attempt, Policy};

use super::fault::{Cause, with_sources};

/// Redirects that are followed, all on the host that was asked: providers move
/// a path, and nothing else is asked for on their word.
const MOST_REDIRECTS: usize = 3;

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
}

impl Default for ClientSettings {
    fn default() -> Self {
        ClientSettings {
            connect_timeout: Duration::from_secs(5),
            total_timeout: Duration::from_secs(20),
            contact: None,
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

/// Builds the client that feeds are made with. The process must have installed
/// rustls' provider of cryptography before, once.
///
/// # Errors
/// When the contact has signs that no header may have, or when the system has
/// no certificates to know servers by.
pub fn client(settings: &ClientSettings) -> Result<reqwest::Client, Cause> {
    let agent = agent(settings.contact.as_deref());
    reqwest::Client::builder()
        .user_agent(agent)
        .connect_timeout(settings.connect_timeout)
        .timeout(settings.total_timeout)
        .redirect(Policy::custom(follow))
        .build()
        .map_err(|error| {
            Cause::Request(format!(
                "{} (is the contact plain text, and are the system's certificates installed, as Debian's \
                 ca-certificates has them?)",
                with_sources(&error)
            ))
        })
}

/// Seconds that the provider, or a proxy before it, asks to wait.
pub(super) fn asked_pause(response: &Response) -> Option<i64> {
    response.headers().get(RETRY_AFTER)?.to_str().ok()?.trim().parse().ok()
}

/// The whole body, when it is not longer than `most`.
pub(super) async fn body(mut response: Response, most: usize) -> Result<Vec<u8>, Cause> {
    let mut body = Vec::new();
    while let Some(chunk) = response.chunk().await.map_err(Cause::of)? {
        if body.len() + chunk.len() > most {
            return Err(Cause::TooLong(most));
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body)
}

fn follow(attempt: Attempt<'_>) -> reqwest::redirect::Action {
    let asked =
        attempt.previous().first().map(|url| (url.scheme(), url.host_str(), url.port_or_known_default()));
    let next = attempt.url();
    let same = asked == Some((next.scheme(), next.host_str(), next.port_or_known_default()));
    if !same {
        let host = next.host_str().unwrap_or("nowhere").to_owned();
        return attempt.error(format!("to another address, at {host}"));
    }
    if attempt.previous().len() > MOST_REDIRECTS {
        return attempt.error(format!("more than {MOST_REDIRECTS} times"));
    }
    attempt.follow()
}
