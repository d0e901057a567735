//! Pages for people: the few that links land on, and signing in and out.
//!
//! No page needs a script or anything from another host. Opening a page changes
//! nothing; what is sent from one must come from this server's own pages
//! ([`guard`]).

mod guard;
mod links;
mod pages;
mod sign_in;

use std::net::IpAddr;
use std::sync::Arc;

use access::password::Passwords;
use axum::Router;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{get, post};
use model::time::Clock;
use store::Store;

/// All that the pages work with.
#[derive(Clone)]
pub struct Web {
    /// The database.
    pub store: Store,
    /// Where `now` comes from.
    pub clock: Arc<dyn Clock>,
    /// Checks passwords.
    pub passwords: Passwords,
    /// Addresses of proxies in front, whose word on the client's address and
    /// on HTTPS is taken.
    pub trusted_proxies: Arc<[IpAddr]>,
}

/// All pages. The client's address must be among the request's extensions, as
/// [`axum::extract::ConnectInfo`].
pub fn router(web: Web) -> Router {
    Router::new()
        .route("/", get(sign_in::home))
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        .route("/claim/{secret}", get(links::claim_form).post(links::claim))
        .route("/invitation/{secret}", get(links::invitation_form).post(links::accept))
        .route("/reset/{secret}", get(links::reset_form).post(links::reset))
        .layer(from_fn(guard::own_pages_only))
        .layer(from_fn_with_state(web.clone(), guard::way_in))
        .layer(from_fn(guard::headers))
        .with_state(web)
}
