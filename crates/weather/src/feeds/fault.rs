//! Why a provider gave nothing, and when to ask it again.

use std::error::Error;

use model::time::{DAY, HOUR, Instant, MINUTE};

use super::reach;

/// Pause after a fault that passes by itself (server errors, timeouts, answers
/// cut short): the longest step of the usual back-off, since nothing is retried
/// within a pass and each error counts against the provider's limits.
const BACK_OFF: i64 = 5 * MINUTE;
/// Pause after a request that the provider will not answer however often it
/// comes: someone has to change a setting first.
const UNTIL_CHANGED: i64 = HOUR;
/// Longest pause that is taken from a provider's `Retry-After`.
const LONGEST_ASKED_PAUSE: i64 = DAY;
/// Characters of a provider's own words that are passed on.
const MOST_WORDS: usize = 200;

/// A fetch that gave nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{provider}: {cause}")]
pub struct FeedError {
    /// Whom was asked.
    pub provider: &'static str,
    /// What went wrong.
    pub cause: Cause,
    /// When to ask again.
    pub retry: Retry,
}

/// When a fetch may be tried again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Retry {
    /// Not before this moment.
    At(Instant),
    /// Not at all: the request itself is wrong.
    Never,
}

/// What went wrong with a fetch.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Cause {
    /// The request could not be made; nothing was sent.
    #[error("the request could not be made: {0}")]
    Request(String),
    /// No connection.
    #[error("could not be reached: {0}")]
    Unreachable(String),
    /// No whole answer in time.
    #[error("gave no whole answer in time: {0}")]
    TimedOut(String),
    /// It sends elsewhere, or in circles.
    #[error("sends the request elsewhere, which is not followed; set the base URL to the right host: {0}")]
    Redirected(String),
    /// The answer broke off.
    #[error("the answer broke off: {0}")]
    BrokenOff(String),
    /// An address that is not to be asked: one of this machine or of the network
    /// behind it.
    #[error("is not asked there: {0}")]
    OffLimits(String),
    /// The answer, unpacked, is longer than any expected one.
    #[error("the answer, unpacked, is longer than {0} bytes")]
    TooLong(usize),
    /// Asked too often, in the provider's words.
    #[error("asked too often (429): {0}")]
    TooOften(String),
    /// The provider refuses the request, in its words.
    #[error("refuses the request ({status}): {reason}")]
    Refused {
        /// HTTP status.
        status: u16,
        /// The provider's own words.
        reason: String,
    },
    /// The provider is in trouble, in its words.
    #[error("is in trouble ({status}): {reason}")]
    Failing {
        /// HTTP status.
        status: u16,
        /// The provider's own words.
        reason: String,
    },
    /// Status 200 with something that is not the JSON expected: HTML, or JSON
    /// cut short.
    #[error("answered something that is not the JSON expected: {0}")]
    NotJson(String),
    /// JSON that says something else than was asked for.
    #[error("the answer does not fit what was asked for: {0}")]
    Unfit(String),
}

impl Cause {
    /// When to ask again after this, a pause asked for by the provider aside.
    fn retry(&self, now: Instant) -> Retry {
        match self {
            Cause::Request(_) => Retry::Never,
            Cause::TooOften(reason) => Retry::At(after_limit(reason, now)),
            Cause::Refused { .. } | Cause::Redirected(_) | Cause::OffLimits(_) => {
                Retry::At(now.plus(UNTIL_CHANGED))
            }
            Cause::Unreachable(_)
            | Cause::TimedOut(_)
            | Cause::BrokenOff(_)
            | Cause::TooLong(_)
            | Cause::Failing { .. }
            | Cause::NotJson(_)
            | Cause::Unfit(_) => Retry::At(now.plus(BACK_OFF)),
        }
    }

