//! What feeds bring, and who fetches which cell.

use std::collections::BTreeSet;

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::Instant;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect, load, readings, sites, sources};
use crate::read::{self, SourceColumns, columns};
use crate::rows::{Brought, Cell, Fetched, Issue, LeasedCell, Members, Site, Source, Upload};
use crate::{Result, hours, trial};

/// Rows of air that one insert carries, eight values each.
const AIR_A_STATEMENT: usize = 1_000;

pub(crate) async fn store_fetch(
    db: &Pools,
    source_id: &str,
    readings: &[Reading],
    forecast: Option<&Forecast>,
    fetched_at: Instant,
) -> Result<Upload> {
    let brought =
        Brought { readings: readings.to_vec(), forecast: forecast.cloned(), ..Brought::of(source_id) };
    store_cell(db, &[brought], fetched_at).await
}

pub(crate) async fn store_cell(db: &Pools, brought: &[Brought<'_>], fetched_at: Instant) -> Result<Upload> {
    let mut tx = db.begin_write().await?;
    let mut all = Upload::default();
    let mut changed = BTreeSet::new();
    for one in brought {
        wall::pass(&mut tx, db, Of::Source(one.source_id)).await?;
        let (number, site_id) = readings::lock_source(&mut tx, one.source_id).await?;
        let upload = readings::put(&mut tx, number, &one.readings, fetched_at).await?;
        let foretold = match &one.forecast {
            Some(forecast) => put_forecast(&mut tx, one.source_id, forecast, fetched_at).await?,
            None => false,
        };
        if let Some(members) = &one.members {
            put_members(&mut tx, one.source_id, members, fetched_at).await?;
        }
        put_air(&mut tx, number, one.air, fetched_at).await?;
        if foretold || upload.stored + upload.corrected > 0 {
            let note = Note::new(Of::Site(&site_id), "readings stored", "site", &site_id);
            notes::note(&mut tx, db, note.with(readings::told(one.source_id, upload))).await?;
            changed.insert(site_id);
        }
        all.stored += upload.stored;
        all.unchanged += upload.unchanged;
        all.corrected += upload.corrected;
    }
    // In order of id: the sites of another cell may be these in another order.
    for site_id in changed {
        sites::raise(&mut tx, &site_id).await?;
    }
    trial::point(trial::STORE);
    tx.commit().await?;
    Ok(all)
}

/// Keeps a forecast as it was issued; gives whether another one now holds. One
/// that says the same as the newest under the same issue is kept once.
async fn put_forecast(
    connection: &mut Connection,
    source_id: &str,
    forecast: &Forecast,
    fetched_at: Instant,
) -> Result<bool> {
    let before = newest_hours(connection, source_id).await?;
    let hours = hours::of(&forecast.hours);
    if before.as_ref() == Some(&(forecast.issued_at.0, hours.clone())) {
        return Ok(false);
    }
    sqlx::query(
        "INSERT INTO forecast (source_id, issued_at, fetched_at, hours) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (source_id, issued_at, fetched_at) DO UPDATE SET hours = excluded.hours",
    )
    .bind(source_id)
    .bind(forecast.issued_at.0)
    .bind(fetched_at.0)
    .bind(hours)
    .execute(&mut *connection)
    .await?;
    let after = newest_hours(connection, source_id).await?;
    Ok(after.map(|(_, hours)| hours) != before.map(|(_, hours)| hours))
}

async fn newest_hours(connection: &mut Connection, source_id: &str) -> Result<Option<(i64, String)>> {
    Ok(sqlx::query_as(
        "SELECT issued_at, hours FROM forecast WHERE source_id = $1 \
         ORDER BY issued_at DESC, fetched_at DESC LIMIT 1",
    )
    .bind(source_id)
    .fetch_optional(connection)
    .await?)
}

pub(crate) async fn latest_forecast(db: &Pools, site_id: &str) -> Result<Option<(String, Forecast)>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(None);
    }
    newest_forecast(&mut tx, site_id).await
}

pub(super) async fn newest_forecast(
    connection: &mut Connection,
    site_id: &str,
) -> Result<Option<(String, Forecast)>> {
    // One step down the key for each source: there are thousands of issues.
    for source in sources::by_trust(connection, site_id).await? {
        if let Some((issued_at, hours)) = newest_hours(connection, &source.id).await? {
            let forecast = Forecast { issued_at: Instant(issued_at), hours: hours::read(&hours)? };
            return Ok(Some((source.id, forecast)));
        }
    }
    Ok(None)
}

