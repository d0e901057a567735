//! The pages as templates.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use crate::words::{Words, english};

/// A page that was refused, with the reason.
#[derive(Template)]
#[template(path = "refused.html")]
struct Refused<'a> {
    words: &'static Words,
    title: &'a str,
    reason: &'a str,
}

/// Signing in.
#[derive(Template)]
#[template(path = "sign_in.html")]
pub(crate) struct SignIn<'a> {
    pub(crate) words: &'static Words,
    pub(crate) title: &'a str,
    /// What was wrong with the last attempt.
    pub(crate) wrong: Option<String>,
    /// Address as it was typed.
    pub(crate) email: String,
    /// Whether a link for a new password comes by mail.
    pub(crate) mails: bool,
}

/// Asking for a link for a new password.
#[derive(Template)]
#[template(path = "forgotten.html")]
pub(crate) struct Forgotten<'a> {
    pub(crate) words: &'static Words,
    pub(crate) title: &'a str,
}

/// Something that was done.
#[derive(Template)]
#[template(path = "told.html")]
pub(crate) struct Told<'a> {
    pub(crate) words: &'static Words,
    pub(crate) title: &'a str,
    pub(crate) what: &'a str,
}

/// What a mail carried, with what can be done about it.
#[derive(Template)]
#[template(path = "mail.html")]
pub(crate) struct Mail {
    pub(crate) words: &'static Words,
    pub(crate) title: &'static str,
    pub(crate) recipient: String,
    pub(crate) rows: Vec<crate::mail::Row>,
    pub(crate) told: Option<String>,
}

/// A form behind a link.
#[derive(Template)]
#[template(path = "link.html")]
pub(crate) struct Link<'a> {
    pub(crate) words: &'static Words,
    pub(crate) title: &'a str,
    /// What happens when it is sent.
    pub(crate) lead: String,
    /// What was wrong with what was sent before.
    pub(crate) wrong: Option<String>,
    /// Whether the name is asked for.
    pub(crate) asks_name: bool,
    /// Whether the address is asked for.
    pub(crate) asks_email: bool,
    /// Whether a password is asked for.
    pub(crate) asks_password: bool,
    pub(crate) name: String,
    pub(crate) email: String,
    /// What the button says.
    pub(crate) button: &'a str,
}

/// The API's document.
#[derive(Template)]
#[template(path = "reference.html")]
pub(crate) struct Reference {
    pub(crate) words: &'static Words,
    pub(crate) title: &'static str,
    pub(crate) about: Vec<String>,
    pub(crate) chapters: Vec<Chapter>,
}

/// Operations on one subject.
pub(crate) struct Chapter {
    pub(crate) name: String,
    pub(crate) operations: Vec<Operation>,
}

impl Chapter {
    /// Where the chapter begins on the page.
    fn anchor(&self) -> String {
        format!("chapter-{}", self.name.replace(' ', "-"))
    }
}

/// One operation with its example.
pub(crate) struct Operation {
    pub(crate) id: String,
    pub(crate) method: String,
    pub(crate) path: String,
    pub(crate) about: Vec<String>,
    pub(crate) parameters: Vec<Parameter>,
    pub(crate) request: Option<String>,
    pub(crate) status: String,
    pub(crate) response: Option<String>,
}

/// A parameter of an operation.
pub(crate) struct Parameter {
    pub(crate) name: String,
    /// Of the path, the query or a header.
    pub(crate) place: String,
    pub(crate) required: bool,
    pub(crate) about: String,
}

/// Answers with a page.
pub(crate) fn page(status: StatusCode, page: &impl Template) -> Response {
    match page.render() {
        Ok(html) => (status, Html(html)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page could not be made");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// Answers that something was not done, and why.
pub(crate) fn refused(status: StatusCode, reason: &str) -> Response {
    let words = english();
    page(status, &Refused { words, title: words.get("refused.title"), reason })
}

/// Answers that the server failed; the cause is in its log.
pub(crate) fn failed(error: &impl std::fmt::Display) -> Response {
    tracing::error!(%error, "a page failed");
    refused(StatusCode::INTERNAL_SERVER_ERROR, english().get("refused.failed"))
}
