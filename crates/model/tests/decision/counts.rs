//! Live open flowers from walks as people make them, and when to walk again.

use model::bloom::Basis;
use model::season::{Season, State};
use model::time::{HOUR, Instant};
use serde_json::{Value, json};

use crate::kit::{
    at, begin, count, damage, hour, note_text, noted, ruled_plan, season, spray, start, steady, with,
};

fn mild(entries: &[Value], hours: usize) -> Season {
    season(&ruled_plan(&json!({})), entries, &steady(15.0, hours), hour(hours as f64))
}

fn on_wood(id: &str, hours: f64, open: &[i64], wood: &str) -> Value {
    with(count(id, hour(hours), open), "wood", wood)
}

fn of_class(id: &str, hours: f64, open: &[i64], class: &str) -> Value {
    with(count(id, hour(hours), open), "tree_class", class)
}

/// Spurs and one-year shoots are parts of a tree: their means add up, and their errors
/// as squares do.
#[test]
fn woods_of_one_walk_are_summed() {
    let spur = on_wood("c1", 10.0, &[76, 84], "spur");
    let one_year = on_wood("c2", 11.0, &[37, 43], "one-year");
    let season = mild(&[spur.clone(), one_year.clone()], 20);
    let [walk] = &season.counts[..] else { panic!("{:?}", season.counts) };
    assert_eq!((walk.entry.as_str(), walk.at), ("c2", hour(11.0)));
    assert_eq!((walk.live_open_per_tree, walk.trees), (120.0, 2));
    assert!((walk.error - 5.0).abs() < 1e-12, "4 and 3 make 5: {}", walk.error);
    assert_eq!((season.state, season.start.unwrap().at), (State::Growing, hour(11.0)));
    // Spurs bear more than shoots; that is no spread between trees.
    assert!(!noted(&season, "trees-differ", None) && walk.seen.spread.unwrap() < 0.15);
    // More than six hours apart they are two walks.
    let late = with(one_year, "at", json!(hour(16.1)));
    assert_eq!(mild(&[spur, late], 20).counts.len(), 2);
}

/// Bearing and resting trees are told apart where trees differ by more than half
/// (constructed), pooled where not.
#[test]
fn trees_on_and_off() {
    let apart = mild(&[of_class("c1", 10.0, &[190, 210], "on"), of_class("c2", 10.0, &[20, 40], "off")], 20);
    assert_eq!(apart.counts[0].live_open_per_tree, 200.0);
    assert_eq!(apart.counts[0].seen.apart, Some((200.0, 30.0)));
    assert!(note_text(&apart, "trees-told-apart").contains("bearing trees have 200"));
    let alike = mild(&[of_class("c1", 10.0, &[110, 130], "on"), of_class("c2", 10.0, &[70, 90], "off")], 20);
    assert_eq!((alike.counts[0].live_open_per_tree, alike.counts[0].seen.apart), (100.0, None));
}

/// 240 open of which kings come first: 180 kings, one in two alive, then 60 laterals,
/// one in four, make 105 live; 150 make 75, kings alone.
#[test]
fn dead_flowers_are_taken_off_kings_first() {
    let half = damage("d", hour(1.0), (100, 200), (200, 800));
    let all = |open: i64, live_only: bool| {
        let counted = with(count("c", hour(10.0), &[open, open]), "live_only", live_only);
        mild(&[half.clone(), counted], 20)
    };
    assert_eq!(all(240, false).counts[0].live_open_per_tree, 105.0);
    assert_eq!(all(150, false).counts[0].live_open_per_tree, 75.0);
    let season = all(240, false);
    assert!(noted(&season, "dead-taken-off", Some("c")) && season.counts[0].seen.dead_taken_off);
    // Where the live ones alone were counted, nothing is taken off.
    assert_eq!(all(240, true).counts[0].live_open_per_tree, 240.0);
    assert!(!noted(&all(240, true), "dead-taken-off", None));
}

/// A damage count tells nothing of flowers counted before its frost.
#[test]
fn flowers_counted_before_the_frost_were_alive_then() {
    let all = with(count("c1", hour(2.0), &[60, 60]), "live_only", false);
    let season = mild(&[all, damage("d", hour(10.0), (100, 200), (200, 800))], 20);
    assert_eq!((season.counts[0].live_open_per_tree, season.counts[0].seen.dead_taken_off), (60.0, false));
}