pub(crate) async fn issues(
    db: &Pools,
    source_id: &str,
    from: Instant,
    to: Instant,
    after: Option<(Instant, Instant)>,
    limit: u32,
) -> Result<Vec<Issue>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Source(source_id)).await? {
        return Ok(Vec::new());
    }
    let (issued, fetched) = after.unwrap_or((Instant::MIN, Instant::MIN));
    let rows: Vec<(i64, i64, String)> = sqlx::query_as(
        "SELECT issued_at, fetched_at, hours FROM forecast WHERE source_id = $1 \
         AND issued_at >= $2 AND issued_at <= $3 AND (issued_at, fetched_at) > ($4, $5) \
         ORDER BY issued_at, fetched_at LIMIT $6",
    )
    .bind(source_id)
    .bind(from.0)
    .bind(to.0)
    .bind(issued.0)
    .bind(fetched.0)
    .bind(i64::from(limit))
    .fetch_all(&mut *tx)
    .await?;
    let issue = |(issued_at, fetched_at, hours): (i64, i64, String)| {
        let forecast = Forecast { issued_at: Instant(issued_at), hours: hours::read(&hours)? };
        Ok(Issue { fetched_at: Instant(fetched_at), forecast })
    };
    rows.into_iter().map(issue).collect()
}

pub(crate) async fn forecasts_every(
    db: &Pools,
    source_id: &str,
    from: Instant,
    to: Instant,
    every: i64,
) -> Result<Vec<Forecast>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Source(source_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "SELECT issued_at, hours FROM forecast WHERE source_id = $1 AND (issued_at, fetched_at) IN \
         (SELECT issued_at, min(fetched_at) FROM forecast WHERE source_id = $1 AND issued_at IN \
         (SELECT min(issued_at) FROM forecast WHERE source_id = $1 AND issued_at >= $2 AND issued_at <= $3 \
         GROUP BY issued_at / $4) GROUP BY issued_at) ORDER BY issued_at",
    )
    .bind(source_id)
    .bind(from.0)
    .bind(to.0)
    .bind(every)
    .fetch_all(&mut *tx)
    .await?;
    let forecast = |(issued_at, hours): (i64, String)| {
        Ok(Forecast { issued_at: Instant(issued_at), hours: hours::read(&hours)? })
    };
    rows.into_iter().map(forecast).collect()
}

pub(crate) async fn store_members(
    db: &Pools,
    source_id: &str,
    members: &Members,
    fetched_at: Instant,
) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Source(source_id)).await?;
    readings::lock_source(&mut tx, source_id).await?;
    put_members(&mut tx, source_id, members, fetched_at).await?;
    tx.commit().await?;
    Ok(())
}

async fn put_members(
    connection: &mut Connection,
    source_id: &str,
    members: &Members,
    fetched_at: Instant,
) -> Result<()> {
    sqlx::query(
        "INSERT INTO members (source_id, issued_at, fetched_at, hours) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (source_id, issued_at) DO UPDATE SET fetched_at = excluded.fetched_at, hours = excluded.hours",
    )
    .bind(source_id)
    .bind(members.issued_at.0)
    .bind(fetched_at.0)
    .bind(hours::of_members(&members.hours))
    .execute(connection)
    .await?;
    Ok(())
}

pub(crate) async fn latest_members(db: &Pools, site_id: &str) -> Result<Option<(String, Members)>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(None);
    }
    for source in sources::by_trust(&mut tx, site_id).await? {
        let row: Option<(i64, String)> = sqlx::query_as(
            "SELECT issued_at, hours FROM members WHERE source_id = $1 ORDER BY issued_at DESC LIMIT 1",
        )
        .bind(&source.id)
        .fetch_optional(&mut *tx)
        .await?;
        if let Some((issued_at, hours)) = row {
            let members = Members { issued_at: Instant(issued_at), hours: hours::read_members(&hours)? };
            return Ok(Some((source.id, members)));
        }
    }
    Ok(None)
}

pub(crate) async fn store_air(db: &Pools, source_id: &str, air: &[Air], received_at: Instant) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Source(source_id)).await?;
    let (number, _) = readings::lock_source(&mut tx, source_id).await?;
    let written = put_air(&mut tx, number, air, received_at).await?;
    tx.commit().await?;
    Ok(written)
}

