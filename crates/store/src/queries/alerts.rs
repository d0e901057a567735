//! Alerts as people see them.

use model::time::Instant;
use sqlx::QueryBuilder;

use super::{Db, Pools};
use crate::Result;
use crate::error::missing;
use crate::read::{self, AlertColumns, columns};
use crate::rows::AlertRow;

pub(crate) async fn alerts(
    db: &Pools,
    farm_id: Option<&str>,
    block_id: Option<&str>,
    after: Option<&str>,
    limit: u32,
) -> Result<Vec<AlertRow>> {
    let mut query = QueryBuilder::<Db>::new(concat!("SELECT ", columns!(alert), " FROM alert"));
    if farm_id.is_some() {
        query.push(" JOIN block ON block.id = alert.block_id");
    }
    query.push(" WHERE alert.id > ").push_bind(after.unwrap_or_default());
    if let Some(farm_id) = farm_id {
        query.push(" AND block.farm_id = ").push_bind(farm_id);
    }
    if let Some(block_id) = block_id {
        query.push(" AND alert.block_id = ").push_bind(block_id);
    }
    query.push(" ORDER BY alert.id LIMIT ").push_bind(i64::from(limit));
    let rows: Vec<AlertColumns> = query.build_query_as().fetch_all(db.reader()).await?;
    rows.into_iter().map(read::alert).collect()
}

pub(crate) async fn alert(db: &Pools, id: &str) -> Result<Option<AlertRow>> {
    let row: Option<AlertColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(alert), " FROM alert WHERE id = $1"))
            .bind(id)
            .fetch_optional(db.reader())
            .await?;
    row.map(read::alert).transpose()
}

pub(crate) async fn alerts_of(db: &Pools, block_id: &str, year: i32) -> Result<Vec<AlertRow>> {
    let rows: Vec<AlertColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(alert), " FROM alert WHERE block_id = $1 AND year = $2"))
            .bind(block_id)
            .bind(i64::from(year))
            .fetch_all(db.reader())
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
    let noted =
        sqlx::query("UPDATE alert SET acknowledged_at = $2 WHERE id = $1 AND acknowledged_at IS NULL")
            .bind(id)
            .bind(at.0)
            .execute(db.writer())
            .await?;
    if noted.rows_affected() == 1 {
        return Ok(true);
    }
    alert(db, id).await?.map(|_| false).ok_or_else(|| missing("alert", id))
}
