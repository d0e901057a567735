//! What stands beside the clock: hours for bees, re-entry, confirmations, what set.

use std::sync::Arc;

use model::air::Air;
use model::growth::{Course, Growth};
use model::input;
use model::pollination::Bees;
use model::record::Confirmation;
use model::season::{Season, reckon};
use model::series::Series;
use model::site::Place;
use model::time::{HOUR, Instant};
use serde_json::{Value, json};

use crate::kit::{at, hour, log, note_text, noted, ruled_plan, season, spray, start, steady, with};

// ---- bees

/// A season at 15 °C from noon UTC on 28 April in New York, where the sun is up then,
/// with calm and dry air for the first `dry` hours and rain after, or no word of it.
fn with_air(dry: Option<i64>, hours: i64) -> Season {
    let plan = ruled_plan(&json!({}));
    let series = Series::join(&[steady(15.0, 12 + hours as usize)], None, Instant::MAX);
    let air: Vec<Air> = (1..=hours)
        .map(|n| {
            let rain = dry.map(|dry| if n <= dry { 0.0 } else { 1.0 });
            Air { wind_m_s: Some(1.0), rain_mm: rain, ..Air::at(hour(12.0).plus(n * HOUR)) }
        })
        .collect();
    let place = Place { latitude: 40.7, longitude: -74.2, elevation_m: None, zone: plan.zone };
    let bees = Bees::judge(&series, &[air], &place);
    let growth = Growth::new(Arc::new(Course::new(series).with_bees(bees)), plan.block.curve.clone());
    reckon(&plan, &log(&[start(hour(12.0))]), &growth, hour(12.0).plus(hours * HOUR))
}

/// Fewer than three hours fit (common practice, no source): tubes may be behind.
#[test]
fn three_hours_for_bees() {
    let bees = |season: &Season| season.legs[0].bee_hours.unwrap();
    let three = with_air(Some(3), 8);
    assert_eq!((bees(&three).fit, bees(&three).unknown), (3.0, 0.0));
    assert!(!noted(&three, "few-bee-hours", None));
    let two = with_air(Some(2), 8);
    assert_eq!(bees(&two).fit, 2.0);
    assert!(note_text(&two, "few-bee-hours").contains("tubes may be behind"));
}

/// Without wind or rain they are unknown, and without a place not spoken of.
#[test]
fn hours_for_bees_nobody_can_tell() {
    let season = with_air(None, 8);
    let bees = season.legs[0].bee_hours.unwrap();
    assert_eq!((bees.fit, bees.unknown), (0.0, 8.0));
    assert!(!noted(&season, "few-bee-hours", None));
    assert_eq!(mild(&[start(hour(0.0))], 8).legs[0].bee_hours, None);
}

// ---- re-entry

fn mild(entries: &[Value], hours: usize) -> Season {
    season(&ruled_plan(&json!({})), entries, &steady(15.0, hours), hour(hours as f64))
}

fn recorded(id: &str, hours: f64, interval: i64) -> Value {
    let until = hour(hours + 1.0).plus(interval * HOUR);
    with(spray(id, hour(hours), "captan"), "reentry_at", json!(until))
}

#[test]
fn a_recorded_interval_closes_the_block() {
    let closed = mild(&[recorded("s1", 30.0, 12)], 42);
    let reentry = closed.reentry.clone().unwrap();
    assert_eq!((reentry.until, reentry.closed, reentry.entry.as_str()), (Some(hour(43.0)), true, "s1"));
    assert!(noted(&closed, "closed-for-reentry", Some("s1")));
    assert_eq!(closed.look_again_at, Some(hour(43.0)));
    let open = mild(&[recorded("s1", 30.0, 12)], 43);
    assert!(!open.reentry.as_ref().unwrap().closed && !noted(&open, "closed-for-reentry", None));
}

#[test]
fn an_unrecorded_interval_is_told() {
    let season = mild(&[spray("s1", hour(30.0), "captan")], 40);
    assert_eq!(season.reentry.as_ref().unwrap().until, None);
    assert!(noted(&season, "no-reentry", Some("s1")));
}

/// Of several the one that keeps the block closed longest holds.
#[test]
fn the_longest_interval_holds() {
    let until = |entries: &[Value]| mild(entries, 40).reentry.unwrap().until;
    assert_eq!(until(&[recorded("s1", 30.0, 24), recorded("s2", 32.0, 12)]), Some(hour(55.0)));
    assert_eq!(until(&[recorded("s1", 30.0, 12), recorded("s2", 32.0, 24)]), Some(hour(57.0)));
    // A closed block stays closed whatever a later record lacks.
    assert_eq!(until(&[recorded("s1", 30.0, 24), spray("s2", hour(32.0), "captan")]), Some(hour(55.0)));
    // One that is over says nothing of a later one that was not recorded.
    assert_eq!(until(&[recorded("s1", 10.0, 4), spray("s2", hour(32.0), "captan")]), None);
}

