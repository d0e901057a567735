//! Field logs, append-only.

use sqlx::QueryBuilder;

use super::wall::{self, Of};
use super::{Db, Pools, load};
use crate::read::{self, LogEntryColumns, columns};
use crate::rows::LogEntry;
use crate::{ROWS_A_STATEMENT, Result};

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

/// A block's id beside an entry of its log.
type Placed = (String, String, i64, String, String, i64);

pub(crate) async fn spray_logs(
    db: &Pools,
    block_ids: &[String],
    year: i32,
) -> Result<Vec<(String, LogEntry)>> {
    let mut found = Vec::new();
    let mut tx = db.begin_read().await?;
    for block_ids in block_ids.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(concat!(
            "SELECT log_entry.block_id, ",
            columns!(log_entry),
            " FROM log_entry JOIN block ON block.id = log_entry.block_id \
             WHERE log_entry.kind IN ('spray', 'correction', 'withdrawal') AND log_entry.year = "
        ));
        query.push_bind(i64::from(year));
        if let Some(person) = db.person() {
            query.push(
                " AND block.farm_id IN (SELECT membership.farm_id FROM membership WHERE membership.person_id = ",
            );
            query.push_bind(person).push(")");
        }
        query.push(" AND log_entry.block_id IN (");
        load::list(&mut query, block_ids.iter().map(String::as_str));
        query.push(")");
        let rows: Vec<Placed> = query.build_query_as().persistent(false).fetch_all(&mut *tx).await?;
        for (block_id, id, at, kind, doc, received_at) in rows {
            found.push((block_id, read::log_entry((id, at, kind, doc, received_at))?));
        }
    }
    found.sort_by(|a, b| (&a.0, &a.1.id).cmp(&(&b.0, &b.1.id)));
    Ok(found)
}

/// Sorted here, since Postgres would sort by the words of its own locale.
pub(super) fn in_order(mut log: Vec<LogEntry>) -> Vec<LogEntry> {
    log.sort_by(|a, b| a.id.cmp(&b.id));
    log
}
