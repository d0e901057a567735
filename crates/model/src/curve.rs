//! Growth rate of the pollen tube against temperature.
//!
//! A curve comes as nodes joined by straight lines, or as a beta function that
//! is tabled each 0.1 °C on loading and then joined in the same way, so that
//! growth over a straight run of temperature is integrated exactly.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::input::{self, Faults, Fields};

mod table;
pub use table::Table;
pub(crate) use table::rounded;

/// What the rate is a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Millimetres of tube.
    Millimetre,
    /// Share of the style.
    Style,
}

/// How a curve's figures came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Printed in a source that can be looked up.
    Published,
    /// Recalled, not looked up.
    FromMemory,
    /// Put together from several facts; no one measured it as a whole.
    Constructed,
    /// Measured by the person who entered it.
    Measured,
}

impl Status {
    /// The words for it.
    pub fn spoken(self) -> &'static str {
        match self {
            Status::Published => "published",
            Status::FromMemory => "from memory, not looked up",
            Status::Constructed => "constructed, not measured as a whole",
            Status::Measured => "measured",
        }
    }
}

/// Where the tubes are when the curve says that they have arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EndPoint {
    /// At the foot of the style.
    StyleBase,
    /// At the ovule.
    Ovule,
    /// The source does not say.
    Unknown,
}

/// A growth curve with its provenance.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Name under which blocks refer to it.
    pub id: String,
    /// Who says so.
    pub source: String,
    /// How the figures came about.
    pub status: Status,
    /// Temperatures that its data covered, °C.
    pub covered: (f64, f64),
    /// Whether the lag between pollination and growth is already inside.
    pub lag_inside: bool,
    /// Start lag that is not inside, hours: a leg's tubes begin to grow so much later.
    pub lag_hours: f64,
    /// What its arrival means.
    pub end_point: EndPoint,
    /// What the rate is a share of.
    pub measure: Measure,
    /// Cultivars it was made for; empty for one that is not cultivar-specific.
    pub cultivars: Vec<String>,
    /// The rate itself, per hour.
    pub table: Table,
}

/// Longest start lag that is taken, hours (constructed: pollen germinates within hours).
const LONGEST_LAG_HOURS: f64 = 48.0;
const FORMS: [&str; 2] = ["nodes", "beta"];
const UNITS: [&str; 4] = ["mm-per-hour", "mm-per-day", "fraction-per-hour", "fraction-per-day"];
const STATUSES: [&str; 4] = ["published", "from-memory", "constructed", "measured"];
const END_POINTS: [&str; 3] = ["style-base", "ovule", "unknown"];

impl Curve {
    /// Reads a curve from its fields:
    /// `form` (`nodes` or `beta`), `unit`, `nodes` or `tmin`, `topt`, `tmax`
    /// and `rate_at_topt`, `source`, `status`, and optionally `covered`,
    /// `lag_inside` or `lag_hours`, `end_point`, `cultivars`.
    pub fn from_fields(id: &str, fields: &Fields<'_>) -> Option<Curve> {
        let form = required_word(fields, "form", &FORMS);
        let unit = required_word(fields, "unit", &UNITS);
        let source = fields.required_text("source");
        let status = required_word(fields, "status", &STATUSES);
        let per_hour = match unit {
            Some("mm-per-day" | "fraction-per-day") => 1.0 / 24.0,
            _ => 1.0,
        };
        let table = match form {
            Some("nodes") => nodes(fields, per_hour),
            Some("beta") => beta(fields, per_hour),
            _ => {
                // Without its form no figure of it can be judged.
                fields.ignore(&["nodes", "tmin", "topt", "tmax", "rate_at_topt"]);
                None
            }
        };
        let covered = fields.numbers("covered", -50.0, 60.0);
        let end_point = fields.word("end_point", &END_POINTS);
        let lag_inside = fields.flag("lag_inside").unwrap_or(false);
        let lag_hours = fields.number("lag_hours", 0.0, LONGEST_LAG_HOURS).unwrap_or(0.0);
        if lag_inside && lag_hours > 0.0 {
            fields.fault("lag_hours", "stands beside lag_inside = true: the lag would count twice");
        }
        let cultivars = fields.texts("cultivars");
        let table = table?;
        let covered = match covered.as_deref() {
            None => table.reach(),
            Some([low, high]) if low < high => (*low, *high),
            Some(_) => {
                fields.fault("covered", "expected two temperatures in °C, the lower first");
                return None;
            }
        };
        Some(Curve {
            id: id.to_owned(),
            source: source?,
            status: match status? {
                "published" => Status::Published,
                "from-memory" => Status::FromMemory,
                "constructed" => Status::Constructed,
                _ => Status::Measured,
            },
            covered,
            lag_inside,
            lag_hours,
            end_point: match end_point {
                Some("style-base") => EndPoint::StyleBase,
                Some("ovule") => EndPoint::Ovule,
                _ => EndPoint::Unknown,
            },
            measure: if unit?.starts_with("mm") { Measure::Millimetre } else { Measure::Style },
            cultivars,
            table,
        })
    }

