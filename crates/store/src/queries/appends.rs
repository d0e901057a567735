//! Appending to field logs: those that come together are written together, each
//! statement once for all of them.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use serde_json::json;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Standing};
use super::{Connection, Db, Pools, dialect, lending, load, seasons};
use crate::error::missing;
use crate::grouped::Queue;
use crate::read::{self, columns};
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
    let Some(queue) = db.appends() else {
        return alone(db, &append).await;
    };
    let answer = queue.add(append);
    // In a task of its own: whoever asked may go away in the middle of what is
    // written for others too.
    tokio::spawn(write_together(db.clone()));
    answer.await.unwrap_or_else(|_| Err(StoreError::Busy("the writer went away".into())))
}

/// Writes one, in a transaction of its own.
async fn alone(db: &Pools, append: &Append) -> Result<Appended> {
    let mut tx = db.begin_write().await?;
    let appended = put(&mut tx, &[append]).await?.remove(0)?;
    tx.commit().await?;
    Ok(appended)
}

/// Writes what waits, in one transaction: each is told only once all of it is on
/// disk. Whoever comes meanwhile waits for the next.
async fn write_together(db: Pools) {
    let Some(queue) = db.appends() else { return };
    let _turn = queue.turn().await;
    let waiting = queue.take();
    if waiting.is_empty() {
        return;
    }
    let appends: Vec<&Append> = waiting.iter().map(|one| &one.job).collect();
    let outcomes = async {
        let mut tx = db.begin_write().await?;
        let outcomes = put(&mut tx, &appends).await?;
        tx.commit().await?;
        Ok::<_, StoreError>(outcomes)
    };
    match outcomes.await {
        Ok(outcomes) => waiting.into_iter().zip(outcomes).for_each(|(one, outcome)| one.answer(outcome)),
        // What is wrong with one is no fault of the others.
        Err(_) => {
            for one in waiting {
                let outcome = alone(&db, &one.job).await;
                one.answer(outcome);
            }
        }
    }
}

/// Block and year.
type Key<'a> = (&'a str, i32);

/// Writes what may be written; what may not is refused by itself and takes no
/// other down.
async fn put(connection: &mut Connection, appends: &[&Append]) -> Result<Vec<Result<Appended>>> {
    let standing = standing(connection, appends).await?;
    let may = |append: &Append| {
        let key = (append.db.person().map(str::to_owned), append.block_id.clone());
        let standing = standing.get(&key).ok_or_else(|| missing("block", &append.block_id))?;
        // As everywhere, the house itself may write what is closed.
        if append.db.behalf().is_some() { standing.open() } else { Ok(()) }
    };
    let allowed: Vec<Result<()>> = appends.iter().map(|append| may(append)).collect();
    let open = || appends.iter().zip(&allowed).filter(|(_, may)| may.is_ok()).map(|(append, _)| *append);
    if !dialect::LOCK_SEASON.is_empty() {
        // Nobody else may write an entry under the same id between look and write;
        // what begins here and is refused is rolled back.
        let keys: BTreeSet<Key<'_>> = open().map(|append| (append.block_id.as_str(), append.year)).collect();
        seasons::begin_and_lock(connection, &keys.into_iter().collect::<Vec<_>>()).await?;
    }
    let mut known = under_same_ids(connection, open()).await?;

    let mut new = Vec::new();
    let mut raised: BTreeMap<Key<'_>, i64> = BTreeMap::new();
    let mut told = Vec::new();
    let mut outcomes = Vec::with_capacity(appends.len());
    for (append, may) in appends.iter().zip(allowed) {
        let outcome = may.and_then(|()| {
            let fresh = fresh(append, &mut known)?;
            Ok((
                Appended { new: fresh.len() as u64, unchanged: (append.entries.len() - fresh.len()) as u64 },
                fresh,
            ))
        });
        outcomes.push(outcome.map(|(appended, fresh)| {
            if !fresh.is_empty() {
                *raised.entry((&append.block_id, append.year)).or_default() += 1;
                let ids: Vec<&str> = append.entries.iter().map(|entry| entry.id.as_str()).collect();
                let key = (append.db.person().map(str::to_owned), append.block_id.clone());
                let farm_id = standing.get(&key).map(|standing| standing.farm_id.clone());
                let note = Note::season("logged", &append.block_id, append.year);
                told.push((append.db.behalf(), farm_id, note.with(json!({"entries": ids}))));
                new.extend(fresh.into_iter().map(|entry| (*append, entry)));
            }
            appended
        }));
    }
    // Only what is written to begins a season.
    let keys: Vec<Key<'_>> = raised.keys().copied().collect();
    seasons::begin_and_lock(connection, &keys).await?;
    insert(connection, &new).await?;
    raise(connection, &raised).await?;
    let lenders: Vec<(&str, Option<i32>)> =
        raised.keys().map(|(block_id, year)| (*block_id, Some(*year))).collect();
    lending::raise_borrowers(connection, &lenders).await?;
    notes::note_all(connection, told).await?;
    Ok(outcomes)
}