/// Falling counts, an odd tree, and far counts are told, and refuse nothing.
#[test]
fn what_is_strange_is_told() {
    let entries = [
        count("c1", hour(0.0), &[30, 32, 34, 36, 160]),
        count("c2", hour(10.0), &[25, 25]),
        count("c3", hour(59.0), &[150, 150]),
    ];
    let season = mild(&entries, 60);
    assert!(noted(&season, "odd-tree", Some("c1")) && noted(&season, "count-falls", Some("c2")));
    assert_eq!(season.counts[0].seen.odd_tree, Some(160));
    assert!(note_text(&season, "start-between-far-counts").starts_with("49 hours"));
    assert_eq!(season.start.unwrap().basis, Basis::BetweenCounts);
    let near = with(entries[2].clone(), "at", json!(hour(58.0)));
    let near = [&entries[..2], &[near]].concat();
    assert!(!noted(&mild(&near, 60), "start-between-far-counts", None), "48 hours");
    // A start that was logged leaves nothing to wonder about.
    let logged = [&entries[..], &[start(hour(40.0))]].concat();
    assert!(!noted(&mild(&logged, 60), "start-between-far-counts", None));
    // Nor does a count that dips below again later.
    let later = [
        count("c1", hour(0.0), &[150, 150]),
        count("c2", hour(1.0), &[90, 90]),
        count("c3", hour(59.0), &[160, 160]),
    ];
    assert!(!noted(&mild(&later, 60), "start-between-far-counts", None));
}

/// Two counts that double in twelve hours at 15 °C; the third doubling is expected
/// 12 hours on. `first` is when the first count was made.
fn doubling(first: Instant, more: &[Value], hours: usize) -> Season {
    let entries = [count("c1", first, &[25, 25]), count("c2", first.plus(12 * HOUR), &[50, 50])];
    // The spring runs on as foretold.
    let readings = steady(15.0, hours);
    let forecast = model::series::Forecast {
        issued_at: hour(hours as f64),
        hours: (1..=96)
            .map(|n| model::series::Reading::instant(hour(hours as f64).plus(n * HOUR), 15.0))
            .collect(),
    };
    let plan = ruled_plan(&json!({"flowers_per_cluster": Value::Null}));
    let log = crate::kit::log(&[&entries[..], more].concat());
    crate::kit::season_of(&plan, &log, &[readings], Some(&forecast), hour(hours as f64))
}

/// New York's clock is four hours behind: flowers are counted from 7 to 19 there, 11
/// to 23 UTC (common practice).
#[test]
fn the_next_count_comes_before_the_start_by_daylight() {
    // Expected at 14 UTC, 10 on the wall: count then.
    let by_day = doubling(at("2013-04-28T14:00:00Z"), &[], 26);
    assert_eq!(by_day.start.unwrap().basis, Basis::Expected);
    let expected = by_day.start.unwrap().at;
    assert!(expected.since(at("2013-04-29T14:00:00Z")).abs() <= 1, "{expected}");
    assert_eq!(by_day.count_again_at, Some(expected));
    // Expected at 5 UTC, 1 at night: the evening before.
    let by_night = doubling(at("2013-04-29T05:00:00Z"), &[], 41);
    assert_eq!(by_night.count_again_at, Some(at("2013-04-29T23:00:00Z")));
    // Counted that evening at 23 UTC already and read until midnight: in the morning.
    let late = doubling(at("2013-04-29T05:00:00Z"), &[], 48);
    assert_eq!(late.count_again_at, Some(at("2013-04-30T11:00:00Z")));
}

#[test]
fn nobody_is_asked_to_count_before_re_entry() {
    let closed_until = |until: &str| {
        let mut entry = spray("s", at("2013-04-29T01:00:00Z"), "captan");
        entry["reentry_at"] = json!(at(until));
        doubling(at("2013-04-28T14:00:00Z"), &[entry], 26).count_again_at
    };
    assert_eq!(closed_until("2013-04-29T20:00:00Z"), Some(at("2013-04-29T20:00:00Z")));
    // Open again at night: in the morning.
    assert_eq!(closed_until("2013-04-30T02:00:00Z"), Some(at("2013-04-30T11:00:00Z")));
    let before = closed_until("2013-04-29T12:00:00Z").unwrap();
    assert!(before.since(at("2013-04-29T14:00:00Z")).abs() <= 1);
}

/// The threshold is reached, but nothing measures growth from there: no note asks for
/// another count below it.
#[test]
fn a_curve_in_mm_without_a_style_runs_no_clock() {
    let curve = json!({"form": "nodes", "unit": "mm-per-day", "nodes": [[0, 4], [40, 4]],
        "source": "for tests", "status": "constructed"});
    let plan = ruled_plan(&json!({"curve": curve, "borrows": {"style_length": "another-block"}}));
    let entries = [count("c1", hour(2.0), &[40, 40]), count("c2", hour(14.0), &[150, 150])];
    let season = season(&plan, &entries, &steady(15.0, 48), hour(48.0));
    assert_eq!((season.state, season.legs.len(), season.start), (State::Watching, 0, None));
    assert!(noted(&season, "no-style-length", None) && !noted(&season, "count-again", None));
    assert_eq!((season.count_again_at, season.flowers_through), (None, None));
    assert!(begin() < season.counts[0].at);
}
