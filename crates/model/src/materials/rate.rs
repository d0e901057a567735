//! How much of a material goes on: a figure that means nothing without its
//! unit and its basis.

use serde::{Deserialize, Serialize};

use super::rate_unit::{RateBasis, RateUnit};
use crate::input::Fields;

/// Smallest rate that is taken for one, in whatever unit.
pub const LEAST: f64 = 1e-6;
/// Largest rate that is taken for one where the unit sets no limit itself
/// (constructed: far beyond any orchard's).
const MOST: f64 = 100_000.0;

/// How much of a material goes on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// The figure, in `unit`.
    pub value: f64,
    /// Its unit.
    pub unit: RateUnit,
    /// What it is a share of; always the one that goes with the unit.
    pub basis: RateBasis,
}

impl Rate {
    /// Whether any of the three fields of a rate is there.
    pub fn asked(fields: &Fields<'_>) -> bool {
        [fields.has("rate"), fields.has("rate_unit"), fields.has("rate_basis")].contains(&true)
    }

    /// Reads `rate`, `rate_unit` and `rate_basis`, of which each needs the
    /// other two.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Rate> {
        let unit = fields.word("rate_unit", &RateUnit::NAMES).and_then(RateUnit::named);
        let basis = fields.word("rate_basis", &RateBasis::NAMES);
        for (name, what) in [
            ("rate", "is missing; a unit or a basis says nothing without the figure".to_owned()),
            ("rate_unit", format!("is missing; give one of: {}", RateUnit::NAMES.join(", "))),
            (
                "rate_basis",
                format!(
                    "is missing; sources differ in whether volume or weight of product is meant: give one of: {}",
                    RateBasis::NAMES.join(", ")
                ),
            ),
        ] {
            if !fields.has(name) {
                fields.fault(name, what);
            }
        }
        let most = if unit == Some(RateUnit::Percent) { 100.0 } else { MOST };
        let value = above_zero(fields, "rate", most);
        let (unit, basis) = (unit?, basis?);
        if unit.basis().word() != basis {
            let fit: Vec<&str> = RateUnit::ALL
                .iter()
                .filter(|unit| unit.basis().word() == basis)
                .map(|unit| unit.word())
                .collect();
            let detail =
                format!("`{}` does not go with `{basis}`; that takes: {}", unit.word(), fit.join(", "));
            fields.fault("rate_unit", detail);
            return None;
        }
        Some(Rate { value: value?, unit, basis: unit.basis() })
    }

    /// For people, metric and US units side by side: `2.5 % by volume of
    /// finished spray (2.5 US gal of product in 100 US gal)`.
    pub fn spoken(&self) -> String {
        let metric = self.value * self.unit.metric();
        match (self.basis, self.unit.weighed()) {
            (RateBasis::ProductByVolume, _) => {
                let percent = figure(100.0 * metric);
                format!("{percent} % by volume of finished spray ({percent} US gal of product in 100 US gal)")
            }
            (RateBasis::WeightByVolume, _) => format!(
                "{} g of product in a litre of finished spray ({} lb in 100 US gal)",
                figure(1_000.0 * metric),
                figure(metric / RateUnit::PoundsPer100UsGallons.metric())
            ),
            (RateBasis::PerArea, true) => format!(
                "{} kg of product a hectare ({} lb an acre)",
                figure(metric),
                figure(metric / RateUnit::PoundsPerAcre.metric())
            ),
            (RateBasis::PerArea, false) => format!(
                "{} L of product a hectare ({} US gal or {} US fl oz an acre)",
                figure(metric),
                figure(metric / RateUnit::UsGallonsPerAcre.metric()),
                figure(metric / RateUnit::UsFluidOuncesPerAcre.metric())
            ),
        }
    }
}

/// A number above zero and at most `high`, when the field is there.
pub(crate) fn above_zero(fields: &Fields<'_>, name: &'static str, high: f64) -> Option<f64> {
    let number = fields.number(name, 0.0, high)?;
    if number < LEAST {
        fields.fault(name, format!("is {number}; it has to be above zero"));
        return None;
    }
    Some(number)
}

/// A figure for people: whole from 100 on, below that three figures that count,
/// without zeros at the end.
pub fn figure(value: f64) -> String {
    let size = value.abs();
    let places = match size {
        _ if size >= 99.95 || size == 0.0 => 0,
        _ if size >= 9.995 => 1,
        _ if size >= 0.9995 => 2,
        _ if size >= 0.099_95 => 3,
        _ => 5,
    };
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
