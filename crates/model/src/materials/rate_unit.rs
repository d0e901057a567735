//! The units and bases that rates are written on.

use serde::{Deserialize, Serialize};

use crate::units::{HECTARES_PER_ACRE, LITRES_PER_US_GALLON};

/// Kilograms in a pound (avoirdupois): exact by definition (published:
/// international yard and pound agreement, 1959).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// US fluid ounces in a US gallon: by definition (published: NIST Handbook 44,
/// appendix C).
pub const US_FLUID_OUNCES_PER_US_GALLON: f64 = 128.0;
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
    pub(super) const ALL: [RateUnit; 8] = [
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
