//! The record of a spray: what went on, where, when, by whom, in what weather.
//!
//! A record is read as loosely as people write: what is a number is one, the
//! rest is kept as it was typed, and nothing that is missing is refused. What a
//! jurisdiction names is told beside it ([`Profile::missing`]).

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;

use crate::input::{self, Faults, Fields};
use crate::time::Instant;

mod amount;
mod confirmation;
mod profiles;
mod reentry;
mod sheets;

#[cfg(test)]
mod tests;

pub use amount::Amount;
pub use confirmation::Confirmation;
pub use profiles::{BlockFacts, Profile, Profiles};
pub use reentry::{LONGEST_REENTRY, seconds as reentry_seconds};
pub use sheets::{Job, KEEP_OUT_UNTIL, Row, Sheet, job, notice};

/// Fields that hold a text, with their words for people.
const TEXTS: [(&str, &str); 16] = [
    ("product", "product name"),
    ("registration_number", "registration number"),
    ("country", "country of registration"),
    ("active_ingredient", "active ingredient"),
    ("rate_basis", "what the rate is a share of (volume, weight or area)"),
    ("crop", "crop"),
    ("bbch", "growth stage (BBCH)"),
    ("applicator", "who applied it"),
    ("certificate", "the applicator's certificate"),
    ("equipment", "equipment"),
    ("wind_source", "where the wind was measured"),
    ("temperature_source", "where the temperature was measured"),
    ("bee_notice", "notice given to beekeepers"),
    ("reentry_at", "re-entry time"),
    ("reason", "reason"),
    ("note", "note"),
];

/// Fields that hold an amount, each with the field for its unit, and the words
/// for both.
const AMOUNTS: [(&str, &str, &str, &str); 6] = [
    ("total_amount", "total amount of product", "total_unit", "unit of the total amount"),
    ("rate", "rate", "rate_unit", "unit of the rate"),
    ("water_volume", "water volume", "water_unit", "unit of the water volume"),
    ("area", "area treated", "area_unit", "unit of the area"),
    ("wind", "wind", "wind_unit", "unit of the wind"),
    ("temperature", "temperature", "temperature_unit", "unit of the temperature"),
];

/// Fields of the spray and its block that a profile may name beside those.
const AROUND: [(&str, &str); 9] = [
    ("material", "material"),
    ("at", "when it began"),
    ("finished_at", "when it was finished"),
    ("reentry_interval", "re-entry interval"),
    ("block", "block"),
    ("farm", "farm"),
    ("cultivar", "cultivar"),
    ("location", "where the block lies"),
    ("time_zone", "time zone"),
];

/// Every field that a profile may name, with its words for people.
pub fn named_fields() -> impl Iterator<Item = (&'static str, &'static str)> {
    let amounts =
        AMOUNTS.iter().flat_map(|(name, words, unit, unit_words)| [(*name, *words), (*unit, *unit_words)]);
    AROUND.into_iter().chain(TEXTS).chain(amounts)
}

/// The words for a field.
pub fn words_for(field: &str) -> Option<&'static str> {
    named_fields().find(|(name, _)| *name == field).map(|(_, words)| words)
}

/// The record of one spray. What was typed is kept for ever, beside what could
/// be read of it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Record {
    /// Material by its id or name.
    pub material: Option<String>,
    /// When it began; the finish where no begin was written.
    pub at: Option<Instant>,
    /// When it was finished; a draft has none.
    pub finished_at: Option<Instant>,
    /// Share of the block that got it, where one was written.
    pub share_of_block: Option<f64>,
    /// The re-entry interval as it was typed, in either of its fields.
    pub reentry_typed: Vec<String>,
    #[serde(skip)]
    reentry: Option<i64>,
    #[serde(flatten)]
    texts: BTreeMap<&'static str, String>,
    #[serde(flatten)]
    amounts: BTreeMap<&'static str, Amount>,
}

impl Record {
    /// Reads the record out of a whole log entry of kind `spray`. A field that
    /// is no text, number or flag is a fault; one that is missing never is.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Record> {
        fields.ignore(&["id", "kind", "thins", "took", "by", "author", "received_at"]);
        let finished_at = fields.instant("finished_at");
        let at = if fields.has("at") { fields.instant("at") } else { finished_at };
        let mut record = Record {
            material: typed(fields, "material"),
            at,
            finished_at,
            share_of_block: fields.number("share_of_block", 0.0, 1.0),
            ..Record::default()
        };
        for (name, _) in TEXTS {
            record.texts.extend(typed(fields, name).map(|text| (name, text)));
        }
        for (name, _, unit, _) in AMOUNTS {
            let unit = typed(fields, unit);
            let amount = typed(fields, name).map(|text| Amount::of(text, unit));
            record.amounts.extend(amount.map(|amount| (name, amount)));
        }
        for name in ["reentry_hours", "reentry_interval"] {
            let Some(text) = typed(fields, name) else { continue };
            // A bare number is hours in both. Of two the longer one holds.
            record.reentry = record.reentry.max(reentry::seconds(&text));
            record.reentry_typed.push(text);
        }
        Some(record)
    }

    /// The record in an entry that is stored already, whatever stands in it:
    /// what this reader does not know or cannot take is left out.
    pub fn of(entry: &Value) -> Record {
        let faults = match input::read(entry, Record::from_fields) {
            Ok(record) => return record,
            Err(Faults(faults)) => faults,
        };
        let mut known = entry.as_object().cloned().unwrap_or_default();
        known.retain(|name, _| {
            let pointer = format!("/{}", name.replace('~', "~0").replace('/', "~1"));
            faults.iter().all(|fault| fault.pointer != pointer)
        });
        input::read(&Value::Object(known), Record::from_fields).unwrap_or_default()
    }

    /// A text field, as typed.
    pub fn text(&self, field: &str) -> Option<&str> {
        self.texts.get(field).map(String::as_str)
    }

    /// An amount: `total_amount`, `rate`, `water_volume`, `area`, `wind` or
    /// `temperature`.
    pub fn amount(&self, field: &str) -> Option<&Amount> {
        self.amounts.get(field)
    }

    /// The re-entry interval in seconds; none when it was not recorded or
    /// cannot be read.
    pub fn reentry_seconds(&self) -> Option<i64> {
        self.reentry
    }

    /// When people may be asked to go in again at the earliest: the interval
    /// after the finish, or the time that was written, whichever is later. None
    /// for what is not recorded: then the label decides.
    pub fn reentry_at(&self) -> Option<Instant> {
        let by_interval = self.finished_at.zip(self.reentry).map(|(finish, seconds)| finish.plus(seconds));
        let written = self.text("reentry_at").and_then(|text| Instant::parse(text).ok());
        by_interval.max(written)
    }
}

/// A text or a number as it was typed; none when it is blank.
fn typed(fields: &Fields<'_>, name: &'static str) -> Option<String> {
    let value = fields.value(name)?;
    if value.is_array() || value.is_object() {
        fields.fault(name, "expected a text or a number");
        return None;
    }
    let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    (!text.trim().is_empty()).then_some(text)
}
