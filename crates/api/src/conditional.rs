//! Strong entity tags (RFC 9110): an answer that the client has already is not
//! sent again, and a change says what it changes.

use axum::body::{Body, to_bytes};
use axum::extract::{FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::problem::Problem;

/// The tag of a body: its hash, as long as a random id.
pub(crate) fn tag(body: &[u8]) -> String {
    let hash = Sha256::digest(body);
    let hex: String = hash[..16].iter().map(|byte| format!("{byte:02x}")).collect();
    format!("\"{hex}\"")
}

/// The tag that a document has when it is read.
pub(crate) fn tag_of(document: &impl Serialize) -> String {
    // What cannot be written has no tag that matches.
    serde_json::to_vec(document).map(|body| tag(&body)).unwrap_or_default()
}

/// Tags what is read, and answers 304 to who has it.
pub(crate) async fn tagged(request: Request, next: Next) -> Response {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        return next.run(request).await;
    }
    let head = request.method() == Method::HEAD;
    let held = listed(request.headers(), &header::IF_NONE_MATCH);
    let response = next.run(request).await;
    if response.status() != StatusCode::OK || head {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(body) = to_bytes(body, usize::MAX).await else {
        return axum::response::IntoResponse::into_response(Problem::failed());
    };
    let known = parts.headers.get(header::ETAG).and_then(|tag| tag.to_str().ok()).map(str::to_owned);
    let tag = known.unwrap_or_else(|| tag(&body));
    // Weak comparison: whether a tag is said to be weak makes no difference.
    let fresh = held.iter().any(|held| held == "*" || held.trim_start_matches("W/") == tag);
    if let Ok(value) = HeaderValue::from_str(&tag) {
        parts.headers.insert(header::ETAG, value);
    }
    // One's own, and asked for again each time.
    parts.headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    if fresh {
        parts.status = StatusCode::NOT_MODIFIED;
        parts.headers.remove(header::CONTENT_TYPE);
        parts.headers.remove(header::CONTENT_LENGTH);
        return Response::from_parts(parts, Body::empty());
    }
    Response::from_parts(parts, Body::from(body))
}

/// The tags of a header; `*` stands for any.
fn listed(headers: &HeaderMap, name: &HeaderName) -> Vec<String> {
    let values = headers.get_all(name).iter().filter_map(|value| value.to_str().ok());
    values.flat_map(|value| value.split(',')).map(|tag| tag.trim().to_owned()).collect()
}

/// `If-Match`: what a change takes the thing to be.
pub(crate) struct IfMatch(Vec<String>);

impl<S: Send + Sync> FromRequestParts<S> for IfMatch {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<IfMatch, Problem> {
        Ok(IfMatch(listed(&parts.headers, &header::IF_MATCH)))
    }
}

impl IfMatch {
    /// Refuses a change of what is not as the client takes it to be; `held` is
    /// the document as it would now be read.
    pub(crate) fn check(&self, held: &impl Serialize) -> Result<(), Problem> {
        let tag = tag_of(held);
        match self.0.as_slice() {
            [] => Err(Problem::unconditional(&tag)),
            tags if tags.iter().any(|given| given == "*" || *given == tag) => Ok(()),
            _ => Err(Problem::changed(
                "This is no longer as you read it; nothing was changed. Read it again, and repeat the change on what is there now.",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_is_strong_and_the_bodys_own() {
        assert_eq!(tag(b"{}"), tag(b"{}"));
        assert_ne!(tag(b"{}"), tag(b"[]"));
        assert!(tag(b"").starts_with('"') && tag(b"").len() == 34);
    }

    #[test]
    fn a_change_says_what_it_changes() {
        let of = |tags: &[&str]| IfMatch(tags.iter().map(|tag| (*tag).to_owned()).collect());
        let status = |given: IfMatch| given.check(&"x").map_err(|problem| problem.status.as_u16());
        assert_eq!(status(of(&[])), Err(428));
        assert_eq!(status(of(&["\"other\""])), Err(412));
        assert_eq!(status(of(&["*"])), Ok(()));
        let tag = tag_of(&"x");
        assert_eq!(status(of(&["\"other\"", &tag])), Ok(()));
        assert_eq!(status(of(&[&format!("W/{tag}")])), Err(412), "a weak tag proves nothing");
    }
}
