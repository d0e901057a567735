//! How much of a material goes on: a figure that means nothing without its
//! unit and its basis.

use serde::{Deserialize, Serialize};

use crate::input::Fields;
use crate::units::{HECTARES_PER_ACRE, LITRES_PER_US_GALLON};

/// Kilograms in a pound (avoirdupois): exact by definition (published:
/// international yard and pound agreement, 1959).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// US fluid ounces in a US gallon: by definition (published: NIST Handbook 44,
/// appendix C).
pub const US_FLUID_OUNCES_PER_US_GALLON: f64 = 128.0;
/// Smallest rate that is taken for one, in whatever unit.
pub const LEAST: f64 = 1e-6;
/// Largest rate that is taken for one where the unit sets no limit itself
/// (constructed: far beyond any orchard's).
const MOST: f64 = 100_000.0;

/// What a rate is a share of. Sources of the same material differ in it, and
/// 1 % by volume of product is not 10 g of it in a litre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RateBasis {
    /// Volume of product in a volume of finished spray.
    ProductByVolume,
    /// Weight of product in a volume of finished spray.
    WeightByVolume,
    /// Product on an area of ground, whatever the water.
    PerArea,
}

impl RateBasis {
    /// The words under which it is written.
    pub const NAMES: [&str; 3] = ["product-by-volume", "weight-by-volume", "per-area"];

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        Self::NAMES[self as usize]
    }

    /// For people.
    pub fn spoken(self) -> &'static str {
        match self {
            RateBasis::ProductByVolume => "volume of product in finished spray",
            RateBasis::WeightByVolume => "weight of product in finished spray",
            RateBasis::PerArea => "product per area of ground",
        }
    }
}

/// The unit in which a rate was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum RateUnit {
    /// Hundredths of the finished spray's volume.
    #[serde(rename = "percent")]
    Percent,
    /// Grams in a litre of finished spray.
    #[serde(rename = "g/L")]
    GramsPerLitre,
    /// Pounds in 100 US gallons of finished spray.
    #[serde(rename = "lb/100-US-gal")]
    PoundsPer100UsGallons,
    /// Litres on a hectare.
    #[serde(rename = "L/ha")]
    LitresPerHectare,
    /// Kilograms on a hectare.
    #[serde(rename = "kg/ha")]
    KilogramsPerHectare,
    /// US gallons on an acre.
    #[serde(rename = "US-gal/acre")]
    UsGallonsPerAcre,
    /// Pounds on an acre.
    #[serde(rename = "lb/acre")]
    PoundsPerAcre,
    /// US fluid ounces on an acre.
    #[serde(rename = "US-fl-oz/acre")]
    UsFluidOuncesPerAcre,
}

impl RateUnit {
    /// The words under which it is written.
    pub const NAMES: [&str; 8] =
        ["percent", "g/L", "lb/100-US-gal", "L/ha", "kg/ha", "US-gal/acre", "lb/acre", "US-fl-oz/acre"];
    const ALL: [RateUnit; 8] = [
        RateUnit::Percent,
        RateUnit::GramsPerLitre,
        RateUnit::PoundsPer100UsGallons,
        RateUnit::LitresPerHectare,
        RateUnit::KilogramsPerHectare,
        RateUnit::UsGallonsPerAcre,
        RateUnit::PoundsPerAcre,
        RateUnit::UsFluidOuncesPerAcre,
    ];

    /// The unit of that word.
    pub fn named(word: &str) -> Option<RateUnit> {
        Self::NAMES.iter().position(|name| *name == word).map(|n| Self::ALL[n])
    }

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        Self::NAMES[self as usize]
    }

    /// The one basis that it can be written on.
    pub fn basis(self) -> RateBasis {
        match self {
            RateUnit::Percent => RateBasis::ProductByVolume,
            RateUnit::GramsPerLitre | RateUnit::PoundsPer100UsGallons => RateBasis::WeightByVolume,
            _ => RateBasis::PerArea,
        }
    }

    /// Whether the product is weighed; otherwise it is measured by volume.
    pub fn weighed(self) -> bool {
        matches!(
            self,
            RateUnit::GramsPerLitre
                | RateUnit::PoundsPer100UsGallons
                | RateUnit::KilogramsPerHectare
                | RateUnit::PoundsPerAcre
        )
    }

    /// One of this unit in the metric unit of its basis: L of product in a
    /// litre of spray, kg in a litre, L on a hectare or kg on a hectare.
    pub fn metric(self) -> f64 {
        match self {
            RateUnit::Percent => 0.01,
            RateUnit::GramsPerLitre => 0.001,
            RateUnit::PoundsPer100UsGallons => KILOGRAMS_PER_POUND / (100.0 * LITRES_PER_US_GALLON),
            RateUnit::LitresPerHectare | RateUnit::KilogramsPerHectare => 1.0,
            RateUnit::UsGallonsPerAcre => LITRES_PER_US_GALLON / HECTARES_PER_ACRE,
            RateUnit::PoundsPerAcre => KILOGRAMS_PER_POUND / HECTARES_PER_ACRE,
            RateUnit::UsFluidOuncesPerAcre => {
                LITRES_PER_US_GALLON / US_FLUID_OUNCES_PER_US_GALLON / HECTARES_PER_ACRE
            }
        }
    }
}

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
