//! Someone's word that a material may be used on a block.

use chrono::NaiveDate;
use serde::Serialize;

use super::profiles::{date, day};
use crate::input::Fields;

/// Longest name or place in a confirmation, in characters.
const LONGEST_TEXT: usize = 200;
/// Longest note, in characters.
const LONGEST_NOTE: usize = 2_000;

/// A person's word, with name and date, that a material is registered for this
/// use where the block lies and that its label allows use in bloom. It is their
/// word: nothing here looks it up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Confirmation {
    /// Material by its id.
    pub material: String,
    /// State or country whose registration was looked up.
    pub jurisdiction: String,
    /// Who says so.
    pub by: String,
    /// On what day.
    #[serde(serialize_with = "day")]
    pub on: NaiveDate,
    /// That it is registered for this use there; always true in what was read.
    pub registered: bool,
    /// That its label allows use in bloom; always true in what was read.
    pub bloom_use: bool,
    /// What it rests on.
    pub note: Option<String>,
}

impl Confirmation {
    /// Reads `material`, `jurisdiction`, `by`, `on` (a date), `registered` and
    /// `bloom_use`, which both have to be true, and a `note`.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Confirmation> {
        let line = |name| short(fields, name, fields.required_text(name)?, LONGEST_TEXT);
        let material = line("material");
        let jurisdiction = line("jurisdiction");
        let by = line("by");
        let on = date(fields, "on", true);
        let registered = ticked(
            fields,
            "registered",
            "confirm this too, or the material stays unconfirmed: \
            that it is registered for this use in the jurisdiction named",
        );
        let bloom_use = ticked(
            fields,
            "bloom_use",
            "confirm this too, or the material stays unconfirmed: that its label allows use in bloom",
        );
        let note = fields.text("note").and_then(|note| short(fields, "note", note, LONGEST_NOTE));
        let read = Confirmation {
            material: material?,
            jurisdiction: jurisdiction?,
            by: by?,
            on: on?,
            registered,
            bloom_use,
            note,
        };
        (registered && bloom_use).then_some(read)
    }

    /// Whether it is about this material.
    pub fn covers(&self, material: &str) -> bool {
        self.registered && self.bloom_use && self.material == material
    }

    /// For people: who confirmed what.
    pub fn spoken(&self) -> String {
        format!(
            "{} confirmed on {} that it is registered for this use in {} and that its label allows use in bloom",
            self.by, self.on, self.jurisdiction
        )
    }
}

fn ticked(fields: &Fields<'_>, name: &'static str, otherwise: &str) -> bool {
    if !fields.has(name) || fields.flag(name) == Some(false) {
        fields.fault(name, otherwise);
    }
    fields.value(name).and_then(serde_json::Value::as_bool).unwrap_or(false)
}

fn short(fields: &Fields<'_>, name: &'static str, text: String, longest: usize) -> Option<String> {
    if text.chars().count() > longest {
        fields.fault(name, format!("is longer than {longest} characters"));
        return None;
    }
    Some(text)
}
