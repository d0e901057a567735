//! The fruit wanted on a tree: as given, by the yield wanted, or by the trunk.

use serde::{Deserialize, Serialize};

use crate::block::MOST_PER_TREE;
use crate::input::Fields;
use crate::units::HECTARES_PER_ACRE;

mod told;
mod trunk;
mod yields;

/// How close the mean of the sampled trees should lie, as a share: ±10 % (common
/// practice, no source).
pub const WITHIN: f64 = 0.10;

/// The area that a yield or a number of trees is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Area {
    /// 10,000 m².
    Hectare,
    /// 43,560 square feet.
    Acre,
}

impl Area {
    /// Its size, m².
    pub fn square_metres(self) -> f64 {
        match self {
            Area::Hectare => 10_000.0,
            Area::Acre => 10_000.0 * HECTARES_PER_ACRE,
        }
    }
}

/// What a target rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "from", rename_all = "kebab-case")]
pub enum Basis {
    /// The number itself was given.
    Stated,
    /// The yield wanted from an area, over its trees.
    Yield {
        /// Fruit wanted from the area.
        fruit_per_area: f64,
        /// Trees on the same area.
        trees_per_area: f64,
        /// Which area, where it was said.
        area: Option<Area>,
        /// Weight of a fruit, g, where it was given or comes from the box.
        fruit_weight_g: Option<f64>,
        /// Fruit that fill a box, where given.
        fruit_per_box: Option<f64>,
    },
    /// Fruit for each cm² of trunk section.
    Trunk {
        /// Crop density wanted, fruit per cm².
        fruit_per_cm2: f64,
        /// Mean section of the sampled trunks, cm².
        section_cm2: f64,
    },
}

/// Fruit wanted on a tree, with what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Target {
    /// Fruit a tree. 0 is a block that is to carry none: no clock runs for it.
    pub fruit_per_tree: f64,
    /// Low end of the 95 % interval by the trunks sampled, fruit a tree; none
    /// where no two trees were sampled.
    pub low: Option<f64>,
    /// High end of the same.
    pub high: Option<f64>,
    /// What it rests on.
    pub basis: Basis,
    /// Trunks measured; 0 where the target does not rest on trunks.
    pub trees_sampled: usize,
    /// Spread of their sections: standard deviation as a share of the mean.
    pub spread: Option<f64>,
    /// Trees that bring the mean section to ±10 % at that spread, 95 times in
    /// 100.
    pub trees_needed: Option<usize>,
}

impl Target {
    /// A number of fruit a tree that someone gave.
    pub fn stated(fruit_per_tree: f64) -> Target {
        Target::resting_on(Basis::Stated, fruit_per_tree)
    }

    /// Reads `target_fruit_per_tree`, or a table `target` with its inputs.
    ///
    /// By the yield: `boxes_per_area`, or `yield_per_area` with `yield_unit` (`kg`,
    /// `t`, `lb`); `fruit_per_box` or `fruit_weight_g`; `box_weight_lb` (42 when
    /// left out) or `box_weight_kg`; `trees_per_area`, or `row_spacing` and
    /// `tree_spacing` with `spacing_unit` (`m`, `ft`); `area_unit` (`hectare`,
    /// `acre`), needed with a spacing or a yield by weight.
    ///
    /// By the trunk: `fruit_per_cm2`, and `girth_cm`, or `girths` or `diameters`
    /// of some trees with `trunk_unit` (`cm`, `mm`, `in`).
    pub fn from_fields(fields: &Fields<'_>) -> Option<Target> {
        match (fields.has("target_fruit_per_tree"), fields.has("target")) {
            (true, true) => {
                fields.fault("target", "stands beside target_fruit_per_tree; give one of them");
                None
            }
            (false, false) => {
                fields.fault("target_fruit_per_tree", "is missing; give it, or `target` with its inputs");
                None
            }
            (true, false) => fields.number("target_fruit_per_tree", 0.0, MOST_PER_TREE).map(Target::stated),
            (false, true) => {
                let inputs = fields.table("target")?;
                let read =
                    if trunk::is_meant(&inputs) { trunk::read(&inputs) } else { yields::read(&inputs) };
                inputs.refuse_unknown();
                read.filter(|target| carried(target.fruit_per_tree, &inputs))
            }
        }
    }

    fn resting_on(basis: Basis, fruit_per_tree: f64) -> Target {
        Target {
            fruit_per_tree,
            low: None,
            high: None,
            basis,
            trees_sampled: 0,
            spread: None,
            trees_needed: None,
        }
    }
}

/// Whether a tree can carry so much; figures of two different areas, or a slip
/// of a unit, show here.
fn carried(fruit: f64, inputs: &Fields<'_>) -> bool {
    let can = (0.0..=MOST_PER_TREE).contains(&fruit);
    if !can {
        let most = MOST_PER_TREE;
        inputs.fault(
            "",
            format!("comes to {fruit:.0} fruit a tree, more than {most}: check the figures and their units"),
        );
    }
    can
}

/// A number above 0 and at most `high`, for what the target is divided by or
/// what is never 0.
fn above_zero(fields: &Fields<'_>, name: &'static str, high: f64) -> Option<f64> {
    let number = fields.number(name, 0.0, high)?;
    if number == 0.0 {
        fields.fault(name, format!("0 is outside what can be: give a number above 0, at most {high}"));
        return None;
    }
    Some(number)
}

/// Notes that two fields say the same thing, each in its own way.
fn not_beside(fields: &Fields<'_>, name: &'static str, other: &str) {
    if fields.has(name) {
        fields.fault(name, format!("stands beside {other}; give one of them"));
    }
}

#[cfg(test)]
mod tests;
