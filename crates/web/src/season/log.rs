//! The log as it was written: what was corrected or withdrawn stays readable, with
//! what holds in its place.

use chrono_tz::Tz;
use model::field_log::Entry;
use store::LogEntry;

use crate::words::Words;
use crate::{author, said};

/// One entry with what was written about it later.
pub(crate) struct Line {
    pub(crate) when: String,
    pub(crate) what: String,
    /// Whether it does not hold any more as it was written.
    pub(crate) gone: bool,
    /// Corrections and withdrawals, as they were written.
    pub(crate) after: Vec<After>,
    /// Who wrote it, and when it was received.
    pub(crate) written: String,
}

/// Something written about an entry.
pub(crate) struct After {
    pub(crate) told: String,
    /// Whether a later one holds in its place, or it was withdrawn.
    pub(crate) gone: bool,
}

/// All entries by the time observed.
pub(super) fn lines(rows: &[LogEntry], zone: Tz, words: &Words) -> Vec<Line> {
    let log = Log { rows, zone, words };
    let known = |row: &LogEntry| rows.iter().any(|other| Some(other.id.as_str()) == row.doc["of"].as_str());
    // What is about an entry stands below that; what is about none stands by itself.
    let mut own: Vec<&LogEntry> = rows.iter().filter(|row| !is_about(row) || !known(row)).collect();
    own.sort_by_key(|row| (row.at, &row.id));
    own.into_iter().map(|row| log.line(row)).collect()
}

struct Log<'a> {
    /// In order of id: of several corrections the last holds.
    rows: &'a [LogEntry],
    zone: Tz,
    words: &'a Words,
}

fn is_about(row: &LogEntry) -> bool {
    ["correction", "withdrawal"].contains(&row.kind.as_str())
}

impl Log<'_> {
    fn line(&self, row: &LogEntry) -> Line {
        let withdrawals = self.about(row, "withdrawal");
        let corrections = self.about(row, "correction");
        let stands = |row: &&LogEntry| self.about(row, "withdrawal").is_empty();
        let holds = corrections.iter().copied().rfind(stands).map(|row| &row.id);
        let mut after: Vec<After> = Vec::new();
        for correction in &corrections {
            let holds = withdrawals.is_empty() && holds == Some(&correction.id);
            after.push(After { told: self.corrected(correction, row), gone: !holds });
            let back = self.about(correction, "withdrawal");
            after.extend(back.iter().map(|row| After { told: self.withdrawn(row), gone: false }));
        }
        after.extend(withdrawals.iter().map(|row| After { told: self.withdrawn(row), gone: false }));
        Line {
            when: row.at.spoken(self.zone),
            what: api::brief(row),
            gone: holds.is_some() || !withdrawals.is_empty(),
            after,
            written: self.words.fill(
                "season.received",
                &[
                    ("by", &author::of(&row.doc).map_or(String::new(), |by| format!("{by}, "))),
                    ("when", &said::dated(row.received_at, self.zone)),
                ],
            ),
        }
    }

    /// What of one kind was written about an entry.
    fn about(&self, row: &LogEntry, kind: &str) -> Vec<&LogEntry> {
        let is = |other: &&LogEntry| other.kind == kind && other.doc["of"].as_str() == Some(&row.id);
        self.rows.iter().filter(is).collect()
    }

    fn corrected(&self, row: &LogEntry, first: &LogEntry) -> String {
        let entry = &row.doc["entry"];
        let at = Entry::read(entry, Some(&row.id)).map_or(row.at, |entry| entry.at);
        let inner = LogEntry { doc: entry.clone(), at, ..row.clone() };
        let by = author::of_correction(&row.doc, &first.doc);
        self.words.fill(
            "season.corrected",
            &[
                ("by", &by.map_or(String::new(), |by| self.words.fill("said.by", &[("by", &by)]))),
                ("written", &row.at.spoken(self.zone)),
                ("at", &at.spoken(self.zone)),
                ("what", &api::brief(&inner)),
            ],
        )
    }

    fn withdrawn(&self, row: &LogEntry) -> String {
        let why = row.doc["reason"].as_str().map_or(String::new(), |why| format!(": {why}"));
        let when = row.at.spoken(self.zone);
        let by = author::of(&row.doc).map_or(String::new(), |by| self.words.fill("said.by", &[("by", &by)]));
        self.words.fill("season.withdrawn", &[("when", &when), ("by", &by), ("why", &why)])
    }
}
