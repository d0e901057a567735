//! Pages for people: those that links land on, signing in and out, and what is
//! read and printed: farms, blocks, seasons, spray records and sheets.
//!
//! No page needs a script or has anything from another host. Opening a page changes
//! nothing; what is sent from one must come from this server's own pages
//! ([`guard`]).

mod alerts;
mod assets;
mod audit;
mod author;
mod board;
mod care;
mod confirm;
mod contacts;
mod curves;
mod entries;
mod farm;
mod fields;
mod forgotten;
mod guard;
mod home;
mod job;
mod kept;
mod links;
mod mail;
mod materials;
mod me;
mod notice;
mod nowhere;
mod pages;
mod people;
mod reference;
mod report;
mod round;
mod routes;
mod said;
mod season;
mod set_up;
mod sign_in;
mod site;
mod sprayed;
mod sprays;
mod springs;
mod tables;
mod today;
mod verification;
mod visit;
mod wall;
mod words;
mod write;
mod years;

use std::net::IpAddr;
use std::sync::Arc;

use access::password::Passwords;
use axum::extract::DefaultBodyLimit;
use axum::handler::Handler;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::{Extension, Router};
use model::time::Clock;
use store::{LinkKind, Seal, Store};

pub use crate::nowhere::nowhere;
use crate::routes::Routes;

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
    /// Where alerts and other mail go.
    pub mail_way: MailWay,
}

/// Where mail goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MailWay {
    /// To a mail server.
    Server,
    /// Into a folder of that name on the server's disk, and to nobody.
    Folder(String),
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

