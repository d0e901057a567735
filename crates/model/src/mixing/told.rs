//! A mix in words.

use super::{Mix, Product};
use crate::materials::{RateBasis, figure};

/// What is mixed, tank by tank, and what it comes to on the block.
pub(super) fn sentences(mix: &Mix) -> Vec<String> {
    let mut told = vec![format!("The rate is {}.", mix.asked.rate.spoken())];
    if mix.asked.rate.basis == RateBasis::PerArea {
        told.push(format!(
            "At {} of finished spray that comes to {} in the tank; another volume makes it weaker or stronger.",
            mix.spray_per_area, mix.strength
        ));
    }
    told.push(format!("{} at {} take {} of finished spray.", mix.area, mix.spray_per_area, mix.spray));
    told.extend(mix.tank_sentences());
    told.push(format!(
        "For the block that is {} of product: {}.",
        mix.product,
        per_area(mix.product_per_hectare, mix.product_per_acre)
    ));
    told
}

impl Mix {
    /// What goes into each tank, in words.
    pub fn tank_sentences(&self) -> Vec<String> {
        let mut told = Vec::new();
        if self.full_tanks > 0 {
            let tanks = match self.full_tanks {
                1 => "One full tank".to_owned(),
                many => format!("{many} full tanks"),
            };
            let each = if self.full_tanks == 1 { "" } else { " in each" };
            told.push(format!(
                "{tanks} of {}: {} of product{each}, filled up with water.",
                self.tank, self.product_per_full_tank
            ));
        }
        if let Some(part) = &self.part_tank {
            let name = if self.full_tanks > 0 { "The last tank" } else { "One tank, not full" };
            told.push(format!(
                "{name}: {} of product, filled up with water to {}.",
                part.product, part.spray
            ));
        }
        told
    }
}

/// Product on the ground: metric on a hectare, US units on an acre.
fn per_area(hectare: Product, acre: Product) -> String {
    let (metric, unit) = match hectare {
        Product::Volume { litres, .. } => (litres, "L"),
        Product::Weight { kilograms, .. } => (kilograms, "kg"),
    };
    let (us, us_unit) = match acre {
        Product::Volume { us_gallons, us_fluid_ounces, .. } if us_gallons < 0.5 => {
            (us_fluid_ounces, "US fl oz")
        }
        Product::Volume { us_gallons, .. } => (us_gallons, "US gal"),
        Product::Weight { pounds, .. } => (pounds, "lb"),
    };
    format!("{} {unit} a hectare ({} {us_unit} an acre)", figure(metric), figure(us))
}
