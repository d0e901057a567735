//! Quantities in the units that both halves of the trade measure in.

use std::fmt;

use serde::Serialize;

use crate::materials::{KILOGRAMS_PER_POUND, RateUnit, US_FLUID_OUNCES_PER_US_GALLON, figure};
use crate::units::{HECTARES_PER_ACRE, LITRES_PER_US_GALLON, us_gallons_per_acre_to_litres_per_hectare};

/// A volume of finished spray.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Volume {
    /// In litres.
    pub litres: f64,
    /// In US gallons.
    pub us_gallons: f64,
}

impl Volume {
    /// A volume of so many litres.
    pub fn of(litres: f64) -> Volume {
        Volume { litres, us_gallons: litres / LITRES_PER_US_GALLON }
    }
}

impl fmt::Display for Volume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} L ({} US gal)", figure(self.litres), figure(self.us_gallons))
    }
}

/// Finished spray on an area of ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VolumePerArea {
    /// In litres on a hectare.
    pub litres_per_hectare: f64,
    /// In US gallons on an acre.
    pub us_gallons_per_acre: f64,
}

impl VolumePerArea {
    /// So many litres on a hectare.
    pub fn of(litres_per_hectare: f64) -> VolumePerArea {
        let us_gallons_per_acre = litres_per_hectare / us_gallons_per_acre_to_litres_per_hectare(1.0);
        VolumePerArea { litres_per_hectare, us_gallons_per_acre }
    }
}

impl fmt::Display for VolumePerArea {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (metric, us) = (figure(self.litres_per_hectare), figure(self.us_gallons_per_acre));
        write!(f, "{metric} L a hectare ({us} US gal an acre)")
    }
}

/// An area of ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Area {
    /// In hectares.
    pub hectares: f64,
    /// In acres.
    pub acres: f64,
}

impl Area {
    /// An area of so many hectares.
    pub fn of(hectares: f64) -> Area {
        Area { hectares, acres: hectares / HECTARES_PER_ACRE }
    }
}

impl fmt::Display for Area {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = |figure: &str, one, many| if figure == "1" { one } else { many };
        let (hectares, acres) = (figure(self.hectares), figure(self.acres));
        let (ha, ac) = (unit(&hectares, "hectare", "hectares"), unit(&acres, "acre", "acres"));
        write!(f, "{hectares} {ha} ({acres} {ac})")
    }
}

/// An amount of product, by volume or by weight as its rate is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "measured_by", rename_all = "kebab-case")]
pub enum Product {
    /// Measured by volume.
    Volume {
        /// In litres.
        litres: f64,
        /// In US gallons.
        us_gallons: f64,
        /// In US fluid ounces.
        us_fluid_ounces: f64,
    },
    /// Weighed.
    Weight {
        /// In kilograms.
        kilograms: f64,
        /// In pounds.
        pounds: f64,
    },
}

impl Product {
    /// So many kg where it is `weighed`, else so many L.
    pub fn of(metric: f64, weighed: bool) -> Product {
        if weighed {
            return Product::Weight { kilograms: metric, pounds: metric / KILOGRAMS_PER_POUND };
        }
        let us_gallons = metric / LITRES_PER_US_GALLON;
        let us_fluid_ounces = us_gallons * US_FLUID_OUNCES_PER_US_GALLON;
        Product::Volume { litres: metric, us_gallons, us_fluid_ounces }
    }
}

impl fmt::Display for Product {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            // Nobody measures a tenth of a gallon.
            Product::Volume { litres, us_gallons, us_fluid_ounces } if *us_gallons < 0.5 => {
                write!(f, "{} L ({} US fl oz)", figure(*litres), figure(*us_fluid_ounces))
            }
            Product::Volume { litres, us_gallons, .. } => {
                write!(f, "{} L ({} US gal)", figure(*litres), figure(*us_gallons))
            }
            Product::Weight { kilograms, pounds } => {
                write!(f, "{} kg ({} lb)", figure(*kilograms), figure(*pounds))
            }
        }
    }
}

/// How strong a finished spray is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "measured_by", rename_all = "kebab-case")]
pub enum Strength {
    /// By volume of product.
    Volume {
        /// Share of the finished spray, in percent.
        percent: f64,
    },
    /// By weight of product.
    Weight {
        /// Grams in a litre.
        grams_per_litre: f64,
        /// Pounds in 100 US gallons.
        pounds_per_100_us_gallons: f64,
    },
}

impl Strength {
    /// So many kg in a litre where it is `weighed`, else so many L.
    pub fn of(metric: f64, weighed: bool) -> Strength {
        if weighed {
            let pounds_per_100_us_gallons = metric / RateUnit::PoundsPer100UsGallons.metric();
            Strength::Weight { grams_per_litre: 1_000.0 * metric, pounds_per_100_us_gallons }
        } else {
            Strength::Volume { percent: 100.0 * metric }
        }
    }
}

impl fmt::Display for Strength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Strength::Volume { percent } => write!(f, "{} % by volume", figure(*percent)),
            Strength::Weight { grams_per_litre, pounds_per_100_us_gallons } => {
                let (metric, us) = (figure(*grams_per_litre), figure(*pounds_per_100_us_gallons));
                write!(f, "{metric} g in a litre ({us} lb in 100 US gal)")
            }
        }
    }
}
