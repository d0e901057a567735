//! The fetch pass: cells that are due are leased, fetched and stored.

use std::sync::Arc;
use std::time::Duration;

use model::series::{Forecast, Reading};
use model::site::{GridCell, Place};
use model::time::{HOUR, Instant, MINUTE, zone};
use store::{LeasedCell, Site};
use tokio::task::JoinSet;
use weather::feeds::{CellAnswer, CellRequest, Feed, FeedError, Retry};

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

/// Leases what is due and starts a task for each provider's batch, so that one
/// that hangs holds up no other.
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
            let most = feed.as_ref().map_or(usize::MAX, |feed| feed.most_cells().max(1));
            for batch in same.chunks(most.min(same.len())) {
                let (engine, feed, batch) = (engine.clone(), feed.clone(), batch.to_vec());
                batches.spawn(async move { fetch(&engine, feed, &batch).await });
            }
        }
    }
}

async fn fetch(
    engine: &Engine,
    feed: Option<Arc<dyn Feed>>,
    batch: &[LeasedCell],
) -> Result<Report, PassError> {
    let now = engine.clock.now();
    let Some(feed) = feed else {
        return fail(engine, batch, UNKNOWN_PROVIDER, now.plus(UNTIL_CHANGED)).await;
    };
    let cells: Vec<Option<GridCell>> = batch
        .iter()
        .map(|leased| leased.sources.first().and_then(|(_, site)| place(site)).map(|place| place.grid_cell()))
        .collect();
    let requests: Vec<CellRequest> = cells.iter().flatten().map(request).collect();
    if requests.is_empty() {
        return fail(engine, batch, "no source is fed from this cell any more", now.plus(UNTIL_CHANGED))
            .await;
    }
    let answers = match tokio::time::timeout(LONGEST_FETCH, feed.fetch(&requests, now)).await {
        Ok(Ok(answers)) => answers,
        Ok(Err(error)) => return give_up(engine, batch, &error, now).await,
        Err(_) => return fail(engine, batch, "gave no answer in time", now.plus(LEASE)).await,
    };
    let mut report = Report::default();
    for leased in batch {
        let Some(answer) = answers.iter().find(|answer| answer.cell == leased.cell) else {
            let one = std::slice::from_ref(leased);
            report.failed += fail(engine, one, "the answer lacks this cell", now.plus(LEASE)).await?.failed;
            continue;
        };
        store(engine, leased, answer, now).await?;
        let next = now.plus(feed.interval());
        engine.store.finish_cell(&leased.provider, &leased.cell, leased.token, next, None, now).await?;
        report.fetched += 1;
    }
    Ok(report)
}

/// Stores what a cell gave for each source fed from it, corrected for the
/// height of its site.
async fn store(
    engine: &Engine,
    leased: &LeasedCell,
    answer: &CellAnswer,
    now: Instant,
) -> Result<(), PassError> {
    for (source, site) in &leased.sources {
        let shift = place(site).map_or(0.0, |place| place.correction_from(&place.grid_cell()));
        let shifted = |readings: &[Reading]| -> Vec<Reading> {
            readings.iter().map(|reading| Reading { celsius: reading.celsius + shift, ..*reading }).collect()
        };
        let forecast = answer
            .forecast
            .as_ref()
            .map(|forecast| Forecast { issued_at: forecast.issued_at, hours: shifted(&forecast.hours) });
        engine.store.store_fetch(&source.id, &shifted(&answer.readings), forecast.as_ref(), now).await?;
    }
    Ok(())
}

fn place(site: &Site) -> Option<Place> {
    Some(Place {
        latitude: site.latitude,
        longitude: site.longitude,
        elevation_m: site.elevation_m,
        zone: zone(&site.time_zone).ok()?,
    })
}

fn request(cell: &GridCell) -> CellRequest {
    CellRequest {
        cell: cell.key.clone(),
        latitude: cell.latitude,
        longitude: cell.longitude,
        elevation_m: cell.elevation_m,
        memory: None,
    }
}

async fn give_up(
    engine: &Engine,
    batch: &[LeasedCell],
    error: &FeedError,
    now: Instant,
) -> Result<Report, PassError> {
    let next = match error.retry {
        Retry::At(at) => at.max(now.plus(1)),
        Retry::Never => now.plus(UNTIL_CHANGED),
    };
    fail(engine, batch, &error.to_string(), next).await
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
        engine
            .store
            .finish_cell(&leased.provider, &leased.cell, leased.token, next, Some(cause), now)
            .await?;
    }
    Ok(Report { failed: batch.len() as u64, ..Report::default() })
}
