//! The append-only record of a season, and what of it stands after corrections
//! and withdrawals.

use std::collections::HashMap;

use serde_json::Value;

use crate::input::{self, Faults, Fields};
use crate::time::{FUTURE_TOLERANCE, Instant};

mod kinds;
pub use kinds::{Decision, KINDS, Observed, OpenCount, SetCount, Spray, TreeClass};

/// Longest id of an entry.
const LONGEST_ID: usize = 100;

/// One entry of the field log as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Id given by the writer.
    pub id: String,
    /// When it was observed; for a spray, when it began.
    pub at: Instant,
    /// What it says.
    pub says: Says,
}

/// What an entry says: something observed, or something about another entry.
#[derive(Debug, Clone, PartialEq)]
pub enum Says {
    /// Something seen or done in the block.
    Observed(Observed),
    /// How an earlier entry should read.
    Correction {
        /// Id of the original entry.
        of: String,
        /// When it was observed, as corrected.
        at: Instant,
        /// What it should say; the same kind.
        entry: Observed,
    },
    /// An earlier entry is taken back.
    Withdrawal {
        /// Id of the entry.
        of: String,
    },
}

impl Entry {
    /// The word for its kind.
    pub fn kind(&self) -> &'static str {
        match &self.says {
            Says::Observed(observed) => observed.kind(),
            Says::Correction { .. } => "correction",
            Says::Withdrawal { .. } => "withdrawal",
        }
    }

    /// Reads an entry. Without an `id` it gets `fallback_id`; without one of
    /// those the id is a fault.
    ///
    /// # Errors
    /// All that is wrong with the entry in itself.
    pub fn read(document: &Value, fallback_id: Option<&str>) -> Result<Entry, Faults> {
        input::read(document, |fields| Entry::from_fields(fields, fallback_id))
    }

    /// Reads an entry from its fields.
    pub fn from_fields(fields: &Fields<'_>, fallback_id: Option<&str>) -> Option<Entry> {
        let id = match (fields.has("id"), fallback_id) {
            (false, Some(fallback)) => Some(fallback.to_owned()),
            _ => fields.required_text("id"),
        };
        if id.as_ref().is_some_and(|id| id.chars().count() > LONGEST_ID || id.contains(char::is_control)) {
            fields.fault(
                "id",
                format!("expected at most {LONGEST_ID} characters, none of them a control character"),
            );
        }
        let kind = if fields.require("kind") { fields.word("kind", &KINDS) } else { None };
        let Some(kind) = kind else {
            // Without its kind no field of it can be judged.
            let all: Vec<&'static str> = kinds::ALL_FIELDS.to_vec();
            fields.ignore(&all);
            return None;
        };
        let at = kinds::observed_at(kind, fields);
        let says = match kind {
            "correction" => correction(fields),
            "withdrawal" => {
                let of = fields.required_text("of");
                fields.text("reason");
                fields.text("by");
                of.map(|of| Says::Withdrawal { of })
            }
            _ => Observed::from_fields(kind, at, fields).map(Says::Observed),
        };
        Some(Entry { id: id?, at: at?, says: says? })
    }

    /// The moments that the entry speaks of, each with its place in it.
    fn moments(&self) -> [(&'static str, Option<Instant>); 4] {
        let finish = |observed: &Observed| match observed {
            Observed::Spray(spray) => spray.finished_at,
            _ => None,
        };
        let (own_finish, inner, inner_finish) = match &self.says {
            Says::Observed(observed) => (finish(observed), None, None),
            Says::Correction { at, entry, .. } => (None, Some(*at), finish(entry)),
            Says::Withdrawal { .. } => (None, None, None),
        };
        // A spray without a begin takes its finish for it, so the finish comes first.
        [
            ("/finished_at", own_finish),
            ("/at", Some(self.at)),
            ("/entry/finished_at", inner_finish),
            ("/entry/at", inner),
        ]
    }

    /// The latest moment that the entry speaks of.
    fn latest(&self) -> Instant {
        self.moments().into_iter().filter_map(|(_, at)| at).fold(self.at, Instant::max)
    }

    /// Refuses what the receiving clock has not seen yet.
    ///
    /// # Errors
    /// When the entry speaks of a time more than ten minutes after `now`.
    pub fn check_not_ahead(&self, now: Instant) -> Result<(), Faults> {
        let ahead = |at: &Instant| *at > now.plus(FUTURE_TOLERANCE);
        match self.moments().into_iter().find_map(|(place, at)| Some((place, at.filter(ahead)?))) {
            Some((place, at)) => {
                Err(Faults::one(place, format!("{at} lies more than 10 minutes ahead of now, {now}")))
            }
            None => Ok(()),
        }
    }
}

fn correction(fields: &Fields<'_>) -> Option<Says> {
    let of = fields.required_text("of");
    fields.text("reason");
    // Who corrects; within the entry stands who wrote it first.
    fields.text("by");
    if !fields.require("entry") {
        return None;
    }
    let inner = fields.table("entry")?;
    inner.ignore(&["id"]);
    let plain: Vec<&'static str> =
        KINDS.into_iter().filter(|kind| !matches!(*kind, "correction" | "withdrawal")).collect();
    let kind = if inner.require("kind") { inner.word("kind", &plain) } else { None }?;
    let at = kinds::observed_at(kind, &inner);
    let entry = Observed::from_fields(kind, at, &inner);
    inner.refuse_unknown();
    Some(Says::Correction { of: of?, at: at?, entry: entry? })
}

