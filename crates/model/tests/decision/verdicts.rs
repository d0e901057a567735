//! What the shipped table says of counts as people make them.

use model::field_log::FieldLog;
use model::plan::Plan;
use model::season::{Season, State};
use model::series::{Forecast, Reading};
use model::time::{DAY, HOUR};
use model::verdict::Advice;
use serde_json::{Value, json};

use crate::kit::{
    begin, count, damage, decision, hour, hourly, log, noted, ruled_plan, season, season_of, start, steady,
};

fn gala() -> Plan {
    ruled_plan(&json!({}))
}

/// A mild season two days on.
fn mild(plan: &Plan, entries: &[Value]) -> Season {
    season(plan, entries, &steady(15.0, 47), hour(47.0))
}

fn value(season: &Season, figure: &str) -> f64 {
    season.verdict.lines.iter().find(|line| line.figure == figure).expect("judged by it").value
}

fn rows(season: &Season) -> Vec<&str> {
    season.verdict.matching.iter().map(|row| &*row.row).collect()
}

/// 180 clusters are 1.8 for each of 100 fruit; at 160 of 200 kings alive, 0.80,
/// they are 1.44 live kings: exactly on both lines, and both count (0.80 and 1.8
/// are common practice, no source).
#[test]
fn exactly_on_the_lines_for_thinning() {
    let on = mild(&gala(), &[damage("d", hour(1.0), (160, 200), (720, 800))]);
    assert_eq!(on.verdict.verdict, Advice::Thin);
    assert!((value(&on, "live-kings-per-fruit") - 1.44).abs() < 1e-12);
    let under = mild(&gala(), &[damage("d", hour(1.0), (159, 200), (720, 800))]);
    assert_eq!(&*under.verdict.row, "between");
}

/// Four live flowers for each fruit: 180 clusters with 160 of 200 kings and of the
/// laterals 568 in 1,600 make 180·(0.8 + 4·0.355) = 399.6; 569 in 1,600 are just
/// more. Exactly 4.0: 100 clusters of five, four in five alive of each.
#[test]
fn exactly_on_the_stand_down_line() {
    let advice = |alive| mild(&gala(), &[damage("d", hour(1.0), (160, 200), (alive, 1_600))]).verdict.verdict;
    assert_eq!((advice(568), advice(569)), (Advice::StandDown, Advice::Thin));
    let hundred = |laterals: i64| {
        let mut entry = damage("d", hour(1.0), (160, 200), (laterals, 800));
        entry["clusters_per_tree"] = json!([90, 110]);
        mild(&gala(), &[entry])
    };
    let on = hundred(640);
    assert!((value(&on, "live-flowers-per-fruit") - 4.0).abs() < 1e-12);
    assert_eq!(on.verdict.verdict, Advice::StandDown, "at the line is not above it");
    assert_eq!(hundred(641).verdict.verdict, Advice::LeanStandDown, "0.8 kings for each fruit");
}

/// Even with enough kings too few flowers stand a block down; both rows are shown.
#[test]
fn rows_for_thinning_and_standing_down_both_hold() {
    let season = mild(&gala(), &[damage("d", hour(1.0), (160, 200), (280, 800))]);
    assert_eq!(season.verdict.verdict, Advice::StandDown);
    assert_eq!(rows(&season), ["few-flowers", "enough-kings", "uneven-damage", "between"]);
}

/// Common practice, no source: 900 flowers for 100 fruit. One king in five and 45 %
/// of the laterals leave 360: stand down; four in five and nine in ten leave 792:
/// thin. With six flowers a cluster the first leaves 441, above the line.
#[test]
fn practice_on_either_side() {
    let frosted = |plan: &Plan| mild(plan, &[damage("d", hour(1.0), (40, 200), (360, 800))]);
    let season = frosted(&gala());
    assert_eq!(season.verdict.verdict, Advice::StandDown);
    let live = season.damage.unwrap().live.unwrap();
    assert!((live.flowers.unwrap().point - 360.0).abs() < 1e-9);
    // One in six sets in a normal year (NIAB; read).
    assert!((live.fruit_at_one_in_six.unwrap().point - 60.0).abs() < 1e-9);
    let sound = mild(&gala(), &[damage("d", hour(1.0), (160, 200), (720, 800))]);
    assert_eq!(sound.verdict.verdict, Advice::Thin);
    assert!((value(&sound, "live-flowers-per-fruit") - 7.92).abs() < 1e-9);
    let six = frosted(&ruled_plan(&json!({"flowers_per_cluster": 6})));
    assert!((value(&six, "live-flowers-per-fruit") - 4.41).abs() < 1e-9);
    assert_eq!(six.verdict.verdict, Advice::LeanStandDown);
    // Counted in this season it stands before what the block has.
    let counted = json!({"id": "f", "kind": "flowers-per-cluster", "at": hour(0.5), "flowers": [6, 6, 6]});
    let six = mild(&gala(), &[counted, damage("d", hour(1.0), (40, 200), (360, 800))]);
    assert!((value(&six, "live-flowers-per-fruit") - 4.41).abs() < 1e-9);
}

