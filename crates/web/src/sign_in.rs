//! Signing in and out.

use access::Caller;
use access::sign_in::{Attempt, SignInError, SignedIn};
use axum::Extension;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use model::time::Instant;
use serde::Deserialize;
use store::Role;

use crate::guard::{Privacy, WayIn};
use crate::words::english;
use crate::{Web, pages, set_up};

/// Browsers name themselves at length; the list of sign-ins shows so much.
const BROWSER_CHARS: usize = 120;

#[derive(Debug, Deserialize)]
pub(crate) struct Sent {
    email: String,
    password: String,
    #[serde(default)]
    long: String,
}

/// Refuses a sign-in over plain HTTP.
pub(crate) fn open() -> Response {
    pages::refused(StatusCode::FORBIDDEN, english().get("sign_in.open"))
}

pub(crate) async fn form(State(web): State<Web>, Extension(way): Extension<WayIn>) -> Response {
    if way.privacy == Privacy::Open {
        return open();
    }
    shown(&web, StatusCode::OK, String::new(), None)
}

fn shown(web: &Web, status: StatusCode, email: String, wrong: Option<String>) -> Response {
    let words = english();
    let title = words.get("sign_in.do");
    pages::page(status, &pages::SignIn { words, title, wrong, email, mails: web.post.is_some() })
}

pub(crate) async fn sign_in(
    State(web): State<Web>,
    Extension(way): Extension<WayIn>,
    headers: HeaderMap,
    Form(sent): Form<Sent>,
) -> Response {
    let Some(cookie) = way.privacy.cookie() else {
        return open();
    };
    let from = way.place();
    let browser = headers.get(header::USER_AGENT).and_then(|agent| agent.to_str().ok()).unwrap_or("unnamed");
    let attempt = Attempt {
        email: &sent.email,
        password: sent.password,
        from: &from,
        browser: &browser.chars().take(BROWSER_CHARS).collect::<String>(),
        long: sent.long == "yes",
        before: in_cookies(&headers, cookie),
    };
    let now = web.clock.now();
    match access::sign_in::sign_in(&web.store, &web.passwords, attempt, now).await {
        Ok(signed) => {
            let mut response = Redirect::to(landing(&web, &signed).await).into_response();
            set_cookie(&mut response, way.privacy, &signed.secret, signed.expires_at.since(now));
            response
        }
        Err(SignInError::Wrong) => {
            let wrong = english().get("sign_in.wrong").to_owned();
            shown(&web, StatusCode::UNPROCESSABLE_ENTITY, sent.email, Some(wrong))
        }
        Err(SignInError::Throttled(until)) => {
            let wrong = Some(wait(until, now));
            retry_after(shown(&web, StatusCode::TOO_MANY_REQUESTS, sent.email, wrong), until, now)
        }
        Err(SignInError::Failed(error)) => pages::failed(&error),
    }
}

/// Where someone begins: who runs the server and has no block yet, with the first steps;
/// who only logs, with today's list; all others with their farms.
async fn landing(web: &Web, signed: &SignedIn) -> &'static str {
    if signed.person.operator {
        return if set_up::begin::is_first_run(web).await { "/begin" } else { "/" };
    }
    let caller = access::signed_in(&web.store, &signed.secret, web.clock.now()).await;
    let logs = |caller: Caller| {
        !caller.memberships.is_empty() && caller.memberships.iter().all(|one| one.role == Role::Grower)
    };
    if caller.is_ok_and(logs) { "/today" } else { "/" }
}

fn wait(until: Instant, now: Instant) -> String {
    let minutes = (until.since(now).max(1) + 59) / 60;
    english().fill("sign_in.too_many", &[("n", &minutes)])
}

/// Answers that it was asked too often.
pub(crate) fn too_many(until: Instant, now: Instant) -> Response {
    retry_after(pages::refused(StatusCode::TOO_MANY_REQUESTS, &wait(until, now)), until, now)
}

fn retry_after(mut response: Response, until: Instant, now: Instant) -> Response {
    response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(until.since(now).max(1)));
    response
}

/// Ends the sign-in of this browser.
pub(crate) async fn sign_out(
    State(web): State<Web>,
    Extension(way): Extension<WayIn>,
    headers: HeaderMap,
) -> Response {
    let mut response = Redirect::to("/sign-in").into_response();
    // Whoever has the phone next finds none of the pages that it kept.
    response.headers_mut().insert("clear-site-data", HeaderValue::from_static("\"cache\""));
    if let Some(secret) = way.privacy.cookie().and_then(|cookie| in_cookies(&headers, cookie)) {
        if let Ok(caller) = access::signed_in(&web.store, secret, web.clock.now()).await
            && let Err(error) = web.store.revoke(&caller.credential_id, web.clock.now()).await
        {
            return pages::failed(&error);
        }
        set_cookie(&mut response, way.privacy, "", 0);
    }
    response
}

/// The value of a cookie.
pub(crate) fn in_cookies<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(key, value)| (key == name).then_some(value))
}

fn set_cookie(response: &mut Response, privacy: Privacy, secret: &str, seconds: i64) {
    let Some(name) = privacy.cookie() else { return };
    let secure = if privacy == Privacy::Https { "; Secure" } else { "" };
    let cookie = format!("{name}={secret}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}");
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
}
