//! Limits of the hours to spray in, each with where it comes from.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::what::{Strict, What};
use crate::input::{self, Faults, Fields};
use crate::materials::Material;
use crate::units::TemperatureUnit;

/// Honey bees do not fly below this, °C (Hudson Valley extension 2020; published).
pub const BEES_STAY_IN_C: f64 = 10.0;
/// Most limits, and most facts, that one table takes.
const MOST: usize = 200;

/// How well the source of a figure holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Read in the source.
    Published,
    /// Recalled.
    FromMemory,
    /// Put together here.
    Constructed,
    /// Common practice, no source.
    CommonPractice,
    /// Set by whoever sprays.
    Own,
}

impl Status {
    const ALL: [(&'static str, Status); 5] = [
        ("published", Status::Published),
        ("from-memory", Status::FromMemory),
        ("constructed", Status::Constructed),
        ("common-practice", Status::CommonPractice),
        ("own", Status::Own),
    ];

    fn from_fields(fields: &Fields<'_>) -> Option<Status> {
        let word = if fields.require("status") {
            fields.word("status", &Status::ALL.map(|(word, _)| word))?
        } else {
            return None;
        };
        Status::ALL.into_iter().find(|(known, _)| *known == word).map(|(_, status)| status)
    }
}

/// One limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// What it is of.
    pub what: What,
    /// Its figure, in the unit of [`What::unit`].
    pub at: f64,
    /// For [`What::DewFreeAfter`]: air nearer to its dew point than this counts as
    /// dew, K.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread: Option<f64>,
    /// Materials by their ids; empty: all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub materials: Vec<String>,
    /// Where it comes from.
    pub source: String,
    /// How well that holds.
    pub status: Status,
}

/// A fact that stands beside every hour of some materials.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fact {
    /// The sentence.
    pub says: String,
    /// Materials by their ids; empty: all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub materials: Vec<String>,
    /// Where it comes from.
    pub source: String,
    /// How well that holds.
    pub status: Status,
}

/// Limits and facts, of the person and of the materials.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Limits {
    /// Every limit that was set.
    pub limits: Vec<Limit>,
    /// Facts.
    pub facts: Vec<Fact>,
}

impl Limits {
    /// Reads `{"limit": [{what, at, unit, spread, materials, source, status}],
    /// "fact": [{says, materials, source, status}]}`, as `config/slots.toml` has it.
    ///
    /// # Errors
    /// All that is wrong with any of them, fields that are not known too.
    pub fn read(document: &Value) -> Result<Limits, Faults> {
        input::read(document, |fields| {
            let read = Limits { limits: fields.tables("limit", limit), facts: fields.tables("fact", fact) };
            for (name, count) in [("limit", read.limits.len()), ("fact", read.facts.len())] {
                if count > MOST {
                    fields.fault(name, format!("has more than {MOST} entries"));
                }
            }
            Some(read)
        })
    }

    /// The same as [`Self::read`] takes it. What takes no figure has none.
    pub fn document(&self) -> Value {
        let limit = |limit: &Limit| {
            let mut document = serde_json::to_value(limit).unwrap_or_default();
            if let (What::BeeQuiet, Some(fields)) = (limit.what, document.as_object_mut()) {
                fields.remove("at");
            }
            document
        };
        let limits: Vec<Value> = self.limits.iter().map(limit).collect();
        serde_json::json!({ "limit": limits, "fact": self.facts })
    }

    /// These and more of them, such as those of another person or of a material.
    #[must_use]
    pub fn and(mut self, more: impl IntoIterator<Item = Limit>) -> Limits {
        self.limits.extend(more);
        self
    }

