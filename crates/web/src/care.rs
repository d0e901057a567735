//! The page on care, open to everybody.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use model::words::CARE;

use crate::pages;
use crate::words::{Words, english};

#[derive(Template)]
#[template(path = "care.html")]
struct Page {
    words: &'static Words,
    title: &'static str,
    topics: &'static [(&'static str, &'static [&'static str])],
}

/// The page.
pub(crate) async fn page() -> Response {
    let words = english();
    pages::page(StatusCode::OK, &Page { words, title: words.get("care.title"), topics: CARE })
}
