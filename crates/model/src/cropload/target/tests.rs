use serde_json::{Value, json};

use super::*;
use crate::input::{self, Faults};

fn read(document: Value) -> Result<Target, Faults> {
    input::read(&document, Target::from_fields)
}

/// The target of that table.
fn of(inputs: Value) -> Target {
    read(json!({ "target": inputs })).unwrap()
}

/// Where the table is at fault, each with its words.
fn faults(inputs: Value) -> Vec<(String, String)> {
    let faults = read(json!({ "target": inputs })).unwrap_err();
    faults.0.into_iter().map(|fault| (fault.pointer, fault.detail)).collect()
}

/// One fault at that field, with those words.
fn faulty(inputs: Value, field: &str, words: &str) {
    let found = faults(inputs);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, format!("/target{field}"));
    assert!(found[0].1.contains(words), "{found:?}");
}

fn with(mut inputs: Value, field: &str, value: Value) -> Value {
    inputs[field] = value;
    inputs
}

fn ontario() -> Value {
    json!({"boxes_per_area": 1500, "fruit_per_box": 100, "trees_per_area": 1000})
}

fn by_spacing() -> Value {
    json!({"yield_per_area": 50, "yield_unit": "t", "fruit_weight_g": 200, "area_unit": "hectare",
        "row_spacing": 4, "tree_spacing": 1, "spacing_unit": "m"})
}

#[test]
fn a_stated_target_stays_what_it_is_and_may_be_none() {
    let target = read(json!({"target_fruit_per_tree": 115})).unwrap();
    assert_eq!(target, Target::stated(115.0));
    assert_eq!(target.told(), "115 fruit a tree, as entered.");
    let none = read(json!({"target_fruit_per_tree": 0})).unwrap();
    assert!(none.told().contains("no clock runs"));
    assert_eq!(of(with(ontario(), "boxes_per_area", json!(0))).fruit_per_tree, 0.0);
}

/// Ontario ministry of agriculture, precision pruning trial (published), at its
/// own rounding: 150, 160 and 550 fruit a tree.
#[test]
fn fruit_from_the_boxes_wanted() {
    for (boxes, trees, fruit, rounded_to) in
        [(1500, 1000, 150.0, 1.0), (1000, 622, 160.0, 10.0), (800, 145, 550.0, 10.0)]
    {
        let target = of(json!({"boxes_per_area": boxes, "fruit_per_box": 100, "trees_per_area": trees}));
        assert_eq!((target.fruit_per_tree / rounded_to).round() * rounded_to, fruit, "{boxes} boxes");
    }
}

/// 50 t/ha of 200 g are 250,000 fruit; 4 m by 1 m are 2,500 trees/ha (derived).
#[test]
fn fruit_from_a_yield_by_weight_and_a_spacing() {
    let target = of(by_spacing());
    assert!((target.fruit_per_tree - 100.0).abs() < 1e-9);
    let kilograms = with(with(by_spacing(), "yield_per_area", json!(50_000)), "yield_unit", json!("kg"));
    assert!((of(kilograms).fruit_per_tree - 100.0).abs() < 1e-9);
    let text = target.told();
    assert!(text.contains("250,000 a hectare (101,171 an acre)"), "{text}");
    assert!(text.contains("2,500 a hectare (1,012 an acre)"), "{text}");
    assert!(text.contains("200 g (7.1 oz)"), "{text}");
}

/// 43,560 square feet an acre over 12 ft by 4 ft are 907.5 trees (derived); a
/// box of 42 lb is taken unless another is given.
#[test]
fn fruit_from_pounds_and_feet() {
    let inputs = json!({"yield_per_area": 42_000, "yield_unit": "lb", "fruit_per_box": 100, "area_unit": "acre",
        "row_spacing": 12, "tree_spacing": 4, "spacing_unit": "ft"});
    let target = of(inputs.clone());
    assert!((target.fruit_per_tree - 100_000.0 / 907.5).abs() < 1e-9);
    assert!(target.told().contains("191 g (6.7 oz), some 79 mm (3⅛ in) across"), "{}", target.told());
    let forty = of(with(inputs.clone(), "box_weight_lb", json!(40)));
    assert!((forty.fruit_per_tree / target.fruit_per_tree - 42.0 / 40.0).abs() < 1e-12);
    let kilograms = of(with(inputs, "box_weight_kg", json!(42.0 * 0.453_592_37)));
    assert!((kilograms.fruit_per_tree - target.fruit_per_tree).abs() < 1e-9);
}

