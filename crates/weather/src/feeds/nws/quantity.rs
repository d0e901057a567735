//! Values with their units, as the provider writes them.

use model::series::Flag;
use model::units::TemperatureUnit;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};
use serde_json::Value;

use crate::feeds::check::height_correction;

/// Metres in a second for one km/h, and for one knot (1,852 m an hour, exact).
const M_S_PER_KM_H: f64 = 1_000.0 / 3_600.0;
const M_S_PER_KNOT: f64 = 1_852.0 / 3_600.0;

/// A value with its unit and what checking it gave.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Quantity {
    pub unit_code: Option<String>,
    pub value: Option<f64>,
    pub quality_control: Option<String>,
}

/// What a value in some unit is in ours; none for a unit that is not known.
pub(super) type Convert = fn(&str, f64) -> Option<f64>;

impl Quantity {
    /// The value in our unit, unless it is absent, known to be wrong, or of an
    /// unknown unit.
    pub(super) fn usable(&self, convert: Convert) -> Option<f64> {
        if self.flag() == Flag::Fail { None } else { convert(self.unit_code.as_deref()?, self.value?) }
    }

    /// The letter of MADIS, the system that checks the observations: verified,
    /// screened, coarse pass, subjectively good and virtual temperature not
    /// computable are checked; questioned failed a later check; rejected and
    /// subjectively bad are wrong; Z is not checked.
    pub(super) fn flag(&self) -> Flag {
        match self.quality_control.as_deref() {
            Some("V" | "S" | "C" | "G" | "T") => Flag::Pass,
            Some("Q") => Flag::Suspect,
            Some("X" | "B") => Flag::Fail,
            _ => Flag::NotEvaluated,
        }
    }
}

/// The unit without the name of the list that it is from: `wmoUnit:degC`,
/// `unit:degC` and `degC` are one.
fn bare(unit: &str) -> &str {
    unit.rsplit_once(':').map_or(unit, |(_, bare)| bare)
}

/// °C.
pub(super) fn celsius(unit: &str, value: f64) -> Option<f64> {
    let unit = match bare(unit) {
        "degC" | "C" => TemperatureUnit::Celsius,
        "degF" | "F" => TemperatureUnit::Fahrenheit,
        "K" => TemperatureUnit::Kelvin,
        _ => return None,
    };
    Some(unit.to_celsius(value))
}

/// m/s.
pub(super) fn metres_per_second(unit: &str, value: f64) -> Option<f64> {
    match bare(unit) {
        "km_h-1" => Some(value * M_S_PER_KM_H),
        "m_s-1" => Some(value),
        "kt" => Some(value * M_S_PER_KNOT),
        _ => None,
    }
}

/// mm; older answers tell rain in metres.
pub(super) fn millimetres(unit: &str, value: f64) -> Option<f64> {
    match bare(unit) {
        "mm" => Some(value),
        "m" => Some(value * 1_000.0),
        _ => None,
    }
}

/// %.
pub(super) fn percent(unit: &str, value: f64) -> Option<f64> {
    (bare(unit) == "percent").then_some(value)
}

/// m.
fn metres(unit: &str, value: f64) -> Option<f64> {
    (bare(unit) == "m").then_some(value)
}

/// A height, m, where it is one.
pub(super) fn height(there: Option<&Quantity>) -> Option<f64> {
    there.and_then(|height| height.usable(metres))
}

/// What to add to a temperature at the height `there` to have that at `asked`
/// metres, K; 0 when either is not known.
pub(super) fn correction(there: Option<&Quantity>, asked: Option<f64>) -> f64 {
    height_correction(height(there), asked)
}

/// Reads a value that is no harm when it is absent: what does not fit is none.
pub(super) fn if_it_fits<'de, D, T>(from: D) -> Result<Option<T>, D::Error>
where
    D: Deserializer<'de>,
    T: DeserializeOwned,
{
    Ok(serde_json::from_value(Value::deserialize(from)?).ok())
}
