//! Readings: stored once, corrected with what was there before kept.

use std::borrow::Cow;

use model::series::Reading;
use model::time::Instant;
use serde_json::{Value, json};
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, blocks, dialect, feeds, sites, sources};
use crate::error::missing;
use crate::read::{self, ReadingColumns, columns, weather_version};
use crate::rows::{Earlier, SiteWeather, Source, Upload};
use crate::{READINGS_A_STATEMENT, Result, StoreError};

pub(crate) async fn store_readings(
    db: &Pools,
    source_id: &str,
    readings: &[Reading],
    received_at: Instant,
) -> Result<Upload> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Source(source_id)).await?;
    let (source, site_id) = lock_source(&mut tx, source_id).await?;
    let upload = put(&mut tx, source, readings, received_at).await?;
    if upload.stored + upload.corrected > 0 {
        sites::raise(&mut tx, &site_id).await?;
        let note = Note::new(Of::Site(&site_id), "readings stored", "site", &site_id);
        notes::note(&mut tx, db, note.with(told(source_id, upload))).await?;
        tx.commit().await?;
    }
    Ok(upload)
}

/// An upload as it is noted.
pub(super) fn told(source_id: &str, upload: Upload) -> Value {
    json!({"source": source_id, "stored": upload.stored, "corrected": upload.corrected})
}

/// Keeps other uploads to the source waiting until this one is done; gives the
/// source's number and site.
pub(super) async fn lock_source(connection: &mut Connection, source_id: &str) -> Result<(i64, String)> {
    QueryBuilder::<Db>::new("SELECT number, site_id FROM source WHERE id = ")
        .push_bind(source_id)
        .push(dialect::LOCK)
        .build_query_as()
        .fetch_optional(connection)
        .await?
        .ok_or_else(|| missing("source", source_id))
}

/// Stores readings of a source that is locked, named by its number.
pub(super) async fn put(
    connection: &mut Connection,
    source: i64,
    readings: &[Reading],
    received_at: Instant,
) -> Result<Upload> {
    let mut upload = Upload::default();
    for chunk in in_order(readings)?.chunks(READINGS_A_STATEMENT) {
        let held = held(connection, source, chunk).await?;
        let mut fresh = Vec::with_capacity(chunk.len());
        let mut corrections = Vec::new();
        let mut held = held.into_iter().peekable();
        for reading in chunk {
            match held.next_if(|held| held.reading.at == reading.at) {
                None => fresh.push(reading),
                Some(held) if held.reading.says_the_same(reading) => upload.unchanged += 1,
                Some(held) => corrections.push((held, reading)),
            }
        }
        insert(connection, source, &fresh, received_at).await?;
        correct(connection, source, &corrections, received_at).await?;
        upload.stored += fresh.len() as u64;
        upload.corrected += corrections.len() as u64;
    }
    Ok(upload)
}

/// Readings by time, one for each, the last given holding.
fn in_order(readings: &[Reading]) -> Result<Cow<'_, [Reading]>> {
    if let Some(bad) = readings.iter().find(|reading| !reading.celsius.is_finite()) {
        return Err(StoreError::Refused(format!(
            "the reading at {} has no finite temperature; leave it out",
            bad.at
        )));
    }
    if readings.is_sorted_by(|a, b| a.at < b.at) {
        return Ok(Cow::Borrowed(readings));
    }
    let mut sorted = readings.to_vec();
    sorted.sort_by_key(|reading| reading.at);
    sorted.dedup_by(|later, earlier| {
        let twice = later.at == earlier.at;
        if twice {
            *earlier = *later;
        }
        twice
    });
    Ok(Cow::Owned(sorted))
}

/// Temperature as it is stored: SQLite keeps no negative zero.
fn stored(celsius: f64) -> f64 {
    celsius + 0.0
}

/// A reading as it stands before an upload.
struct Held {
    reading: Reading,
    received_at: i64,
    revision: i64,
}