    /// The limits that stand on a material's own entry, for it alone.
    pub fn of_material(material: &Material) -> Vec<Limit> {
        let figures = [
            (What::Wind, material.max_wind_m_s),
            (What::Gust, material.max_gust_m_s),
            (What::Warmest, material.max_celsius),
            (What::Coldest, material.min_celsius),
            (What::RainFreeAfter, material.rain_free_hours_after),
            (What::Interval, material.minimum_interval_hours),
        ];
        let limit = |(what, at): (What, Option<f64>)| {
            Some(Limit {
                what,
                at: at?,
                spread: None,
                materials: vec![material.id.clone()],
                source: format!("as entered for {}", material.name),
                status: Status::Own,
            })
        };
        figures.into_iter().filter_map(limit).collect()
    }

    /// What an hour is held against when `material` is to go on: of each kind the
    /// strictest, the first of equals; of dew all, since hours and nearness both
    /// count. In the order of [`What::SET`].
    pub fn held(&self, material: Option<&str>) -> Vec<&Limit> {
        let mut held: Vec<&Limit> = Vec::new();
        for limit in self.limits.iter().filter(|limit| holds_for(&limit.materials, material)) {
            let same = held.iter_mut().find(|other| other.what == limit.what);
            match (same, limit.what.strict()) {
                (Some(_), _) if limit.what == What::DewFreeAfter => held.push(limit),
                (Some(other), Strict::Lower) if limit.at < other.at => *other = limit,
                (Some(other), Strict::Higher) if limit.at > other.at => *other = limit,
                (Some(_), _) => {}
                (None, _) => held.push(limit),
            }
        }
        held.sort_by_key(|limit| limit.what);
        held
    }

    /// The facts that stand beside when `material` is to go on.
    pub fn facts_for(&self, material: Option<&str>) -> Vec<&Fact> {
        self.facts.iter().filter(|fact| holds_for(&fact.materials, material)).collect()
    }
}

fn holds_for(materials: &[String], material: Option<&str>) -> bool {
    materials.is_empty() || material.is_some_and(|id| materials.iter().any(|known| known == id))
}

fn limit(fields: &Fields<'_>) -> Option<Limit> {
    let words = What::SET.map(What::word);
    let word = if fields.require("what") { fields.word("what", &words) } else { None };
    let what = What::SET.into_iter().find(|what| Some(what.word()) == word);
    let source = fields.required_text("source");
    let status = Status::from_fields(fields);
    let materials = fields.texts("materials");
    let at = figure(fields, what);
    let spread = fields.number("spread", 0.0, 10.0);
    match what {
        Some(What::DewFreeAfter) if !fields.has("spread") => {
            fields.fault("spread", "is missing: how near the dew point counts as dew, K");
        }
        Some(what) if what != What::DewFreeAfter && fields.has("spread") => {
            fields.fault("spread", "belongs to dew-free-after alone");
        }
        _ => {}
    }
    Some(Limit { what: what?, at: at?, spread, materials, source: source?, status: status? })
}

/// The figure of a limit in its own unit; a limit that takes none has the one by
/// which it goes.
fn figure(fields: &Fields<'_>, what: Option<What>) -> Option<f64> {
    let unit = fields.word("unit", &TemperatureUnit::NAMES);
    if what == Some(What::BeeQuiet) {
        if fields.has("at") {
            fields.fault("at", "bee-quiet takes no figure: sun down, or air under 10 °C");
        }
        return Some(BEES_STAY_IN_C);
    }
    if !fields.require("at") {
        return None;
    }
    let (low, high) = what?.range();
    if !fields.has("unit") {
        return fields.number("at", low, high);
    }
    if !matches!(what, Some(What::Warmest | What::Coldest)) {
        fields.fault("unit", "belongs to warmest and coldest alone");
    }
    let celsius = TemperatureUnit::named(unit?)?.to_celsius(fields.number("at", -500.0, 500.0)?);
    if !(low..=high).contains(&celsius) {
        fields.fault("at", format!("is {celsius:.1} °C, outside {low} to {high}"));
        return None;
    }
    Some(celsius)
}

fn fact(fields: &Fields<'_>) -> Option<Fact> {
    let says = fields.required_text("says");
    let source = fields.required_text("source");
    let status = Status::from_fields(fields);
    let materials = fields.texts("materials");
    Some(Fact { says: says?, materials, source: source?, status: status? })
}
