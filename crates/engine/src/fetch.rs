//! The fetch pass: cells that are due are leased, fetched and stored.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::time::Duration;

use model::series::{Forecast, Reading};
use model::site::{GridCell, Place};
use model::time::{DAY, HOUR, Instant, MINUTE, zone};
use store::{Brought, Fetched, LeasedCell, Members, Site, trial};
use tokio::task::JoinSet;
use weather::feeds::{Cause, CellAnswer, CellRequest, Feed, FeedError, Retry};

use crate::{Engine, PassError};

/// A cell is leased for so long; a fetch is given up before.
const LEASE: i64 = 5 * MINUTE;

/// No fetch may hold its lease longer than this, whatever the feed's own
/// timeouts are.
const LONGEST_FETCH: Duration = Duration::from_secs(4 * 60);

/// Cells leased in one step.
const AT_ONCE: u32 = 200;

/// A provider that will not answer however often it is asked is asked again
/// after this, in case someone changed a setting.
const UNTIL_CHANGED: i64 = 6 * HOUR;

/// Cells that wait for one moment are spread over so long.
const RUSH: i64 = MINUTE;
/// A fetch comes up to this part of its interval late.
const JITTER: i64 = 20;

/// How long a provider is left alone after failures in a row, seconds: a hiccup
/// is none, an outage is asked every ten minutes, then less and less.
const PAUSES: &[i64] = &[0, 0, 10 * MINUTE, 20 * MINUTE, 40 * MINUTE, 90 * MINUTE, 3 * HOUR, 6 * HOUR];
/// The same of one that turns all requests away.
const BARRED: &[i64] = &[HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, DAY];

/// A provider that hangs.
const LATE: &str = "gave no answer in time";

/// A provider that no feed of this program speaks to.
const UNKNOWN_PROVIDER: &str = "no feed of this provider is set up here";

/// What came of one batch of cells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Report {
    /// Cells fetched and stored.
    pub fetched: u64,
    /// Cells that gave nothing this time.
    pub failed: u64,
}

/// Fetches all that is due and waits for it.
///
/// # Errors
/// When the database fails.
pub async fn pass(engine: &Engine) -> Result<Report, PassError> {
    let mut batches = JoinSet::new();
    start(engine, &mut batches).await?;
    let mut report = Report::default();
    while let Some(done) = batches.join_next().await {
        let done = done??;
        report.fetched += done.fetched;
        report.failed += done.failed;
    }
    Ok(report)
}

/// Leases what is due and starts a task for each provider, so that one that hangs
/// holds up no other; each is asked one thing after another.
pub(crate) async fn start(
    engine: &Engine,
    batches: &mut JoinSet<Result<Report, PassError>>,
) -> Result<(), PassError> {
    loop {
        let now = engine.clock.now();
        let mut leased = engine.store.lease_cells(now, now.plus(LEASE), AT_ONCE).await?;
        if leased.is_empty() {
            return Ok(());
        }
        leased.sort_by(|a, b| a.provider.cmp(&b.provider));
        for same in leased.chunk_by(|a, b| a.provider == b.provider) {
            let feed = engine.feeds.iter().find(|feed| feed.provider() == same[0].provider).cloned();
            let (engine, cells) = (engine.clone(), same.to_vec());
            batches.spawn(async move { one_after_another(&engine, feed, &cells, now).await });
        }
    }
}

/// Fetches a provider's cells, batch by batch, while their lease lasts and the
/// provider is not to be left alone; the rest is put off.
async fn one_after_another(
    engine: &Engine,
    feed: Option<Arc<dyn Feed>>,
    cells: &[LeasedCell],
    begun: Instant,
) -> Result<Report, PassError> {
    let most = feed.as_ref().map_or(usize::MAX, |feed| feed.most_cells().max(1));
    let mut report = Report::default();
    let mut wait: Option<Instant> = None;
    let mut well = false;
    for batch in cells.chunks(most.min(cells.len())) {
        let now = engine.clock.now();
        if wait.is_none() && now.since(begun) > LEASE - MINUTE {
            wait = Some(now);
        }
        if let Some(until) = wait {
            put_off(engine, batch, until, now).await?;
            continue;
        }
        let (done, until) = fetch(engine, feed.clone(), batch, &mut well).await?;
        report.fetched += done.fetched;
        report.failed += done.failed;
        wait = until;
    }
    Ok(report)
}