    /// Reads a table of curves by their ids, as `config/curves.toml` has it.
    ///
    /// # Errors
    /// All that is wrong with any of them.
    pub fn read_all(document: &Value) -> Result<Vec<Arc<Curve>>, Faults> {
        input::read_all(document, Curve::from_fields).map(|curves| curves.into_iter().map(Arc::new).collect())
    }

    /// Rate per day at a temperature, in mm or in shares of the style.
    pub fn rate_per_day(&self, celsius: f64) -> f64 {
        self.table.rate(celsius) * 24.0
    }

    /// Seconds from a leg's begin until its tubes grow by this curve.
    pub fn lag_seconds(&self) -> i64 {
        (self.lag_hours * 3_600.0) as i64
    }

    /// Whether a temperature lies outside what the curve's data covered.
    pub fn outside(&self, celsius: f64) -> bool {
        celsius < self.covered.0 || celsius > self.covered.1
    }
}

fn required_word(fields: &Fields<'_>, name: &'static str, words: &[&'static str]) -> Option<&'static str> {
    if fields.require(name) { fields.word(name, words) } else { None }
}

/// Fastest rate taken for a living tube: 5 styles, or some 50 mm, a day.
const FASTEST_PER_HOUR: f64 = 50.0 / 24.0;

fn nodes(fields: &Fields<'_>, per_hour: f64) -> Option<Table> {
    let wrong = |detail: &str| {
        fields.fault("nodes", detail);
        None
    };
    if !fields.require("nodes") {
        return None;
    }
    let pairs: Option<Vec<(f64, f64)>> = fields.value("nodes")?.as_array().and_then(|nodes| {
        nodes
            .iter()
            .map(|node| match node.as_array()?.as_slice() {
                [celsius, rate] => Some((celsius.as_f64()?, rate.as_f64()? * per_hour)),
                _ => None,
            })
            .collect()
    });
    let Some(pairs) = pairs else {
        return wrong("expected a list of pairs [°C, rate], as [[4, 0], [5, 0.08]]");
    };
    if !(2..=1_000).contains(&pairs.len()) {
        return wrong("expected 2 to 1000 nodes");
    }
    if pairs.windows(2).any(|pair| pair[0].0 >= pair[1].0) {
        return wrong("expected temperatures that rise from node to node");
    }
    if pairs.iter().any(|(celsius, rate)| celsius.abs() > 60.0 || !(0.0..=FASTEST_PER_HOUR).contains(rate)) {
        return wrong("expected temperatures within −60 to 60 °C and rates from 0 to 50 a day");
    }
    if pairs.iter().all(|(_, rate)| *rate == 0.0) {
        return wrong("is zero everywhere: no tube would ever grow");
    }
    Some(Table::new(&pairs))
}

fn beta(fields: &Fields<'_>, per_hour: f64) -> Option<Table> {
    let number = |name| {
        if fields.require(name) { fields.number(name, -20.0, 60.0) } else { None }
    };
    let (tmin, topt, tmax, best) = (number("tmin"), number("topt"), number("tmax"), number("rate_at_topt"));
    let (tmin, topt, tmax, best) = (tmin?, topt?, tmax?, best? * per_hour);
    if !(tmin < topt && topt < tmax) {
        fields.fault("topt", "expected tmin < topt < tmax");
        return None;
    }
    if !(best > 0.0 && best <= FASTEST_PER_HOUR) {
        fields.fault("rate_at_topt", "expected a rate above 0 and up to 50 a day");
        return None;
    }
    let steps = libm::ceil((tmax - tmin) * 10.0 - 1e-9) as usize;
    let pairs: Vec<(f64, f64)> = (0..=steps)
        .map(|step| {
            let celsius = if step == steps { tmax } else { tmin + step as f64 * 0.1 };
            (celsius, best * beta_share(celsius, tmin, topt, tmax))
        })
        .collect();
    Some(Table::new(&pairs))
}

/// The beta function as a share of its optimum:
/// (Tmax−T)/(Tmax−Topt) · ((T−Tmin)/(Topt−Tmin))^((Topt−Tmin)/(Tmax−Topt)).
/// The power comes from `libm`, since the standard one differs between
/// machines.
pub fn beta_share(celsius: f64, tmin: f64, topt: f64, tmax: f64) -> f64 {
    if celsius <= tmin || celsius >= tmax {
        return 0.0;
    }
    (tmax - celsius) / (tmax - topt)
        * libm::pow((celsius - tmin) / (topt - tmin), (topt - tmin) / (tmax - topt))
}

#[cfg(test)]
mod tests;