// ---- confirmations

fn confirmed(material: &str) -> Confirmation {
    let document = json!({"material": material, "jurisdiction": "New York", "by": "Ines Kolbe",
        "on": "2013-03-01", "registered": true, "bloom_use": true});
    input::read(&document, Confirmation::from_fields).expect("sound")
}

#[test]
fn materials_that_nobody_confirmed_are_named() {
    let entries = [start(hour(0.0))];
    let with = |materials: &[&str]| {
        let mut plan = ruled_plan(&json!({}));
        plan.confirmed = materials.iter().map(|material| confirmed(material)).collect();
        season(&plan, &entries, &steady(15.0, 4), hour(4.0))
    };
    assert!(note_text(&with(&[]), "materials-unconfirmed").starts_with("No one has confirmed"));
    assert!(
        note_text(&with(&["lime-sulfur"]), "materials-unconfirmed").starts_with("ammonium-thiosulfate: ")
    );
    assert!(!noted(&with(&["lime-sulfur", "ammonium-thiosulfate"]), "materials-unconfirmed", None));
}

/// A material planned for two legs with another between is named once.
#[test]
fn a_material_is_named_once() {
    let mut plan = ruled_plan(&json!({}));
    plan.sprays.push(plan.sprays[0].clone());
    assert_eq!(plan.unconfirmed(), ["ammonium-thiosulfate", "lime-sulfur"]);
}

// ---- what set

fn set(id: &str, day: &str, group: &str, fruit: &[i64]) -> Value {
    json!({"id": id, "kind": "set-count", "at": at(day), "group": group, "fruit_per_tree": fruit})
}

fn outcome(entries: &[Value]) -> model::season::Outcome {
    let plan = ruled_plan(&json!({}));
    season(&plan, entries, &steady(15.0, 4), at("2014-06-01T00:00:00Z"))
        .outcome
        .expect("fruit or bloom was counted")
}

/// The newest count of each group is held against the target and the other group.
#[test]
fn what_set_against_target_and_unsprayed_trees() {
    let entries = [
        set("t1", "2013-06-01T12:00:00Z", "treated", &[400, 420]),
        set("t2", "2013-06-20T12:00:00Z", "treated", &[120, 140, 160]),
        set("u", "2013-06-20T12:00:00Z", "unsprayed", &[270, 280, 290]),
    ];
    let outcome = outcome(&entries);
    assert_eq!((outcome.treated.unwrap().fruit.mean, outcome.left_to_thin), (140.0, Some(40.0)));
    assert_eq!(outcome.fewer_by, Some(0.5));
    // Student's t at 2 degrees of freedom, 4.303 (any table; published), times 20/√3.
    assert!((outcome.treated.unwrap().high.unwrap() - 140.0 - 4.302_653 * 20.0 / 3_f64.sqrt()).abs() < 1e-3);
    assert!(outcome.told.iter().any(|told| told == "Sprayed trees carry 50 % fewer than unsprayed ones."));
}

/// More than 2.5 times the target costs next year's bloom (common practice, no source).
#[test]
fn two_and_a_half_times_the_target() {
    let told = |fruit: i64| outcome(&[set("t", "2013-06-20T12:00:00Z", "treated", &[fruit, fruit])]).told;
    let costs = |told: Vec<String>| told.iter().any(|told| told.contains("costs next year's bloom"));
    assert!(costs(told(251)) && !costs(told(250)));
}

#[test]
fn nothing_left_unsprayed_tells_nothing_of_the_sprays() {
    let outcome = outcome(&[set("t", "2013-06-20T12:00:00Z", "treated", &[90, 90])]);
    assert_eq!((outcome.left_to_thin, outcome.fewer_by), (Some(0.0), None));
    assert!(outcome.told.iter().any(|told| told.starts_with("No tree was left unsprayed")));
}

#[test]
fn return_bloom() {
    let back =
        json!({"id": "r", "kind": "return-bloom", "at": at("2014-05-01T12:00:00Z"), "share_of_buds": 0.42});
    let outcome = outcome(&[back]);
    assert_eq!((outcome.return_bloom, outcome.treated), (Some(0.42), None));
    assert_eq!(outcome.told, ["42 % of the buds flowered in the spring after."]);
}
