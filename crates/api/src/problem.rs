//! What went wrong, as RFC 9457 `application/problem+json`.
//!
//! A [`Problem`] becomes bytes in the envelope, which alone knows the request's
//! id: as a response it travels in the extensions.

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use model::input::{Fault, Faults};
use serde::Serialize;
use store::StoreError;

/// How the refusal of what a role may not do ends, for programs.
pub const WITH_A_TOKEN: &str = ", with a token that may write";

/// One thing wrong with the request, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Wrong {
    /// RFC 6901 pointer into the body; empty for the body as a whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pointer: Option<String>,
    /// Name of a parameter of the path or the query.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) parameter: Option<&'static str>,
    /// What is wrong, and what was expected.
    pub(crate) detail: String,
}

/// An answer that is not what was asked for.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    pub(crate) status: StatusCode,
    /// Last part of the problem's type: one word for programs.
    pub(crate) code: &'static str,
    pub(crate) title: &'static str,
    pub(crate) detail: String,
    pub(crate) errors: Vec<Wrong>,
    pub(crate) headers: Vec<(HeaderName, HeaderValue)>,
}

impl Problem {
    fn new(
        status: StatusCode,
        code: &'static str,
        title: &'static str,
        detail: impl Into<String>,
    ) -> Problem {
        Problem { status, code, title, detail: detail.into(), errors: Vec::new(), headers: Vec::new() }
    }

    fn with(mut self, name: HeaderName, value: &'static str) -> Problem {
        self.headers.push((name, HeaderValue::from_static(value)));
        self
    }

    fn at(mut self, pointer: impl Into<String>) -> Problem {
        let wrong = Wrong { pointer: Some(pointer.into()), parameter: None, detail: self.detail.clone() };
        self.errors.push(wrong);
        self
    }

    /// No token, or none that is known: the same answer whatever is wrong.
    pub(crate) fn no_token() -> Problem {
        let detail = "Give a valid token, as `Authorization: Bearer bt_…`.";
        Problem::new(StatusCode::UNAUTHORIZED, "no-token", "Not signed in", detail)
            .with(header::WWW_AUTHENTICATE, "Bearer realm=\"bloomtide\"")
    }

    /// The caller sees it and may not do this to it.
    pub(crate) fn not_allowed(needed: &str) -> Problem {
        let detail = format!("This needs {needed}{WITH_A_TOKEN}.");
        Problem::new(StatusCode::FORBIDDEN, "not-allowed", "Not allowed", detail)
    }

