//! A lost password: a link by mail, whoever asks.

use access::link;
use access::sign_in::{SignInError, may_mail};
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use crate::guard::{Privacy, WayIn};
use crate::sign_in::{OPEN, too_many};
use crate::words::english;
use crate::{Post, Web, Word, pages};

#[derive(Debug, Deserialize)]
pub(crate) struct Sent {
    email: String,
}

const NO_POST: &str = "This server does not know under which address people reach it, so it mails no links. Its \
    operator makes one with `bloomtide user reset`, and sets --public-url.";

/// The same whether anybody has that address.
const ASKED: &str = "If somebody here has that address, a mail with a link is on its way. The link works once, for \
    an hour. Nothing comes? Look among unwanted mail, or ask the operator of this server.";

pub(crate) async fn form(State(web): State<Web>, Extension(way): Extension<WayIn>) -> Response {
    if way.privacy == Privacy::Open {
        return pages::refused(StatusCode::FORBIDDEN, OPEN);
    }
    if web.post.is_none() {
        return pages::refused(StatusCode::NOT_FOUND, NO_POST);
    }
    pages::page(StatusCode::OK, &pages::Forgotten { words: english(), title: "Lost password" })
}

pub(crate) async fn ask(
    State(web): State<Web>,
    Extension(way): Extension<WayIn>,
    Form(sent): Form<Sent>,
) -> Response {
    if way.privacy == Privacy::Open {
        return pages::refused(StatusCode::FORBIDDEN, OPEN);
    }
    let Some(post) = web.post.clone() else {
        return pages::refused(StatusCode::NOT_FOUND, NO_POST);
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
    pages::page(StatusCode::OK, &pages::Told { words: english(), title: "Lost password", what: ASKED })
}

async fn mail(web: &Web, post: &Post, email: &str) {
    match link::reset(&web.store, email, web.clock.now()).await {
        Ok(Some(secret)) => (post.send)(Word {
            to: email.to_lowercase(),
            subject: "A new password for bloomtide".to_owned(),
            text: format!(
                "Someone, perhaps you, asked for a new password for this address.\n\n\
                 Choose it here; the link works once, for an hour:\n{}/reset/{secret}\n\n\
                 If it was not you, do nothing: your password stays as it is.\n",
                post.public_url.trim_end_matches('/')
            ),
        }),
        Ok(None) => {}
        Err(error) => tracing::error!(%error, "a link for a new password could not be made"),
    }
}