/// 2.5 for a cultivar that bears every other year (constructed).
#[test]
fn a_cultivar_that_bears_every_other_year_has_a_lower_line() {
    let frosted = [damage("d", hour(1.0), (160, 200), (280, 800))];
    assert_eq!(mild(&ruled_plan(&json!({"cultivar": "Fuji"})), &frosted).verdict.verdict, Advice::Thin);
}

#[test]
fn nothing_counted_is_the_persons_call() {
    let buds = json!({"id": "b", "kind": "bud-count", "at": hour(0.0), "buds_per_tree": [170, 190]});
    let season = mild(&gala(), std::slice::from_ref(&buds));
    assert_eq!((season.verdict.verdict, &*season.verdict.row), (Advice::YourCall, "missing"));
    assert!(season.verdict.missing.iter().any(|missing| missing == "damage-count"));
    let all_alive = "A damage count: were every flower alive, the table would say thin.";
    assert!(season.verdict.would_change.iter().any(|change| change == all_alive), "{:?}", season.verdict);
    let bare = mild(&gala(), &[]);
    assert!(bare.verdict.missing.iter().any(|missing| missing == "bud-count"));
}

/// Clusters of one walk at three heights are pooled for the verdict as they are
/// for the damage shown.
#[test]
fn clusters_of_one_walk_are_pooled() {
    let at = |id: &str, hours: f64, place: &str, clusters: i64| {
        let mut entry = damage(id, hour(hours), (40, 50), (180, 200));
        (entry["where"], entry["clusters_per_tree"]) = (json!(place), json!([clusters]));
        entry
    };
    let season =
        mild(&gala(), &[at("d1", 1.0, "low", 240), at("d2", 1.2, "mid", 200), at("d3", 1.4, "high", 100)]);
    assert_eq!(season.damage.as_ref().unwrap().live.unwrap().clusters_per_tree, 180.0);
    assert!((value(&season, "live-kings-per-fruit") - 1.44).abs() < 1e-12);
}

fn forecast(celsius: f64, hours: i64) -> Forecast {
    let hours = (1..=hours).map(|n| Reading::instant(hour(48.0).plus(n * HOUR), celsius)).collect();
    Forecast { issued_at: hour(48.0), hours }
}

fn foretold(celsius: f64, hours: i64) -> Season {
    let entries = [damage("d", hour(1.0), (160, 200), (720, 800)), start(hour(40.0))];
    season_of(&gala(), &log(&entries), &[steady(15.0, 48)], Some(&forecast(celsius, hours)), hour(48.0))
}

/// No forecast is not "no frost": it is named, and the verdict stays.
#[test]
fn a_missing_or_short_forecast_is_named() {
    let named = |season: &Season| season.verdict.missing.iter().any(|missing| missing == "forecast");
    let without = mild(&gala(), &[damage("d", hour(1.0), (160, 200), (720, 800))]);
    assert!(named(&without) && without.verdict.verdict == Advice::Thin);
    assert!(named(&foretold(15.0, 24)), "a day does not reach two days past the spray");
    let whole = foretold(15.0, 120);
    assert!(!named(&whole) && whole.verdict.verdict == Advice::Thin);
}

/// Open flowers: 28 °F is −2.2 °C to a feed, and 1.5 °C above it is −0.7 (published
/// line, margin common practice).
#[test]
fn frost_forecast_waits() {
    assert_eq!(foretold(-0.7, 120).verdict.verdict, Advice::Wait);
    assert_ne!(foretold(-0.6, 120).verdict.verdict, Advice::Wait);
}

/// The latest decision by the time it was made holds, whatever the order written.
#[test]
fn thin_after_stand_down_and_back() {
    let state = |entries: &[Value]| {
        let season = mild(&gala(), &[&[start(hour(0.0))], entries].concat());
        (season.state, season.decision.unwrap().entry)
    };
    let down = decision("d1", hour(10.0), false, Some("frost"));
    let thin = decision("d2", hour(20.0), true, Some("tops are sound"));
    let again = decision("d0", hour(30.0), false, Some("rain all week"));
    assert_eq!(state(&[down.clone(), thin.clone()]), (State::Due, "d2".to_owned()));
    assert_eq!(state(&[thin.clone(), down.clone()]), (State::Due, "d2".to_owned()));
    assert_eq!(state(&[again, thin, down]), (State::StoodDown, "d0".to_owned()));
}

