//! How many fruit a tree should carry, and how many flowers that leaves.

pub mod target;

pub use target::Target;

/// Grams in a pound, exact by definition.
pub const GRAMS_PER_POUND: f64 = 453.592_37;
/// Weight of a full box where none is given, lb (common practice, no source;
/// Washington packs 40 lb).
pub const BOX_LB: f64 = 42.0;

/// How wide the fruit of a box is, by how many fill it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxSize {
    /// Fruit in the box.
    pub count: u32,
    /// Diameter of such a fruit, inches.
    pub inches: f64,
    /// The same as the trade writes it.
    pub written: &'static str,
}

/// Count in a box and diameter (Washington State Department of Agriculture;
/// published).
pub const BOX_SIZES: [BoxSize; 8] = [
    BoxSize { count: 72, inches: 3.5, written: "3½" },
    BoxSize { count: 88, inches: 3.25, written: "3¼" },
    BoxSize { count: 100, inches: 3.125, written: "3⅛" },
    BoxSize { count: 113, inches: 3.0, written: "3" },
    BoxSize { count: 125, inches: 2.875, written: "2⅞" },
    BoxSize { count: 138, inches: 2.75, written: "2¾" },
    BoxSize { count: 150, inches: 2.625, written: "2⅝" },
    BoxSize { count: 163, inches: 2.5, written: "2½" },
];

/// The row of [`BOX_SIZES`] for that count; none between them, since nothing is
/// published there.
pub fn box_size(count: f64) -> Option<BoxSize> {
    BOX_SIZES.into_iter().find(|size| f64::from(size.count) == count)
}

/// Mean weight of a fruit, g, when `count` of them fill a box of `box_lb` pounds.
pub fn fruit_weight_g(box_lb: f64, count: f64) -> f64 {
    box_lb * GRAMS_PER_POUND / count
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

    /// Box of 42 lb by its count (derived: 453.592·42/count), as whole grams.
    #[test]
    fn weight_of_a_fruit_by_the_count_of_its_box() {
        for (count, grams) in
            [(72.0, 265.0), (88.0, 216.0), (100.0, 191.0), (113.0, 169.0), (125.0, 152.0), (138.0, 138.0)]
        {
            assert_eq!(fruit_weight_g(BOX_LB, count).round(), grams, "{count}");
        }
        assert_eq!(fruit_weight_g(40.0, 100.0).round(), 181.0);
    }

    /// Washington State Department of Agriculture (published): 100 to the box are
    /// 3⅛ in across, 163 2½ in; counts between are not listed.
    #[test]
    fn diameter_by_count() {
        assert_eq!(box_size(100.0).map(|size| (size.inches, size.written)), Some((3.125, "3⅛")));
        assert_eq!(box_size(163.0).map(|size| size.inches), Some(2.5));
        assert_eq!(box_size(101.0), None);
        assert!(BOX_SIZES.is_sorted_by(|a, b| a.count < b.count && a.inches > b.inches));
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
