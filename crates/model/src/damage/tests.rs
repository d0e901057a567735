use serde_json::{Map, Value, json};

use super::*;
use crate::input::{self, Faults};
use crate::time::{HOUR, Instant};

/// Some morning.
const MORNING: Instant = Instant(1_367_230_000);

fn read(document: Value) -> Result<Tally, Faults> {
    input::read(&document, Tally::from_fields)
}

fn after(hours: i64) -> Instant {
    MORNING.plus(hours * HOUR)
}

/// Kings alive and dead with other fields beside them.
fn tally(alive: i64, dead: i64, other: Value) -> Tally {
    let mut fields: Map<String, Value> = other.as_object().cloned().unwrap();
    fields.extend([("kings_alive".into(), alive.into()), ("kings_dead".into(), dead.into())]);
    read(Value::Object(fields)).unwrap()
}

fn damage(tallies: &[(Instant, Tally)]) -> Damage {
    Damage::of(tallies, None, 5.0, None).unwrap()
}

fn near(found: f64, golden: &Value) -> bool {
    (found - golden.as_f64().unwrap()).abs() < 1e-9
}

/// A share of the golden file by the counts that stand there.
fn share(row: &Value) -> Share {
    let count = |name: &str| row[name].as_i64();
    let (alive, examined) = (count("alive").unwrap(), count("examined").unwrap());
    match count("clusters") {
        Some(clusters) => laterals(alive, examined, clusters).unwrap(),
        None => kings(alive, examined).unwrap(),
    }
}

/// Derived by scipy: `tests/reference/damage.py`.
fn golden() -> Value {
    serde_json::from_str(include_str!("../../../../tests/reference/damage.json")).unwrap()
}

/// Wilson's interval, published; its ends solved for by scipy (derived).
#[test]
fn shares_against_scipy() {
    let golden = golden();
    let rows = || golden["kings"].as_array().unwrap().iter().chain(golden["laterals"].as_array().unwrap());
    assert_eq!(rows().count(), 12);
    for row in rows() {
        let share = share(row);
        assert!(near(share.low, &row["low"]) && near(share.high, &row["high"]), "{share:?} beside {row}");
        assert!(row["n"].is_null() || near(share.n, &row["n"]), "{share:?} beside {row}");
    }
    assert_eq!((kings(0, 0), laterals(0, 0, 10)), (None, None));
}

/// Kish: 1 + (m − 1)·ρ (from memory).
#[test]
fn flowers_of_one_cluster_count_for_less() {
    assert_eq!((design_effect(4.0, 1.0), design_effect(4.0, 0.5), design_effect(4.0, 0.0)), (4.0, 2.5, 1.0));
    assert_eq!((design_effect(1.0, 1.0), design_effect(0.5, 1.0)), (1.0, 1.0));
}

/// Common practice, no source: 180 clusters of five; one king in five and 45 % of
/// the laterals alive, or four kings in five and nine laterals in ten.
#[test]
fn practice_of_live_flowers() {
    let near = |found: f64, wanted: f64| assert!((found - wanted).abs() < 1e-9, "{found} beside {wanted}");
    near(live_flowers(180.0, 0.2, 5.0, 0.45), 360.0);
    near(live_flowers(180.0, 0.8, 5.0, 0.9), 792.0);
    // Six flowers a cluster: a fifth lateral on each.
    near(live_flowers(180.0, 0.2, 6.0, 0.45), 441.0);
    near(live_flowers(180.0, 0.2, 1.0, 0.45), 36.0);
}