/// How the blocks stand for those on whose behalf something is appended.
async fn standing(
    connection: &mut Connection,
    appends: &[&Append],
) -> Result<HashMap<(Option<String>, String), Standing>> {
    let mut by_viewer: BTreeMap<Option<&str>, BTreeSet<&str>> = BTreeMap::new();
    for append in appends {
        by_viewer.entry(append.db.person()).or_default().insert(&append.block_id);
    }
    let mut all = HashMap::new();
    for (viewer, blocks) in by_viewer {
        for (id, standing) in wall::blocks(connection, viewer, blocks).await? {
            all.insert((viewer.map(str::to_owned), id), standing);
        }
    }
    Ok(all)
}

/// Entries by block, year and id.
type Known = HashMap<(String, i32, String), LogEntry>;

/// The entries that the log does not have yet, which it then has. Conflict, and
/// nothing of it kept, when it has another under the id of one.
fn fresh<'a>(append: &'a Append, known: &mut Known) -> Result<Vec<&'a LogEntry>> {
    let mut fresh: Vec<&LogEntry> = Vec::with_capacity(append.entries.len());
    for entry in &append.entries {
        let key = (append.block_id.clone(), append.year, entry.id.clone());
        let held = known.get(&key).or_else(|| fresh.iter().copied().find(|other| other.id == entry.id));
        match held {
            None => fresh.push(entry),
            Some(held) if same(held, entry) => {}
            Some(_) => {
                return Err(StoreError::Conflict {
                    what: format!("the log has another entry with the id `{}`", entry.id),
                });
            }
        }
    }
    for entry in &fresh {
        known.insert((append.block_id.clone(), append.year, entry.id.clone()), (*entry).clone());
    }
    Ok(fresh)
}

fn same(held: &LogEntry, sent: &LogEntry) -> bool {
    held.kind == sent.kind && held.at == sent.at && held.doc == sent.doc
}

async fn under_same_ids<'a>(
    connection: &mut Connection,
    appends: impl Iterator<Item = &'a Append>,
) -> Result<Known> {
    let ids: Vec<(&str, i32, &str)> = appends
        .flat_map(|append| {
            append.entries.iter().map(|entry| (append.block_id.as_str(), append.year, entry.id.as_str()))
        })
        .collect();
    let mut known = Known::new();
    for ids in ids.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(concat!(
            "SELECT block_id, year, ",
            columns!(log_entry),
            " FROM log_entry WHERE (block_id, year, id) IN ("
        ));
        query.push_values(ids, |mut row, (block_id, year, id)| {
            row.push_bind(*block_id).push_bind(i64::from(*year)).push_bind(*id);
        });
        let rows: Vec<(String, i64, String, i64, String, String, i64)> =
            query.push(")").build_query_as().persistent(ids.len() == 1).fetch_all(&mut *connection).await?;
        for (block_id, year, id, at, kind, doc, received_at) in rows {
            let entry = read::log_entry((id, at, kind, doc, received_at))?;
            known.insert((block_id, read::bloom_year(year)?, entry.id.clone()), entry);
        }
    }
    Ok(known)
}

async fn insert(connection: &mut Connection, entries: &[(&Append, &LogEntry)]) -> Result<()> {
    for entries in entries.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO log_entry (block_id, year, id, at, kind, doc, received_at) ",
        );
        query.push_values(entries, |mut row, (append, entry)| {
            row.push_bind(&append.block_id)
                .push_bind(i64::from(append.year))
                .push_bind(&entry.id)
                .push_bind(entry.at.0)
                .push_bind(&entry.kind)
                .push_bind(text::of(&entry.doc))
                .push_bind(entry.received_at.0);
        });
        query.build().persistent(entries.len() == 1).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Raises the version of each log by the number of its appends.
async fn raise(connection: &mut Connection, raised: &BTreeMap<Key<'_>, i64>) -> Result<()> {
    let mut by_number: BTreeMap<i64, Vec<Key<'_>>> = BTreeMap::new();
    for (key, number) in raised {
        by_number.entry(*number).or_default().push(*key);
    }
    for (number, keys) in by_number {
        let mut query = QueryBuilder::<Db>::new("UPDATE season SET log_version = log_version + ");
        query.push_bind(number).push(" WHERE (block_id, year) IN ");
        let one = keys.len() == 1;
        load::seasons(&mut query, keys.into_iter());
        query.build().persistent(one).execute(&mut *connection).await?;
    }
    Ok(())
}
