use serde_json::{Value, json};

use super::*;
use crate::catalogue::Catalogue;
use crate::field_log::Entry;
use crate::series::{Forecast, Reading, Series};

const BEGIN: i64 = 1_367_107_200;

fn at(hours: i64) -> Instant {
    Instant(BEGIN + hours * HOUR)
}

/// Curves that grow alike at every temperature from 0 to 40 °C: half a style a
/// day, a whole one, and 8 mm a day.
fn catalogue() -> Catalogue {
    let steady = |unit: &str, rate: f64| {
        json!({"form": "nodes", "unit": unit, "nodes": [[0, rate], [40, rate]], "source": "for tests",
            "status": "constructed", "cultivars": ["Gala"]})
    };
    let curves = json!({"own": steady("fraction-per-day", 0.5), "brisk": steady("fraction-per-day", 1.0),
        "mm": steady("mm-per-day", 8.0)});
    let materials = json!({"lime-sulfur": {"name": "Lime sulfur", "role": "thinner"}});
    Catalogue::read(&curves, &materials).unwrap()
}

fn plan(block: &Value) -> Plan {
    let sprays = json!({"sprays": [{"material": "lime-sulfur", "mark": 0.5}, {"material": "lime-sulfur", "mark": 0.75}]});
    Plan::assemble(None, chrono_tz::Europe::Berlin, block, Some(&sprays), &catalogue()).unwrap()
}

fn block() -> Value {
    json!({"name": "Far Field", "cultivar": "Gala", "curve": "own", "target_fruit_per_tree": 100})
}

fn compared(plan: &Plan, entries: &[Value], until: i64, foretold: i64) -> Comparison {
    let now = at(until);
    let readings = (0..=until).map(|n| Reading::instant(at(n), 15.0)).collect();
    let hours = (until + 1..=until + foretold).map(|n| Reading::instant(at(n), 15.0)).collect();
    let forecast = Forecast { issued_at: now, hours };
    let course = Arc::new(Course::new(Series::join(&[readings], Some(&forecast), now)));
    let entries = entries.iter().map(|entry| Entry::read(entry, None).unwrap()).collect();
    compare(plan, &FieldLog::in_order(entries).unwrap(), &course, &catalogue().curves, now)
}

fn start() -> Value {
    json!({"id": "s", "kind": "bloom-start", "at": at(0)})
}

fn row<'a>(comparison: &'a Comparison, curve: &str, leg: usize) -> &'a Row {
    comparison.rows.iter().find(|row| row.curve == curve && row.leg == leg).unwrap()
}

/// Half a style at half a style a day takes 24 h, at a whole one 12 h.
#[test]
fn a_quicker_curve_is_there_sooner_by_so_many_hours() {
    let comparison = compared(&plan(&block()), &[start()], 30, 0);
    assert_eq!((comparison.own.as_str(), comparison.rows[0].curve.as_str()), ("own", "own"));
    let (own, brisk) = (row(&comparison, "own", 1), row(&comparison, "brisk", 1));
    assert_eq!((own.at, own.apart_hours), (Some(at(24)), Some(0.0)));
    assert_eq!((brisk.at, brisk.apart_hours, brisk.expected), (Some(at(12)), Some(-12.0), false));
    assert_eq!(comparison.rows.iter().filter(|row| row.curve == "own").count(), 1, "its own stands once");
}

#[test]
fn what_one_curve_reached_another_may_only_expect() {
    let comparison = compared(&plan(&block()), &[start()], 18, 24);
    assert!(!row(&comparison, "brisk", 1).expected);
    let own = row(&comparison, "own", 1);
    assert_eq!((own.at, own.expected), (Some(at(24)), true));
    assert_eq!(row(&comparison, "brisk", 1).apart_hours, Some(-12.0));
    let unforeseen = compared(&plan(&block()), &[start()], 18, 0);
    assert_eq!((row(&unforeseen, "own", 1).at, row(&unforeseen, "brisk", 1).apart_hours), (None, None));
}

/// The spray opens the second leg on every curve alike; on the slow one the
/// first mark was not reached by then.
#[test]
fn each_leg_is_held_against_its_own() {
    let spray = json!({"id": "p", "kind": "spray", "material": "lime-sulfur", "at": at(18),
        "finished_at": at(19)});
    let comparison = compared(&plan(&block()), &[start(), spray], 60, 0);
    assert_eq!(row(&comparison, "own", 1).at, None);
    assert!((row(&comparison, "own", 1).progress - 0.375).abs() < 1e-9);
    assert_eq!(row(&comparison, "own", 2).at, Some(at(18 + 36)));
    assert_eq!(row(&comparison, "brisk", 2).apart_hours, Some(-18.0));
}

/// 8 mm a day through styles of 8 mm is a style a day.
#[test]
fn a_curve_in_millimetres_wants_a_style_length() {
    let comparison = compared(&plan(&block()), &[start()], 30, 0);
    assert!(comparison.rows.iter().all(|row| row.curve != "mm"));
    assert_eq!(comparison.left_out.len(), 1);
    assert!(comparison.left_out[0].curve == "mm" && comparison.left_out[0].reason.contains("measure styles"));
    let mut measured = block();
    measured["style_length_mm"] = json!(8);
    let logged = json!({"id": "l", "kind": "style-length", "at": at(0), "lengths_mm": [7.5, 8.5]});
    for comparison in
        [compared(&plan(&measured), &[start()], 30, 0), compared(&plan(&block()), &[start(), logged], 30, 0)]
    {
        assert!(comparison.left_out.is_empty());
        assert_eq!(row(&comparison, "mm", 1).at, Some(at(12)));
    }
}

#[test]
fn before_the_clock_starts_there_is_nothing_to_compare() {
    let comparison = compared(&plan(&block()), &[], 30, 0);
    assert_eq!((comparison.state, comparison.rows.len()), (State::Watching, 0));
}

#[test]
fn a_comparison_reads_back_from_its_json() {
    let comparison = compared(&plan(&block()), &[start()], 30, 0);
    let json = serde_json::to_value(&comparison).unwrap();
    assert_eq!(json["rows"][1]["curve"], "brisk");
    assert_eq!(json["rows"][1]["at"], json!(at(12)));
    assert_eq!(serde_json::from_value::<Comparison>(json).unwrap(), comparison);
}