/// Boxes with a weight of fruit come to the count of the box (derived).
#[test]
fn boxes_and_a_weight_of_fruit_come_to_the_count() {
    let grams = crate::cropload::fruit_weight_g(42.0, 88.0);
    let target = of(json!({"boxes_per_area": 1000, "fruit_weight_g": grams, "trees_per_area": 1000}));
    assert!((target.fruit_per_tree - 88.0).abs() < 1e-9);
}

#[test]
fn what_is_wrong_with_a_yield_is_named_at_its_field() {
    let null = Value::Null;
    for (field, value, at, words) in [
        ("trees_per_area", null.clone(), "/trees_per_area", "row_spacing and tree_spacing"),
        ("trees_per_area", json!(0), "/trees_per_area", "above 0"),
        ("fruit_per_box", json!(0), "/fruit_per_box", "above 0"),
        ("fruit_per_box", null.clone(), "/fruit_per_box", "is missing"),
        ("boxes_per_area", null.clone(), "/boxes_per_area", "fruit_per_cm2"),
        ("boxes_per_area", json!(-1), "/boxes_per_area", "outside"),
        ("fruit_weight_g", json!(180), "/fruit_weight_g", "give one of them"),
        ("row_spacing", json!(4), "/row_spacing", "give one of them"),
        ("yield_unit", json!("t"), "/yield_unit", "goes with yield_per_area"),
        ("area_unit", json!("morgen"), "/area_unit", "hectare, acre"),
        ("box_weight_lb", json!(0), "/box_weight_lb", "above 0"),
        ("boxes", json!(3), "/boxes", "not a field here"),
        // 0.01 tree to the area: 15 million fruit each.
        ("trees_per_area", json!(0.01), "", "15000000 fruit a tree, more than 100000"),
    ] {
        let inputs = with(ontario(), field, value);
        let found = faults(inputs);
        assert!(
            found
                .iter()
                .any(|(pointer, detail)| *pointer == format!("/target{at}") && detail.contains(words)),
            "{field}: {found:?}"
        );
    }
    for (field, value, at, words) in [
        ("row_spacing", json!(0), "/row_spacing", "above 0"),
        ("tree_spacing", json!(0), "/tree_spacing", "above 0"),
        ("tree_spacing", null.clone(), "/tree_spacing", "is missing"),
        ("tree_spacing", json!(51), "/tree_spacing", "outside 0 to 50"),
        ("spacing_unit", null.clone(), "/spacing_unit", "m, ft"),
        ("area_unit", null.clone(), "/area_unit", "hectare or acre"),
        ("yield_unit", null.clone(), "/yield_unit", "kg, t, lb"),
        ("yield_unit", json!("tons"), "/yield_unit", "kg, t, lb"),
        ("boxes_per_area", json!(1500), "/boxes_per_area", "give one of them"),
    ] {
        faulty(with(by_spacing(), field, value), at, words);
    }
    assert!(faults(json!({})).iter().any(|(pointer, _)| pointer == "/target/trees_per_area"));
}

/// UMass fact sheet, 2017 (published; factors derived): diameter in inches →
/// fruit at 4 and 6 per cm²; the source rounds the section first.
#[test]
fn fruit_from_trunks_of_young_trees() {
    for (inches, few, many) in [
        (0.75, 11.0, 17.0),
        (1.0, 20.0, 30.0),
        (1.5, 46.0, 68.0),
        (2.0, 81.0, 122.0),
        (2.5, 127.0, 190.0),
        (3.0, 182.0, 274.0),
    ] {
        for (density, fruit) in [(4, few), (6, many)] {
            let by = |unit, size: f64| {
                of(json!({"fruit_per_cm2": density, "diameters": [size], "trunk_unit": unit})).fruit_per_tree
            };
            assert!((by("in", inches) - fruit).abs() <= 1.0, "{inches} in at {density}");
            assert!((by("mm", inches * 25.4) - by("in", inches)).abs() < 1e-9);
            assert!((by("cm", inches * 2.54) - by("in", inches)).abs() < 1e-9);
        }
    }
}

