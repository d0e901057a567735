//! Shapes that the API's document names and several subjects share.

use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

/// An instant in UTC, RFC 3339, whole seconds. Written, it may have any offset.
#[derive(ToSchema)]
#[schema(value_type = String, format = DateTime, example = "2013-05-01T21:10:00Z")]
#[allow(dead_code, reason = "it stands for instants in the document")]
pub(crate) struct Moment(String);

/// A page of a list. `next` is what to give as `after` for the page that
/// follows; null on the last. The header `Link` has the same as an address.
#[derive(Serialize, ToSchema)]
pub(crate) struct Page<T: ToSchema> {
    pub(crate) items: Vec<T>,
    pub(crate) next: Option<String>,
}

/// How far to list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Paging {
    /// `next` of the page before, which was asked for with the same parameters.
    after: Option<String>,
    /// How many to list.
    #[param(minimum = 1, maximum = 1000, default = 200)]
    limit: Option<u32>,
}

/// What went wrong (RFC 9457).
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for problems in the document")]
pub(crate) struct Problem {
    /// A name, not an address: `urn:bloomtide:problem:` and a word for programs.
    #[schema(example = "urn:bloomtide:problem:not-found")]
    r#type: String,
    title: String,
    status: u16,
    /// What was wrong, where, and what to do.
    detail: String,
    /// Everything that is wrong with the request, at once.
    errors: Vec<Wrong>,
    /// The request, as the server's log names it.
    request_id: String,
}

/// One thing wrong with the request.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for faults in the document")]
pub(crate) struct Wrong {
    /// RFC 6901 pointer into the body; empty for the body as a whole.
    #[schema(nullable = false)]
    pointer: Option<String>,
    /// Name of a parameter of the path or the query.
    #[schema(nullable = false)]
    parameter: Option<String>,
    detail: String,
}

/// In which form.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct InForm {
    /// `json` or `csv`; or by the header `Accept`.
    format: Option<String>,
}
