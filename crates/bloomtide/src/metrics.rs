//! `/metrics`: what those who watch the service read, in the OpenMetrics text
//! form, on a listener of its own.

use std::sync::Arc;

use axum::Router;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use model::time::Clock;
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::Registry;
use store::Store;

/// A request of the API is answered in a millisecond, a region in some tens, an
/// upload in seconds.
const SECONDS: [f64; 9] = [0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 10.0, 60.0];

const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Requests by what was asked and how it ended.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Asked {
    method: String,
    route: String,
    status: u16,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Of {
    route: String,
}

/// Counts of requests.
#[derive(Clone)]
pub(crate) struct Requests {
    asked: Family<Asked, Counter>,
    seconds: Family<Of, Histogram, fn() -> Histogram>,
}

impl Requests {
    /// Counts that are shown.
    pub(crate) fn register(registry: &mut Registry) -> Requests {
        let histogram: fn() -> Histogram = || Histogram::new(SECONDS);
        let requests =
            Requests { asked: Family::default(), seconds: Family::new_with_constructor(histogram) };
        registry.register("bloomtide_requests", "Requests answered", requests.asked.clone());
        registry.register("bloomtide_request_seconds", "How long answers took", requests.seconds.clone());
        requests
    }
}

/// Counts a request by its route, never by its address: that names farms.
pub(crate) async fn counted(State(requests): State<Requests>, request: Request, next: Next) -> Response {
    // Methods that HTTP does not know are one: whoever sends them makes no labels.
    let method = match request.method().as_str() {
        known @ ("GET" | "HEAD" | "POST" | "PUT" | "PATCH" | "DELETE" | "OPTIONS") => known.to_owned(),
        _ => "other".to_owned(),
    };
    let route = request.extensions().get::<MatchedPath>().map_or("none", |path| path.as_str()).to_owned();
    let begun = tokio::time::Instant::now();
    let response = next.run(request).await;
    requests.seconds.get_or_create(&Of { route: route.clone() }).observe(begun.elapsed().as_secs_f64());
    requests.asked.get_or_create(&Asked { method, route, status: response.status().as_u16() }).inc();
    response
}

struct Watched {
    registry: Registry,
    store: Store,
    clock: Arc<dyn Clock>,
}

/// What the listener serves.
pub(crate) fn router(mut registry: Registry, store: Store, clock: Arc<dyn Clock>) -> Router {
    let version = vec![("version".to_owned(), env!("CARGO_PKG_VERSION").to_owned())];
    registry.register("bloomtide_build", "The program", Info::new(version));
    Router::new().route("/metrics", get(show)).with_state(Arc::new(Watched { registry, store, clock }))
}

async fn show(State(watched): State<Arc<Watched>>) -> Response {
    let mut text = String::new();
    let written = encode(&mut text, &watched.registry);
    let mut now = Registry::default();
    watched.gauge(&mut now).await;
    // The end mark comes once, behind all of it.
    let text = text.trim_end_matches("# EOF\n").to_owned();
    let mut rest = String::new();
    if written.and_then(|()| encode(&mut rest, &now)).is_err() {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    }
    ([(header::CONTENT_TYPE, OPEN_METRICS)], text + &rest).into_response()
}

impl Watched {
    /// What the database tells of this moment; that it does not answer is told too.
    async fn gauge(&self, registry: &mut Registry) {
        let mut set = |name: &str, help: &str, value: i64| {
            let gauge: Gauge = Gauge::default();
            gauge.set(value);
            registry.register(name, help, gauge);
        };
        let now = self.clock.now();
        let (figures, oldest) = tokio::join!(self.store.figures(now), self.store.oldest_unsent());
        let up = figures.is_ok() && oldest.is_ok();
        set("bloomtide_database_up", "1 when the database answers", i64::from(up));
        let (Ok(figures), Ok(oldest)) = (figures, oldest) else { return };
        let whole = |number: u64| i64::try_from(number).unwrap_or(i64::MAX);
        set("bloomtide_farms", "Farms that are not closed", whole(figures.farms));
        set("bloomtide_blocks", "Blocks that are not archived", whole(figures.blocks));
        set("bloomtide_seasons", "Seasons of all years", whole(figures.seasons));
        set("bloomtide_alerts", "Alerts of all years", whole(figures.alerts));
        set("bloomtide_mail_unsent", "Mails that wait to go out", whole(figures.unsent));
        set("bloomtide_mail_failed", "Mails that were given up", whole(figures.failed));
        set(
            "bloomtide_mail_oldest_unsent_seconds",
            "How long the oldest mail has waited; 0 when none does",
            oldest.map_or(0, |at| now.since(at).max(0)),
        );
        set(
            "bloomtide_mail_journals_unread",
            "Journals that must be read before mail goes out, after a restore",
            whole(figures.unread_journals),
        );
        set(
            "bloomtide_blind_sites",
            "Sites with a running leg of which nothing is heard",
            whole(figures.blind_sites),
        );
        set("bloomtide_stuck_jobs", "Fetches and sends that are hours late", whole(figures.stuck));
        set("bloomtide_feed_cells", "Cells that feeds are fetched for", whole(figures.cells));
        set("bloomtide_feed_cells_failing", "Cells whose latest fetch failed", whole(figures.cells_failing));
        if let Some(at) = figures.oldest_fetch {
            let help = "Since when the cell that was fetched well longest ago has waited";
            set("bloomtide_feed_oldest_fetch_seconds", help, now.since(at).max(0));
        }
    }
}
