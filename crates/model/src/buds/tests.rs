use serde_json::{Value, json};

use super::*;
use crate::cultivar::Cultivars;
use crate::input;

fn cultivar(name: &str) -> Cultivar {
    let table: Value = toml::from_str(include_str!("../../../../config/cultivars.toml")).unwrap();
    Cultivars::read(&table).unwrap().of(name)
}

fn count(buds: &[i64], wood: Option<Wood>) -> BudCount {
    BudCount { buds_per_tree: buds.to_vec(), wood, branches_per_tree: None }
}

/// That count of whole trees against that target.
fn of(buds_per_tree: &[i64], target: f64, name: &str) -> Buds {
    buds(&[&count(buds_per_tree, None)], target, &cultivar(name), None).unwrap()
}

/// Ontario ministry of agriculture, precision pruning trial (published), at its
/// own rounding: fruit a tree, branches → fruit on a branch → buds on a branch.
/// Its third row names no branches; 12 are taken, as in the second, and the
/// source's band is a little wider than ours.
#[test]
fn buds_wanted_on_a_branch() {
    let on = |fruit: f64, branches: f64| {
        let count = BudCount { branches_per_tree: Some(branches), ..count(&[400], None) };
        let buds = buds(&[&count], fruit, &cultivar("Empire"), None).unwrap();
        (buds.fruit_on_a_branch().unwrap(), buds.buds_on_a_branch().unwrap(), buds)
    };
    let (fruit, wanted, whole) = on(150.0, 24.0);
    assert_eq!((fruit, wanted), ((6, 7), (12, 14)));
    assert_eq!((whole.fruit_per_branch, whole.wanted_per_branch), (Some(6.25), Some(12.5)));
    let (fruit, wanted, _) = on(160.0, 12.0);
    assert_eq!((fruit, wanted), ((13, 14), (26, 28)));
    let (fruit, wanted, _) = on(550.0, 12.0);
    assert!(fruit.0 >= 44 && fruit.1 <= 46 && wanted.0 >= 88 && wanted.1 <= 92, "{fruit:?} {wanted:?}");
}

/// 'Gala' at 1.8 buds a fruit (Ontario ministry of agriculture; published).
#[test]
fn the_line_from_both_sides() {
    for (counted, standing, off) in
        [(143, Standing::Below, 0.0), (144, Standing::At, 0.0), (145, Standing::Above, 1.0)]
    {
        let buds = of(&[counted], 80.0, "Gala");
        assert_eq!(buds.standing, Some(standing), "{counted}");
        assert!((buds.to_remove_per_tree.unwrap() - off).abs() < 1e-9);
    }
    let at = of(&[144], 80.0, "Gala");
    assert_eq!((at.ratio, at.wanted_per_tree), (Some(1.8), Some(144.0)));
    assert!(
        at.told().contains("1.8 for each of 80 fruit wanted, at the line of 1.8 for Gala."),
        "{}",
        at.told()
    );
    // A mean that falls beside 144 by its rounding alone is at the line too.
    let thirds = buds(
        &[&count(&[100, 100, 101], Some(Wood::Spur)), &count(&[43, 44, 44], Some(Wood::OneYear))],
        80.0,
        &cultivar("Gala"),
        None,
    );
    assert_eq!(thirds.unwrap().standing, Some(Standing::At));
    assert_eq!(of(&[145], 80.0, "Honeycrisp").standing, Some(Standing::Below));
}

/// Trade press: five trees at a CV of 25 % give ±31 %; ±10 % needs 27 (derived
/// by Student's t).
#[test]
fn five_trees_carry_little_and_it_stands_beside() {
    // Mean 100, squares 2500: sd 25.
    let buds = of(&[75, 75, 100, 125, 125], 50.0, "Empire");
    assert_eq!((buds.trees, buds.spread, buds.trees_needed), (5, Some(0.25), Some(27)));
    assert!((buds.within.unwrap() - 0.31).abs() < 0.005);
    assert!(
        (buds.ratio_low.unwrap() - 1.379).abs() < 1e-3 && (buds.ratio_high.unwrap() - 2.621).abs() < 1e-3
    );
    assert!(buds.close, "the line of 2.0 lies inside");
    let text = buds.told();
    assert!(text.starts_with("100 flower buds a tree, known within ±31 % from 5 trees that differ by 25 %; ±10 % needs 27 trees."), "{text}");
    assert!(text.contains("leaves open"), "{text}");
    assert!(!of(&[99, 101, 100, 100, 100], 20.0, "Empire").close);
    assert!(of(&[99, 101, 100, 100, 100], 20.0, "Empire").told().contains("±10 % is reached"));
}

#[test]
fn one_tree_has_no_interval_and_says_so() {
    let buds = of(&[200], 100.0, "Empire");
    assert_eq!((buds.low, buds.within, buds.trees_needed, buds.close), (None, None, None, false));
    assert!(buds.told().contains("counted on one tree"));
}

