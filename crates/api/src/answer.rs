//! What handlers answer with.

use axum::Json;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use crate::problem::Problem;

/// What a handler gives.
pub(crate) type Answer = Result<Response, Problem>;

/// 200 with a document.
pub(crate) fn ok(document: Value) -> Answer {
    Ok(Json(document).into_response())
}

/// 201 with where it stands from now on and what stands there.
pub(crate) fn created(location: &str, document: Value) -> Answer {
    Ok((StatusCode::CREATED, [(header::LOCATION, location)], Json(document)).into_response())
}

/// A page of a list of which one more than `limit` was asked for: `next` is
/// what to give as `after` for the following page, null on the last.
pub(crate) fn page<T>(
    mut rows: Vec<T>,
    limit: u32,
    cursor: impl Fn(&T) -> String,
    render: impl Fn(&T) -> Value,
) -> Answer {
    let more = rows.len() > limit as usize;
    rows.truncate(limit as usize);
    let next = rows.last().filter(|_| more).map(cursor);
    ok(json!({"items": rows.iter().map(render).collect::<Vec<_>>(), "next": next}))
}

/// A list that is always given whole.
pub(crate) fn whole(items: Vec<Value>) -> Answer {
    ok(json!({"items": items, "next": null}))
}
