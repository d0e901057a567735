//! The target by crop density and the section of the trunk.

use super::{Basis, Target, WITHIN, above_zero, not_beside};
use crate::cropload::fruit_by_trunk;
use crate::input::Fields;
use crate::stats::{self, Sample};

/// Thickest girth that is taken for a trunk's, cm.
const THICKEST_CM: f64 = 500.0;
/// Thinnest girth in a list of them, cm: a whip of 1.6 mm. Less is a slip of the
/// unit.
const THINNEST_CM: f64 = 0.5;
/// Highest crop density taken, fruit per cm².
const MOST_PER_CM2: f64 = 100.0;

const TRUNKS: [&str; 3] = ["girth_cm", "girths", "diameters"];
/// Inputs of the other way to a target.
const OF_THE_YIELD: [&str; 12] = [
    "boxes_per_area",
    "yield_per_area",
    "yield_unit",
    "fruit_per_box",
    "fruit_weight_g",
    "box_weight_lb",
    "box_weight_kg",
    "trees_per_area",
    "row_spacing",
    "tree_spacing",
    "spacing_unit",
    "area_unit",
];

/// Whether the table speaks of trunks.
pub(super) fn is_meant(fields: &Fields<'_>) -> bool {
    let names = ["fruit_per_cm2", "girth_cm", "girths", "diameters", "trunk_unit"];
    names.into_iter().any(|name| fields.raw().get(name).is_some_and(|value| !value.is_null()))
}

/// Reads `fruit_per_cm2` and the trunks.
pub(super) fn read(fields: &Fields<'_>) -> Option<Target> {
    for name in OF_THE_YIELD {
        not_beside(fields, name, "the figures of the trunk");
    }
    let density =
        fields.require("fruit_per_cm2").then(|| fields.number("fruit_per_cm2", 0.0, MOST_PER_CM2)).flatten();
    let girths = girths(fields);
    let (density, girths) = (density?, girths?);
    Some(by_trunks(density, &girths))
}

/// Girths of the trunks measured, cm.
fn girths(fields: &Fields<'_>) -> Option<Vec<f64>> {
    let given: Vec<_> = TRUNKS.into_iter().filter(|name| fields.has(name)).collect();
    let unit = fields.word("trunk_unit", &["cm", "mm", "in"]);
    match given.as_slice() {
        [] => {
            fields.fault("girths", "is missing; give girths or diameters of some trees, with trunk_unit");
            None
        }
        ["girth_cm"] => {
            if unit.is_some_and(|unit| unit != "cm") {
                fields.fault("trunk_unit", "goes with girths or diameters; girth_cm is in cm");
            }
            above_zero(fields, "girth_cm", THICKEST_CM).map(|girth| vec![girth])
        }
        [name] => {
            if !fields.has("trunk_unit") {
                fields.fault("trunk_unit", "is missing; expected one of: cm, mm, in");
            }
            let round = if *name == "diameters" { std::f64::consts::PI } else { 1.0 };
            let to_girth_cm = round
                * match unit? {
                    "mm" => 0.1,
                    "in" => 2.54,
                    _ => 1.0,
                };
            // Limits in the unit that was typed, short enough to be read.
            let low = (THINNEST_CM / to_girth_cm * 10.0).ceil() / 10.0;
            let high = (THICKEST_CM / to_girth_cm).floor();
            let lengths = fields.numbers(name, low, high)?;
            Some(lengths.iter().map(|length| length * to_girth_cm).collect())
        }
        [first, second, ..] => {
            fields.fault(second, format!("stands beside {first}; give one of them"));
            None
        }
    }
}

/// The target of trunks of these girths, cm; at least one.
fn by_trunks(fruit_per_cm2: f64, girths_cm: &[f64]) -> Target {
    let sections: Vec<f64> = girths_cm.iter().map(|girth| fruit_by_trunk(1.0, *girth)).collect();
    let sample = Sample::of(&sections).expect("a list of trunks is never empty");
    let basis = Basis::Trunk { fruit_per_cm2, section_cm2: sample.mean };
    let half = sample.half_width();
    Target {
        low: half.map(|half| fruit_per_cm2 * (sample.mean - half).max(0.0)),
        high: half.map(|half| fruit_per_cm2 * (sample.mean + half)),
        trees_sampled: sample.n,
        spread: sample.spread(),
        trees_needed: sample.spread().map(|spread| stats::needed(spread, WITHIN)),
        ..Target::resting_on(basis, fruit_per_cm2 * sample.mean)
    }
}