    /// The cause in an error of the HTTP client, without the address, which may
    /// hold a key.
    pub(super) fn of(error: reqwest::Error) -> Cause {
        let error = error.without_url();
        let words = with_sources(&error);
        if let Some(refused) = beneath(&error).find_map(|source| source.downcast_ref::<reach::Refused>())
            && !error.is_redirect()
        {
            Cause::OffLimits(refused.to_string())
        } else if error.is_timeout() {
            Cause::TimedOut(words)
        } else if error.is_redirect() {
            Cause::Redirected(words)
        } else if error.is_builder() {
            Cause::Request(words)
        } else if error.is_body() || error.is_decode() {
            Cause::BrokenOff(words)
        } else {
            Cause::Unreachable(words)
        }
    }

    /// The cause in an address that is not asked.
    pub(super) fn off_limits(refused: reach::Refused) -> Cause {
        Cause::OffLimits(refused.to_string())
    }

    /// The cause in a status other than success.
    pub(super) fn of_status(status: u16, reason: String) -> Cause {
        match status {
            429 => Cause::TooOften(reason),
            300..=399 => Cause::Redirected(format!("status {status}")),
            // 408 and 425 ask to come again.
            408 | 425 | 500.. => Cause::Failing { status, reason },
            _ => Cause::Refused { status, reason },
        }
    }
}

impl FeedError {
    pub(super) fn new(provider: &'static str, cause: Cause, now: Instant) -> FeedError {
        let retry = cause.retry(now);
        FeedError { provider, cause, retry }
    }

    /// The same, but not before the pause that the provider asked for.
    pub(super) fn not_within(mut self, seconds: Option<i64>, now: Instant) -> FeedError {
        if let (Retry::At(at), Some(seconds)) = (self.retry, seconds) {
            self.retry = Retry::At(at.max(now.plus(seconds.clamp(0, LONGEST_ASKED_PAUSE))));
        }
        self
    }
}

/// When a limit ends, by the provider's words for it: limits are counted in
/// whole minutes, hours and days of UTC. A limit with no known word is taken
/// for an hourly one.
fn after_limit(reason: &str, now: Instant) -> Instant {
    let reason = reason.to_lowercase();
    let next = |window: i64| Instant((now.0.div_euclid(window) + 1) * window);
    if reason.contains("concurrent") {
        now.plus(MINUTE)
    } else if reason.contains("minutely") {
        next(MINUTE)
    } else if reason.contains("daily") || reason.contains("monthly") {
        next(DAY)
    } else {
        next(HOUR)
    }
}

/// A provider's words, shortened and on one line.
pub(super) fn words(text: &str) -> String {
    let mut short: String =
        text.trim().chars().take(MOST_WORDS).map(|sign| if sign.is_control() { ' ' } else { sign }).collect();
    if text.trim().chars().nth(MOST_WORDS).is_some() {
        short.push('…');
    }
    if short.is_empty() { "no reason given".to_owned() } else { short }
}

/// An error and what lies beneath it.
pub(super) fn with_sources(error: &(dyn Error + 'static)) -> String {
    let mut text = error.to_string();
    for source in beneath(error) {
        let next = source.to_string();
        if !text.contains(&next) {
            text = format!("{text}: {next}");
        }
    }
    words(&text)
}

/// What lies beneath an error, from the top down.
fn beneath<'a>(error: &'a (dyn Error + 'static)) -> impl Iterator<Item = &'a (dyn Error + 'static)> {
    std::iter::successors(error.source(), |source| Error::source(*source))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_ends_with_its_window() {
        let at = |text: &str| Instant::parse(text).unwrap();
        let now = at("2026-05-01T10:20:30Z");
        let cases = [
            ("Minutely API request limit exceeded. Please try again in one minute.", "2026-05-01T10:21:00Z"),
            ("Hourly API request limit exceeded. Please try again in the next hour.", "2026-05-01T11:00:00Z"),
            ("Daily API request limit exceeded. Please try again tomorrow.", "2026-05-02T00:00:00Z"),
            ("Too many concurrent requests", "2026-05-01T10:21:30Z"),
            ("Slow down.", "2026-05-01T11:00:00Z"),
        ];
        for (reason, expected) in cases {
            assert_eq!(after_limit(reason, now), at(expected), "{reason}");
        }
        assert_eq!(after_limit("minutely", at("2026-05-01T10:20:00Z")), at("2026-05-01T10:21:00Z"));
    }
}