/// NIAB, 'Royal Gala' on M.9 (published): 120, 180, 240 fruit are 5, 7, 9 per
/// cm² on trunks of 24 to 27 cm²; a girth of C has C²/4π.
#[test]
fn fruit_from_girths_of_mature_trees() {
    for (fruit, density) in [(120.0, 5.0), (180.0, 7.0), (240.0, 9.0)] {
        let on = |section: f64| {
            let girth = (section * 4.0 * std::f64::consts::PI).sqrt();
            of(json!({"fruit_per_cm2": density, "girths": [girth], "trunk_unit": "cm"})).fruit_per_tree
        };
        assert!(on(24.0) <= fruit && fruit <= on(27.0), "{fruit}");
        assert!((on(25.0) - density * 25.0).abs() < 1e-9);
    }
    let old = of(json!({"fruit_per_cm2": 5, "girth_cm": 18}));
    assert_eq!(
        old.fruit_per_tree,
        of(json!({"fruit_per_cm2": 5, "girths": [18], "trunk_unit": "cm"})).fruit_per_tree
    );
}

/// Five trunks by Student's t (2.776445 at 4 degrees of freedom, published).
#[test]
fn trunks_say_how_far_they_can_be_trusted() {
    let sections: [f64; 5] = [18.0, 30.0, 24.0, 31.0, 22.0];
    let girths: Vec<f64> =
        sections.iter().map(|section| (section * 4.0 * std::f64::consts::PI).sqrt()).collect();
    let target = of(json!({"fruit_per_cm2": 5, "girths": girths, "trunk_unit": "cm"}));
    // Mean 25, squares 120: sd √30.
    let half = 2.776_445 * (30.0_f64 / 5.0).sqrt();
    assert!((target.fruit_per_tree - 125.0).abs() < 1e-9);
    assert!((target.low.unwrap() - 5.0 * (25.0 - half)).abs() < 1e-4);
    assert!((target.high.unwrap() - 5.0 * (25.0 + half)).abs() < 1e-4);
    assert!((target.spread.unwrap() - 30.0_f64.sqrt() / 25.0).abs() < 1e-9);
    assert_eq!((target.trees_sampled, target.trees_needed), (5, Some(21)));
    let text = target.told();
    assert!(text.contains("(91 to 159, 95 times in 100)"), "{text}");
    assert!(text.contains("5 trees measured differ by 22 %; ±10 % needs 21 trees"), "{text}");
}

#[test]
fn one_trunk_has_no_interval_and_says_so() {
    let target = of(json!({"fruit_per_cm2": 5, "girth_cm": 18}));
    assert_eq!((target.low, target.high, target.spread, target.trees_needed), (None, None, None, None));
    assert_eq!(target.trees_sampled, 1);
    assert!(target.told().contains("rests on one trunk"));
}

#[test]
fn what_is_wrong_with_trunks_is_named_at_its_field() {
    let sound = json!({"fruit_per_cm2": 5, "girths": [18, 20], "trunk_unit": "cm"});
    for (field, value, at, words) in [
        ("fruit_per_cm2", Value::Null, "/fruit_per_cm2", "is missing"),
        ("fruit_per_cm2", json!(101), "/fruit_per_cm2", "outside 0 to 100"),
        ("girths", Value::Null, "/girths", "is missing"),
        ("girths", json!([]), "/girths", "empty list"),
        ("girths", json!([18, 0]), "/girths/1", "outside 0.5 to 500"),
        ("diameters", json!([6]), "/diameters", "give one of them"),
        ("trunk_unit", Value::Null, "/trunk_unit", "cm, mm, in"),
        ("trunk_unit", json!("ft"), "/trunk_unit", "cm, mm, in"),
        ("trees_per_area", json!(1000), "/trees_per_area", "give one of them"),
    ] {
        faulty(with(sound.clone(), field, value), at, words);
    }
    faulty(json!({"fruit_per_cm2": 5, "girth_cm": 0}), "/girth_cm", "above 0");
    faulty(json!({"fruit_per_cm2": 5, "girth_cm": 18, "trunk_unit": "in"}), "/trunk_unit", "is in cm");
    faulty(
        json!({"fruit_per_cm2": 5, "diameters": [600], "trunk_unit": "in"}),
        "/diameters/0",
        "outside 0.1 to 62",
    );
}

#[test]
fn a_target_survives_storage() {
    for inputs in [ontario(), by_spacing(), json!({"fruit_per_cm2": 5, "girth_cm": 18})] {
        let target = of(inputs);
        let stored = serde_json::to_string(&target).unwrap();
        assert_eq!(serde_json::from_str::<Target>(&stored).unwrap(), target);
    }
}
