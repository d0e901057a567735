//! What handlers answer with.

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use crate::conditional::tag_of;
use crate::problem::Problem;
use crate::query::Span;
use crate::shapes::Page;

/// What a handler gives.
pub(crate) type Answer = Result<Response, Problem>;

/// 200 with a document.
pub(crate) fn ok(document: impl Serialize) -> Answer {
    Ok(Json(document).into_response())
}

/// 200 with what was changed as it now reads, and the tag that it now has.
pub(crate) fn changed(document: impl Serialize) -> Answer {
    tagged(StatusCode::OK, document)
}

/// The same with another status of success.
pub(crate) fn tagged(status: StatusCode, document: impl Serialize) -> Answer {
    let tag = HeaderValue::from_str(&tag_of(&document)).map_err(|_| Problem::failed())?;
    Ok((status, [(header::ETAG, tag)], Json(document)).into_response())
}

/// 201 with where it stands from now on and what stands there.
pub(crate) fn created(location: &str, document: impl Serialize) -> Answer {
    Ok((StatusCode::CREATED, [(header::LOCATION, location)], Json(document)).into_response())
}

/// A page of a list of which one more than was asked for was read.
pub(crate) fn page<T, S: Serialize + ToSchema>(
    mut rows: Vec<T>,
    span: &Span,
    cursor: impl Fn(&T) -> String,
    render: impl Fn(&T) -> S,
) -> Answer {
    let next = span.cut(&mut rows, cursor);
    let items = rows.iter().map(render).collect();
    let mut response = Json(Page { items, next: next.clone() }).into_response();
    if let Some(next) = next {
        span.write_link(&next, response.headers_mut());
    }
    Ok(response)
}

/// A list that is always given whole.
pub(crate) fn whole<S: Serialize + ToSchema>(items: Vec<S>) -> Answer {
    ok(Page { items, next: None })
}