/// What is read and what is sent. A path stands in one line for each of the two.
fn routes() -> Routes {
    let form = |kind: LinkKind| links::form.layer(Extension(kind));
    let redeem = |kind: LinkKind| links::redeem.layer(Extension(kind));
    Routes::default()
        .kept("/", home::page)
        .file("/assets/{version}/{name}", assets::one)
        .file("/worker.js", assets::worker)
        .file("/manifest.webmanifest", assets::manifest)
        .kept("/today", today::page)
        .kept("/log", write::page)
        .post("/log", write::post)
        .post("/entries", entries::take)
        .get("/care", care::page)
        .kept("/farms/{id}/sprays/{year}", sprays::page)
        .kept("/blocks/{id}", years::block)
        .kept("/blocks/{id}/seasons/{year}/report", report::page)
        .kept("/blocks/{id}/seasons/{year}/job", job::page)
        .kept("/blocks/{id}/seasons/{year}/sprays/{entry}/notice", notice::page)
        .kept("/outcomes/{year}", years::outcomes)
        .kept("/board", board::page)
        .kept("/board/map", board::map::page)
        .kept("/farms/{id}/round", round::form)
        .post("/farms/{id}/round", round::plan)
        .kept("/blocks/{id}/seasons/{year}", season::page)
        .kept("/blocks/{id}/seasons/{year}/slots", season::slots::page)
        .get("/reference", reference::page)
        .kept("/farms/{id}", farm::page)
        .kept("/farms/{id}/verification", verification::page)
        .kept("/farms/{id}/materials", materials::page)
        .post("/farms/{id}/materials", materials::confirm)
        .post("/farms/{id}/materials/{confirmation}/taken-back", materials::take_back)
        .kept("/farms/{id}/people", people::page)
        .post("/farms/{id}/people", people::invite)
        .post("/farms/{id}/people/{person}/role", people::change)
        .post("/farms/{id}/people/{person}/end", people::end)
        .post("/farms/{id}/invitations/{invitation}/taken-back", people::take_back)
        .kept("/farms/{id}/audit", audit::page)
        .kept("/farms/{id}/contacts", contacts::page)
        .post("/farms/{id}/contacts", contacts::add)
        .kept("/farms/{id}/contacts/{contact}", contacts::change::page)
        .post("/farms/{id}/contacts/{contact}", contacts::change::save)
        .post("/farms/{id}/contacts/{contact}/hears", contacts::change::hear)
        .post("/farms/{id}/contacts/{contact}/removed", contacts::remove)
        .post("/farms/{id}/contacts/{contact}/asked", contacts::ask)
        .kept("/farms/{id}/alerts", alerts::page)
        .post("/farms/{id}/alerts/{alert}/noted", alerts::note)
        .kept("/curves", curves::list)
        .kept("/curves/{id}", curves::one)
        .kept("/me", me::page)
        .post("/me", me::rename)
        .post("/me/tokens", me::make_token)
        .post("/me/tokens/{id}/revoked", me::revoke)
        .post("/me/removed", me::remove)
        .file("/me/export", me::export)
        .kept("/sites/{id}", site::page)
        .kept("/sites/{id}/springs", springs::page)
        .get("/sign-in", sign_in::form)
        .post("/sign-in", sign_in::sign_in)
        .post("/sign-out", sign_in::sign_out)
        .get("/forgotten", forgotten::form)
        .post("/forgotten", forgotten::ask)
        .get("/confirm/{contact}/{mark}", confirm::form)
        .post("/confirm/{contact}/{mark}", confirm::confirm)
        .get("/mail/{message}/{mark}", mail::form)
        .post("/mail/{message}/{mark}", mail::act)
        .get("/mail/{message}/{mark}/stop", mail::form)
        .post("/mail/{message}/{mark}/stop", mail::stop_at_once)
        .get("/claim/{secret}", form(LinkKind::Claim))
        .post("/claim/{secret}", redeem(LinkKind::Claim))
        .get("/invitation/{secret}", form(LinkKind::Invitation))
        .post("/invitation/{secret}", redeem(LinkKind::Invitation))
        .get("/reset/{secret}", form(LinkKind::Reset))
        .post("/reset/{secret}", redeem(LinkKind::Reset))
        .kept("/begin", set_up::begin::page)
        .kept("/farms/new", set_up::farm::new)
        .post("/farms/new", set_up::farm::add)
        .kept("/farms/{id}/change", set_up::farm::change)
        .post("/farms/{id}/change", set_up::farm::save)
        .kept("/farms/{id}/sites/new", set_up::site::new)
        .post("/farms/{id}/sites/new", set_up::site::add)
        .file("/map.svg", set_up::map::picture)
        .post("/sites/{id}/sources", set_up::feed::add)
        .kept("/sites/{id}/feed-test", set_up::feed::page)
        .post("/sites/{id}/feed-test", set_up::feed::ask)
        .kept("/mail-test", set_up::mail::page)
        .post("/mail-test", set_up::mail::send)
        .kept("/farms/{id}/blocks/new", set_up::block::new)
        .post("/farms/{id}/blocks/new", set_up::block::add)
        .kept("/blocks/{id}/change", set_up::block::change)
        .post("/blocks/{id}/change", set_up::block::save)
        .kept("/blocks/{id}/site", set_up::block::place::page)
        .post("/blocks/{id}/site", set_up::block::place::save)
        .post("/blocks/{id}/archived", set_up::block::archive)
        .post("/blocks/{id}/taken-up", set_up::block::take_up)
        .kept("/farms/{id}/calendars", set_up::calendars::page)
        .post("/farms/{id}/calendars", set_up::calendars::make)
        .post("/farms/{id}/calendars/{calendar}/revoked", set_up::calendars::revoke)
        .kept("/farms/{id}/note", set_up::together::note)
        .post("/farms/{id}/note", set_up::together::write)
        .kept("/farms/{id}/plans", set_up::together::plans)
        .post("/farms/{id}/plans", set_up::together::change)
        .kept("/farms/{id}/slot-limits", set_up::limits::page)
        .post("/farms/{id}/slot-limits", set_up::limits::save)
        .post("/farms/{id}/slot-limits/shipped", set_up::limits::shipped)
        .post("/farms/{id}/closed", set_up::farm::close)
        .post("/farms/{id}/opened", set_up::farm::open_again)
        .post("/blocks/{id}/seasons/{year}/opened", set_up::plan::open)
        .kept("/blocks/{id}/seasons/{year}/plan", set_up::plan::page)
        .post("/blocks/{id}/seasons/{year}/plan", set_up::plan::save)
        .kept("/farms/{id}/blocks/import", set_up::many::page)
        .post(
            "/farms/{id}/blocks/import",
            set_up::many::take.layer(DefaultBodyLimit::max(set_up::import::MOST_SENT)),
        )
        .kept("/sites/{id}/readings", set_up::readings::page)
        .post("/sites/{id}/readings", set_up::readings::take)
        .kept("/sites/{id}/import", set_up::import::page)
        .post(
            "/sites/{id}/import",
            set_up::import::take.layer(DefaultBodyLimit::max(set_up::import::MOST_SENT)),
        )
}

/// Paths of all that is read, with their parameters in braces: a list for whoever
/// looks at every page.
pub fn pages() -> Vec<&'static str> {
    routes().into_read()
}

/// All pages. The client's address must be among the request's extensions, as
/// [`axum::extract::ConnectInfo`].
pub fn router(web: Web) -> Router {
    routes()
        .into_router()
        .layer(from_fn(guard::own_pages_only))
        .layer(from_fn_with_state(web.clone(), guard::way_in))
        .layer(from_fn(guard::headers))
        .layer(from_fn(kept::packed))
        .with_state(web)
}
