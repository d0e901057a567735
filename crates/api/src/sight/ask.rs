//! The API's own handlers called for whoever looks at a page: what is typed there is
//! read, refused, written and noted as everywhere else.

use std::fmt;

use axum::http::{Method, StatusCode};
use serde_json::Value;

use super::View;
use super::hand::{Amiss, Asked, Undone};

/// One thing wrong with what was sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unfit {
    /// RFC 6901 pointer into what was sent, or the name of a parameter.
    pub place: String,
    /// What is wrong, and what was expected.
    pub detail: String,
}

/// Why the API did not do what was asked.
#[derive(Debug, Clone)]
pub struct Refused {
    /// As the API would answer.
    pub status: StatusCode,
    /// What was wrong, and what to do.
    pub detail: String,
    /// Each fault with its place, where there are any.
    pub unfit: Vec<Unfit>,
}

impl fmt::Display for Refused {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(&self.detail)
    }
}

impl std::error::Error for Refused {}

impl From<Undone> for Refused {
    fn from(undone: Undone) -> Refused {
        let status = StatusCode::from_u16(undone.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        if status.is_server_error() {
            tracing::error!(detail = undone.detail, "the API could not do what a page asked of it");
            let detail = "Something failed on the server; its log has the cause.".to_owned();
            return Refused { status, detail, unfit: Vec::new() };
        }
        let unfit = |one: Amiss| Unfit { place: one.pointer, detail: one.detail };
        Refused { status, detail: undone.detail, unfit: undone.errors.into_iter().map(unfit).collect() }
    }
}

impl View {
    /// Asks the API for what stands under a path, whose segments are given one by one.
    ///
    /// # Errors
    /// What the API refuses, with its reasons.
    pub async fn read(&self, path: &[&str], query: &[(&str, &str)]) -> Result<Value, Refused> {
        Ok(self.ask(Asked::get(address(path, query))).await?.document)
    }

    /// Has the API do something. A change takes what is there as it is.
    ///
    /// # Errors
    /// As [`View::read`].
    pub async fn send(&self, method: Method, path: &[&str], body: Option<&Value>) -> Result<Value, Refused> {
        Ok(self.ask(Asked::sent(method, address(path, &[]), body)).await?.document)
    }
}

/// The path with its query; nothing that was typed leaves its own segment.
fn address(path: &[&str], query: &[(&str, &str)]) -> String {
    let segments: Vec<String> = path.iter().map(|segment| escaped(segment)).collect();
    let mut address = segments.join("/");
    if !query.is_empty() {
        let pairs = form_urlencoded::Serializer::new(String::new()).extend_pairs(query).finish();
        address.push('?');
        address.push_str(&pairs);
    }
    address
}

fn escaped(segment: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'~');
    segment
        .bytes()
        .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_stays_within_its_segment() {
        assert_eq!(address(&["farms", "a/../b", "audit"], &[]), "farms/a%2F%2E%2E%2Fb/audit");
        assert_eq!(address(&["sites", ".."], &[("from", "a&b")]), "sites/%2E%2E?from=a%26b");
    }

    #[test]
    fn every_fault_keeps_its_place() {
        let problem = serde_json::json!({"status": 422, "detail": "2 things", "errors": [
            {"pointer": "/name", "detail": "is missing"}, {"parameter": "marks", "detail": "is no number"}]});
        let undone: Undone = serde_json::from_value(problem).unwrap();
        let refused = Refused::from(undone);
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        let places: Vec<&str> = refused.unfit.iter().map(|one| one.place.as_str()).collect();
        assert_eq!(places, ["/name", "marks"]);
    }
}