/// Ends leases of cells that were not asked for.
async fn put_off(
    engine: &Engine,
    batch: &[LeasedCell],
    until: Instant,
    now: Instant,
) -> Result<(), PassError> {
    for leased in batch {
        let next = until.plus(spread(leased, now, RUSH));
        engine.store.put_off_cell(&leased.provider, &leased.cell, leased.token, next).await?;
    }
    Ok(())
}

/// What came of a batch, and until when the provider is to be left alone.
type Done = (Report, Option<Instant>);

/// Fetches one batch. `well` says whether it was noted already that the provider
/// answers: once in a pass is enough, as long as nothing fails.
async fn fetch(
    engine: &Engine,
    feed: Option<Arc<dyn Feed>>,
    batch: &[LeasedCell],
    well: &mut bool,
) -> Result<Done, PassError> {
    let now = engine.clock.now();
    let Some(feed) = feed else {
        return Ok((fail(engine, batch, UNKNOWN_PROVIDER, now.plus(UNTIL_CHANGED)).await?, None));
    };
    let cells: Vec<Option<GridCell>> = batch
        .iter()
        .map(|leased| leased.sources.first().and_then(|(_, site)| place(site)).map(|place| place.grid_cell()))
        .collect();
    let memories = batch.iter().map(|leased| &leased.memory);
    let asked = cells.iter().zip(memories).filter_map(|(cell, memory)| Some((cell.as_ref()?, memory)));
    let requests: Vec<CellRequest> = asked.map(request).collect();
    if requests.is_empty() {
        let cause = "no source is fed from this cell any more";
        return Ok((fail(engine, batch, cause, now.plus(UNTIL_CHANGED)).await?, None));
    }
    let provider = feed.provider();
    let cost = feed.cost(&requests, now);
    if let Some(free_at) = engine.store.spend(provider, cost, feed.limits(), now).await? {
        tracing::info!(provider, cells = batch.len(), until = %free_at, "put off: the budget is spent");
        put_off(engine, batch, free_at, now).await?;
        return Ok((Report::default(), Some(free_at)));
    }
    trial::point(trial::FETCH);
    let answers = match tokio::time::timeout(LONGEST_FETCH, feed.fetch(&requests, now)).await {
        Ok(Ok(answers)) => answers,
        Ok(Err(error)) => {
            *well = false;
            return give_up(engine, batch, &error, now).await;
        }
        Err(_) => {
            *well = false;
            let until = engine.store.provider_failed(provider, LATE, PAUSES, now).await?;
            return Ok((fail(engine, batch, LATE, now.plus(LEASE)).await?, until));
        }
    };
    trial::point(trial::PARSE);
    if !*well {
        engine.store.provider_well(provider, now).await?;
        *well = true;
    }
    let mut report = Report::default();
    for leased in batch {
        let Some(answer) = answers.iter().find(|answer| answer.cell == leased.cell) else {
            let one = std::slice::from_ref(leased);
            report.failed += fail(engine, one, "the answer lacks this cell", now.plus(LEASE)).await?.failed;
            continue;
        };
        if let Some(given_at) = answer.given_at {
            engine.awake.heard(provider, now.since(given_at));
        }
        store(engine, leased, answer, now).await?;
        if let Some(lacks) = &answer.lacks {
            tracing::warn!(provider, cell = %leased.cell, lacks, "fetched, but not all of it");
        }
        let next = next_fetch(leased, feed.interval(), now).max(answer.not_before.unwrap_or(now));
        let fetched = Fetched { next_at: next, error: None, memory: answer.memory.as_deref() };
        engine.store.finish_cell(&leased.provider, &leased.cell, leased.token, fetched, now).await?;
        report.fetched += 1;
    }
    Ok((report, None))
}