/// What the source has at the times of `chunk`, in order of time.
async fn held(connection: &mut Connection, source: i64, chunk: &[Reading]) -> Result<Vec<Held>> {
    let (Some(first), Some(last)) = (chunk.first(), chunk.last()) else {
        return Ok(Vec::new());
    };
    let any: Option<i64> =
        sqlx::query_scalar("SELECT at FROM reading WHERE source = $1 AND at >= $2 AND at <= $3 LIMIT 1")
            .bind(source)
            .bind(first.at.0)
            .bind(last.at.0)
            .fetch_optional(&mut *connection)
            .await?;
    if any.is_none() {
        return Ok(Vec::new());
    }
    let mut query = QueryBuilder::<Db>::new(concat!(
        "SELECT ",
        columns!(reading),
        ", received_at, revision FROM reading WHERE source = "
    ));
    query.push_bind(source).push(" AND at IN (");
    let mut times = query.separated(", ");
    for reading in chunk {
        times.push_bind(reading.at.0);
    }
    query.push(") ORDER BY at");
    let rows: Vec<(i64, i64, f64, i64, i64, i64)> =
        query.build_query_as().persistent(false).fetch_all(connection).await?;
    rows.into_iter()
        .map(|(at, span, celsius, flag, received_at, revision)| {
            let reading = read::reading((at, span, celsius, flag))?;
            Ok(Held { reading, received_at, revision })
        })
        .collect()
}

const INTO_READING: &str = "INSERT INTO reading (source, at, span, celsius, flag, received_at, revision) ";

async fn insert(
    connection: &mut Connection,
    source: i64,
    fresh: &[&Reading],
    received_at: Instant,
) -> Result<()> {
    if fresh.is_empty() {
        return Ok(());
    }
    let mut query = QueryBuilder::<Db>::new(INTO_READING);
    query.push_values(fresh, |mut row, reading| {
        row.push_bind(source)
            .push_bind(reading.at.0)
            .push_bind(reading.span)
            .push_bind(stored(reading.celsius))
            .push_bind(reading.flag as i64)
            .push_bind(received_at.0)
            .push("0");
    });
    // Full statements are all alike and worth keeping prepared.
    let full = fresh.len() == READINGS_A_STATEMENT;
    query.build().persistent(full).execute(connection).await?;
    Ok(())
}

async fn correct(
    connection: &mut Connection,
    source: i64,
    corrections: &[(Held, &Reading)],
    received_at: Instant,
) -> Result<()> {
    if corrections.is_empty() {
        return Ok(());
    }
    let mut query = QueryBuilder::<Db>::new(
        "INSERT INTO earlier_reading (source, at, revision, span, celsius, flag, received_at, \
         replaced_at) ",
    );
    query.push_values(corrections, |mut row, (held, _)| {
        row.push_bind(source)
            .push_bind(held.reading.at.0)
            .push_bind(held.revision)
            .push_bind(held.reading.span)
            .push_bind(held.reading.celsius)
            .push_bind(held.reading.flag as i64)
            .push_bind(held.received_at)
            .push_bind(received_at.0);
    });
    query.build().persistent(false).execute(&mut *connection).await?;

    let mut query = QueryBuilder::<Db>::new(INTO_READING);
    query.push_values(corrections, |mut row, (held, reading)| {
        row.push_bind(source)
            .push_bind(reading.at.0)
            .push_bind(reading.span)
            .push_bind(stored(reading.celsius))
            .push_bind(reading.flag as i64)
            .push_bind(received_at.0)
            .push_bind(held.revision + 1);
    });
    query.push(
        " ON CONFLICT (source, at) DO UPDATE SET span = excluded.span, \
         celsius = excluded.celsius, flag = excluded.flag, \
         received_at = excluded.received_at, revision = excluded.revision",
    );
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

pub(crate) async fn readings(
    db: &Pools,
    site_id: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<(Source, Vec<Reading>)>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(Vec::new());
    }
    by_source(&mut tx, site_id, from, to).await
}

