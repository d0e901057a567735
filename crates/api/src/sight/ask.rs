//! The API's own handlers called for whoever looks at a page: what is typed there is
//! read, refused, written and noted as everywhere else.

use std::fmt;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode, header};
use axum::middleware::from_fn_with_state;
use serde_json::Value;
use tower::ServiceExt;

use super::View;
use crate::desk::Desk;
use crate::{envelope, problem};

/// Longest answer that a page is made from, bytes.
const LONGEST: usize = 64 << 20;

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

impl Refused {
    fn failed(error: &dyn fmt::Display) -> Refused {
        tracing::error!(%error, "the API could not be called within the process");
        let detail = "Something failed on the server; its log has the cause.".to_owned();
        Refused { status: StatusCode::INTERNAL_SERVER_ERROR, detail, unfit: Vec::new() }
    }

    fn of(status: StatusCode, problem: &Value) -> Refused {
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let unfit = |one: &Value| {
            let place = one["pointer"].as_str().or(one["parameter"].as_str()).unwrap_or_default();
            Unfit { place: place.to_owned(), detail: text(&one["detail"]) }
        };
        let errors = problem["errors"].as_array();
        let unfit = errors.map(|errors| errors.iter().map(unfit).collect()).unwrap_or_default();
        Refused { status, detail: text(&problem["detail"]), unfit }
    }
}

/// What is served under `/api/v1`, for callers who are known already.
pub(crate) fn inside(desk: &Arc<Desk>) -> Router {
    let v1 = crate::v1().split_for_parts().0.fallback(problem::no_such_path);
    v1.layer(from_fn_with_state(desk.clone(), envelope::envelope)).with_state(desk.clone())
}

impl View {
    /// Asks the API for what stands under a path, whose segments are given one by one.
    ///
    /// # Errors
    /// What the API refuses, with its reasons.
    pub async fn read(&self, path: &[&str], query: &[(&str, &str)]) -> Result<Value, Refused> {
        self.ask(Method::GET, path, query, None).await
    }

    /// Has the API do something. A change takes what is there as it is.
    ///
    /// # Errors
    /// As [`View::read`].
    pub async fn send(&self, method: Method, path: &[&str], body: Option<&Value>) -> Result<Value, Refused> {
        self.ask(method, path, &[], body).await
    }

    async fn ask(
        &self,
        method: Method,
        path: &[&str],
        query: &[(&str, &str)],
        body: Option<&Value>,
    ) -> Result<Value, Refused> {
        let mut request = Request::builder().method(method).uri(address(path, query));
        request = request.header(header::IF_MATCH, "*").extension(self.visit.caller.clone());
        if body.is_some() {
            request = request.header(header::CONTENT_TYPE, "application/json");
        }
        let body = body.map_or_else(Body::empty, |body| Body::from(body.to_string()));
        let request = request.body(body).map_err(|error| Refused::failed(&error))?;
        let Ok(answer) = self.inside.clone().oneshot(request).await;
        let status = answer.status();
        let bytes = to_bytes(answer.into_body(), LONGEST).await.map_err(|error| Refused::failed(&error))?;
        let document = match bytes.as_ref() {
            [] => Value::Null,
            bytes => serde_json::from_slice(bytes).map_err(|error| Refused::failed(&error))?,
        };
        if status.is_success() { Ok(document) } else { Err(Refused::of(status, &document)) }
    }
}

/// The path with its query; nothing that was typed leaves its own segment.
fn address(path: &[&str], query: &[(&str, &str)]) -> String {
    let mut address = String::new();
    for segment in path {
        address.push('/');
        address.push_str(&escaped(segment));
    }
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
        assert_eq!(address(&["farms", "a/../b", "audit"], &[]), "/farms/a%2F%2E%2E%2Fb/audit");
        assert_eq!(address(&["sites", ".."], &[("from", "a&b")]), "/sites/%2E%2E?from=a%26b");
    }

    #[test]
    fn every_fault_keeps_its_place() {
        let problem = serde_json::json!({"detail": "2 things", "errors": [
            {"pointer": "/name", "detail": "is missing"}, {"parameter": "marks", "detail": "is no number"}]});
        let refused = Refused::of(StatusCode::UNPROCESSABLE_ENTITY, &problem);
        let places: Vec<&str> = refused.unfit.iter().map(|one| one.place.as_str()).collect();
        assert_eq!(places, ["/name", "marks"]);
    }
}
