//! Round every request: its id, its line in the log, and its problem, if any,
//! as `application/problem+json`.

use std::panic::AssertUnwindSafe;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderName, HeaderValue, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures::FutureExt;
use serde_json::{Value, json};

use crate::desk::{Desk, RequestId};
use crate::limits;
use crate::problem::Problem;

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");
/// The problem types are names, not addresses: there is nothing to fetch.
const TYPES: &str = "urn:bloomtide:problem:";

/// Answers with a problem wherever something failed, whoever noticed it: a
/// handler, the framework, or a panic.
pub(crate) async fn envelope(State(desk): State<Arc<Desk>>, mut request: Request, next: Next) -> Response {
    let id = desk.new_id();
    request.extensions_mut().insert(RequestId(id.clone()));
    let method = request.method().clone();
    // The route, never the address as sent: parameters are the client's affair.
    let route =
        request.extensions().get::<MatchedPath>().map_or_else(String::new, |path| path.as_str().to_owned());
    let upload = *request.method() == Method::POST && route.ends_with("/readings");
    let answered = AssertUnwindSafe(in_time(upload, next.run(request))).catch_unwind().await;
    let mut response = answered.unwrap_or_else(|_| {
        tracing::error!(request_id = id, %method, route, "a handler panicked");
        Problem::failed().into_response()
    });
    let status = response.status();
    if status.is_client_error() || status.is_server_error() {
        response = as_problem(response, &id);
    }
    if status.is_server_error() {
        tracing::warn!(request_id = id, %method, route, status = status.as_u16(), "request failed");
    } else {
        tracing::debug!(request_id = id, %method, route, status = status.as_u16(), "request answered");
    }
    if let Ok(id) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(REQUEST_ID, id);
    }
    response
}

/// A file may take as long as its line needs: its silences are watched.
async fn in_time(upload: bool, answer: impl Future<Output = Response>) -> Response {
    if upload {
        return answer.await;
    }
    match tokio::time::timeout(limits::LONGEST_REQUEST, answer).await {
        Ok(response) => response,
        Err(_) => Problem::took_too_long().into_response(),
    }
}

fn as_problem(response: Response, id: &str) -> Response {
    let (mut parts, _) = response.into_parts();
    let problem = parts.extensions.remove::<Problem>().unwrap_or_else(|| Problem::of_status(parts.status));
    let body = document(&problem, id).to_string();
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    Response::from_parts(parts, Body::from(body))
}

fn document(problem: &Problem, id: &str) -> Value {
    json!({
        "type": format!("{TYPES}{}", problem.code),
        "title": problem.title,
        "status": problem.status.as_u16(),
        "detail": problem.detail,
        "errors": problem.errors,
        "request_id": id,
    })
}
