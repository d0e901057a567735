//! Field logs, append-only.

use std::collections::HashMap;
use std::sync::Arc;

use serde_json::json;
use sqlx::{Connection as _, QueryBuilder};
use tokio::sync::oneshot::error::TryRecvError;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, load, seasons};
use crate::grouped::Queue;
use crate::read::{self, LogEntryColumns, columns};
use crate::rows::{Appended, LogEntry};
use crate::{ROWS_A_STATEMENT, Result, StoreError, text};

/// Entries on their way into a log, with on whose behalf.
#[derive(Debug)]
pub(crate) struct Append {
    db: Pools,
    block_id: String,
    year: i32,
    entries: Vec<LogEntry>,
}

/// Appends that wait for each other's sync.
pub(crate) type Appends = Queue<Append, Appended>;

pub(crate) async fn append_entries(
    db: &Pools,
    block_id: &str,
    year: i32,
    entries: &[LogEntry],
) -> Result<Appended> {
    let append = Append { db: db.clone(), block_id: block_id.to_owned(), year, entries: entries.to_owned() };
    match db.appends() {
        Some(queue) => in_turn(db, queue, Arc::new(append)).await,
        None => {
            let mut tx = db.begin_record().await?;
            let appended = put(&mut tx, &append).await?;
            tx.commit().await?;
            Ok(appended)
        }
    }
}

/// Has it written by whoever has the turn: each is told only once all of that
/// transaction is on disk.
async fn in_turn(db: &Pools, queue: &Appends, append: Arc<Append>) -> Result<Appended> {
    loop {
        let mut answer = queue.add(append.clone());
        let _turn = queue.turn().await;
        loop {
            match answer.try_recv() {
                Ok(outcome) => return outcome,
                Err(TryRecvError::Empty) => write_together(db, queue).await,
                // Whoever had it went away in the middle: once more.
                Err(TryRecvError::Closed) => break,
            }
        }
    }
}

/// Writes what waits, in one transaction; one that is refused takes no other
/// down.
async fn write_together(db: &Pools, queue: &Appends) {
    let waiting = queue.take();
    let outcomes = async {
        let mut tx = db.begin_record().await?;
        let mut outcomes = Vec::with_capacity(waiting.len());
        for one in &waiting {
            let mut part = tx.begin().await?;
            let outcome = put(&mut part, &one.job).await;
            match &outcome {
                Ok(_) => part.commit().await?,
                Err(_) => part.rollback().await?,
            }
            outcomes.push(outcome);
        }
        tx.commit().await?;
        Ok::<_, StoreError>(outcomes)
    };
    match outcomes.await {
        Ok(outcomes) => {
            for (one, outcome) in waiting.into_iter().zip(outcomes) {
                one.answer(outcome);
            }
        }
        Err(error) => {
            for one in waiting {
                one.answer(Err(error.again()));
            }
        }
    }
}

async fn put(tx: &mut Connection, append: &Append) -> Result<Appended> {
    let Append { db, block_id, year, entries } = append;
    let year = *year;
    wall::pass(tx, db, Of::Block(block_id)).await?;
    seasons::begin_and_lock(tx, block_id, year).await?;
    let mut appended = Appended::default();
    for entries in entries.chunks(ROWS_A_STATEMENT) {
        let mut known = under_same_ids(tx, block_id, year, entries).await?;
        let mut new = Vec::with_capacity(entries.len());
        for entry in entries {
            match known.get(&entry.id) {
                None => {
                    known.insert(entry.id.clone(), entry.clone());
                    new.push(entry);
                }
                Some(held) if same(held, entry) => appended.unchanged += 1,
                Some(_) => {
                    return Err(StoreError::Conflict {
                        what: format!("the log has another entry with the id `{}`", entry.id),
                    });
                }
            }
        }
        insert(tx, block_id, year, &new).await?;
        appended.new += new.len() as u64;
    }
    if appended.new > 0 {
        sqlx::query("UPDATE season SET log_version = log_version + 1 WHERE block_id = $1 AND year = $2")
            .bind(block_id)
            .bind(i64::from(year))
            .execute(&mut *tx)
            .await?;
        let ids: Vec<&str> = entries.iter().map(|entry| entry.id.as_str()).collect();
        let note = Note::season("logged", block_id, year).with(json!({"entries": ids}));
        notes::note(tx, db, note).await?;
    }
    Ok(appended)
}

fn same(held: &LogEntry, sent: &LogEntry) -> bool {
    held.kind == sent.kind && held.at == sent.at && held.doc == sent.doc
}

async fn under_same_ids(
    connection: &mut Connection,
    block_id: &str,
    year: i32,
    entries: &[LogEntry],
) -> Result<HashMap<String, LogEntry>> {
    let mut query =
        QueryBuilder::<Db>::new(concat!("SELECT ", columns!(log_entry), " FROM log_entry WHERE block_id = "));
    query.push_bind(block_id).push(" AND year = ").push_bind(i64::from(year)).push(" AND id IN (");
    load::list(&mut query, entries.iter().map(|entry| entry.id.as_str()));
    let rows: Vec<LogEntryColumns> =
        query.push(")").build_query_as().persistent(false).fetch_all(connection).await?;
    rows.into_iter().map(|row| read::log_entry(row).map(|entry| (entry.id.clone(), entry))).collect()
}

async fn insert(connection: &mut Connection, block_id: &str, year: i32, entries: &[&LogEntry]) -> Result<()> {
    if entries.is_empty() {
        return Ok(());
    }
    let mut query =
        QueryBuilder::<Db>::new("INSERT INTO log_entry (block_id, year, id, at, kind, doc, received_at) ");
    query.push_values(entries, |mut row, entry| {
        row.push_bind(block_id)
            .push_bind(i64::from(year))
            .push_bind(&entry.id)
            .push_bind(entry.at.0)
            .push_bind(&entry.kind)
            .push_bind(text::of(&entry.doc))
            .push_bind(entry.received_at.0);
    });
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

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
