//! The page on care, open to everybody.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use model::words::CARE;

use crate::pages;

#[derive(Template)]
#[template(path = "care.html")]
struct Page {
    title: &'static str,
    topics: &'static [(&'static str, &'static [&'static str])],
}

/// The page.
pub(crate) async fn page() -> Response {
    pages::page(StatusCode::OK, &Page { title: "With care", topics: CARE })
}
