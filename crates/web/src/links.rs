//! Claim, invitation and reset: the pages that links land on.

use access::link::{self, Given, RedeemError};
use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use store::{Link, LinkKind, StoreError};

use crate::words::english;
use crate::{Web, pages};

/// What a form behind a link sends; fields that it does not ask for are absent.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Sent {
    name: String,
    email: String,
    password: String,
}

/// Refuses a link that works no more.
fn over() -> Response {
    pages::refused(StatusCode::NOT_FOUND, english().get("link.over"))
}

/// Shows the form; opening it changes nothing.
pub(crate) async fn form(
    State(web): State<Web>,
    Extension(kind): Extension<LinkKind>,
    Path(secret): Path<String>,
) -> Response {
    shown(&web, kind, &secret, Sent::default(), None).await
}

/// The form, with what was wrong with what was sent before.
async fn shown(web: &Web, kind: LinkKind, secret: &str, sent: Sent, wrong: Option<String>) -> Response {
    let link = match link::look(&web.store, kind, secret, web.clock.now()).await {
        Ok(Some(link)) => link,
        Ok(None) => return over(),
        Err(error) => return pages::failed(&error),
    };
    let status = if wrong.is_some() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    match filled(web, &link, sent, wrong).await {
        Ok(form) => pages::page(status, &form),
        Err(error) => pages::failed(&error),
    }
}

async fn filled(
    web: &Web,
    link: &Link,
    sent: Sent,
    wrong: Option<String>,
) -> Result<pages::Link<'static>, StoreError> {
    let words = english();
    let plain = pages::Link {
        words,
        title: words.get("link.claim"),
        lead: words.get("link.claim_lead").to_owned(),
        wrong,
        asks_name: true,
        asks_email: true,
        asks_password: true,
        name: sent.name,
        email: sent.email,
        button: words.get("link.claim_do"),
    };
    let email = link.email.clone().unwrap_or_default();
    Ok(match link.kind {
        LinkKind::Claim => plain,
        LinkKind::Invitation => {
            let farm = web.store.farm(link.farm_id.as_deref().unwrap_or_default()).await?;
            let known = web.store.person_by_email(&email).await?;
            let role = link.role.map_or("", |role| role.word());
            pages::Link {
                title: words.get("link.invitation"),
                lead: words.fill(
                    "link.invitation_lead",
                    &[
                        ("farm", &farm.map(|farm| farm.name).unwrap_or_default()),
                        ("role", &role),
                        ("email", &email),
                    ],
                ),
                asks_name: known.is_none(),
                asks_email: false,
                asks_password: known.is_none_or(|known| known.password.is_none()),
                button: words.get("link.invitation_do"),
                ..plain
            }
        }
        LinkKind::Reset => pages::Link {
            title: words.get("link.reset"),
            lead: words.fill("link.reset_lead", &[("email", &email)]),
            asks_name: false,
            asks_email: false,
            button: words.get("link.reset_do"),
            ..plain
        },
    })
}

/// Uses the link up with what was sent.
pub(crate) async fn redeem(
    State(web): State<Web>,
    Extension(kind): Extension<LinkKind>,
    Path(secret): Path<String>,
    Form(sent): Form<Sent>,
) -> Response {
    let given = Given { name: sent.name.clone(), email: sent.email.clone(), password: sent.password.clone() };
    match link::redeem(&web.store, &web.passwords, kind, &secret, given, web.clock.now()).await {
        Ok(_) => Redirect::to("/sign-in").into_response(),
        Err(RedeemError::Over) => over(),
        Err(RedeemError::Failed(error)) => pages::failed(&error),
        Err(wrong) => {
            let wrong = format!("{}.", wrong.to_string().trim_end_matches('.'));
            shown(&web, kind, &secret, sent, Some(wrong)).await
        }
    }
}