/// What stands of one entry after corrections and withdrawals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing<'a> {
    /// Id of the original entry, which a correction keeps.
    pub id: &'a str,
    /// When it was observed.
    pub at: Instant,
    /// What it says now.
    pub says: &'a Observed,
}

/// A whole field log, in the order that decides between entries.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FieldLog {
    entries: Vec<Entry>,
}

/// An id that two different entries share.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("two different entries have the id `{0}`; give each its own, or write a correction")]
pub struct SameId(pub String);

/// What stands of a log at one moment, and what of it could not be used.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stand<'a> {
    /// By time observed, then by id.
    pub entries: Vec<Standing<'a>>,
    /// Entries that lie after the moment.
    pub ahead: Vec<(&'a str, Instant)>,
    /// Corrections and withdrawals of entries that the log does not have, or
    /// of another kind.
    pub orphans: Vec<&'a str>,
    /// Times of the corrections and withdrawals that took effect.
    pub amended_at: Vec<Instant>,
}

impl FieldLog {
    /// Entries whose ids order them, as the service keeps them: of several
    /// corrections the highest id holds.
    ///
    /// # Errors
    /// When two entries with one id say different things.
    pub fn by_id(mut entries: Vec<Entry>) -> Result<FieldLog, SameId> {
        entries.sort_by(|a, b| a.id.cmp(&b.id));
        FieldLog::in_order(entries)
    }

    /// Entries in the order of a file: of several corrections the later holds.
    ///
    /// # Errors
    /// When two entries with one id say different things.
    pub fn in_order(entries: Vec<Entry>) -> Result<FieldLog, SameId> {
        let mut seen: HashMap<&str, &Entry> = HashMap::new();
        let mut kept = Vec::with_capacity(entries.len());
        for (n, entry) in entries.iter().enumerate() {
            match seen.insert(&entry.id, entry) {
                Some(before) if before == entry => {}
                Some(_) => return Err(SameId(entry.id.clone())),
                None => kept.push(n),
            }
        }
        let entries = if kept.len() == entries.len() {
            entries
        } else {
            kept.into_iter().map(|n| entries[n].clone()).collect()
        };
        Ok(FieldLog { entries })
    }

    /// The entries as written.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// The first moment that any entry speaks of.
    pub fn begin(&self) -> Option<Instant> {
        let corrected = |entry: &Entry| match entry.says {
            Says::Correction { at, .. } => at.min(entry.at),
            _ => entry.at,
        };
        self.entries.iter().map(corrected).min()
    }

    /// The last moment that any entry speaks of.
    pub fn end(&self) -> Option<Instant> {
        self.entries.iter().map(Entry::latest).max()
    }

    /// What stands at `now`.
    pub fn stand(&self, now: Instant) -> Stand<'_> {
        let mut stand = Stand::default();
        let amends = self.entries.iter().any(|entry| !matches!(entry.says, Says::Observed(_)));
        if !amends {
            for entry in &self.entries {
                if let Says::Observed(says) = &entry.says {
                    stand.take(&entry.id, entry.at, says, now);
                }
            }
            return stand.in_order();
        }
        let kinds: HashMap<&str, &Entry> =
            self.entries.iter().map(|entry| (entry.id.as_str(), entry)).collect();
        let mut withdrawn: HashMap<&str, Instant> = HashMap::new();
        let mut corrected: HashMap<&str, (&Entry, Instant, &Observed)> = HashMap::new();
        for entry in self.entries.iter().filter(|entry| entry.at <= now) {
            if let Says::Withdrawal { of } = &entry.says {
                match kinds.get(of.as_str()) {
                    Some(of) if !matches!(of.says, Says::Withdrawal { .. }) => {
                        withdrawn.insert(&of.id, entry.at);
                        stand.amended_at.push(entry.at);
                    }
                    _ => stand.orphans.push(&entry.id),
                }
            }
        }
        for entry in &self.entries {
            if entry.at > now {
                if !matches!(entry.says, Says::Observed(_)) {
                    stand.ahead.push((&entry.id, entry.at));
                }
                continue;
            }
            if let Says::Correction { of, at, entry: says } = &entry.says
                && !withdrawn.contains_key(entry.id.as_str())
            {
                match kinds.get(of.as_str()) {
                    Some(original) if original.kind() == says.kind() => {
                        corrected.insert(&original.id, (entry, *at, says));
                        stand.amended_at.push(entry.at);
                    }
                    _ => stand.orphans.push(&entry.id),
                }
            }
        }
        for entry in &self.entries {
            let Says::Observed(said) = &entry.says else { continue };
            if withdrawn.contains_key(entry.id.as_str()) {
                continue;
            }
            let (at, says) =
                corrected.get(entry.id.as_str()).map_or((entry.at, said), |(_, at, says)| (*at, *says));
            stand.take(&entry.id, at, says, now);
        }
        stand.in_order()
    }
}

impl<'a> Stand<'a> {
    fn take(&mut self, id: &'a str, at: Instant, says: &'a Observed, now: Instant) {
        if at > now {
            self.ahead.push((id, at));
            return;
        }
        self.entries.push(Standing { id, at, says });
    }

    /// Everything by time and id: the order in which entries were written
    /// changes nothing here.
    fn in_order(mut self) -> Stand<'a> {
        self.entries.sort_by_key(|entry| (entry.at, entry.id));
        self.ahead.sort_by_key(|(id, at)| (*at, *id));
        self.orphans.sort();
        self.amended_at.sort();
        self
    }
}

#[cfg(test)]
mod tests;
