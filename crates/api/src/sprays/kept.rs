//! Sprays of a log as they stand, each with the document that says so.

use std::collections::HashSet;

use model::field_log::{FieldLog, Observed, Says};
use model::time::Instant;
use serde_json::Value;
use store::LogEntry;

/// A spray that stands.
pub struct Kept<'a> {
    /// Id of the original entry, which a correction keeps.
    pub id: &'a str,
    /// When it began, as corrected.
    pub at: Instant,
    /// What was written of it last.
    pub document: &'a Value,
    /// Its corrections in order of id; the last one holds.
    pub corrections: Vec<&'a str>,
}

/// The sprays of a log that stand at `now`. `rows` are those that `log` was read
/// from.
pub fn kept<'a>(rows: &'a [LogEntry], log: &'a FieldLog, now: Instant) -> Vec<Kept<'a>> {
    let entries = || log.entries().iter().filter(|entry| entry.at <= now);
    let withdrawn: HashSet<&str> = entries()
        .filter_map(|entry| match &entry.says {
            Says::Withdrawal { of } => Some(of.as_str()),
            _ => None,
        })
        .collect();
    let document = |id: &str| rows.iter().find(|row| row.id == id).map(|row| &row.doc);
    let mut sprays = Vec::new();
    for standing in log.stand(now).entries {
        if !matches!(standing.says, Observed::Spray(_)) {
            continue;
        }
        let of_it = entries().filter(|entry| match &entry.says {
            Says::Correction { of, entry: says, .. } => {
                of == standing.id
                    && matches!(says, Observed::Spray(_))
                    && !withdrawn.contains(entry.id.as_str())
            }
            _ => false,
        });
        let corrections: Vec<&str> = of_it.map(|entry| entry.id.as_str()).collect();
        let document = match corrections.last() {
            Some(last) => document(last).and_then(|correction| correction.get("entry")),
            None => document(standing.id),
        };
        let Some(document) = document else { continue };
        sprays.push(Kept { id: standing.id, at: standing.at, document, corrections });
    }
    sprays
}
