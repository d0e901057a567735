//! Plans, every version kept.

use model::time::Instant;
use serde_json::{Value, json};

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Pools, lending, seasons};
use crate::error::changed;
use crate::rows::PlanRow;
use crate::{Result, text};

pub(crate) async fn set_plan(
    db: &Pools,
    block_id: &str,
    year: i32,
    held: i64,
    doc: &Value,
    at: Instant,
) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(block_id)).await?;
    seasons::begin_and_lock(&mut tx, &[(block_id, year)]).await?;
    let now = latest(&mut tx, block_id, year).await?;
    if now.as_ref().map_or(0, |now| now.version) != held {
        return Err(changed("plan of block", block_id));
    }
    if now.is_some_and(|now| now.doc == *doc) {
        return Ok(held);
    }
    let version = held + 1;
    sqlx::query("INSERT INTO plan (block_id, year, version, doc, at) VALUES ($1, $2, $3, $4, $5)")
        .bind(block_id)
        .bind(i64::from(year))
        .bind(version)
        .bind(text::of(doc))
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    sqlx::query("UPDATE season SET plan_version = $3 WHERE block_id = $1 AND year = $2")
        .bind(block_id)
        .bind(i64::from(year))
        .bind(version)
        .execute(&mut *tx)
        .await?;
    lending::raise_borrowers(&mut tx, &[(block_id, Some(year))]).await?;
    let note = Note::season("plan set", block_id, year);
    notes::note(&mut tx, db, note.with(json!({"version": version}))).await?;
    tx.commit().await?;
    Ok(version)
}

pub(crate) async fn plan(db: &Pools, block_id: &str, year: i32) -> Result<Option<PlanRow>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(None);
    }
    latest(&mut tx, block_id, year).await
}

pub(crate) async fn plans(db: &Pools, block_id: &str, year: i32) -> Result<Vec<PlanRow>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, String, i64)> = sqlx::query_as(
        "SELECT version, doc, at FROM plan WHERE block_id = $1 AND year = $2 ORDER BY version",
    )
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_all(&mut *tx)
    .await?;
    rows.into_iter().map(|columns| read(block_id, year, columns)).collect()
}

fn read(block_id: &str, year: i32, (version, doc, at): (i64, String, i64)) -> Result<PlanRow> {
    let doc = text::doc(&doc, || format!("plan of block `{block_id}` for {year}"))?;
    Ok(PlanRow { block_id: block_id.to_owned(), year, version, doc, at: Instant(at) })
}

async fn latest(connection: &mut Connection, block_id: &str, year: i32) -> Result<Option<PlanRow>> {
    let row: Option<(i64, String, i64)> = sqlx::query_as(
        "SELECT version, doc, at FROM plan WHERE block_id = $1 AND year = $2 \
         ORDER BY version DESC LIMIT 1",
    )
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_optional(connection)
    .await?;
    row.map(|columns| read(block_id, year, columns)).transpose()
}
