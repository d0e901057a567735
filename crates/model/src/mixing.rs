//! How much of a material goes into each tank and onto a block.
//!
//! Finished spray is water and product together: a tank of 1,000 L at 2.5 % by
//! volume holds 25 L of product and is filled up with water to 1,000 L.

use serde::Serialize;

use crate::input::Fields;
use crate::materials::{LEAST, Rate, RateBasis, above_zero};
use crate::units::{HECTARES_PER_ACRE, LITRES_PER_US_GALLON, us_gallons_per_acre_to_litres_per_hectare};
use crate::words;

mod amounts;
mod told;

#[cfg(test)]
mod tests;

pub use amounts::{Area, Product, Strength, Volume, VolumePerArea};

/// Most finished spray on a hectare that is taken, L: ten times what runs off
/// large trees (constructed).
const MOST_L_PER_HA: f64 = 50_000.0;
/// Largest area of one block that is taken, ha (constructed).
const MOST_HA: f64 = 10_000.0;
/// Largest tank that is taken, L (constructed).
const MOST_TANK_L: f64 = 100_000.0;
/// Smallest tank that is taken, L: that of a hand sprayer (constructed). It
/// bounds the number of tanks.
const LEAST_TANK_L: f64 = 0.5;
/// What is left for a last tank below this share of one is a rounding error.
const SPILL: f64 = 1e-9;

/// What is asked: a rate, the finished spray on an area, the area and the tank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MixAsked {
    /// How much of the material goes on.
    pub rate: Rate,
    /// Finished spray on an area, L/ha.
    pub litres_per_hectare: f64,
    /// Area to spray, ha.
    pub hectares: f64,
    /// What the tank holds, L.
    pub tank_litres: f64,
}

/// What goes into the tanks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mix {
    /// What was asked, in metric units, with the rate as it was written.
    pub asked: MixAsked,
    /// Finished spray on an area.
    pub spray_per_area: VolumePerArea,
    /// Area to spray.
    pub area: Area,
    /// Finished spray in all.
    pub spray: Volume,
    /// Product in all.
    pub product: Product,
    /// Product on a hectare.
    pub product_per_hectare: Product,
    /// Product on an acre.
    pub product_per_acre: Product,
    /// How strong the finished spray is.
    pub strength: Strength,
    /// What the tank holds.
    pub tank: Volume,
    /// How many tanks are filled to the top.
    pub full_tanks: i64,
    /// Product in each of them; for less spray than one tank holds nothing is
    /// filled to the top, and this is what a full one would take.
    pub product_per_full_tank: Product,
    /// The last tank, when it is not a full one.
    pub part_tank: Option<PartTank>,
    /// The same in words.
    pub sentences: Vec<String>,
    /// The caution that goes with every mix.
    pub caution: &'static str,
}

/// A last tank that is not filled to the top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PartTank {
    /// Finished spray in it.
    pub spray: Volume,
    /// Product in it.
    pub product: Product,
}

impl MixAsked {
    /// Reads `rate`, `rate_unit`, `rate_basis`; `volume_per_area` with
    /// `volume_unit` (`L/ha`, `US-gal/acre`); `area` with `area_unit` (`ha`,
    /// `acre`); `tank` with `tank_unit` (`L`, `US-gal`). All must be there.
    pub fn from_fields(fields: &Fields<'_>) -> Option<MixAsked> {
        MixAsked::with_usual(fields, None)
    }

    /// The same, where the material's usual rate stands in for one that is not
    /// given.
    pub fn with_usual(fields: &Fields<'_>, usual: Option<Rate>) -> Option<MixAsked> {
        let rate = match usual {
            Some(usual) if !Rate::asked(fields) => Some(usual),
            _ => Rate::from_fields(fields),
        };
        let litres_per_hectare = measured(
            fields,
            ("volume_per_area", "the finished spray on an area"),
            ("volume_unit", ["L/ha", "US-gal/acre"]),
            us_gallons_per_acre_to_litres_per_hectare(1.0),
            (LEAST, MOST_L_PER_HA),
        );
        let hectares = measured(
            fields,
            ("area", "the area to spray"),
            ("area_unit", ["ha", "acre"]),
            HECTARES_PER_ACRE,
            (LEAST, MOST_HA),
        );
        let tank_litres = measured(
            fields,
            ("tank", "what the tank holds"),
            ("tank_unit", ["L", "US-gal"]),
            LITRES_PER_US_GALLON,
            (LEAST_TANK_L, MOST_TANK_L),
        );
        let asked = MixAsked {
            rate: rate?,
            litres_per_hectare: litres_per_hectare?,
            hectares: hectares?,
            tank_litres: tank_litres?,
        };
        if !asked.rate.unit.weighed() && asked.strength() > 1.0 {
            let detail = "is more product than there is finished spray on the same area; \
                check rate and volume and their units";
            fields.fault("rate", detail);
            return None;
        }
        Some(asked)
    }

    /// Product in a litre of finished spray: L, or kg of what is weighed. A
    /// rate per area is spread over the finished spray on that area.
    pub fn strength(&self) -> f64 {
        let metric = self.rate.value * self.rate.unit.metric();
        match self.rate.basis {
            RateBasis::PerArea => metric / self.litres_per_hectare,
            RateBasis::ProductByVolume | RateBasis::WeightByVolume => metric,
        }
    }

    /// What goes into the tanks.
    pub fn mix(&self) -> Mix {
        let weighed = self.rate.unit.weighed();
        let strength = self.strength();
        let product = |litres: f64| Product::of(strength * litres, weighed);
        let litres = self.litres_per_hectare * self.hectares;
        let tanks = litres / self.tank_litres;
        let full_tanks = (tanks + SPILL).floor();
        let left = tanks - full_tanks;
        let part_tank = (left > SPILL).then(|| {
            let litres = left * self.tank_litres;
            PartTank { spray: Volume::of(litres), product: product(litres) }
        });
        let mut mix = Mix {
            asked: *self,
            spray_per_area: VolumePerArea::of(self.litres_per_hectare),
            area: Area::of(self.hectares),
            spray: Volume::of(litres),
            product: product(litres),
            product_per_hectare: product(self.litres_per_hectare),
            product_per_acre: product(self.litres_per_hectare * HECTARES_PER_ACRE),
            strength: Strength::of(strength, weighed),
            tank: Volume::of(self.tank_litres),
            full_tanks: full_tanks as i64,
            product_per_full_tank: product(self.tank_litres),
            part_tank,
            sentences: Vec::new(),
            caution: words::CAUTION,
        };
        mix.sentences = told::sentences(&mix);
        mix
    }
}

/// A quantity with its unit, brought to the first of the two units that it may
/// be written in, of which one of the second is `each`.
fn measured(
    fields: &Fields<'_>,
    (name, what): (&'static str, &str),
    (unit_name, units): (&'static str, [&'static str; 2]),
    each: f64,
    (low, high): (f64, f64),
) -> Option<f64> {
    if !fields.has(name) {
        fields.fault(name, format!("is missing: {what}"));
    }
    if !fields.has(unit_name) {
        fields.fault(unit_name, format!("is missing; give one of: {}", units.join(", ")));
    }
    let unit = fields.word(unit_name, &units);
    let number = above_zero(fields, name, 1e9);
    let (unit, number) = (unit?, number?);
    let metric = if unit == units[1] { number * each } else { number };
    if !(low..=high).contains(&metric) {
        let detail = format!("comes to {metric:.3} {}, outside {low} to {high}; check the unit", units[0]);
        fields.fault(name, detail);
        return None;
    }
    Some(metric)
}
