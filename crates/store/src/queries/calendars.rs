//! Calendars of farms: their secret addresses, and the seasons they show.

use model::time::Instant;
use serde_json::json;

use super::Pools;
use super::notes::{self, Note};
use super::wall::{self, Of};
use crate::Result;
use crate::error::naming;
use crate::read::{self, seen_by};
use crate::rows::{Calendar, CalendarSeason};

type Columns = (String, String, String, String, Option<String>, i64, Option<i64>, Option<i64>);

macro_rules! select {
    ($rest:expr) => {
        concat!(
            "SELECT id, farm_id, name, hash, made_by, created_at, last_read_at, revoked_at FROM calendar ",
            $rest
        )
    };
}

fn row((id, farm_id, name, hash, made_by, created, last_read, revoked): Columns) -> Calendar {
    Calendar {
        id,
        farm_id,
        name,
        hash,
        made_by,
        created_at: Instant(created),
        last_read_at: last_read.map(Instant),
        revoked_at: revoked.map(Instant),
    }
}

pub(crate) async fn add_calendar(db: &Pools, calendar: &Calendar) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&calendar.farm_id)).await?;
    sqlx::query(
        "INSERT INTO calendar (id, farm_id, name, hash, made_by, created_at, last_read_at, revoked_at) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(&calendar.id)
    .bind(&calendar.farm_id)
    .bind(&calendar.name)
    .bind(&calendar.hash)
    .bind(&calendar.made_by)
    .bind(calendar.created_at.0)
    .bind(calendar.last_read_at.map(|at| at.0))
    .bind(calendar.revoked_at.map(|at| at.0))
    .execute(&mut *tx)
    .await
    .map_err(naming(format!("calendar `{}`, or its hash,", calendar.id), "farm or person that it names"))?;
    let note = Note::new(Of::Farm(&calendar.farm_id), "made", "calendar", &calendar.id);
    notes::note_deed(&mut tx, db, note.with(json!({"name": calendar.name}))).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn calendar(db: &Pools, id: &str) -> Result<Option<Calendar>> {
    let found: Option<Columns> =
        sqlx::query_as(select!(concat!("WHERE id = $1 AND ", seen_by!("$2", "farm_id"))))
            .bind(id)
            .bind(db.person())
            .fetch_optional(&mut *db.look().await?)
            .await?;
    Ok(found.map(row))
}

pub(crate) async fn calendar_by_hash(db: &Pools, hash: &str) -> Result<Option<Calendar>> {
    let found: Option<Columns> = sqlx::query_as(select!("WHERE hash = $1 AND revoked_at IS NULL"))
        .bind(hash)
        .fetch_optional(&mut *db.look().await?)
        .await?;
    Ok(found.map(row))
}

pub(crate) async fn calendars_of(db: &Pools, farm_id: &str) -> Result<Vec<Calendar>> {
    let rows: Vec<Columns> = sqlx::query_as(select!(concat!(
        "WHERE farm_id = $1 AND revoked_at IS NULL AND ",
        seen_by!("$2", "farm_id"),
        " ORDER BY id"
    )))
    .bind(farm_id)
    .bind(db.person())
    .fetch_all(&mut *db.look().await?)
    .await?;
    Ok(rows.into_iter().map(row).collect())
}

pub(crate) async fn note_calendar_read(db: &Pools, id: &str, at: Instant) -> Result<()> {
    sqlx::query("UPDATE calendar SET last_read_at = $2 WHERE id = $1")
        .bind(id)
        .bind(at.0)
        .execute(db.writer())
        .await?;
    Ok(())
}

pub(crate) async fn revoke_calendar(db: &Pools, calendar: &Calendar, at: Instant) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    // Of a closed farm too: what leaked is to end whatever else rests.
    wall::must_see(&mut tx, db, Of::Farm(&calendar.farm_id)).await?;
    let revoked = sqlx::query(
        "UPDATE calendar SET revoked_at = $3 WHERE id = $1 AND farm_id = $2 AND revoked_at IS NULL",
    )
    .bind(&calendar.id)
    .bind(&calendar.farm_id)
    .bind(at.0)
    .execute(&mut *tx)
    .await?;
    if revoked.rows_affected() == 1 {
        let note = Note::new(Of::Farm(&calendar.farm_id), "revoked", "calendar", &calendar.id);
        notes::note_deed(&mut tx, db, note.with(json!({"name": calendar.name}))).await?;
    }
    tx.commit().await?;
    Ok(revoked.rows_affected() == 1)
}

pub(crate) async fn calendar_seasons(
    db: &Pools,
    farm_id: &str,
    years: (i32, i32),
    limit: u32,
) -> Result<Vec<CalendarSeason>> {
    type Columns = (String, String, String, i64, String, i64, i64);
    // Of the block the version that now stands, since its name is shown as it now is.
    let rows: Vec<Columns> = sqlx::query_as(concat!(
        "SELECT block.id, block.name, site.time_zone, season.year, season.doc, season.reckoned_at, \
         block.version + season.reckoned_site + season.reckoned_log + season.reckoned_plan \
         + season.reckoned_catalogue \
         FROM season JOIN block ON block.id = season.block_id JOIN site ON site.id = block.site_id \
         JOIN farm ON farm.id = block.farm_id \
         WHERE block.farm_id = $1 AND season.year BETWEEN $2 AND $3 AND season.doc IS NOT NULL \
         AND block.archived_at IS NULL AND farm.closed_at IS NULL AND ",
        seen_by!("$4", "block.farm_id"),
        " ORDER BY block.id, season.year LIMIT $5"
    ))
    .bind(farm_id)
    .bind(i64::from(years.0))
    .bind(i64::from(years.1))
    .bind(db.person())
    .bind(i64::from(limit))
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter()
        .map(|(block_id, block, time_zone, year, doc, reckoned_at, revision)| {
            Ok(CalendarSeason {
                block_id,
                block,
                time_zone,
                year: read::bloom_year(year)?,
                doc,
                reckoned_at: Instant(reckoned_at),
                revision,
            })
        })
        .collect()
}
