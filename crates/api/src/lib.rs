//! JSON over HTTP: parse, authorise, call, render.
//!
//! [`router`] gives everything that is served. Each subject has a module whose
//! handlers read the request with [`model::input`], so that all faults come at
//! once with a pointer to the field, make one call of the store, and render
//! what it gave. Each row is looked up for the caller alone: what they may not
//! see is answered as what is not there. Nothing is reckoned here: after a write seasons are stale, and
//! [`App::poke`] wakes the loops that reckon them.
//!
//! What stands under `/api/v1` is said once, beside each handler, and from there
//! come the routes and their [`document`]: a route that is not in the document
//! cannot be added.
//!
//! Beside it stand `/healthz`, `/readyz`, and farms' calendars at their secret
//! addresses: the only paths that ask for no token.

mod alerts;
mod answer;
mod audit;
mod blocks;
mod board;
mod calendars;
mod catalogue;
mod changes;
mod comparison;
mod conditional;
mod confirmations;
mod contacts;
mod csv_out;
mod cultivars;
mod curve_fits;
mod curves;
mod desk;
mod document;
mod envelope;
mod export;
mod farms;
mod fields;
mod forecasts;
mod geo;
mod ground;
mod guard;
mod health;
mod hindcasts;
mod hook_deliveries;
mod hooks;
mod import;
mod kept;
mod lenders;
mod limits;
mod log;
mod many;
mod materials;
mod me;
mod mixing;
mod mutes;
mod news;
mod odds;
mod once;
mod outcomes;
mod people;
mod plans;
mod problem;
mod query;
mod quota;
mod readings;
mod request;
mod rounds;
mod seasons;
mod shapes;
mod sheets;
mod sight;
mod sites;
mod slot_limits;
mod slots;
mod sources;
mod sprays;
mod stand;
mod timeline;
mod upload;
mod verdict_table;
mod verification;
mod waiting;

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use access::Caller;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{any, get};
use axum::{Extension, Router};
use model::catalogue::Catalogue;
use model::series::Kind;
use model::site::Place;
use model::time::Clock;
use store::Store;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use weather::checks::Thresholds;

pub use document::{document, operations};
pub use ground::field_log;
pub use news::{BlockNews, News, NewsLine, brief};
pub use problem::WITH_A_TOKEN;
pub use rounds::{ABOUT as ABOUT_ROUNDS, Planned};
pub use sight::air::{Air, AirSource, Doubted};
pub use sight::{
    Amiss, Answered, Asked, Came, NotAdded, SeasonSeen, Sight, Undone, Unplanned, Unseen, View, tag_of,
};
pub use slots::Looked;
pub use sprays::{Facts, Kept, kept};

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
    /// What may be asked of it, of all instances together: seconds of a window and
    /// the most in it.
    pub limits: &'static [(i64, u64)],
    /// The provider's cell that a place is fetched in.
    pub cell: fn(&Place) -> String,
}

/// Whether an address may be called, with the reason where not.
pub type Callable = dyn Fn(&str) -> Result<(), String> + Send + Sync;

/// All that the API works with.
#[derive(Clone)]
pub struct App {
    /// Whether the database was looked through and found sound; until then the
    /// server is not ready.
    pub sound: Arc<AtomicBool>,
    /// The database.
    pub store: Store,
    /// Where `now` comes from.
    pub clock: Arc<dyn Clock>,
    /// The curves and materials that ship; those of the users are in the store.
    pub catalogue: Catalogue,
    /// What readings are checked by.
    pub thresholds: Arc<Thresholds>,
    /// The providers that a source may name.
    pub providers: Vec<Provider>,
    /// Called after each write that makes seasons stale or adds a feed, so that
    /// the loop it concerns looks at once.
    pub poke: Arc<dyn Fn(Stirred) + Send + Sync>,
    /// Whether hooks may call an address, with the reason where not. Names are not
    /// looked up: what one stands for is judged when it is called.
    pub callable: Arc<Callable>,
    /// Requests that one token may make a minute; 0 for no limit.
    pub requests_a_minute: u32,
    /// The program's version, for `/healthz`.
    pub version: &'static str,
}

/// What a write has given the loops to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stirred {
    /// Seasons are stale.
    Seasons,
    /// A feed was added.
    Feeds,
    /// A call of a hook waits.
    Deliveries,
}

/// Everything that is served.
pub fn router(app: App) -> Router {
    let desk = Arc::new(Desk::new(app));
    // Of several layers the last added sees a request first: the envelope
    // holds all, and under `/api/v1` nothing is reached past the guard, not
    // even the answer that a path is not there.
    let guarded = || from_fn_with_state(desk.clone(), guard::guard);
    let once = from_fn_with_state(desk.clone(), once::once);
    // The bare prefix is no part of what is nested under it.
    let prefix = Router::new()
        .route("/api/v1", any(problem::no_such_path))
        .route("/api/v1/", any(problem::no_such_path));
    let v1 = v1().split_for_parts().0.fallback(problem::no_such_path);
    let v1 = v1.layer(once).layer(from_fn(conditional::tagged)).layer(guarded());
    Router::new()
        .nest("/api/v1", v1)
        .route("/api/v1/openapi.json", get(document::served))
        .merge(prefix.layer(guarded()))
        .route("/calendar/{file}", get(calendars::feed).layer(from_fn(conditional::tagged)))
        .route("/healthz", get(health::healthz))
        .route("/readyz", get(health::readyz))
        .fallback(problem::no_such_path)
        .layer(from_fn(request::plain_body_only))
        .layer(from_fn_with_state(desk.clone(), envelope::envelope))
        .with_state(desk)
}

