//! How a site's sources stand: whether what they say is fresh, checked and on its
//! way.

use std::collections::HashMap;

use axum::extract::Path;
use model::series::{Flag, Reading};
use model::time::{DAY, Instant};
use serde::Serialize;
use store::{Cell, ProviderState, SourceState, TakenFile, Way};
use utoipa::ToSchema;
use weather::checks::{self, Findings};

use crate::answer::{Answer, whole};
use crate::desk::{Here, Visit};
use crate::query::Query;
use crate::readings::BySource;
use crate::shapes::{Moment, Page};

/// Flags are counted over so long.
const FLAGS_OVER: i64 = 7 * DAY;

/// Files of a source that are shown.
const FILES: usize = 20;

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
    /// The hours of the last seven days by what checking their readings gave; the
    /// worst of an hour counts.
    flags: Vec<FlagHours>,
    /// The newest of what checking found in them, in words.
    last_found: Option<String>,
    /// How much warmer, K, the site's most trusted source was on average over the
    /// last seven days; by so much its gaps are corrected.
    first_is_warmer_by: Option<f64>,
    /// Its files in the watched folder, by name; those that were read most recently,
    /// at most 20.
    files: Vec<FileStands>,
    /// How fetching it stands; of a feed.
    #[schema(nullable = true)]
    feed: Option<FeedStands>,
}

/// How a file in the watched folder stands.
#[derive(Serialize, ToSchema)]
pub(crate) struct FileStands {
    name: String,
    bytes: u64,
    /// When it was first seen as it is.
    #[schema(value_type = Moment)]
    seen_at: Instant,
    /// When it was read; null while it was not yet at rest.
    #[schema(value_type = Option<Moment>)]
    read_at: Option<Instant>,
    /// Readings that were new or corrected others.
    stored: u64,
    /// Why nothing was taken from it.
    fault: Option<String>,
}

/// How many hours have a flag.
#[derive(Serialize, ToSchema)]
pub(crate) struct FlagHours {
    /// `pass`, `not-evaluated`, `suspect`, `fail` or `missing`.
    #[schema(value_type = String)]
    flag: Flag,
    hours: u64,
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
    let states = desk.store.source_states(&site.id).await?;
    let from = now.plus(-FLAGS_OVER - checks::BEFORE);
    let (sources, found) = desk.checked(desk.store.readings(&site.id, from, now).await?).await?;
    // Neither has anything of a farm's.
    let (cells, providers) = (desk.house_store.cells().await?, desk.house_store.providers().await?);
    let mut files = HashMap::new();
    for state in states.iter().filter(|state| state.source.way == Way::File) {
        files.insert(state.source.id.clone(), desk.store.taken_files(&state.source.id).await?);
    }
    let seen = Seen { cells, providers, sources, found, files, now };
    whole(states.iter().map(|state| desk.stands(state, &seen)).collect())
}

/// What is known of a site's sources.
struct Seen {
    cells: Vec<Cell>,
    providers: Vec<ProviderState>,
    /// Each source with its checked readings, the most trusted first.
    sources: BySource,
    found: Findings,
    /// Those of the watched folder, by source.
    files: HashMap<String, Vec<TakenFile>>,
    now: Instant,
}

impl Seen {
    /// The source's place and readings.
    fn readings(&self, id: &str) -> Option<(usize, &[Reading])> {
        let place = self.sources.iter().position(|(source, _)| source.id == id)?;
        Some((place, &self.sources[place].1))
    }

    /// Hours by flag.
    fn flags(&self, id: &str) -> Vec<FlagHours> {
        let readings = self.readings(id).map_or(&[][..], |(_, readings)| readings);
        let hours = checks::hours_by_flag(readings, self.now.plus(-FLAGS_OVER), self.now);
        let all: u64 = hours.iter().map(|(_, hours)| hours).sum();
        let share = |hours: u64| hours as f64 / all.max(1) as f64;
        hours.into_iter().map(|(flag, hours)| FlagHours { flag, hours, share: share(hours) }).collect()
    }

    fn files(&self, id: &str) -> Vec<FileStands> {
        let mut files: Vec<&TakenFile> = self.files.get(id).into_iter().flatten().collect();
        files.sort_by_key(|file| std::cmp::Reverse(file.taken_at));
        files.truncate(FILES);
        files.sort_by(|a, b| a.name.cmp(&b.name));
        let shown = |file: &TakenFile| FileStands {
            name: file.name.clone(),
            bytes: file.size,
            seen_at: file.seen_at,
            read_at: file.taken_at,
            stored: file.stored,
            fault: file.fault.clone(),
        };
        files.into_iter().map(shown).collect()
    }

    fn last_found(&self, id: &str) -> Option<String> {
        let (place, readings) = self.readings(id)?;
        let since = self.now.plus(-FLAGS_OVER);
        readings.iter().rev().take_while(|reading| reading.at > since).find_map(|reading| {
            let fault = self.found.faults(place, reading.at).first()?;
            let (at, check, celsius) = (reading.at, fault.check.word(), reading.celsius);
            Some(format!("{celsius:.1} °C at {at}, {check}: {}", fault.detail))
        })
    }

    fn first_is_warmer_by(&self, id: &str) -> Option<f64> {
        let (_, readings) = self.readings(id)?;
        let (source, first) = self.sources.iter().find(|(_, readings)| !readings.is_empty())?;
        if source.id == id {
            return None;
        }
        model::series::difference(std::slice::from_ref(first), readings, self.now)
    }
}

impl Visit {
    fn stands(&self, state: &SourceState, seen: &Seen) -> SourceStands {
        let (source, now) = (&state.source, seen.now);
        SourceStands {
            source: source.id.clone(),
            name: source.name.clone(),
            way: source.way.word(),
            last_reading_at: state.last_at,
            age_seconds: state.last_at.map(|at| now.since(at)),
            received_at: state.received_at,
            flags: seen.flags(&source.id),
            last_found: seen.last_found(&source.id),
            first_is_warmer_by: seen.first_is_warmer_by(&source.id),
            files: seen.files(&source.id),
            feed: source.provider.as_ref().map(|provider| {
                let cell = seen
                    .cells
                    .iter()
                    .find(|cell| &cell.provider == provider && Some(&cell.cell) == source.cell.as_ref());
                let known = seen.providers.iter().find(|state| &state.name == provider);
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
