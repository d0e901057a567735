//! What people do on pages, done by the API's own handlers within the process: what
//! is wrong has the same words and pointers, the same people may do it, and the audit
//! notes it alike.

use std::sync::Arc;

use access::Caller;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderValue, Method, Request, StatusCode, header};
use axum::middleware::{from_fn, from_fn_with_state};
use serde::Deserialize;
use serde_json::Value;
use tower::ServiceExt;

use super::View;
use crate::desk::Desk;
use crate::upload::ByHand;
use crate::{Provider, Stirred, conditional, envelope};

/// Longest answer taken into memory: all that is kept of a person.
const LONGEST: usize = 64 << 20;

/// Something that is asked of the API on the caller's behalf.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Below `/api/v1/`.
    path: String,
    method: Method,
    content_type: Option<&'static str>,
    body: Vec<u8>,
    held: Option<String>,
    by_hand: Option<Value>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Answered {
    /// The document.
    pub document: Value,
    /// Its tag, by which a change names what it changes.
    pub tag: Option<String>,
}

/// Why nothing was done.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Undone {
    /// The HTTP status that says the same.
    pub status: u16,
    /// What is wrong, in a sentence or two.
    pub detail: String,
    /// Each thing that is wrong, where it is known which.
    #[serde(default)]
    pub errors: Vec<Amiss>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Amiss {
    /// RFC 6901 pointer into what was sent, or the name of a parameter; empty for the
    /// whole.
    #[serde(default, alias = "parameter")]
    pub pointer: String,
    /// What is wrong with it, and what was expected.
    pub detail: String,
}

impl Undone {
    /// Something failed on the server.
    fn failed(cause: &dyn std::fmt::Display) -> Undone {
        Undone { status: 500, detail: cause.to_string(), errors: Vec::new() }
    }

    /// Whether what was sent can be put right by who sent it.
    pub fn is_theirs(&self) -> bool {
        (400..500).contains(&self.status) && !matches!(self.status, 401 | 403 | 404)
    }
}

impl Asked {
    /// A path's segments are given one by one: nothing that was typed leaves its own.
    fn of(method: Method, path: &[&str]) -> Asked {
        let segments: Vec<String> = path.iter().map(|segment| escaped(segment)).collect();
        Asked { path: segments.join("/"), method, ..Asked::default() }
    }

    fn json(method: Method, path: &[&str], document: &Value) -> Asked {
        let body = document.to_string().into_bytes();
        Asked { content_type: Some("application/json"), body, ..Asked::of(method, path) }
    }

    /// Reads.
    pub fn get(path: &[&str]) -> Asked {
        Asked::of(Method::GET, path)
    }

    /// Adds.
    pub fn post(path: &[&str], document: &Value) -> Asked {
        Asked::json(Method::POST, path, document)
    }

    /// Does what its path says and needs no document.
    pub fn bid(path: &[&str]) -> Asked {
        Asked::of(Method::POST, path)
    }

    /// Changes what has the tag `held`.
    pub fn patch(path: &[&str], document: &Value, held: &str) -> Asked {
        Asked { held: Some(held.to_owned()), ..Asked::json(Method::PATCH, path, document) }
    }

    /// Sets the whole of what has the tag `held`, or what is not there yet.
    pub fn put(path: &[&str], document: &Value, held: Option<&str>) -> Asked {
        Asked { held: held.map(str::to_owned), ..Asked::json(Method::PUT, path, document) }
    }

    /// Takes away what has the tag `held`; `*` for whatever stands there.
    pub fn delete(path: &[&str], held: &str) -> Asked {
        Asked { held: Some(held.to_owned()), ..Asked::of(Method::DELETE, path) }
    }

    /// Sends a file; of a station's, `by_hand` gives what a person has said of its
    /// layout.
    pub fn file(path: &[&str], content_type: &'static str, body: Vec<u8>, by_hand: Option<Value>) -> Asked {
        Asked { content_type: Some(content_type), body, by_hand, ..Asked::of(Method::POST, path) }
    }

    /// With parameters.
    pub fn query(mut self, pairs: &[(&str, &str)]) -> Asked {
        if !pairs.is_empty() {
            self.path.push('?');
            let pairs = form_urlencoded::Serializer::new(String::new()).extend_pairs(pairs).finish();
            self.path.push_str(&pairs);
        }
        self
    }

