//! What a jurisdiction names for a spray record, and what of it is not there.

use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;
use serde::{Serialize, Serializer};
use serde_json::Value;

use super::{AMOUNTS, Record, named_fields, words_for};
use crate::input::{self, Faults, Fields};
use crate::materials::Material;

/// What is known of the block beside the record.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BlockFacts<'a> {
    /// Its name on the farm.
    pub name: &'a str,
    /// The farm's name.
    pub farm: Option<&'a str>,
    /// Cultivar planted.
    pub cultivar: Option<&'a str>,
    /// Where it lies, in words or figures.
    pub location: Option<&'a str>,
    /// Crop, where the record names none.
    pub crop: Option<&'a str>,
    /// Area with its unit, where the record names none and the whole block was
    /// sprayed.
    pub area: Option<&'a str>,
    /// IANA zone of its wall clock.
    pub zone: Option<Tz>,
}

/// The fields that a jurisdiction names, between two dates. It says nothing of
/// whether a record is enough for anyone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Profile {
    /// Name under which settings refer to it.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// First day on which it held.
    #[serde(serialize_with = "day")]
    pub from: NaiveDate,
    /// Last day on which it held.
    #[serde(serialize_with = "last_day")]
    pub until: Option<NaiveDate>,
    /// Where its list of fields comes from.
    pub source: String,
    /// `published`, `from-memory`, `constructed` or `common-practice`.
    pub status: &'static str,
    /// The fields it names, as [`named_fields`] has them.
    pub fields: Vec<&'static str>,
}

/// All profiles known here.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Profiles(pub Vec<Profile>);

impl Profiles {
    /// Reads a table of profiles by their ids, as `config/records.toml` has it.
    ///
    /// # Errors
    /// All that is wrong with any of them.
    pub fn read(document: &Value) -> Result<Profiles, Faults> {
        input::read_all(document, Profile::from_fields).map(Profiles)
    }

    /// The profile of that id.
    pub fn get(&self, id: &str) -> Option<&Profile> {
        self.0.iter().find(|profile| profile.id == id)
    }

    /// Those that hold on a day.
    pub fn on(&self, day: NaiveDate) -> impl Iterator<Item = &Profile> {
        self.0.iter().filter(move |profile| profile.holds_on(day))
    }
}

impl Profile {
    /// Reads `name`, `from`, `until`, `source`, `status` and `fields`.
    pub fn from_fields(id: &str, fields: &Fields<'_>) -> Option<Profile> {
        let name = fields.required_text("name");
        let (from, until) = (date(fields, "from", true), date(fields, "until", false));
        if let (Some(from), Some(until)) = (from, until)
            && until < from
        {
            fields.fault("until", format!("{until} lies before from, {from}"));
        }
        let source = fields.required_text("source");
        let status = fields
            .require("status")
            .then(|| fields.word("status", &["published", "from-memory", "constructed", "common-practice"]));
        fields.require("fields");
        let mut named = Vec::new();
        for field in fields.texts("fields") {
            match named_fields().find(|(known, _)| *known == field) {
                Some((known, _)) => named.push(known),
                None => {
                    let known: Vec<&str> = named_fields().map(|(known, _)| known).collect();
                    let detail = format!("`{field}` is no field of a record; known: {}", known.join(", "));
                    fields.fault("fields", detail);
                }
            }
        }
        let id = id.to_owned();
        Some(Profile {
            id,
            name: name?,
            from: from?,
            until,
            source: source?,
            status: status??,
            fields: named,
        })
    }

    /// Whether it held on a day, both ends included.
    pub fn holds_on(&self, day: NaiveDate) -> bool {
        self.from <= day && self.until.is_none_or(|until| day <= until)
    }

    /// The fields this profile names that are not there; [`words_for`] has the
    /// words for each. An amount whose figure has no unit lacks its unit.
    ///
    /// The `material` as it is known here gives its name and its re-entry
    /// hours, the block its own facts, where the record has none.
    pub fn missing(
        &self,
        record: &Record,
        material: Option<&Material>,
        block: &BlockFacts<'_>,
    ) -> Vec<&'static str> {
        let there = |text: Option<&str>| text.is_some_and(|text| !text.trim().is_empty());
        let whole = record.share_of_block.is_none_or(|share| share >= 1.0);
        let mut missing = Vec::new();
        for field in &self.fields {
            let amount = AMOUNTS.iter().find(|(name, _, unit, _)| name == field || unit == field);
            let has = match (*field, amount) {
                ("material", _) => record.material.is_some() || material.is_some(),
                ("at", _) => record.at.is_some(),
                ("finished_at", _) => record.finished_at.is_some(),
                ("reentry_interval", _) => {
                    record.reentry_seconds().is_some()
                        || material.is_some_and(|material| material.reentry_hours.is_some())
                }
                ("reentry_at", _) => record.reentry_at().is_some(),
                ("block", _) => there(Some(block.name)),
                ("farm", _) => there(block.farm),
                ("cultivar", _) => there(block.cultivar),
                ("location", _) => there(block.location),
                ("time_zone", _) => block.zone.is_some(),
                ("crop", _) => there(record.text("crop")) || there(block.crop),
                ("area" | "area_unit", _) if record.amount("area").is_none() => whole && there(block.area),
                (_, Some((name, _, unit, _))) => match record.amount(name) {
                    Some(amount) if amount.number.is_some() && amount.unit.is_none() => {
                        if !missing.contains(unit) {
                            missing.push(unit);
                        }
                        continue;
                    }
                    Some(_) => true,
                    None => false,
                },
                (name, None) => there(record.text(name)),
            };
            if !has {
                missing.push(field);
            }
        }
        missing
    }

    /// For people: what is not there yet, and whether the profile holds on the
    /// day of the spray.
    pub fn told(&self, missing: &[&str], day: NaiveDate) -> String {
        let name = &self.name;
        let mut told = if missing.is_empty() {
            format!("All the fields that the profile “{name}” names are there.")
        } else {
            let words: Vec<&str> = missing.iter().filter_map(|field| words_for(field)).collect();
            format!(
                "Of the fields that the profile “{name}” names, these are not there yet: {}.",
                words.join(", ")
            )
        };
        match self.until {
            Some(until) if day > until => told.push_str(&format!(" It held until {until}.")),
            _ if day < self.from => told.push_str(&format!(" It holds from {} on.", self.from)),
            _ => {}
        }
        told
    }
}

/// A calendar date, as 2025-04-28, in the years that the program takes.
pub(super) fn date(fields: &Fields<'_>, name: &'static str, required: bool) -> Option<NaiveDate> {
    if required && !fields.require(name) {
        return None;
    }
    let text = fields.text(name)?;
    let read = NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d").ok();
    let date = read.filter(|date| (1900..2200).contains(&date.year()));
    if date.is_none() {
        fields.fault(name, format!("`{text}` is not a date from 1900 to 2199; write it like 2025-04-28"));
    }
    date
}

/// A date as 2025-04-28.
pub(super) fn day<S: Serializer>(day: &NaiveDate, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(day)
}

fn last_day<S: Serializer>(last: &Option<NaiveDate>, to: S) -> Result<S::Ok, S::Error> {
    match last {
        Some(last) => day(last, to),
        None => to.serialize_none(),
    }
}
