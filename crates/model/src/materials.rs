//! Materials that thin, and those that are known to act on flowers.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::input::{self, Faults, Fields};
use crate::plan::{MARKS, MarkBound};

mod rate;
mod rate_unit;

#[cfg(test)]
mod tests;

pub(crate) use rate::above_zero;
pub use rate::{LEAST, Rate, figure};
pub use rate_unit::{KILOGRAMS_PER_POUND, RateBasis, RateUnit, US_FLUID_OUNCES_PER_US_GALLON};

/// Longest re-entry time or interval between two applications that is taken,
/// hours: a year (constructed).
pub const LONGEST_HOURS: f64 = 8_784.0;
/// Strongest wind that a limit may name, m/s (constructed).
const STRONGEST_WIND: f64 = 50.0;

/// What a material does to open flowers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Put on to thin.
    Thinner,
    /// Put on for something else, but known to act on flowers.
    ActsOnFlowers,
    /// Put on for something else.
    Other,
}

/// Whether a material is known to act on open flowers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ActsOnFlowers {
    /// It does.
    Yes,
    /// It is not known to.
    No,
    /// Someone has said that it is not known; only then.
    Unknown,
}

/// A material by its common name; no product is meant, and nothing here says
/// that it may be used anywhere. Figures are what growers start from, each with
/// its source in `basis`; the label and the person decide.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Name under which plans and sprays refer to it.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// What it does to open flowers.
    pub role: Role,
    /// Whether it acts on open flowers; follows from the role unless told.
    pub acts_on_flowers: ActsOnFlowers,
    /// Mark at which it usually goes on, as a share of the style.
    pub usual_mark: Option<f64>,
    /// Side of that mark it usually keeps to.
    pub usual_bound: Option<MarkBound>,
    /// How much of it usually goes on.
    pub rate: Option<Rate>,
    /// Hours after a spray in which nobody goes in, as its user read them off
    /// the label.
    pub reentry_hours: Option<f64>,
    /// Most applications in one season.
    pub season_maximum: Option<i64>,
    /// Least hours between two applications.
    pub minimum_interval_hours: Option<f64>,
    /// Where marks and rates come from, with the status of each.
    pub basis: Option<String>,
    /// Strongest mean wind to spray in, m/s.
    pub max_wind_m_s: Option<f64>,
    /// Strongest gust to spray in, m/s.
    pub max_gust_m_s: Option<f64>,
    /// Hours after a spray that have to stay free of rain.
    pub rain_free_hours_after: Option<f64>,
    /// Warmest air to spray in, °C.
    pub max_celsius: Option<f64>,
    /// Coldest air to spray in, °C.
    pub min_celsius: Option<f64>,
}

impl Material {
    /// Reads a table of materials by their ids, as `config/materials.toml` has
    /// it.
    ///
    /// # Errors
    /// All that is wrong with any of them.
    pub fn read_all(document: &Value) -> Result<Vec<Material>, Faults> {
        input::read_all(document, Material::from_fields)
    }

    /// Reads `name` and `role` (`thinner`, `acts-on-flowers`, `other`), and
    /// what else of a material is given.
    pub fn from_fields(id: &str, fields: &Fields<'_>) -> Option<Material> {
        let name = fields.required_text("name");
        let role = fields.word("role", &["thinner", "acts-on-flowers", "other"]).map(|role| match role {
            "thinner" => Role::Thinner,
            "acts-on-flowers" => Role::ActsOnFlowers,
            _ => Role::Other,
        });
        if role.is_none() && !fields.has("role") {
            fields.fault("role", "is missing");
        }
        let acts_on_flowers = acts_on_flowers(fields, role);
        let usual_mark = fields.number("usual_mark", MARKS.0, MARKS.1);
        let usual_bound = fields.word("usual_bound", &["not-before", "not-after"]).map(|bound| match bound {
            "not-before" => MarkBound::NotBefore,
            _ => MarkBound::NotAfter,
        });
        let rate = if Rate::asked(fields) { Rate::from_fields(fields) } else { None };
        let celsius = |name| fields.number(name, -20.0, 50.0);
        let (max_celsius, min_celsius) = (celsius("max_celsius"), celsius("min_celsius"));
        if let (Some(max), Some(min)) = (max_celsius, min_celsius)
            && max <= min
        {
            fields.fault("max_celsius", format!("is {max}, not above min_celsius, {min}"));
        }
        let read = Material {
            id: id.to_owned(),
            name: name.unwrap_or_default(),
            role: role.unwrap_or(Role::Other),
            acts_on_flowers,
            usual_mark,
            usual_bound,
            rate,
            reentry_hours: above_zero(fields, "reentry_hours", LONGEST_HOURS),
            season_maximum: fields.whole("season_maximum", 1, 100),
            minimum_interval_hours: above_zero(fields, "minimum_interval_hours", LONGEST_HOURS),
            basis: fields.text("basis"),
            max_wind_m_s: above_zero(fields, "max_wind_m_s", STRONGEST_WIND),
            max_gust_m_s: above_zero(fields, "max_gust_m_s", STRONGEST_WIND),
            rain_free_hours_after: above_zero(fields, "rain_free_hours_after", 240.0),
            max_celsius,
            min_celsius,
        };
        (!read.name.is_empty() && role.is_some()).then_some(read)
    }
}

/// Reads `acts_on_flowers`. A material that thins cannot be said not to act on
/// flowers: a spray of it would pass unasked.
fn acts_on_flowers(fields: &Fields<'_>, role: Option<Role>) -> ActsOnFlowers {
    let by_role = if role == Some(Role::Other) { ActsOnFlowers::No } else { ActsOnFlowers::Yes };
    match fields.word("acts_on_flowers", &["yes", "no", "unknown"]) {
        Some("yes") => ActsOnFlowers::Yes,
        Some("no") if by_role == ActsOnFlowers::Yes && role.is_some() => {
            fields.fault(
                "acts_on_flowers",
                "is `no`, but by its role the material acts on flowers; change one",
            );
            by_role
        }
        Some("no") => ActsOnFlowers::No,
        Some(_) => ActsOnFlowers::Unknown,
        None => by_role,
    }
}
