//! JSON over HTTP: parse, authorise, call, render.
//!
//! [`router`] gives everything that is served. Each subject has a module whose
//! handlers read the request with [`model::input`], so that all faults come at
//! once with a pointer to the field, make one call of the store, and render
//! what it gave. Each row is looked up for the caller alone: what they may not
//! see is answered as what is not there. Nothing is reckoned here: after a write seasons are stale, and
//! [`App::poke`] wakes the loops that reckon them.
//!
//! | under `/api/v1` | |
//! |---|---|
//! | `farms`, `farms/{id}` | GET, POST; GET, PATCH |
//! | `farms/{id}/people`, `…/{person}`, `farms/{id}/invitations` | GET; PUT, DELETE; POST |
//! | `me`, `me/tokens`, `me/tokens/{id}` | GET, PATCH; GET, POST; DELETE |
//! | `sites`, `sites/{id}` | GET, POST; GET |
//! | `sites/{id}/sources`, `…/{source}` | GET, POST; GET, PATCH |
//! | `sites/{id}/readings` | GET; POST of JSON or of a station's CSV file |
//! | `blocks`, `blocks/{id}` | GET, POST; GET, PATCH |
//! | `blocks/{id}/seasons`, `…/{year}` | GET |
//! | `blocks/{id}/seasons/{year}/plan` | GET, PUT |
//! | `blocks/{id}/seasons/{year}/log` | GET, POST |
//! | `blocks/{id}/seasons/{year}/timeline` | GET, JSON or CSV |
//! | `alerts`, `alerts/{id}`, `…/acknowledgement` | GET; GET; POST |
//! | `curves`, `curves/{id}` | GET, POST; GET |
//! | `materials`, `materials/{id}` | GET, POST; GET |
//!
//! Beside it `/healthz` and `/readyz`, the only paths that ask for no token.

mod alerts;
mod answer;
mod blocks;
mod catalogue;
mod csv_out;
mod curves;
mod desk;
mod envelope;
mod farms;
mod fields;
mod guard;
mod health;
mod limits;
mod log;
mod materials;
mod me;
mod people;
mod plans;
mod problem;
mod query;
mod readings;
mod request;
mod seasons;
mod sites;
mod sources;
mod timeline;
mod upload;

use std::sync::Arc;

use axum::Router;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{any, delete, get, post, put};
use model::catalogue::Catalogue;
use model::series::Kind;
use model::site::Place;
use model::time::Clock;
use store::Store;

use desk::Desk;

/// A provider of weather that sources may name. The API asks none: it only
/// registers what the loops then fetch.
#[derive(Debug, Clone, Copy)]
pub struct Provider {
    /// Short name, as sources give it.
    pub name: &'static str,
    /// What kind of observation its readings are.
    pub kind: Kind,
    /// Whom to credit, in the words that the provider asks for.
    pub attribution: &'static str,
    /// The provider's cell that a place is fetched in.
    pub cell: fn(&Place) -> String,
}

/// All that the API works with.
#[derive(Clone)]
pub struct App {
    /// The database.
    pub store: Store,
    /// Where `now` comes from.
    pub clock: Arc<dyn Clock>,
    /// The curves and materials that ship; those of the users are in the store.
    pub catalogue: Catalogue,
    /// The providers that a source may name.
    pub providers: Vec<Provider>,
    /// Called after each write that makes seasons stale or adds a feed, so that
    /// the loops look at once.
    pub poke: Arc<dyn Fn() + Send + Sync>,
    /// The program's version, for `/healthz`.
    pub version: &'static str,
}

/// Everything that is served.
pub fn router(app: App) -> Router {
    let desk = Arc::new(Desk::new(app));
    // Of several layers the last added sees a request first: the envelope
    // holds all, and under `/api/v1` nothing is reached past the guard, not
    // even the answer that a path is not there.
    let guarded = || from_fn_with_state(desk.clone(), guard::guard);
    // The bare prefix is no part of what is nested under it.
    let prefix = Router::new()
        .route("/api/v1", any(problem::no_such_path))
        .route("/api/v1/", any(problem::no_such_path));
    Router::new()
        .nest("/api/v1", v1().layer(guarded()))
        .merge(prefix.layer(guarded()))
        .route("/healthz", get(health::healthz))
        .route("/readyz", get(health::readyz))
        .fallback(problem::no_such_path)
        .layer(from_fn(request::plain_body_only))
        .layer(from_fn_with_state(desk.clone(), envelope::envelope))
        .with_state(desk)
}

fn v1() -> Router<Arc<Desk>> {
    Router::new()
        .route("/farms", get(farms::list).post(farms::add))
        .route("/farms/{id}", get(farms::one).patch(farms::change))
        .route("/farms/{id}/people", get(people::list))
        .route("/farms/{id}/people/{person}", put(people::change).delete(people::remove))
        .route("/farms/{id}/invitations", post(people::invite))
        .route("/me", get(me::one).patch(me::change))
        .route("/me/tokens", get(me::credentials).post(me::add))
        .route("/me/tokens/{id}", delete(me::revoke))
        .route("/sites", get(sites::list).post(sites::add))
        .route("/sites/{id}", get(sites::one))
        .route("/sites/{id}/sources", get(sources::list).post(sources::add))
        .route("/sites/{id}/sources/{source}", get(sources::one).patch(sources::change))
        .route("/sites/{id}/readings", get(readings::list).post(upload::take))
        .route("/blocks", get(blocks::list).post(blocks::add))
        .route("/blocks/{id}", get(blocks::one).patch(blocks::change))
        .route("/blocks/{id}/seasons", get(seasons::years))
        .route("/blocks/{id}/seasons/{year}", get(seasons::one))
        .route("/blocks/{id}/seasons/{year}/plan", get(plans::one).put(plans::set))
        .route("/blocks/{id}/seasons/{year}/log", get(log::list).post(log::append))
        .route("/blocks/{id}/seasons/{year}/timeline", get(timeline::timeline))
        .route("/alerts", get(alerts::list))
        .route("/alerts/{id}", get(alerts::one))
        .route("/alerts/{id}/acknowledgement", post(alerts::acknowledge))
        .route("/curves", get(curves::list).post(curves::add))
        .route("/curves/{id}", get(curves::one))
        .route("/materials", get(materials::list).post(materials::add))
        .route("/materials/{id}", get(materials::one))
        .fallback(problem::no_such_path)
}
