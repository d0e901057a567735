//! How many fruit a tree should carry, and how many flowers that leaves.

use crate::block::MOST_PER_TREE;
use crate::input::Fields;

/// Fruit wanted on a tree: `target_fruit_per_tree`, or a table `target` with
/// its inputs: `boxes_per_area`, `fruit_per_box` and `trees_per_area`, or
/// `fruit_per_cm2` and `girth_cm`.
pub fn target(fields: &Fields<'_>) -> Option<f64> {
    match (fields.has("target_fruit_per_tree"), fields.has("target")) {
        (true, true) => {
            fields.fault("target", "stands beside target_fruit_per_tree; give one of them");
            None
        }
        (false, false) => {
            fields.fault("target_fruit_per_tree", "is missing");
            None
        }
        (true, false) => fields.number("target_fruit_per_tree", 0.0, MOST_PER_TREE),
        (false, true) => {
            let inputs = fields.table("target")?;
            let number = |name, high| {
                if inputs.require(name) { inputs.number(name, 0.000_001, high) } else { None }
            };
            let fruit = if inputs.has("fruit_per_cm2") || inputs.has("girth_cm") {
                let (density, girth) = (number("fruit_per_cm2", 100.0), number("girth_cm", 500.0));
                fruit_by_trunk(density?, girth?)
            } else {
                let boxes = number("boxes_per_area", 100_000.0);
                let per_box = number("fruit_per_box", 1_000.0);
                let trees = number("trees_per_area", 100_000.0);
                fruit_by_yield(boxes?, per_box?, trees?)
            };
            inputs.refuse_unknown();
            Some(fruit)
        }
    }
}

/// Fruit a tree from the yield wanted: boxes an area × fruit a box ÷ trees an
/// area, all of the same area.
pub fn fruit_by_yield(boxes: f64, fruit_per_box: f64, trees: f64) -> f64 {
    boxes * fruit_per_box / trees
}

/// Fruit a tree from the crop density wanted, fruit per cm² of trunk section;
/// the section of a trunk of girth C cm is C²/4π.
pub fn fruit_by_trunk(fruit_per_cm2: f64, girth_cm: f64) -> f64 {
    fruit_per_cm2 * girth_cm * girth_cm / (4.0 * std::f64::consts::PI)
}

/// Flower buds for each fruit wanted.
pub fn bud_ratio(buds_per_tree: f64, target: f64) -> f64 {
    buds_per_tree / target
}

/// Flowers on a tree: each flower bud opens as one cluster.
pub fn flowers_per_tree(buds_per_tree: f64, flowers_per_cluster: f64) -> f64 {
    buds_per_tree * flowers_per_cluster
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: 80 fruit pruned to 144 buds.
    #[test]
    fn practice_of_buds_and_flowers() {
        assert!((bud_ratio(144.0, 80.0) - 1.8).abs() < 1e-12);
        let flowers = flowers_per_tree(144.0, 5.0);
        assert_eq!(flowers, 720.0);
        assert_eq!(flowers / 80.0, 9.0);
    }

    /// Ontario ministry of agriculture, precision pruning trial (published).
    #[test]
    fn fruit_from_the_yield_wanted() {
        assert!((fruit_by_yield(1500.0, 100.0, 1000.0) - 150.0).abs() < 1e-9);
        assert!((fruit_by_yield(1000.0, 100.0, 622.0) - 160.0).abs() < 1.0);
        assert!((fruit_by_yield(800.0, 100.0, 145.0) - 550.0).abs() < 2.0);
    }

    /// UMass fact sheet on young trees, 2017 (published): trunk diameter in
    /// inches → section in cm² → fruit at 4 and 6 per cm² of section.
    #[test]
    fn fruit_from_the_trunk() {
        let rows = [
            (0.75, 2.9, 11.0, 17.0),
            (1.0, 5.1, 20.0, 30.0),
            (1.5, 11.4, 46.0, 68.0),
            (2.0, 20.3, 81.0, 122.0),
            (2.5, 31.7, 127.0, 190.0),
            (3.0, 45.6, 182.0, 274.0),
        ];
        for (inches, section, few, many) in rows {
            let girth = inches * 2.54 * std::f64::consts::PI;
            assert!((fruit_by_trunk(1.0, girth) - section).abs() < 0.06, "{inches} in");
            assert!((fruit_by_trunk(4.0, girth) - few).abs() <= 1.0, "{inches} in");
            assert!((fruit_by_trunk(6.0, girth) - many).abs() <= 1.0, "{inches} in");
        }
    }
}