/// The same for whoever sits at the server, who is asked for no token: what they
/// do is noted as done on the command line. It is called, never served.
pub fn at_the_server(app: App) -> Router {
    let desk = Arc::new(Desk::new(app));
    let v1 = v1().split_for_parts().0.fallback(problem::no_such_path);
    let v1 = v1.layer(from_fn(conditional::tagged)).layer(Extension(Caller::at_the_server()));
    Router::new()
        .nest("/api/v1", v1)
        .layer(from_fn_with_state(desk.clone(), envelope::envelope))
        .with_state(desk)
}

/// Everything under `/api/v1` that asks for a token, with its document.
fn v1() -> OpenApiRouter<Arc<Desk>> {
    OpenApiRouter::new()
        .routes(routes!(farms::list, farms::add))
        .routes(routes!(farms::one, farms::change))
        .routes(routes!(farms::close, farms::open_again))
        .routes(routes!(export::farm))
        .routes(routes!(import::import))
        .routes(routes!(audit::of_farm))
        .routes(routes!(contacts::list, contacts::add))
        .routes(routes!(contacts::one, contacts::change, contacts::remove))
        .routes(routes!(contacts::ask))
        .routes(routes!(mutes::list, mutes::mute))
        .routes(routes!(mutes::unmute))
        .routes(routes!(confirmations::list, confirmations::confirm))
        .routes(routes!(confirmations::one, confirmations::take_back))
        .routes(routes!(calendars::list, calendars::make))
        .routes(routes!(calendars::one, calendars::revoke))
        .routes(routes!(sprays::list))
        .routes(routes!(verdict_table::one, verdict_table::set, verdict_table::remove))
        .routes(routes!(slot_limits::one, slot_limits::set, slot_limits::remove))
        .routes(routes!(rounds::plan))
        .routes(routes!(hindcasts::one))
        .routes(routes!(verification::one))
        .routes(routes!(odds::one))
        .routes(routes!(slots::of_season))
        .routes(routes!(audit::whole))
        .routes(routes!(people::list))
        .routes(routes!(people::one, people::change, people::remove))
        .routes(routes!(people::invitations, people::invite))
        .routes(routes!(people::invitation, people::take_back))
        .routes(routes!(me::one, me::change, me::remove))
        .routes(routes!(export::person))
        .routes(routes!(me::credentials, me::add))
        .routes(routes!(me::credential, me::revoke))
        .routes(routes!(sites::list, sites::add))
        .routes(routes!(sites::one))
        .routes(routes!(stand::standing))
        .routes(routes!(sources::list, sources::add))
        .routes(routes!(sources::one, sources::change))
        .routes(routes!(forecasts::list))
        .routes(routes!(readings::list, upload::take))
        .routes(routes!(blocks::list, blocks::add))
        .routes(routes!(blocks::one, blocks::change))
        .routes(routes!(blocks::archive, blocks::take_up_again))
        .routes(routes!(blocks::whereabouts, blocks::move_to_site))
        .routes(routes!(seasons::years))
        .routes(routes!(seasons::one))
        .routes(routes!(plans::one, plans::set))
        .routes(routes!(plans::versions))
        .routes(routes!(plans::open))
        .routes(routes!(log::list, log::append))
        .routes(routes!(timeline::timeline))
        .routes(routes!(comparison::compare))
        .routes(routes!(sheets::of_spray))
        .routes(routes!(sheets::sheet))
        .routes(routes!(board::board))
        .routes(routes!(outcomes::of_block))
        .routes(routes!(outcomes::of_year))
        .routes(routes!(waiting::waiting))
        .routes(routes!(news::news))
        .routes(routes!(many::plans))
        .routes(routes!(many::notes))
        .routes(routes!(changes::list))
        .routes(routes!(alerts::list))
        .routes(routes!(alerts::one))
        .routes(routes!(alerts::acknowledge))
        .routes(routes!(hooks::list, hooks::add))
        .routes(routes!(hooks::one, hooks::change, hooks::remove))
        .routes(routes!(hooks::rotate))
        .routes(routes!(hook_deliveries::list))
        .routes(routes!(hook_deliveries::try_out))
        .routes(routes!(hook_deliveries::one))
        .routes(routes!(hook_deliveries::replay))
        .routes(routes!(curves::list, curves::add))
        .routes(routes!(curves::one))
        .routes(routes!(materials::list, materials::add))
        .routes(routes!(materials::one))
        .routes(routes!(cultivars::list))
        .routes(routes!(cultivars::one))
        .routes(routes!(mixing::mix))
        .routes(routes!(curve_fits::fit))
}
