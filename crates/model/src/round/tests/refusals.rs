//! What cannot be planned is answered in words.

use super::*;

fn left(stop: Stop) -> (Why, String) {
    let round = plan(&ask(vec![stop], vec![sprayer("Red", 1.0)]));
    assert!(round.runs[0].visits.is_empty());
    (round.left_out[0].why, round.told(ZONE).remove(0))
}

#[test]
fn a_block_that_cannot_be_planned_says_why() {
    let sound = || stop("A", 0.0, 0, 600, 0);
    let flowers = |through| Some(Flowers { through, target: 100.0 });
    for (stop, says) in [
        (Stop { hectares: 0.0, ..sound() }, "its area of 0 ha"),
        (Stop { hectares: -1.0, ..sound() }, "its area of -1 ha"),
        (Stop { hectares: f64::NAN, ..sound() }, "its area is no number"),
        (Stop { hectares: f64::INFINITY, ..sound() }, "its area is no number"),
        (Stop { spot: Some(Spot { latitude: 91.0, longitude: 0.0 }), ..sound() }, "no place on the earth"),
        (
            Stop { spot: Some(Spot { latitude: f64::NAN, longitude: 0.0 }), ..sound() },
            "no place on the earth",
        ),
        (Stop { litres_per_hectare: Some(0.0), ..sound() }, "spray per hectare"),
        (Stop { litres_per_hectare: Some(f64::NAN), ..sound() }, "spray per hectare"),
        (Stop { style_per_hour: f64::NAN, ..sound() }, "cannot be reckoned with"),
        (Stop { style_per_hour: -0.1, ..sound() }, "cannot be reckoned with"),
        (Stop { flowers: flowers(Vec::new()), ..sound() }, "cannot be reckoned with"),
        (
            Stop { flowers: flowers(vec![(after(0), 9.0), (after(9), 8.0)]), ..sound() },
            "cannot be reckoned with",
        ),
        (Stop { flowers: flowers(vec![(after(0), f64::NAN)]), ..sound() }, "cannot be reckoned with"),
        (Stop { mark: None, ..sound() }, "when its mark is reached is not known"),
        (Stop { windows: Vec::new(), ..sound() }, "it has no slot ahead"),
        (Stop { windows: vec![window(-300, -10)], ..sound() }, "it has no slot ahead"),
        (Stop { windows: vec![window(60, 60)], ..sound() }, "it has no slot ahead"),
        (Stop { windows: vec![window(90, 60)], ..sound() }, "it has no slot ahead"),
        (Stop { windows: vec![window(20_000, 20_600)], ..sound() }, "it has no slot ahead"),
        (
            Stop { windows: vec![window(0, 110)], ..sound() },
            "the work takes 2.0 h, and its longest slot is 1.8 h",
        ),
        (
            Stop { spot: Some(spot(50_000.0, 0.0)), windows: vec![window(0, 200)], ..sound() },
            "no sprayer can be there",
        ),
    ] {
        let (why, told) = left(stop.clone());
        assert!(told.starts_with("A cannot be reached in time") && told.contains(says), "{why:?}: {told}");
    }
}

#[test]
fn a_block_on_hold_is_left_out_whoever_could_go() {
    let held = || Stop { hold_since: Some(after(-600)), ..stop("A", 0.0, 0, 600, 0) };
    let (why, told) = left(held());
    assert_eq!(why, Why::Hold { since: after(-600) });
    assert_eq!(
        told,
        format!(
            "A is left out: frost came over its leg {}. Look at the flowers before any spray.",
            after(-600).spoken(ZONE)
        )
    );
    let alone = plan(&ask(vec![held()], Vec::new()));
    assert_eq!(alone.left_out[0].why, Why::Hold { since: after(-600) });
}

#[test]
fn a_block_whose_reentry_nobody_recorded_is_planned_and_said() {
    let unrecorded = Stop { reentry_unrecorded: true, ..stop("A", 0.0, 0, 600, 0) };
    let round = plan(&ask(vec![unrecorded, stop("B", 0.0, 0, 600, 0)], vec![sprayer("Red", 1.0)]));
    assert_eq!(order(&round, 0).len(), 2);
    assert_eq!(round.notes, [format!("A: {}", crate::words::NO_REENTRY)]);
    assert!(round.told(ZONE).contains(&round.notes[0]));
}

#[test]
fn a_sprayer_that_cannot_be_planned_says_why_and_the_others_go() {
    let stops = || vec![stop("A", 0.0, 0, 600, 0)];
    for (bad, says) in [
        (sprayer("Bad", 0.0), "no capacity"),
        (sprayer("Bad", -2.0), "-2 ha an hour"),
        (sprayer("Bad", f64::NAN), "NaN ha an hour"),
        (Sprayer { tank_litres: Some(0.0), ..sprayer("Bad", 1.0) }, "a tank of 0 L"),
        (Sprayer { fill_minutes: f64::NAN, ..sprayer("Bad", 1.0) }, "minutes for a filling"),
        (
            Sprayer { fill_at: Some(Spot { latitude: 0.0, longitude: 200.0 }), ..sprayer("Bad", 1.0) },
            "no place on the earth",
        ),
    ] {
        let round = plan(&ask(stops(), vec![bad.clone(), sprayer("Good", 1.0)]));
        assert!(
            round.notes[0].starts_with("Bad is not planned") && round.notes[0].contains(says),
            "{round:?}"
        );
        assert_eq!((order(&round, 0).len(), order(&round, 1).len()), (0, 1));
        let alone = plan(&ask(stops(), vec![bad]));
        assert_eq!(alone.left_out[0].why, Why::NoCapacity);
    }
}

#[test]
fn no_sprayer_no_block_and_no_way_are_each_said() {
    let one = || vec![stop("A", 0.0, 0, 600, 0)];
    assert_eq!(plan(&ask(one(), Vec::new())).left_out[0].why, Why::NoSprayer);
    let nothing = plan(&ask(Vec::new(), vec![sprayer("Red", 1.0)]));
    assert_eq!(nothing.told(ZONE), ["There is no block to spray."]);
    for ways in [
        Ways { km_per_hour: 0.0, detour: 1.0 },
        Ways { km_per_hour: f64::NAN, detour: 1.0 },
        Ways { km_per_hour: 10.0, detour: 0.5 },
    ] {
        let round = plan(&Ask { ways, ..ask(one(), vec![sprayer("Red", 1.0)]) });
        assert_eq!(round.left_out[0].why, Why::NoWays);
        assert!(round.notes[0].contains("A way cannot be reckoned"));
    }
    let nowhere = Stop { spot: None, ..stop("A", 0.0, 0, 600, 0) };
    let round = plan(&ask(vec![nowhere], vec![sprayer("Red", 1.0)]));
    assert!(round.told(ZONE)[0].contains("Where A lies is not known"));
    assert_eq!(round.runs[0].visits[0].way_km, None);
}

#[test]
fn a_sprayer_that_is_free_too_late_leaves_the_block() {
    let late = Sprayer { free_from: Some(after(550)), ..sprayer("Red", 1.0) };
    let round = plan(&ask(vec![stop("A", 0.0, 0, 600, 0)], vec![late]));
    assert_eq!(round.left_out[0].why, Why::TooFar { there: after(550) });
    assert!(round.told(ZONE)[0].contains("no sprayer can be there before Thu 2 May, 05:10"));
}