    fn request(self, caller: Caller) -> Result<Request<Body>, Undone> {
        let failed = |error: &dyn std::fmt::Display| Undone::failed(error);
        let mut request = Request::builder().method(self.method).uri(format!("/api/v1/{}", self.path));
        if let Some(content_type) = self.content_type {
            request = request.header(header::CONTENT_TYPE, content_type);
        }
        if let Some(held) = self.held {
            let held = HeaderValue::from_str(&held).map_err(|error| failed(&error))?;
            request = request.header(header::IF_MATCH, held);
        }
        let mut request = request.body(Body::from(self.body)).map_err(|error| failed(&error))?;
        request.extensions_mut().insert(caller);
        if let Some(by_hand) = self.by_hand {
            request.extensions_mut().insert(ByHand(by_hand));
        }
        Ok(request)
    }
}

fn escaped(segment: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'~');
    segment
        .bytes()
        .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

/// The tag of a document, as an item of a list has it by itself.
pub fn tag_of(document: &Value) -> String {
    conditional::tag_of(document)
}

/// The API's handlers as pages reach them: the caller is known, so nothing stands
/// before them.
pub(super) fn router(desk: &Arc<Desk>) -> Router {
    let v1 = crate::v1().split_for_parts().0.fallback(crate::problem::no_such_path);
    Router::new()
        .nest("/api/v1", v1.layer(from_fn(conditional::tagged)))
        .layer(from_fn_with_state(desk.clone(), envelope::envelope))
        .with_state(desk.clone())
}

impl View {
    /// Asks something of the API as the caller.
    ///
    /// # Errors
    /// What the API answers other than success.
    pub async fn ask(&self, asked: Asked) -> Result<Answered, Undone> {
        let request = asked.request(self.caller().clone())?;
        let answer = match self.hand.clone().oneshot(request).await {
            Ok(answer) => answer,
            Err(never) => match never {},
        };
        let (parts, body) = answer.into_parts();
        let body = to_bytes(body, LONGEST).await.map_err(|error| Undone::failed(&error))?;
        if !parts.status.is_success() {
            return Err(serde_json::from_slice(&body)
                .unwrap_or_else(|error| Undone { status: parts.status.as_u16(), ..Undone::failed(&error) }));
        }
        let document = match parts.status {
            StatusCode::NO_CONTENT => Value::Null,
            _ => serde_json::from_slice(&body).map_err(|error| Undone::failed(&error))?,
        };
        let tag = parts.headers.get(header::ETAG).and_then(|tag| tag.to_str().ok()).map(str::to_owned);
        Ok(Answered { document, tag })
    }

    /// Reads the document under a path.
    ///
    /// # Errors
    /// As [`View::ask`].
    pub async fn read(&self, path: &[&str], query: &[(&str, &str)]) -> Result<Value, Undone> {
        Ok(self.ask(Asked::get(path).query(query)).await?.document)
    }

    /// The providers that a source may name.
    pub fn providers(&self) -> &[Provider] {
        &self.visit.app.providers
    }

    /// Wakes the loop that a page has given something to do.
    pub fn stir(&self, stirred: Stirred) {
        (self.visit.app.poke)(stirred);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_stays_within_its_segment() {
        assert_eq!(Asked::get(&["farms", "a/../b", "audit"]).path, "farms/a%2F%2E%2E%2Fb/audit");
        let asked = Asked::get(&["sites", ".."]).query(&[("from", "a&b")]);
        assert_eq!(asked.path, "sites/%2E%2E?from=a%26b");
        assert_eq!(Asked::get(&["me"]).query(&[]).path, "me");
    }

    #[test]
    fn every_fault_keeps_its_place() {
        let problem = serde_json::json!({"status": 422, "detail": "2 things", "errors": [
            {"pointer": "/name", "detail": "is missing"}, {"parameter": "marks", "detail": "is no number"}]});
        let undone: Undone = serde_json::from_value(problem).unwrap();
        assert!(undone.is_theirs());
        let places: Vec<&str> = undone.errors.iter().map(|one| one.pointer.as_str()).collect();
        assert_eq!(places, ["/name", "marks"]);
    }
}
