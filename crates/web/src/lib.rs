//! Pages for people: those that links land on, signing in and out, and what is
//! read and printed: farms, blocks, seasons, spray records and sheets.
//!
//! No page needs a script or anything from another host. Opening a page changes
//! nothing; what is sent from one must come from this server's own pages
//! ([`guard`]).

mod care;
mod confirm;
mod forgotten;
mod guard;
mod home;
mod job;
mod links;
mod mail;
mod notice;
mod pages;
mod reference;
mod report;
mod said;
mod sign_in;
mod sprayed;
mod sprays;
mod visit;
mod years;

use std::net::IpAddr;
use std::sync::Arc;

use access::password::Passwords;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{get, post};
use axum::{Extension, Router};
use model::time::Clock;
use store::{LinkKind, Seal, Store};

/// All that the pages work with.
#[derive(Clone)]
pub struct Web {
    /// The database.
    pub store: Store,
    /// What those who are signed in see of farms and seasons.
    pub sight: api::Sight,
    /// Where `now` comes from.
    pub clock: Arc<dyn Clock>,
    /// Checks passwords.
    pub passwords: Passwords,
    /// Addresses of proxies in front, whose word on the client's address and
    /// on HTTPS is taken.
    pub trusted_proxies: Arc<[IpAddr]>,
    /// Knows the links in mails by their marks.
    pub seal: Seal,
    /// Takes mails to people; none where links have no address to lead to.
    pub post: Option<Post>,
}

/// The way to people's mail.
#[derive(Clone)]
pub struct Post {
    /// Address under which people reach this server. What a request says of it is
    /// never believed: a link in a mail would lead elsewhere.
    pub public_url: String,
    /// Takes a mail; it is sent after the answer.
    pub send: Arc<dyn Fn(Word) + Send + Sync>,
}

/// A mail of a few words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Bare address.
    pub to: String,
    /// Its subject.
    pub subject: String,
    /// Plain text.
    pub text: String,
}

/// All pages. The client's address must be among the request's extensions, as
/// [`axum::extract::ConnectInfo`].
pub fn router(web: Web) -> Router {
    let link = |kind: LinkKind| get(links::form).post(links::redeem).layer(Extension(kind));
    Router::new()
        .route("/", get(home::page))
        .route("/care", get(care::page))
        .route("/farms/{id}/sprays/{year}", get(sprays::page))
        .route("/blocks/{id}", get(years::block))
        .route("/blocks/{id}/seasons/{year}/report", get(report::page))
        .route("/blocks/{id}/seasons/{year}/job", get(job::page))
        .route("/blocks/{id}/seasons/{year}/sprays/{entry}/notice", get(notice::page))
        .route("/outcomes/{year}", get(years::outcomes))
        .route("/reference", get(reference::page))
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/forgotten", get(forgotten::form).post(forgotten::ask))
        .route("/confirm/{contact}/{mark}", get(confirm::form).post(confirm::confirm))
        .route("/mail/{message}/{mark}", get(mail::form).post(mail::act))
        .route("/mail/{message}/{mark}/stop", get(mail::form).post(mail::stop_at_once))
        .route("/claim/{secret}", link(LinkKind::Claim))
        .route("/invitation/{secret}", link(LinkKind::Invitation))
        .route("/reset/{secret}", link(LinkKind::Reset))
        .layer(from_fn(guard::own_pages_only))
        .layer(from_fn_with_state(web.clone(), guard::way_in))
        .layer(from_fn(guard::headers))
        .with_state(web)
}