async fn put_air(connection: &mut Connection, number: i64, air: &[Air], received_at: Instant) -> Result<u64> {
    let told: Vec<&Air> = air.iter().filter(|air| air.tells()).collect();
    let mut written = 0;
    for chunk in told.chunks(AIR_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO air (source, at, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c, received_at) ",
        );
        query.push_values(chunk, |mut row, air| {
            row.push_bind(number)
                .push_bind(air.at.0)
                .push_bind(air.wind_m_s)
                .push_bind(air.gust_m_s)
                .push_bind(air.rain_mm)
                .push_bind(air.humidity_percent)
                .push_bind(air.dew_point_c)
                .push_bind(received_at.0);
        });
        // What a later answer does not tell any more stays as it was told.
        query.push(
            " ON CONFLICT (source, at) DO UPDATE SET wind_m_s = coalesce(excluded.wind_m_s, air.wind_m_s), \
             gust_m_s = coalesce(excluded.gust_m_s, air.gust_m_s), rain_mm = coalesce(excluded.rain_mm, air.rain_mm), \
             humidity_percent = coalesce(excluded.humidity_percent, air.humidity_percent), \
             dew_point_c = coalesce(excluded.dew_point_c, air.dew_point_c), received_at = excluded.received_at",
        );
        written += query.build().persistent(false).execute(&mut *connection).await?.rows_affected();
    }
    Ok(written)
}

pub(crate) async fn air(
    db: &Pools,
    site_id: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<(String, Vec<Air>)>> {
    type Columns = (i64, Option<f64>, Option<f64>, Option<f64>, Option<f64>, Option<f64>);
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(Vec::new());
    }
    let mut all = Vec::new();
    for source in sources::by_trust(&mut tx, site_id).await? {
        let rows: Vec<Columns> = sqlx::query_as(
            "SELECT at, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c FROM air \
             WHERE source = (SELECT number FROM source WHERE id = $1) AND at >= $2 AND at <= $3 ORDER BY at",
        )
        .bind(&source.id)
        .bind(from.0)
        .bind(to.0)
        .fetch_all(&mut *tx)
        .await?;
        let air = rows.into_iter().map(|(at, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c)| {
            Air { at: Instant(at), wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c }
        });
        let air: Vec<Air> = air.collect();
        if !air.is_empty() {
            all.push((source.id, air));
        }
    }
    Ok(all)
}

pub(crate) async fn lease_cells(
    db: &Pools,
    now: Instant,
    lease_until: Instant,
    limit: u32,
) -> Result<Vec<LeasedCell>> {
    let mut tx = db.begin_write().await?;
    let mut due: Vec<Due> = due_of(
        &mut tx,
        " AND NOT EXISTS (SELECT 1 FROM provider WHERE provider.name = cell.provider AND provider.open_until IS NOT NULL)",
        now,
        limit,
    )
    .await?;
    // A provider that was left alone is tried with one cell, by one instance.
    let tried: Vec<String> =
        sqlx::query_scalar("SELECT name FROM provider WHERE open_until <= $1 ORDER BY name")
            .bind(now.0)
            .fetch_all(&mut *tx)
            .await?;
    for provider in tried {
        let at_work: i64 =
            sqlx::query_scalar("SELECT count(*) FROM cell WHERE provider = $1 AND lease_until > $2")
                .bind(&provider)
                .bind(now.0)
                .fetch_one(&mut *tx)
                .await?;
        if at_work == 0 {
            due.extend(due_at(&mut tx, &provider, now).await?);
        }
    }
    let mut leased = Vec::with_capacity(due.len());
    for (provider, cell, token, memory) in due {
        let token = token + 1;
        sqlx::query("UPDATE cell SET token = $3, lease_until = $4 WHERE provider = $1 AND cell = $2")
            .bind(&provider)
            .bind(&cell)
            .bind(token)
            .bind(lease_until.0)
            .execute(&mut *tx)
            .await?;
        let sources = fed_from(&mut tx, &provider, &cell).await?;
        leased.push(LeasedCell { provider, cell, token, memory, sources });
    }
    tx.commit().await?;
    Ok(leased)
}

/// Provider, cell, token, memory.
type Due = (String, String, i64, Option<String>);

const DUE: &str = "SELECT provider, cell, token, memory FROM cell WHERE next_at <= ";