    /// Nothing stands under that id.
    pub(crate) fn not_found(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::NOT_FOUND, "not-found", "Not found", detail)
    }

    /// What is asked for does not fit what is stored.
    pub(crate) fn conflict(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::CONFLICT, "conflict", "Conflict with what is stored", detail)
    }

    /// A change that does not say what it changes.
    pub(crate) fn unconditional(tag: &str) -> Problem {
        let detail = format!(
            "A change names what it changes: send the header `If-Match` with the `ETag` that the resource was read with, now {tag}. `If-Match: *` takes whatever is there."
        );
        Problem::new(StatusCode::PRECONDITION_REQUIRED, "unconditional", "If-Match is missing", detail)
    }

    /// The first request under this key has no answer yet.
    pub(crate) fn under_way() -> Problem {
        Problem::conflict(
            "The first request with this Idempotency-Key is still under way; ask again in a while.",
        )
        .with(header::RETRY_AFTER, "5")
    }

    /// The key stands for another request.
    pub(crate) fn other_body() -> Problem {
        let detail = "This Idempotency-Key was used for another request; nothing was done. Give each request a key of its own.";
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "key-used", "Idempotency-Key used before", detail)
    }

    /// A token stands in the address.
    pub(crate) fn token_in_address() -> Problem {
        let detail = "A token does not belong in an address, where logs and proxies keep it: send it as `Authorization: Bearer bt_…`, and revoke this one.";
        Problem::new(StatusCode::BAD_REQUEST, "token-in-address", "Token in the address", detail)
    }

    /// The token has asked for too much.
    pub(crate) fn over_quota(seconds: i64, detail: impl Into<String>) -> Problem {
        let title = "Too many requests";
        let mut problem = Problem::new(StatusCode::TOO_MANY_REQUESTS, "over-quota", title, detail);
        problem.headers.push((header::RETRY_AFTER, HeaderValue::from(seconds)));
        problem
    }

    /// It took longer than a request may.
    pub(crate) fn took_too_long() -> Problem {
        Problem::busy("This took too long and was given up; ask for less at once, or try again.")
    }

    /// What was to be changed is not as the request takes it to be.
    pub(crate) fn changed(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::PRECONDITION_FAILED, "changed", "Changed meanwhile", detail)
    }

    /// The same, with the field that clashes.
    pub(crate) fn conflict_at(pointer: impl Into<String>, detail: impl Into<String>) -> Problem {
        Problem::conflict(detail).at(pointer)
    }

    /// The body is not JSON.
    pub(crate) fn broken_json(error: &serde_json::Error) -> Problem {
        let detail = format!("The body is not JSON: {error}."); // serde_json names line and column
        Problem::new(StatusCode::BAD_REQUEST, "broken-json", "Broken JSON", detail).at("")
    }

    /// The request broke off or cannot be read.
    pub(crate) fn broken_off(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::BAD_REQUEST, "broken-off", "Broken request", detail)
    }

    /// The client went silent.
    pub(crate) fn silence() -> Problem {
        let detail = format!(
            "Nothing came for {} seconds within the body; nothing was stored. Send it again.",
            crate::limits::BODY_SILENCE.as_secs()
        );
        Problem::new(StatusCode::REQUEST_TIMEOUT, "silence", "The request came too slowly", detail)
            .with(header::CONNECTION, "close")
    }

    /// The body is longer than is taken.
    pub(crate) fn too_large(limit: u64) -> Problem {
        let detail = format!("The body is larger than {limit} bytes, the most that is taken here; split it.");
        Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", "Too large", detail)
    }

    /// The body is of another type.
    pub(crate) fn other_type(expected: &str, found: Option<&str>) -> Problem {
        let found = found.map_or_else(|| "nothing".to_owned(), |found| format!("`{found}`"));
        let detail = format!("Expected a body of content type {expected}; the request says {found}.");
        Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "other-type", "Unsupported content type", detail)
    }

    /// The body is compressed.
    pub(crate) fn compressed() -> Problem {
        let detail = "Expected the body as it is, without a content encoding.";
        Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "other-type", "Unsupported content encoding", detail)
    }

    /// A station's file was refused as a whole; `pointer` leads to the field of
    /// the source that does not fit it.
    pub(crate) fn file(pointer: impl Into<String>, detail: impl Into<String>) -> Problem {
        let (code, title) = ("file-refused", "The file was refused as a whole");
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, code, title, detail).at(pointer)
    }

    /// A parameter of the path or query.
    pub(crate) fn parameter(name: &'static str, detail: impl Into<String>) -> Problem {
        Problem::invalid(vec![Wrong { pointer: None, parameter: Some(name), detail: detail.into() }])
    }

    /// Fields of the body or parameters that are not as they must be.
    pub(crate) fn invalid(errors: Vec<Wrong>) -> Problem {
        let said = |wrong: &Wrong| match (&wrong.pointer, wrong.parameter) {
            (Some(pointer), _) if pointer.is_empty() => format!("the body: {}", wrong.detail),
            (Some(pointer), _) => format!("{pointer}: {}", wrong.detail),
            (None, Some(name)) => format!("parameter `{name}`: {}", wrong.detail),
            (None, None) => wrong.detail.clone(),
        };
        let detail = match errors.as_slice() {
            [] => "The request is not as expected.".to_owned(),
            [one] => said(one),
            [first, ..] => format!("{} things are wrong, the first: {}", errors.len(), said(first)),
        };
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        Problem { errors, ..Problem::new(status, "invalid-input", "Invalid input", detail) }
    }

    /// Others hold what is needed; it is worth trying again.
    pub(crate) fn busy(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, "busy", "Busy", detail).with(header::RETRY_AFTER, "5")
    }

    /// Something failed that the client cannot help; what exactly is logged.
    pub(crate) fn failed() -> Problem {
        let detail =
            "Something failed on the server and nothing was changed; its log has the cause under request_id.";
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "failed", "Server failure", detail)
    }

    /// What the framework answered on its own.
    pub(crate) fn of_status(status: StatusCode) -> Problem {
        if status == StatusCode::METHOD_NOT_ALLOWED {
            let detail = "Not a method of this path; the header `Allow` names those that are.";
            return Problem::new(status, "other-method", "Method not allowed", detail);
        }
        let title = status.canonical_reason().unwrap_or("Refused");
        Problem::new(status, "refused", title, format!("The request was refused: {title}."))
    }
}

/// For a path under which nothing is served.
pub(crate) async fn no_such_path() -> Problem {
    Problem::not_found("Nothing is served under this path.")
}

impl From<Fault> for Wrong {
    fn from(fault: Fault) -> Wrong {
        Wrong { pointer: Some(fault.pointer), parameter: None, detail: fault.detail }
    }
}

impl From<Faults> for Problem {
    fn from(faults: Faults) -> Problem {
        Problem::invalid(faults.0.into_iter().map(Wrong::from).collect())
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Problem {
        match &error {
            StoreError::NotFound { .. } => Problem::not_found(error.to_string()),
            StoreError::Conflict { .. } => Problem::conflict(error.to_string()),
            StoreError::Closed { .. } => Problem::conflict(format!("{error}.")),
            StoreError::Changed { .. } => Problem::changed(error.to_string()),
            StoreError::Refused(_) => Problem::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "invalid-input",
                "Invalid input",
                error.to_string(),
            ),
            StoreError::Busy(_) => {
                tracing::warn!(%error, "the database was busy for too long");
                Problem::busy("The database was busy for too long; nothing was changed, try again.")
            }
            _ => {
                tracing::error!(%error, "the database failed");
                Problem::failed()
            }
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = self.status.into_response();
        for (name, value) in &self.headers {
            response.headers_mut().insert(name, value.clone());
        }
        response.extensions_mut().insert(self);
        response
    }
}
