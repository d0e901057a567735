//! Alerts as people see them.

use super::Pools;
use super::notes::{self, Note};
use super::wall::{self, Of};
use crate::Result;
use crate::error::missing;
use crate::read::{self, AlertColumns, columns, seen_by};
use crate::rows::AlertRow;
use model::time::Instant;

pub(crate) async fn alerts(
    db: &Pools,
    farm_id: Option<&str>,
    block_id: Option<&str>,
    after: Option<&str>,
    limit: u32,
) -> Result<Vec<AlertRow>> {
    let rows: Vec<AlertColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(alert),
        " FROM alert JOIN block ON block.id = alert.block_id WHERE alert.id > $1 \
         AND ($4 IS NULL OR block.farm_id = $4) AND ($5 IS NULL OR alert.block_id = $5) AND ",
        seen_by!("$3", "block.farm_id"),
        " ORDER BY alert.id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .bind(db.person())
    .bind(farm_id)
    .bind(block_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::alert).collect()
}

pub(crate) async fn alerts_since(
    db: &Pools,
    since: Instant,
    farm_id: Option<&str>,
    limit: u32,
) -> Result<Vec<AlertRow>> {
    let rows: Vec<AlertColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(alert),
        " FROM alert JOIN block ON block.id = alert.block_id WHERE alert.raised_at >= $1 \
         AND ($4 IS NULL OR block.farm_id = $4) AND ",
        seen_by!("$3", "block.farm_id"),
        " ORDER BY alert.id DESC LIMIT $2"
    ))
    .bind(since.0)
    .bind(i64::from(limit))
    .bind(db.person())
    .bind(farm_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::alert).collect()
}

pub(crate) async fn alert(db: &Pools, id: &str) -> Result<Option<AlertRow>> {
    let row: Option<AlertColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(alert),
        " FROM alert JOIN block ON block.id = alert.block_id WHERE alert.id = $1 AND ",
        seen_by!("$2", "block.farm_id")
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(read::alert).transpose()
}

pub(crate) async fn alerts_of(db: &Pools, block_id: &str, year: i32) -> Result<Vec<AlertRow>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<AlertColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(alert), " FROM alert WHERE block_id = $1 AND year = $2"))
            .bind(block_id)
            .bind(i64::from(year))
            .fetch_all(&mut *tx)
            .await?;
    let alerts: Result<Vec<AlertRow>> = rows.into_iter().map(read::alert).collect();
    Ok(in_order(alerts?))
}

/// The oldest first; the id decides between equals.
pub(super) fn in_order(mut alerts: Vec<AlertRow>) -> Vec<AlertRow> {
    alerts.sort_by(|a, b| (a.raised_at, &a.id).cmp(&(b.raised_at, &b.id)));
    alerts
}

pub(crate) async fn acknowledge(db: &Pools, id: &str, at: Instant) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Alert(id)).await?;
    let noted =
        sqlx::query("UPDATE alert SET acknowledged_at = $2 WHERE id = $1 AND acknowledged_at IS NULL")
            .bind(id)
            .bind(at.0)
            .execute(&mut *tx)
            .await?;
    if noted.rows_affected() == 0 {
        drop(tx);
        return alert(db, id).await?.map(|_| false).ok_or_else(|| missing("alert", id));
    }
    let year: i64 =
        sqlx::query_scalar("SELECT year FROM alert WHERE id = $1").bind(id).fetch_one(&mut *tx).await?;
    let note = Note::new(Of::Alert(id), "acknowledged", "alert", id);
    notes::note(&mut tx, db, Note { year: Some(read::bloom_year(year)?), ..note }).await?;
    tx.commit().await?;
    Ok(true)
}