async fn by_source(
    connection: &mut Connection,
    site_id: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<(Source, Vec<Reading>)>> {
    let mut all = Vec::new();
    for source in sources::by_trust(connection, site_id).await? {
        let rows: Vec<ReadingColumns> = sqlx::query_as(concat!(
            "SELECT ",
            columns!(reading),
            " FROM reading WHERE source = (SELECT number FROM source WHERE id = $1) \
             AND at >= $2 AND at <= $3 ORDER BY at"
        ))
        .bind(&source.id)
        .bind(from.0)
        .bind(to.0)
        .fetch_all(&mut *connection)
        .await?;
        let readings = rows.into_iter().map(read::reading).collect::<Result<_>>()?;
        all.push((source, readings));
    }
    Ok(all)
}

pub(crate) async fn readings_page(
    db: &Pools,
    site_id: &str,
    from: Instant,
    to: Instant,
    after: Option<(Instant, &str)>,
    limit: u32,
) -> Result<Vec<(String, Reading)>> {
    // No id is smaller than the empty one, so this is the place before all.
    let (at, source_id) = after.unwrap_or((from, ""));
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<(String, i64, i64, f64, i64)> = sqlx::query_as(concat!(
        "SELECT source.id, ",
        columns!(reading),
        " FROM source JOIN reading ON reading.source = source.number \
         WHERE source.site_id = $1 AND reading.at >= $2 AND reading.at <= $3 \
         AND (reading.at, source.id) > ($4, $5) \
         ORDER BY reading.at, source.id LIMIT $6"
    ))
    .bind(site_id)
    .bind(from.0.max(at.0))
    .bind(to.0)
    .bind(at.0)
    .bind(source_id)
    .bind(i64::from(limit))
    .fetch_all(&mut *tx)
    .await?;
    rows.into_iter()
        .map(|(source_id, at, span, celsius, flag)| {
            Ok((source_id, read::reading((at, span, celsius, flag))?))
        })
        .collect()
}

pub(crate) async fn earlier_readings(
    db: &Pools,
    source_id: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<Earlier>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Source(source_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, i64, f64, i64, i64, i64)> = sqlx::query_as(
        "SELECT at, span, celsius, flag, received_at, replaced_at FROM earlier_reading \
         WHERE source = (SELECT number FROM source WHERE id = $1) AND at >= $2 AND at <= $3 ORDER BY at, revision",
    )
    .bind(source_id)
    .bind(from.0)
    .bind(to.0)
    .fetch_all(&mut *tx)
    .await?;
    rows.into_iter()
        .map(|(at, span, celsius, flag, received_at, replaced_at)| {
            Ok(Earlier {
                reading: read::reading((at, span, celsius, flag))?,
                received_at: Instant(received_at),
                replaced_at: Instant(replaced_at),
            })
        })
        .collect()
}

pub(crate) async fn site_weather(
    db: &Pools,
    site_id: &str,
    from: Instant,
    to: Instant,
) -> Result<SiteWeather> {
    let mut tx = db.begin_read().await?;
    wall::must_see(&mut tx, db, Of::Site(site_id)).await?;
    let sources = by_source(&mut tx, site_id, from, to).await?;
    of_site(&mut tx, site_id, sources).await
}

async fn of_site(
    connection: &mut Connection,
    site_id: &str,
    sources: Vec<(Source, Vec<Reading>)>,
) -> Result<SiteWeather> {
    let site = sites::find(connection, site_id).await?.ok_or_else(|| missing("site", site_id))?;
    let forecast = feeds::newest_forecast(connection, site_id).await?.map(|(_, forecast)| forecast);
    Ok(SiteWeather { version: site.version, site, sources, forecast })
}

pub(crate) async fn block_weather(
    db: &Pools,
    block_id: &str,
    from: Instant,
    to: Instant,
) -> Result<SiteWeather> {
    let mut tx = db.begin_read().await?;
    wall::must_see(&mut tx, db, Of::Block(block_id)).await?;
    let (site_id, version): (String, i64) = sqlx::query_as(concat!(
        "SELECT block.site_id, ",
        weather_version!(),
        " FROM block JOIN site ON site.id = block.site_id WHERE block.id = $1"
    ))
    .bind(block_id)
    .fetch_optional(&mut *tx)
    .await?
    .ok_or_else(|| missing("block", block_id))?;
    let mut parts = Vec::new();
    let mut begin = from;
    for stay in blocks::stays(&mut tx, block_id).await? {
        parts.push((stay.site_id, begin, to.min(stay.until.plus(-1))));
        begin = begin.max(stay.until);
    }
    parts.push((site_id.clone(), begin, to));
    let mut sources: Vec<(Source, Vec<Reading>)> = Vec::new();
    // The present site first: its sources are those that people know.
    for (site_id, from, to) in parts.into_iter().rev() {
        for (source, readings) in by_source(&mut tx, &site_id, from, to).await? {
            match sources.iter_mut().find(|(known, _)| known.id == source.id) {
                // It came back to a site: that stay lies before this one.
                Some((_, known)) => {
                    known.splice(0..0, readings);
                }
                None => sources.push((source, readings)),
            }
        }
    }
    Ok(SiteWeather { version, ..of_site(&mut tx, &site_id, sources).await? })
}
