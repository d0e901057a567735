//! Sprays that stand after corrections, each as it was typed.

use api::{Kept, field_log, kept};
use model::materials::Material;
use model::record::Record;
use model::time::Instant;
use serde_json::Value;
use store::LogEntry;

use crate::author;

/// One spray.
pub(crate) struct Sprayed {
    /// Id of its first entry.
    pub(crate) entry: String,
    /// When it began.
    pub(crate) at: Instant,
    /// What was typed.
    pub(crate) record: Record,
    /// The entry as it stands.
    pub(crate) doc: Value,
    /// Who wrote it first, where they said.
    pub(crate) written_by: Option<String>,
    /// Who wrote the correction that holds, where they said.
    pub(crate) corrected_by: Option<String>,
    /// When that reached the server.
    pub(crate) received_at: Instant,
    /// Whether it was corrected.
    pub(crate) corrected: bool,
}

impl Sprayed {
    /// Whether its finish is not recorded: then it resets nothing.
    pub(crate) fn is_draft(&self) -> bool {
        self.record.finished_at.is_none()
    }
}

/// The sprays of a log by time. It hangs on the entries alone: a record is shown
/// whatever has become of its block's plan.
pub(crate) fn sprays(rows: &[LogEntry], now: Instant) -> Vec<Sprayed> {
    let log = field_log(rows);
    kept(rows, &log, now).into_iter().filter_map(|spray| sprayed(rows, spray)).collect()
}

fn sprayed(rows: &[LogEntry], spray: Kept<'_>) -> Option<Sprayed> {
    let row = |id: &str| rows.iter().find(|row| row.id == id);
    let own = row(spray.id)?;
    let written = spray.corrections.last().and_then(|last| row(last)).unwrap_or(own);
    let corrected = !spray.corrections.is_empty();
    Some(Sprayed {
        entry: spray.id.to_owned(),
        at: spray.at,
        record: Record::of(spray.document),
        doc: spray.document.clone(),
        written_by: author::of(&own.doc),
        corrected_by: corrected.then(|| author::of_correction(&written.doc, &own.doc)).flatten(),
        received_at: written.received_at,
        corrected,
    })
}

/// The material of a record among those known here.
pub(crate) fn material<'a>(record: &Record, known: &'a [Material]) -> Option<&'a Material> {
    known.iter().find(|material| Some(&material.id) == record.material.as_ref())
}
