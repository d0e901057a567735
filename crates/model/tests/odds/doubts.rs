//! Each doubt by itself: style, start, curve, unread hours.

use std::sync::Arc;

use model::bloom::Basis;
use model::curve::{Curve, Status};
use model::odds::{self, Doubt, SeasonOdds};
use model::season::State;
use model::series::Forecast;
use model::time::{HOUR, MINUTE};
use serde_json::{Value, json};

use super::asked::{Asked, ahead, apart, codes, ensemble, in_mm};
use crate::kit::{self, hour};

#[test]
fn style_length_weighs_on_a_curve_in_mm_alone() {
    let sure = ensemble(21, 0.01);
    let few = Asked { plan: in_mm(&[7.5, 10.1, 8.8]), ..Asked::of(sure.clone()) };
    let many = Asked { plan: in_mm(&[8.5, 9.1].repeat(100)), ..Asked::of(sure.clone()) };
    let (few, many) = (few.odds().legs[0].odds.clone(), many.odds().legs[0].odds.clone());
    let weighs = few.weighs.clone().unwrap();
    assert_eq!((weighs.doubt, weighs.more_styles), (Doubt::Style, Some(60)));
    assert_eq!(weighs.told(), "The style length weighs most: measure 60 more styles.");
    assert!(apart(&few) > 3 * apart(&many), "{} {}", apart(&few), apart(&many));
    // The further apart the members, the fewer styles are worth measuring.
    let unsure = Asked { plan: in_mm(&[7.5, 10.1, 8.8]), ..Asked::of(ensemble(21, 0.07)) };
    let weighs = unsure.odds().legs[0].odds.weighs.clone().unwrap();
    let more = weighs.more_styles.expect("style still weighs most");
    assert!((1..60).contains(&more), "{weighs:?}");
    let fraction = Asked::of(sure).odds();
    assert_eq!(fraction.legs[0].odds.weighs.as_ref().unwrap().doubt, Doubt::Weather);
}

