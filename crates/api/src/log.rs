//! The field log: entries as they were written, only ever added to.

use std::collections::HashMap;

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::field_log::Entry;
use model::input::{self, Fault, Faults};
use model::time::Instant;
use serde::Serialize;
use serde_json::{Value, json};
use store::{LogEntry, StoreError};
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::seasons::no_season;
use crate::shapes::{Moment, Page};
use crate::{fields, limits};

/// An entry of a field log: what every kind has. Beside it stand the fields of
/// its kind.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for entries in the document")]
pub(crate) struct Logged {
    /// From the writer, a UUIDv7 by choice; made by the server when not given.
    #[schema(nullable = false)]
    id: Option<String>,
    /// `stage`, `bud-count`, `flowers-per-cluster`, `style-length`, `damage-count`,
    /// `open-count`, `bloom-start`, `decision`, `spray`, `other-thinning`,
    /// `pollination`, `bloom-end`, `set-count`, `return-bloom`, `note`,
    /// `correction` or `withdrawal`.
    kind: String,
    /// When it was observed; for a spray, when it began.
    #[schema(nullable = false, value_type = Option<Moment>)]
    at: Option<Instant>,
    /// When it reached the server.
    #[schema(nullable = false, value_type = Option<Moment>)]
    received_at: Option<Instant>,
}

/// Entries as they are appended, all or none.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct Entries {
    #[schema(min_items = 1, max_items = 1000)]
    entries: Vec<Logged>,
}

/// What was appended: one entry, or a list of them.
#[derive(ToSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) enum Append {
    Entries(Entries),
    Entry(Logged),
}

/// What came of it.
#[derive(Serialize, ToSchema)]
pub(crate) struct Appended {
    /// Entries that the log did not have.
    pub(crate) new: u64,
    /// Entries that it had already, with the same content.
    unchanged: u64,
    /// Their ids, in the order in which they were sent.
    entries: Vec<String>,
}

/// The field log of a season in order of id, as it was written.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/log", tag = "seasons", operation_id = "read-log",
    params(("id" = String, Path), ("year" = i32, Path)), responses((status = 200, body = Page<Logged>)))]
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
    ok(json!({"items": log.iter().map(render).collect::<Vec<_>>(), "next": null}))
}

/// Appends one entry, or those of `{"entries": […]}`; all or none. The same
/// again changes nothing (200).
#[utoipa::path(post, path = "/blocks/{id}/seasons/{year}/log", tag = "seasons", operation_id = "append-entries",
    params(("id" = String, Path), ("year" = i32, Path)), request_body = Append,
    responses((status = 200, body = Appended), (status = 201, body = Appended)))]
pub(crate) async fn append(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let appended = desk.append(&block, &year, document).await?;
    let status = if appended.new > 0 { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, axum::Json(appended)).into_response())
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
    /// Appends what was sent to the log of a season: by the API and from a page alike.
    pub(crate) async fn append(&self, block: &str, year: &str, document: Value) -> Result<Appended, Problem> {
        let block = self.block(block).await?;
        self.allow(Deed::Log, Some(&block.farm_id))?;
        let year = fields::year(year)?;
        let now = self.now();
        let written = written(document)?;
        let entries = self.read_entries(&written, now)?;
        let appended = match self.store.append_entries(&block.id, year, &entries).await {
            Ok(appended) => appended,
            Err(StoreError::Conflict { .. }) => {
                let log = self.store.log(&block.id, year).await?;
                return Err(clash(&log, &entries, &written));
            }
            Err(error) => return Err(error.into()),
        };
        if appended.new > 0 {
            self.poke();
        }
        let entries = entries.into_iter().map(|entry| entry.id).collect();
        Ok(Appended { new: appended.new, unchanged: appended.unchanged, entries })
    }

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

pub(crate) fn render(entry: &LogEntry) -> Value {
    let mut document = entry.doc.clone();
    document["received_at"] = json!(entry.received_at);
    document
}
