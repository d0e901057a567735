//! The field log: entries as they were written, only ever added to.

use std::collections::HashMap;

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::field_log::Entry;
use model::input::{self, Fault, Faults};
use model::time::Instant;
use serde_json::{Value, json};
use store::{LogEntry, StoreError};

use crate::answer::{Answer, whole};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::seasons::no_season;
use crate::{fields, limits};

pub(crate) async fn list(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let log = desk.store.log(&block.id, year).await?;
    if log.is_empty() && desk.store.season(&block.id, year).await?.is_none() {
        return Err(no_season(&block, year));
    }
    whole(log.iter().map(render).collect())
}

/// Appends one entry, or those of `{"entries": […]}`; all or none.
pub(crate) async fn append(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    desk.allow(Deed::Log, Some(&block.farm_id))?;
    let year = fields::year(&year)?;
    let now = desk.now();
    let written = written(document)?;
    let entries = desk.read_entries(&written, now)?;
    let appended = match desk.store.append_entries(&block.id, year, &entries).await {
        Ok(appended) => appended,
        Err(StoreError::Conflict { .. }) => {
            let log = desk.store.log(&block.id, year).await?;
            return Err(clash(&log, &entries, &written));
        }
        Err(error) => return Err(error.into()),
    };
    if appended.new > 0 {
        desk.poke();
    }
    let status = if appended.new > 0 { StatusCode::CREATED } else { StatusCode::OK };
    let ids: Vec<&str> = entries.iter().map(|entry| entry.id.as_str()).collect();
    let answer = json!({"new": appended.new, "unchanged": appended.unchanged, "entries": ids});
    Ok((status, axum::Json(answer)).into_response())
}

/// Entries as they were written, each with its place in the body.
type Written = Vec<(String, Value)>;

fn written(document: Value) -> Result<Written, Faults> {
    if document.get("entries").is_none() {
        return Ok(vec![(String::new(), document)]);
    }
    input::read(&document, |fields| {
        let Some(entries) = fields.value("entries").and_then(Value::as_array) else {
            fields.fault("entries", "expected a list of entries");
            return None;
        };
        if entries.is_empty() || entries.len() > limits::ENTRIES {
            let most = limits::ENTRIES;
            fields.fault("entries", format!("has {} entries; expected 1 to {most}", entries.len()));
        }
        Some(entries.iter().enumerate().map(|(n, entry)| (format!("/entries/{n}"), entry.clone())).collect())
    })
}

impl Visit {
    fn read_entries(&self, written: &Written, now: Instant) -> Result<Vec<LogEntry>, Faults> {
        let mut entries = Vec::with_capacity(written.len());
        let mut faults: Vec<Fault> = Vec::new();
        for (place, document) in written {
            match self.read_entry(document, now) {
                Ok(entry) => entries.push(entry),
                Err(found) => faults.extend(fields::under(place, found)),
            }
        }
        if faults.is_empty() { Ok(entries) } else { Err(Faults(faults)) }
    }

    fn read_entry(&self, document: &Value, now: Instant) -> Result<LogEntry, Faults> {
        let fallback = self.new_id();
        let entry = Entry::read(document, Some(&fallback))?;
        entry.check_not_ahead(now)?;
        let mut doc = document.clone();
        doc["id"] = Value::from(entry.id.clone());
        Ok(LogEntry { at: entry.at, kind: entry.kind().to_owned(), id: entry.id, doc, received_at: now })
    }
}

/// Names the first entry whose id stands for something else already, in the
/// log or earlier in the same list.
fn clash(log: &[LogEntry], entries: &[LogEntry], written: &Written) -> Problem {
    let mut known: HashMap<&str, &Value> = log.iter().map(|entry| (entry.id.as_str(), &entry.doc)).collect();
    for (entry, (place, _)) in entries.iter().zip(written) {
        if *known.entry(&entry.id).or_insert(&entry.doc) != &entry.doc {
            let detail = format!(
                "The log has another entry with the id `{}`; nothing was stored. To change an entry, add a correction.",
                entry.id
            );
            return Problem::conflict_at(format!("{place}/id"), detail);
        }
    }
    Problem::conflict("The log has another entry with one of these ids; nothing was stored.")
}

fn render(entry: &LogEntry) -> Value {
    let mut document = entry.doc.clone();
    document["received_at"] = json!(entry.received_at);
    document
}