#[test]
fn one_style_counts_as_if_lengths_spread_as_they_mostly_do() {
    let width = |styles: &[f64]| {
        let asked = Asked { plan: in_mm(styles), ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
        apart(&asked.odds().legs[0].odds)
    };
    assert!(width(&[8.8]) > width(&[8.7, 8.8, 8.9]) && width(&[8.8, 8.8]) == 0);
}

/// Counts of a season whose start is still ahead.
fn rising(trees: usize) -> Vec<Value> {
    let spread = |mean: i64| (0..trees as i64).map(|tree| mean + (tree * 7) % 11 - 5).collect::<Vec<i64>>();
    vec![kit::count("c1", hour(45.0), &spread(20)), kit::count("c2", hour(70.0), &spread(60))]
}

#[test]
fn a_start_ahead_has_odds_and_so_have_the_legs_behind_it() {
    let asked = Asked { entries: rising(10), ..Asked::of(ensemble(21, 0.02)) };
    let season = asked.season();
    assert!(season.state == State::Watching && season.start.is_none());
    let found = asked.odds();
    let start = found.start.as_ref().unwrap();
    assert!(start.early > Some(hour(70.0)) && start.early < start.late);
    assert_eq!(start.weighs.as_ref().unwrap().doubt, Doubt::Start);
    let marks: Vec<(usize, bool)> = found.legs.iter().map(|leg| (leg.number, leg.after_unlogged)).collect();
    assert_eq!(marks, [(1, false), (2, true)]);
    let likely: Vec<_> = found.legs.iter().map(|leg| leg.odds.likely.unwrap()).collect();
    assert!(start.likely.unwrap() < likely[0] && likely[0] < likely[1]);
    // One tree says less of a block than ten.
    let one = Asked { entries: rising(1), ..Asked::of(ensemble(21, 0.02)) }.odds();
    let width = |odds: &SeasonOdds| apart(odds.start.as_ref().unwrap());
    assert!(one.start.as_ref().unwrap().late.is_none() || width(&one) > width(&found));
}

/// The likely start is the one that the season expects of the same weather.
#[test]
fn a_start_without_doubt_is_the_one_expected() {
    let flat = vec![kit::count("c1", hour(45.0), &[20; 4]), kit::count("c2", hour(70.0), &[60; 4])];
    let asked = Asked { entries: flat, ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
    let forecast = Forecast { issued_at: asked.issued_at, hours: asked.members[0].clone() };
    let sources = std::slice::from_ref(&asked.readings);
    let season = kit::season_of(&asked.plan, &kit::log(&asked.entries), sources, Some(&forecast), asked.now);
    let expected = season.start.filter(|start| start.basis == Basis::Expected).unwrap().at;
    let start = asked.odds().start.unwrap();
    assert_eq!((start.early, start.late), (start.likely, start.likely));
    assert!(start.likely.unwrap().since(expected).abs() <= 2 * MINUTE, "{start:?} beside {expected}");
}

#[test]
fn counts_that_do_not_rise_give_no_start() {
    let falling = vec![kit::count("c1", hour(45.0), &[60]), kit::count("c2", hour(70.0), &[20])];
    for entries in [falling, vec![kit::count("c1", hour(45.0), &[60])], Vec::new()] {
        let found = Asked { entries, ..Asked::of(ensemble(21, 0.2)) }.odds();
        assert_eq!((found.start.is_none(), found.legs.len(), codes(&found)), (true, 0, vec!["no-rise"]));
    }
}

#[test]
fn a_start_between_counts_never_leaves_them() {
    let counts = |low: [i64; 3], high: [i64; 3]| {
        vec![kit::count("c1", hour(45.0), &low), kit::count("c2", hour(70.0), &high)]
    };
    let found = |entries| Asked { entries, ..Asked::of(vec![ahead(72, 240, 13.0); 9]) }.odds();
    let sure = found(counts([60, 60, 60], [150, 150, 150]));
    let unsure = found(counts([20, 60, 100], [80, 150, 220]));
    assert_eq!(apart(&sure.legs[0].odds), 0);
    let odds = &unsure.legs[0].odds;
    assert_eq!(odds.weighs.as_ref().unwrap().doubt, Doubt::Start);
    let from = |at| {
        let asked = Asked { entries: vec![kit::start(at)], ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
        asked.odds().legs[0].odds.likely.unwrap()
    };
    let (first, last) = (odds.dots[0].unwrap(), odds.dots[19].unwrap());
    assert!(from(hour(45.0)) <= first && first < last && last <= from(hour(70.0)));
}

/// A mark behind us without a spray: the next leg is taken to begin now.
#[test]
fn the_leg_after_a_mark_that_is_past_begins_now() {
    let asked = Asked { entries: vec![kit::start(hour(2.0))], ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
    let season = asked.season();
    assert_eq!(season.state, State::Due);
    let found = asked.odds();
    let reached = season.legs[0].reached_at.unwrap();
    assert_eq!(found.legs[0].odds.likely, Some(reached));
    let sprayed_now = Asked {
        entries: vec![kit::start(hour(2.0)), kit::spray("s1", hour(72.0), "ammonium-thiosulfate")],
        now: hour(73.0),
        ..Asked::of(vec![ahead(72, 240, 13.0); 9])
    };
    assert_eq!(found.legs[1].odds.likely, sprayed_now.odds().legs[0].odds.likely);
}

#[test]
fn curves_that_may_hold() {
    let (reference, cardinal) = (kit::curve("reference"), kit::curve("cardinal"));
    let shipped = [reference.clone(), cardinal.clone()];
    let ids = |own: &Arc<Curve>| -> Vec<String> {
        odds::curves_in_doubt(own, &shipped).iter().map(|(curve, _)| curve.id.clone()).collect()
    };
    assert_eq!(ids(&cardinal), ["cardinal", "reference"]);
    let measured = Arc::new(Curve { id: "own".to_owned(), status: Status::Measured, ..(*cardinal).clone() });
    assert_eq!(ids(&measured), ["own"]);
    let both = Asked { others: vec![cardinal.clone()], ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
    let odds = both.odds().legs[0].odds.clone();
    let alone = |curve: &str| {
        let block =
            json!({"name": "Quarry Bank", "cultivar": "Gala", "curve": curve, "target_fruit_per_tree": 100});
        let plan = kit::plan_of(&block, &[("lime-sulfur", 0.6)]);
        Asked { plan, ..Asked::of(vec![ahead(72, 240, 13.0); 9]) }.odds().legs[0].odds.likely
    };
    let mut ends = [alone("reference"), alone("cardinal")];
    ends.sort();
    assert_eq!([odds.early, odds.late], ends);
    assert_eq!(odds.weighs.unwrap().doubt, Doubt::Curve);
}

#[test]
fn unread_hours_widen() {
    let mut asked =
        Asked { entries: vec![kit::start(hour(40.0))], ..Asked::of(vec![ahead(72, 240, 13.0); 9]) };
    assert_eq!(apart(&asked.odds().legs[0].odds), 0);
    asked.readings.retain(|reading| !(hour(45.0)..hour(60.0)).contains(&reading.at));
    let odds = asked.odds().legs[0].odds.clone();
    assert!(apart(&odds) > HOUR / 4, "{odds:?}");
    assert_eq!(odds.weighs.unwrap().doubt, Doubt::Gap);
}

/// What opened behind the sprayer is younger: the finish is the late edge.
#[test]
fn a_leg_opened_by_a_long_spray_is_later_at_most() {
    let odds = |hours: f64| {
        let spray = kit::spray("s1", hour(60.0), "ammonium-thiosulfate");
        let spray = kit::with(spray, "finished_at", hour(60.0 + hours).to_string());
        Asked { entries: vec![kit::start(hour(20.0)), spray], ..Asked::of(vec![ahead(72, 240, 13.0); 9]) }
            .odds()
            .legs[0]
            .odds
            .clone()
    };
    let (short, long) = (odds(0.0), odds(8.0));
    assert_eq!((short.early, short.late), (short.likely, short.likely));
    assert_eq!(long.early, short.early, "it begins with the first row");
    let later = long.late.unwrap().since(short.late.unwrap());
    assert!((HOUR..=8 * HOUR).contains(&later), "{later}");
    assert_eq!(long.weighs.unwrap().doubt, Doubt::Start);
}