/// The intervals of both shares run through, by scipy (derived); one flower in
/// six sets (NIAB, published).
#[test]
fn live_flowers_against_scipy() {
    let golden = golden();
    let rows = golden["live"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    for row in rows {
        let (king, lateral) = (&row["kings"], &row["laterals"]);
        let counted = |row: &Value| (row["alive"].as_i64().unwrap(), row["examined"].as_i64().unwrap());
        let ((alive, examined), (living, seen)) = (counted(king), counted(lateral));
        let laterals = json!({ "laterals_alive": living, "laterals_dead": seen - living });
        let tally = tally(alive, examined - alive, laterals);
        let flowers = row["flowers_per_cluster"].as_f64().unwrap();
        let found = Damage::of(&[(MORNING, tally)], Some(180.0), flowers, None).unwrap().live.unwrap();
        let (live, fruit) = (found.flowers.unwrap(), found.fruit_at_one_in_six.unwrap());
        for (end, name) in [(live.point, "point"), (live.low, "low"), (live.high, "high")] {
            assert!(near(end, &row[name]), "{live:?} beside {row}");
        }
        assert!((fruit.point * 6.0 - live.point).abs() < 1e-9);
        assert!((found.kings.point - 180.0 * alive as f64 / examined as f64).abs() < 1e-9);
    }
}

#[test]
fn clusters_without_their_number_are_the_kings() {
    let without = tally(20, 25, json!({}));
    assert_eq!((without.clusters_examined, without.laterals()), (45, None));
    let full = tally(
        20,
        25,
        json!({
            "clusters_examined": 45, "laterals_alive": 90, "laterals_dead": 60, "clusters_per_tree": [170, 190],
            "after_night": "2026-04-28", "where": "high", "wood": "one-year",
        }),
    );
    assert_eq!((full.laterals(), full.clusters_per_tree), (Some((90, 150)), vec![170, 190]));
    assert_eq!(full.after_night, NaiveDate::from_ymd_opt(2026, 4, 28));
    assert_eq!((full.place, full.wood), (Some(Place::High), Some(Wood::OneYear)));
    // One sort alone, or none of either, is no share of laterals.
    assert_eq!(tally(20, 25, json!({ "laterals_alive": 90 })).laterals(), None);
    assert_eq!(tally(20, 25, json!({ "laterals_alive": 0, "laterals_dead": 0 })).laterals(), None);
}

#[test]
fn bad_input_by_field() {
    let with = |name: &str, value: Value| {
        let mut fields = json!({ "kings_alive": 20, "kings_dead": 25 });
        fields[name] = value;
        fields
    };
    for (document, pointer, says) in [
        (json!({ "kings_dead": 4 }), "/kings_alive", "missing"),
        (json!({ "kings_alive": 4 }), "/kings_dead", "missing"),
        (json!({ "kings_alive": 0, "kings_dead": 0 }), "/kings_alive", "at least one cluster"),
        (with("clusters_examined", json!(50)), "/clusters_examined", "20 kings alive and 25 dead make 45"),
        (with("clusters_examined", json!(0)), "/clusters_examined", "at least one cluster"),
        (with("clusters_examined", json!("all")), "/clusters_examined", "whole number"),
        (with("kings_alive", json!(-1)), "/kings_alive", "outside"),
        (with("kings_dead", json!(1.5)), "/kings_dead", "whole number"),
        (with("laterals_alive", json!(-1)), "/laterals_alive", "outside"),
        (with("laterals_dead", json!("many")), "/laterals_dead", "whole number"),
        (with("clusters_per_tree", json!([])), "/clusters_per_tree", "empty"),
        (with("clusters_per_tree", json!([180, -1])), "/clusters_per_tree/1", "outside"),
        (with("after_night", json!("last night")), "/after_night", "like 2026-04-28"),
        (with("after_night", json!("2026-4-28")), "/after_night", "like 2026-04-28"),
        (with("after_night", json!("2026-02-29")), "/after_night", "like 2026-04-28"),
        (with("where", json!("top")), "/where", "low, mid, high"),
        (with("wood", json!("old")), "/wood", "spur, one-year"),
        (with("kings", json!(1)), "/kings", "not a field"),
    ] {
        let Faults(faults) = read(document.clone()).unwrap_err();
        assert_eq!((faults.len(), faults[0].pointer.as_str()), (1, pointer), "{document}: {faults:?}");
        assert!(faults[0].detail.contains(says), "{document}: {}", faults[0].detail);
    }
}

#[test]
fn counts_of_one_walk_are_pooled_and_the_newest_walk_counts() {
    let night = |date: &str| json!({ "after_night": date });
    let before = (after(-24), tally(10, 10, night("2026-04-28")));
    let newest = (after(0), tally(5, 15, night("2026-04-28")));
    let examined = |tallies: &[(Instant, Tally)]| damage(tallies).clusters_examined;
    assert_eq!(examined(&[newest.clone(), before.clone()]), 40);
    assert_eq!(damage(&[newest.clone(), before]).kings.point, 15.0 / 40.0);
    // A second more, and another night, are other walks.
    let earlier = (after(-24).plus(-1), tally(10, 10, night("2026-04-28")));
    assert_eq!(examined(&[earlier, newest.clone()]), 20);
    assert_eq!(examined(&[(after(-1), tally(9, 1, night("2026-04-27"))), newest.clone()]), 20);
    assert_eq!(examined(&[(after(-1), tally(9, 1, json!({}))), newest]), 20);
    assert_eq!(Damage::of(&[], Some(180.0), 5.0, None), None);
}

#[test]
fn laterals_are_pooled_over_the_clusters_they_were_cut_from() {
    let with = tally(10, 10, json!({ "laterals_alive": 40, "laterals_dead": 40 }));
    let found = damage(&[(after(0), with), (after(1), tally(10, 10, json!({})))]);
    assert_eq!(found.laterals, laterals(40, 80, 20));
}

#[test]
fn clusters_counted_on_the_walk_outrank_what_was_known() {
    let found = |fields, known| {
        let live = Damage::of(&[(MORNING, tally(20, 25, fields))], known, 5.0, None).unwrap().live;
        live.map(|live| live.clusters_per_tree)
    };
    assert_eq!(found(json!({ "clusters_per_tree": [170, 190] }), Some(144.0)), Some(180.0));
    assert_eq!(found(json!({}), Some(144.0)), Some(144.0));
    assert_eq!(found(json!({}), None), None);
}

#[test]
fn heights_are_told_apart_where_their_intervals_do_not_overlap() {
    let heights = |low: (i64, i64), high: (i64, i64)| {
        let low = tally(low.0, low.1, json!({ "where": "low" }));
        let high = tally(high.0, high.1, json!({ "where": "high" }));
        damage(&[(after(0), low), (after(1), high)]).heights.unwrap().worse
    };
    assert_eq!(heights((5, 45), (40, 10)), Some(Worse::Low));
    assert_eq!(heights((40, 10), (5, 45)), Some(Worse::High));
    // By Wilson: 15 of 50 is 19.1 to 43.8 %; 28 of 50 from 42.3 %, 29 from 44.2 %.
    assert_eq!((heights((15, 35), (28, 22)), heights((15, 35), (29, 21))), (None, Some(Worse::Low)));
    let alone = damage(&[(MORNING, tally(5, 45, json!({ "where": "mid" })))]).heights.unwrap();
    assert_eq!((alone.worse, alone.mid.unwrap().kings.examined, alone.low), (None, 50, None));
    assert_eq!(damage(&[(MORNING, tally(5, 45, json!({})))]).heights, None);
}

#[test]
fn laterals_part_the_heights_where_kings_do_not() {
    let at = |place, alive| {
        tally(0, 50, json!({ "where": place, "laterals_alive": alive, "laterals_dead": 200 - alive }))
    };
    let found = damage(&[(after(0), at("low", 20)), (after(1), at("high", 150))]);
    assert_eq!(found.heights.unwrap().worse, Some(Worse::Low));
}

/// Browning within 12 hours: common practice, no source.
#[test]
fn a_count_within_12_hours_of_the_minimum_is_early() {
    assert!(early(after(0), Some(after(0))) && early(after(12).plus(-1), Some(after(0))));
    assert!(!early(after(12), Some(after(0))) && !early(after(0).plus(-1), Some(after(0))));
    assert!(!early(after(0), None));
    let walk = [(after(11), tally(5, 45, json!({}))), (after(14), tally(5, 45, json!({})))];
    assert!(Damage::of(&walk, None, 5.0, Some(after(0))).unwrap().early);
    assert!(!Damage::of(&walk, None, 5.0, Some(after(-1))).unwrap().early);
}

#[test]
fn what_is_told() {
    let laterals = json!({
        "laterals_alive": 324, "laterals_dead": 396, "clusters_per_tree": [170, 190], "after_night": "2026-04-28",
    });
    let found = Damage::of(&[(MORNING, tally(36, 144, laterals))], None, 5.0, Some(MORNING)).unwrap();
    let told = found.told();
    assert_eq!(told[0], "36 of 180 kings examined are alive: 20 % (95 % interval 15 to 26 %).");
    assert!(told[1].starts_with("324 of 720 laterals examined are alive: 45 % (95 % interval 38 to 52 %)."));
    assert!(
        told[2].contains(
            "180 clusters with 5 flowers each that is 360 (300 to 424) live flowers, 36 (27 to 48)"
        )
    );
    assert!(told[2].contains("60 (50 to 71) fruit"));
    assert!(told[3].contains("12 hours") && told.len() == 4);

    let text = serde_json::to_value(&found).unwrap();
    assert_eq!(text["after_night"], "2026-04-28");
    assert_eq!(serde_json::from_value::<Damage>(text).unwrap(), found);
}

#[test]
fn what_is_missing_is_named() {
    let kings_only =
        Damage::of(&[(MORNING, tally(36, 144, json!({})))], Some(180.0), 5.0, None).unwrap().told();
    assert!(kings_only[1].contains("cut the laterals") && kings_only[2].contains("36 (27 to 48) live kings"));
    assert!(
        damage(&[(MORNING, tally(36, 144, json!({})))]).told()[2].contains("count clusters or flower buds")
    );
}

#[test]
fn heights_that_differ_are_told() {
    let low = tally(5, 45, json!({ "where": "low" }));
    let high = tally(40, 10, json!({ "where": "high" }));
    let told = |low: &Tally, high: &Tally| {
        let told = damage(&[(after(0), low.clone()), (after(1), high.clone())]).told();
        told.into_iter().find(|told| told.contains("each height")).unwrap()
    };
    assert!(told(&low, &high).contains("hangs in the tops"));
    let turned = |tally: &Tally, place| Tally { place: Some(place), ..tally.clone() };
    assert!(told(&turned(&high, Place::Low), &turned(&low, Place::High)).contains("does not explain"));
}