/// No fruit wanted: no clock, no line of the table to be held against, and no row
/// for thinning among those that match.
#[test]
fn a_target_of_nothing() {
    let plan = ruled_plan(&json!({"target_fruit_per_tree": 0}));
    let season =
        mild(&plan, &[count("c", hour(2.0), &[50, 60]), damage("d", hour(1.0), (160, 200), (720, 800))]);
    assert_eq!((season.state, season.start, season.legs.len()), (State::Watching, None, 0));
    assert_eq!(season.verdict.verdict, Advice::NoTiming);
    assert!(!rows(&season).contains(&"enough-kings"), "{:?}", rows(&season));
    assert!(noted(&season, "no-target", None) && season.count_again_at.is_none());
}

/// Bloom that never reaches the target starts no clock, however long.
#[test]
fn bloom_lighter_than_the_target() {
    let buds = json!({"id": "b", "kind": "bud-count", "at": hour(0.0), "buds_per_tree": [14, 16]});
    let counts = [20, 45, 60, 66].iter().zip(0..);
    let counts = counts.map(|(open, n)| count(&format!("c{n}"), hour(f64::from(n) * 24.0), &[*open, *open]));
    let entries: Vec<Value> = std::iter::once(buds).chain(counts).collect();
    let season = season(&gala(), &entries, &steady(15.0, 96), hour(96.0));
    assert_eq!((season.state, season.legs.len()), (State::Watching, 0));
    assert!(noted(&season, "count-again", Some("c3")) && season.count_again_at.is_some());
}

#[test]
fn trees_too_weak_to_flower() {
    let season = mild(&gala(), &[count("c1", hour(2.0), &[0, 0, 0]), count("c2", hour(26.0), &[0, 0, 0])]);
    assert_eq!((season.state, season.start), (State::Watching, None));
    let seen = &season.counts[1].seen;
    assert_eq!((season.counts[1].live_open_per_tree, seen.spread, seen.odd_tree), (0.0, None, None));
}

/// Nobody logs the end: 21 days close the season, and a note says so.
#[test]
fn no_end_of_bloom_logged() {
    let entries = [start(hour(0.0))];
    let at =
        |days: i64| season(&gala(), &entries, &steady(4.0, 24 * days as usize), begin().plus(days * DAY));
    assert_eq!(at(20).state, State::Growing);
    assert_eq!(at(21).state, State::Done);
    assert!(noted(&at(21), "closed-by-age", None) && !noted(&at(20), "closed-by-age", None));
}

/// An end before everything closes a leg without length; a count after the end
/// changes nothing and is told.
#[test]
fn bloom_on_either_side_of_its_end() {
    let end = |hours: f64| json!({"id": "e", "kind": "bloom-end", "at": hour(hours)});
    let counts = [count("c1", hour(2.0), &[40, 50]), count("c2", hour(26.0), &[150, 160])];
    let before = mild(&gala(), &[&[end(0.0)], &counts[..]].concat());
    assert_eq!(before.state, State::Done);
    assert_eq!(before.legs[0].ended_at, Some(before.legs[0].from));
    assert!(noted(&before, "count-after-end", Some("c1")));
    let after = mild(&gala(), &[&counts[..], &[end(30.0), count("c3", hour(40.0), &[190, 200])]].concat());
    assert_eq!((after.state, after.legs[0].ended_at), (State::Done, Some(hour(30.0))));
    assert!(noted(&after, "count-after-end", Some("c3")) && !noted(&after, "count-after-end", Some("c2")));
}

/// A log in any order says the same, tables and all.
#[test]
fn order_of_entries_changes_no_verdict() {
    let entries = [
        damage("d", hour(1.0), (160, 200), (720, 800)),
        count("c1", hour(2.0), &[40, 50]),
        count("c2", hour(26.0), &[150, 160]),
        decision("x", hour(27.0), true, None),
    ];
    let read = |entries: Vec<Value>| {
        let entries = entries.into_iter().map(crate::kit::entry).collect();
        let log = FieldLog::by_id(entries).unwrap();
        season_of(&gala(), &log, &[hourly((0..=48).map(f64::from))], None, hour(48.0))
    };
    let forward = read(entries.to_vec());
    assert_eq!(forward, read(entries.into_iter().rev().collect()));
    assert_eq!(forward.verdict.verdict, Advice::Thin);
}
