//! How a site's sources stand: whether what they say is fresh, checked and on its
//! way.

use axum::extract::Path;
use model::series::Flag;
use model::time::{DAY, Instant};
use serde::Serialize;
use store::{Cell, ProviderState, SourceState};
use utoipa::ToSchema;

use crate::answer::{Answer, whole};
use crate::desk::{Here, Visit};
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// Flags are counted over so long.
const FLAGS_OVER: i64 = 7 * DAY;

/// How a source stands.
#[derive(Serialize, ToSchema)]
pub(crate) struct SourceStands {
    source: String,
    name: String,
    /// `feed`, `file` or `hand`.
    way: &'static str,
    /// When its last reading ends.
    #[schema(value_type = Option<Moment>)]
    last_reading_at: Option<Instant>,
    /// Seconds since then.
    age_seconds: Option<i64>,
    /// When that reading was received.
    #[schema(value_type = Option<Moment>)]
    received_at: Option<Instant>,
    /// Readings of the last seven days by what checking them gave.
    flags: Vec<FlagCount>,
    /// How fetching it stands; of a feed.
    #[schema(nullable = true)]
    feed: Option<FeedStands>,
}

/// How many readings have a flag.
#[derive(Serialize, ToSchema)]
pub(crate) struct FlagCount {
    /// `pass`, `not-evaluated`, `suspect`, `fail` or `missing`.
    #[schema(value_type = String)]
    flag: Flag,
    readings: u64,
    /// Share of all of those days, 0 to 1.
    share: f64,
}

/// How a feed's cell and its provider stand.
#[derive(Serialize, ToSchema)]
pub(crate) struct FeedStands {
    provider: String,
    cell: String,
    #[schema(value_type = Option<Moment>)]
    last_fetch_at: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    next_fetch_at: Option<Instant>,
    /// Why the last fetch gave nothing.
    last_error: Option<String>,
    /// Whom to credit.
    attribution: Option<&'static str>,
    /// Fetches of the provider that failed in a row, of all cells.
    failures: u32,
    /// Until when the provider is left alone.
    #[schema(value_type = Option<Moment>)]
    left_alone_until: Option<Instant>,
    /// What may still be asked of the provider.
    budget: Vec<Budget>,
}

/// What may be asked of a provider within a stretch of time.
#[derive(Serialize, ToSchema)]
pub(crate) struct Budget {
    window_seconds: i64,
    most: u64,
    left: u64,
}

/// How each source of a site stands, the most trusted first.
#[utoipa::path(get, path = "/sites/{id}/standing", tag = "sites", operation_id = "read-standing",
    params(("id" = String, Path)), responses((status = 200, body = Page<SourceStands>)))]
pub(crate) async fn standing(Here(desk): Here, Path(site): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let site = desk.site(&site).await?;
    let now = desk.now();
    let states = desk.store.source_states(&site.id, now.plus(-FLAGS_OVER)).await?;
    // Neither has anything of a farm's.
    let (cells, providers) = (desk.house_store.cells().await?, desk.house_store.providers().await?);
    whole(states.iter().map(|state| desk.stands(state, &cells, &providers, now)).collect())
}

impl Visit {
    fn stands(
        &self,
        state: &SourceState,
        cells: &[Cell],
        providers: &[ProviderState],
        now: Instant,
    ) -> SourceStands {
        let source = &state.source;
        let all: u64 = state.flags.iter().map(|(_, readings)| readings).sum();
        let share = |readings: u64| readings as f64 / all.max(1) as f64;
        let flags = state.flags.iter();
        SourceStands {
            source: source.id.clone(),
            name: source.name.clone(),
            way: source.way.word(),
            last_reading_at: state.last_at,
            age_seconds: state.last_at.map(|at| now.since(at)),
            received_at: state.received_at,
            flags: flags
                .map(|(flag, readings)| FlagCount {
                    flag: *flag,
                    readings: *readings,
                    share: share(*readings),
                })
                .collect(),
            feed: source.provider.as_ref().map(|provider| {
                let cell = cells
                    .iter()
                    .find(|cell| &cell.provider == provider && Some(&cell.cell) == source.cell.as_ref());
                let known = providers.iter().find(|state| &state.name == provider);
                FeedStands {
                    provider: provider.clone(),
                    cell: source.cell.clone().unwrap_or_default(),
                    last_fetch_at: cell.and_then(|cell| cell.last_ok_at),
                    next_fetch_at: cell.map(|cell| cell.next_at),
                    last_error: cell.and_then(|cell| cell.last_error.clone()),
                    attribution: self.attribution(source),
                    failures: known.map_or(0, |known| known.failures),
                    left_alone_until: known.and_then(|known| known.open_until).filter(|until| *until > now),
                    budget: self.budget(provider, known, now),
                }
            }),
        }
    }

    fn budget(&self, provider: &str, known: Option<&ProviderState>, now: Instant) -> Vec<Budget> {
        let limits = self.provider(provider).map_or(&[][..], |provider| provider.limits);
        let used = |seconds: i64| {
            let spent = known.and_then(|known| known.spent.iter().find(|spent| spent.0 == seconds));
            spent.filter(|(_, begin, _)| begin.plus(seconds) > now).map_or(0, |(_, _, used)| *used)
        };
        let budget = |(seconds, most): &(i64, u64)| Budget {
            window_seconds: *seconds,
            most: *most,
            left: most.saturating_sub(used(*seconds)),
        };
        limits.iter().map(budget).collect()
    }
}