/// Standard errors in quadrature, Student's t of the fewer trees (12.706205 at
/// one degree of freedom; published).
#[test]
fn spurs_and_one_year_wood_are_added() {
    let (spur, young) = (count(&[97, 103, 100], Some(Wood::Spur)), count(&[16, 24], Some(Wood::OneYear)));
    let buds = buds(&[&spur, &young], 60.0, &cultivar("Empire"), None).unwrap();
    assert_eq!((buds.per_tree, buds.trees, buds.uncounted), (120.0, 2, None));
    // 9/3 + 32/2 = 19.
    let half = 12.706_205 * 19.0_f64.sqrt();
    assert!((buds.high.unwrap() - (120.0 + half)).abs() < 1e-4);
    assert!((buds.spread.unwrap() - 41.0_f64.sqrt() / 120.0).abs() < 1e-12);
}

#[test]
fn the_latest_count_of_each_wood_holds() {
    let per_tree = |counts: &[&BudCount]| buds(counts, 60.0, &cultivar("Empire"), None).unwrap().per_tree;
    let (old, new) = (count(&[90], Some(Wood::Spur)), count(&[80], Some(Wood::Spur)));
    let (young, whole) = (count(&[20], Some(Wood::OneYear)), count(&[70], None));
    assert_eq!(per_tree(&[&old, &young, &new]), 100.0);
    assert_eq!(per_tree(&[&old, &young, &new, &whole]), 70.0);
    assert_eq!(per_tree(&[&whole, &young, &new]), 100.0);
    let spurs = buds(&[&whole, &new], 60.0, &cultivar("Empire"), None).unwrap();
    assert_eq!((spurs.per_tree, spurs.uncounted), (80.0, Some(Wood::OneYear)));
    assert!(spurs.told().contains("Buds on one-year wood were not counted"));
}

/// Pink is BBCH 57 (published); above 3 buds a fruit more pruning (practice).
#[test]
fn shears_until_pink_and_above_three() {
    let at = |counted: i64, stage| {
        let text = buds(&[&count(&[counted], None)], 100.0, &cultivar("Empire"), stage).unwrap().told();
        (text.contains("more pruning is worth it"), text)
    };
    assert!(at(250, Some(56)).1.contains("can still follow"));
    assert!(at(250, Some(57)).1.contains("too late"));
    assert!(at(250, None).1.contains("No stage is logged"));
    assert!(!at(300, Some(56)).0 && at(301, Some(56)).0);
    assert!(!at(200, Some(56)).1.contains("runing"), "nothing to take off at the line");
}

#[test]
fn a_target_of_none_has_no_ratio() {
    let buds = of(&[200, 210], 0.0, "Empire");
    assert_eq!((buds.ratio, buds.standing, buds.to_remove_per_tree), (None, None, None));
    assert!(!buds.prune_more && buds.within.is_some());
    assert!(buds.told().contains("no ratio"), "{}", buds.told());
}

#[test]
fn trees_without_a_bud_are_a_count_too() {
    let bare = of(&[0, 0, 0], 80.0, "Empire");
    assert_eq!((bare.per_tree, bare.ratio, bare.standing), (0.0, Some(0.0), Some(Standing::Below)));
    assert_eq!((bare.within, bare.spread, bare.trees_needed), (None, None, None));
    assert!(bare.told().starts_with("0 flower buds a tree on 3 trees."), "{}", bare.told());
    assert_eq!(buds(&[], 80.0, &cultivar("Empire"), None), None);
}

#[test]
fn buds_survive_storage() {
    let buds = of(&[75, 75, 100, 125, 125], 50.0, "Empire");
    let stored = serde_json::to_string(&buds).unwrap();
    assert_eq!(serde_json::from_str::<Buds>(&stored).unwrap(), buds);
}

#[test]
fn a_bud_count_is_read_and_its_faults_named() {
    let read = |document: Value| input::read(&document, BudCount::from_fields);
    let sound = json!({"buds_per_tree": [140, 155], "wood": "one-year", "branches_per_tree": 12.5});
    let whole =
        BudCount { buds_per_tree: vec![140, 155], wood: Some(Wood::OneYear), branches_per_tree: Some(12.5) };
    assert_eq!(read(sound.clone()).unwrap(), whole);
    assert_eq!(read(json!({"buds_per_tree": [0]})).unwrap(), count(&[0], None));
    for (field, value, at) in [
        ("buds_per_tree", Value::Null, "/buds_per_tree"),
        ("buds_per_tree", json!([]), "/buds_per_tree"),
        ("buds_per_tree", json!([140, -1]), "/buds_per_tree/1"),
        ("buds_per_tree", json!([140.5]), "/buds_per_tree/0"),
        ("wood", json!("old"), "/wood"),
        ("branches_per_tree", json!(0), "/branches_per_tree"),
        ("branches", json!(12), "/branches"),
    ] {
        let mut document = sound.clone();
        document[field] = value;
        let faults = read(document).unwrap_err();
        assert_eq!(faults.0.len(), 1, "{faults}");
        assert_eq!(faults.0[0].pointer, at);
    }
}
