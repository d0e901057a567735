//! How much one token may ask for: so many requests a minute, so many at once.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::http::{HeaderMap, HeaderName, HeaderValue};
use model::time::{Instant, MINUTE};

const POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");
const LIMIT: HeaderName = HeaderName::from_static("ratelimit");

/// What each token has asked for in this minute.
pub(crate) struct Quota {
    /// Requests of one token a minute; 0 for no limit.
    a_minute: u32,
    /// Requests of one token at once.
    at_once: u32,
    used: Arc<Mutex<Used>>,
}

#[derive(Default)]
struct Used {
    minute: i64,
    requests: HashMap<String, u32>,
    under_way: HashMap<String, u32>,
}

/// What a token has left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Left {
    a_minute: u32,
    remaining: u32,
    /// Seconds until it has all of it again.
    pub(crate) reset: i64,
}

impl Left {
    /// The fields of the IETF draft on rate limits.
    pub(crate) fn write(self, headers: &mut HeaderMap) {
        if self.a_minute == 0 {
            return;
        }
        let policy = format!("\"token\";q={};w={MINUTE}", self.a_minute);
        let left = format!("\"token\";r={};t={}", self.remaining, self.reset);
        for (name, value) in [(POLICY, policy), (LIMIT, left)] {
            if let Ok(value) = HeaderValue::from_str(&value) {
                headers.insert(name, value);
            }
        }
    }
}

/// Why a request has to wait.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Over {
    /// The minute's requests are used up.
    Minute(Left),
    /// Too many at once.
    AtOnce(u32),
}

/// Held while a request is under way.
pub(crate) struct Place {
    token: String,
    used: Arc<Mutex<Used>>,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(number) = used.under_way.get_mut(&self.token) {
            *number -= 1;
            if *number == 0 {
                used.under_way.remove(&self.token);
            }
        }
    }
}

impl Quota {
    pub(crate) fn new(a_minute: u32, at_once: u32) -> Quota {
        Quota { a_minute, at_once, used: Arc::default() }
    }

    /// Counts a request of a token.
    pub(crate) fn take(&self, token: &str, now: Instant) -> Result<(Left, Place), Over> {
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        let minute = now.0.div_euclid(MINUTE);
        if used.minute != minute {
            used.minute = minute;
            used.requests.clear();
        }
        let reset = MINUTE - now.0.rem_euclid(MINUTE);
        let number = used.requests.get(token).copied().unwrap_or(0);
        let left = |number: u32| Left {
            a_minute: self.a_minute,
            remaining: self.a_minute.saturating_sub(number),
            reset,
        };
        if self.a_minute > 0 && number >= self.a_minute {
            return Err(Over::Minute(left(number)));
        }
        let under_way = used.under_way.get(token).copied().unwrap_or(0);
        if under_way >= self.at_once {
            return Err(Over::AtOnce(self.at_once));
        }
        used.requests.insert(token.to_owned(), number + 1);
        used.under_way.insert(token.to_owned(), under_way + 1);
        Ok((left(number + 1), Place { token: token.to_owned(), used: self.used.clone() }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minute_has_so_many_and_each_token_its_own() {
        let quota = Quota::new(2, 8);
        let take = |token, second| quota.take(token, Instant(second)).map(|(left, _)| left.remaining);
        assert_eq!((take("a", 0), take("a", 59)), (Ok(1), Ok(0)));
        let over = take("a", 59).unwrap_err();
        assert_eq!(over, Over::Minute(Left { a_minute: 2, remaining: 0, reset: 1 }));
        assert_eq!(take("b", 59), Ok(1));
        assert_eq!(take("a", 60), Ok(1));
        let free = Quota::new(0, 8);
        assert!((0..10_000).all(|_| free.take("a", Instant(0)).is_ok()));
    }

    #[test]
    fn a_place_is_free_again_when_the_request_ends() {
        let quota = Quota::new(0, 2);
        let take = || quota.take("a", Instant(0)).map(|(_, place)| place);
        let (first, _second) = (take().unwrap(), take().unwrap());
        assert_eq!(take().err(), Some(Over::AtOnce(2)));
        drop(first);
        assert!(take().is_ok());
    }
}