/// Stores what a cell gave for each source fed from it, corrected for the
/// height of its site.
async fn store(
    engine: &Engine,
    leased: &LeasedCell,
    answer: &CellAnswer,
    now: Instant,
) -> Result<(), PassError> {
    let brought = leased.sources.iter().map(|(source, site)| {
        let shift = place(site).map_or(0.0, |place| place.correction_from(&place.grid_cell()));
        let shifted = |readings: &[Reading]| -> Vec<Reading> {
            readings.iter().map(|reading| Reading { celsius: reading.celsius + shift, ..*reading }).collect()
        };
        let forecast = answer.forecast.as_ref();
        let members = answer.members.as_ref();
        Brought {
            source_id: &source.id,
            readings: shifted(&answer.readings),
            forecast: forecast
                .map(|forecast| Forecast { issued_at: forecast.issued_at, hours: shifted(&forecast.hours) }),
            members: members.map(|members| Members {
                issued_at: now,
                hours: members.iter().map(|hours| shifted(hours)).collect(),
            }),
            air: &answer.air,
        }
    });
    let brought: Vec<Brought<'_>> = brought.collect();
    engine.store.store_cell(&brought, now).await?;
    trial::point(trial::STORED);
    Ok(())
}

/// When a cell is fetched again: once in each interval, at a moment of its own in
/// it, so that neither all cells nor all installations come at once, and a little
/// off that each time.
fn next_fetch(leased: &LeasedCell, interval: i64, now: Instant) -> Instant {
    let phase = hashed(leased, 0) % interval;
    let begin = now.0.div_euclid(interval) * interval + phase;
    // The next such moment that is at least half an interval away.
    let next = (0..3).map(|n| begin + n * interval).find(|at| *at >= now.0 + interval / 2);
    Instant(next.unwrap_or(now.0 + interval)).plus(spread(leased, now, interval / JITTER))
}

/// Seconds under `within`, by the cell and the moment.
fn spread(leased: &LeasedCell, now: Instant, within: i64) -> i64 {
    hashed(leased, now.0) % within.max(1)
}

fn hashed(leased: &LeasedCell, salt: i64) -> i64 {
    let mut hasher = DefaultHasher::new();
    (&leased.provider, &leased.cell, salt).hash(&mut hasher);
    (hasher.finish() >> 1) as i64
}

/// Where a site lies; none when its zone is not known here.
pub fn place(site: &Site) -> Option<Place> {
    Some(Place {
        latitude: site.latitude,
        longitude: site.longitude,
        elevation_m: site.elevation_m,
        zone: zone(&site.time_zone).ok()?,
    })
}

fn request((cell, memory): (&GridCell, &Option<String>)) -> CellRequest {
    CellRequest {
        cell: cell.key.clone(),
        latitude: cell.latitude,
        longitude: cell.longitude,
        elevation_m: cell.elevation_m,
        memory: memory.clone(),
    }
}

async fn give_up(
    engine: &Engine,
    batch: &[LeasedCell],
    error: &FeedError,
    now: Instant,
) -> Result<Done, PassError> {
    let next = match error.retry {
        Retry::At(at) => at.max(now.plus(1)),
        Retry::Never => now.plus(UNTIL_CHANGED),
    };
    let pauses = match &error.cause {
        // Turned away as a whole: each further request makes it worse.
        Cause::Refused { status: 401 | 403, .. } => BARRED,
        // What is wrong with one place, or with how often it was asked, says
        // nothing of the others.
        Cause::Refused { .. } | Cause::Request(_) | Cause::TooOften(_) => &[],
        _ => PAUSES,
    };
    let mut until = None;
    if !pauses.is_empty() {
        until = engine.store.provider_failed(error.provider, &error.to_string(), pauses, now).await?;
        if let Some(until) = until {
            tracing::warn!(provider = error.provider, %until, "left alone");
        }
    } else if let Cause::TooOften(_) = error.cause {
        until = Some(next);
    }
    Ok((fail(engine, batch, &error.to_string(), next).await?, until))
}

async fn fail(
    engine: &Engine,
    batch: &[LeasedCell],
    cause: &str,
    next: Instant,
) -> Result<Report, PassError> {
    let now = engine.clock.now();
    for leased in batch {
        tracing::warn!(provider = %leased.provider, cell = %leased.cell, cause, next_try = %next, "nothing fetched");
        // Those that failed together do not come back together.
        let fetched =
            Fetched { next_at: next.plus(spread(leased, now, RUSH)), error: Some(cause), memory: None };
        engine.store.finish_cell(&leased.provider, &leased.cell, leased.token, fetched, now).await?;
    }
    Ok(Report { failed: batch.len() as u64, ..Report::default() })
}
