//! A lost password: a link by mail, whoever asks.

use access::link;
use access::sign_in::{SignInError, may_mail};
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use crate::guard::{Privacy, WayIn};
use crate::sign_in::{open, too_many};
use crate::words::english;
use crate::{Post, Web, Word, pages};

#[derive(Debug, Deserialize)]
pub(crate) struct Sent {
    email: String,
}

/// Refuses where this server mails no links.
fn no_post() -> Response {
    pages::refused(StatusCode::NOT_FOUND, english().get("forgotten.no_post"))
}

pub(crate) async fn form(State(web): State<Web>, Extension(way): Extension<WayIn>) -> Response {
    if way.privacy == Privacy::Open {
        return open();
    }
    if web.post.is_none() {
        return no_post();
    }
    let words = english();
    pages::page(StatusCode::OK, &pages::Forgotten { words, title: words.get("forgotten.title") })
}

pub(crate) async fn ask(
    State(web): State<Web>,
    Extension(way): Extension<WayIn>,
    Form(sent): Form<Sent>,
) -> Response {
    if way.privacy == Privacy::Open {
        return open();
    }
    let Some(post) = web.post.clone() else {
        return no_post();
    };
    let now = web.clock.now();
    match may_mail(&web.store, &sent.email, &way.place(), now).await {
        Ok(true) => {
            // After the answer, so that its time tells nothing either.
            tokio::spawn(async move { mail(&web, &post, sent.email.trim()).await });
        }
        Ok(false) => {}
        Err(SignInError::Throttled(until)) => return too_many(until, now),
        Err(error) => return pages::failed(&error),
    }
    let words = english();
    // The same whether anybody has that address.
    let what = words.get("forgotten.asked");
    pages::page(StatusCode::OK, &pages::Told { words, title: words.get("forgotten.title"), what })
}

async fn mail(web: &Web, post: &Post, email: &str) {
    match link::reset(&web.store, email, web.clock.now()).await {
        Ok(Some(secret)) => (post.send)(Word {
            to: email.to_lowercase(),
            subject: english().get("forgotten.mail_subject").to_owned(),
            text: english().fill("forgotten.mail", &[("link", &link_to(&post.public_url, &secret))]),
        }),
        Ok(None) => {}
        Err(error) => tracing::error!(%error, "a link for a new password could not be made"),
    }
}

/// Where a new password is chosen.
fn link_to(public_url: &str, secret: &str) -> String {
    format!("{}/reset/{secret}", public_url.trim_end_matches('/'))
}