/// The cells that are due and leased to nobody, the longest due first.
async fn due_of(connection: &mut Connection, only: &str, now: Instant, limit: u32) -> Result<Vec<Due>> {
    let mut query = QueryBuilder::<Db>::new(DUE);
    query
        .push_bind(now.0)
        .push(" AND (lease_until IS NULL OR lease_until <= ")
        .push_bind(now.0)
        .push(")")
        .push(only)
        .push(" ORDER BY next_at, provider, cell LIMIT ")
        .push_bind(i64::from(limit))
        .push(dialect::LOCK_OR_SKIP);
    Ok(query.build_query_as().fetch_all(connection).await?)
}

/// The one of a provider that is due the longest.
async fn due_at(connection: &mut Connection, provider: &str, now: Instant) -> Result<Option<Due>> {
    let mut query = QueryBuilder::<Db>::new(DUE);
    query
        .push_bind(now.0)
        .push(" AND (lease_until IS NULL OR lease_until <= ")
        .push_bind(now.0)
        .push(") AND provider = ")
        .push_bind(provider)
        .push(" ORDER BY next_at, cell LIMIT 1")
        .push(dialect::LOCK_OR_SKIP);
    Ok(query.build_query_as().fetch_optional(connection).await?)
}

pub(crate) async fn ask_soon(db: &Pools, provider: &str, cell: &str, now: Instant) -> Result<bool> {
    let brought =
        sqlx::query("UPDATE cell SET next_at = $3 WHERE provider = $1 AND cell = $2 AND next_at > $3")
            .bind(provider)
            .bind(cell)
            .bind(now.0)
            .execute(db.writer())
            .await?;
    Ok(brought.rows_affected() == 1)
}

async fn fed_from(connection: &mut Connection, provider: &str, cell: &str) -> Result<Vec<(Source, Site)>> {
    let rows: Vec<SourceColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(source),
        " FROM source WHERE provider = $1 AND cell = $2 ORDER BY id"
    ))
    .bind(provider)
    .bind(cell)
    .fetch_all(&mut *connection)
    .await?;
    let sources: Vec<Source> = rows.into_iter().map(read::source).collect::<Result<_>>()?;
    let sites = load::sites(connection, sources.iter().map(|source| source.site_id.as_str())).await?;
    Ok(sources
        .into_iter()
        .map(|source| {
            let site = load::take(&sites, &source.site_id);
            (source, site)
        })
        .collect())
}

pub(crate) async fn finish_cell(
    db: &Pools,
    provider: &str,
    cell: &str,
    token: i64,
    fetched: Fetched<'_>,
    now: Instant,
) -> Result<bool> {
    let finished = sqlx::query(
        "UPDATE cell SET next_at = $4, lease_until = NULL, last_error = $5, \
         last_ok_at = CASE WHEN $5 IS NULL THEN $6 ELSE last_ok_at END, memory = coalesce($7, memory) \
         WHERE provider = $1 AND cell = $2 AND token = $3 AND lease_until IS NOT NULL",
    )
    .bind(provider)
    .bind(cell)
    .bind(token)
    .bind(fetched.next_at.0)
    .bind(fetched.error)
    .bind(now.0)
    .bind(fetched.memory)
    .execute(db.writer())
    .await?;
    Ok(finished.rows_affected() == 1)
}

pub(crate) async fn put_off_cell(
    db: &Pools,
    provider: &str,
    cell: &str,
    token: i64,
    next_at: Instant,
) -> Result<bool> {
    let put_off = sqlx::query(
        "UPDATE cell SET next_at = $4, lease_until = NULL \
         WHERE provider = $1 AND cell = $2 AND token = $3 AND lease_until IS NOT NULL",
    )
    .bind(provider)
    .bind(cell)
    .bind(token)
    .bind(next_at.0)
    .execute(db.writer())
    .await?;
    Ok(put_off.rows_affected() == 1)
}

pub(crate) async fn cells(db: &Pools) -> Result<Vec<Cell>> {
    type Columns = (String, String, i64, Option<i64>, Option<i64>, Option<String>);
    let rows: Vec<Columns> = sqlx::query_as(
        "SELECT provider, cell, next_at, lease_until, last_ok_at, last_error FROM cell \
         ORDER BY provider, cell",
    )
    .fetch_all(&mut *db.look().await?)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(provider, cell, next_at, lease_until, last_ok_at, last_error)| Cell {
            provider,
            cell,
            next_at: Instant(next_at),
            lease_until: lease_until.map(Instant),
            last_ok_at: last_ok_at.map(Instant),
            last_error,
        })
        .collect())
}
