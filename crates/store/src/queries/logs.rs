//! Field logs, append-only.

use super::Pools;
use super::wall::{self, Of};
use crate::Result;
use crate::read::{self, LogEntryColumns, columns};
use crate::rows::LogEntry;

pub(crate) use super::appends::append_entries;

pub(crate) async fn log(db: &Pools, block_id: &str, year: i32) -> Result<Vec<LogEntry>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<LogEntryColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(log_entry),
        " FROM log_entry WHERE block_id = $1 AND year = $2"
    ))
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_all(&mut *tx)
    .await?;
    let log: Result<Vec<LogEntry>> = rows.into_iter().map(read::log_entry).collect();
    Ok(in_order(log?))
}

/// Sorted here, since Postgres would sort by the words of its own locale.
pub(super) fn in_order(mut log: Vec<LogEntry>) -> Vec<LogEntry> {
    log.sort_by(|a, b| a.id.cmp(&b.id));
    log
}
