//! What a sample can carry, against scipy and statsmodels
//! (`tests/reference/stats.json`; how, in its README). Status of the values:
//! derived.

use model::stats::{self, Sample};
use serde_json::Value;

/// The most that a value may differ, as a share of it.
const WITHIN: f64 = 1e-9;
/// What rounding leaves of a value that is 0, as the low end for a share of 0.
const OF_NOTHING: f64 = 1e-15;

/// The rows of that name.
fn rows(name: &str) -> Vec<Value> {
    let golden: Value = serde_json::from_str(include_str!("../../../tests/reference/stats.json"))
        .expect("the golden file is JSON");
    let rows = golden["sampling"][name].as_array().expect("a list of rows").clone();
    assert!(!rows.is_empty());
    rows
}

fn number(row: &Value, name: &str) -> f64 {
    row[name].as_f64().expect("a number")
}

fn whole(row: &Value, name: &str) -> usize {
    row[name].as_u64().and_then(|number| number.try_into().ok()).expect("a whole number")
}

fn assert_near(found: f64, row: &Value, name: &str) {
    let golden = number(row, name);
    assert!((found - golden).abs() <= WITHIN * golden.abs() + OF_NOTHING, "{name}: {found} beside {row}");
}

#[test]
fn points_of_student() {
    for row in rows("student_95") {
        assert_near(stats::student_95(whole(&row, "freedom")), &row, "t");
    }
}

#[test]
fn sizes_for_a_mean() {
    for row in rows("needed") {
        let needed = stats::needed(number(&row, "spread"), number(&row, "within"));
        assert_eq!(needed, whole(&row, "n"), "{row}");
    }
}

#[test]
fn sizes_for_a_share() {
    for row in rows("needed_for_share") {
        let needed = stats::needed_for_share(number(&row, "share"), number(&row, "within"));
        assert_eq!(needed, whole(&row, "n"), "{row}");
    }
}

/// Also with an n that is no whole number, as counts by clusters have it.
#[test]
fn intervals_of_shares() {
    for row in rows("wilson_95") {
        let (low, high) = stats::wilson(number(&row, "share"), number(&row, "n"));
        assert_near(low, &row, "low");
        assert_near(high, &row, "high");
    }
}

#[test]
fn intervals_of_means() {
    for row in rows("mean_95") {
        let values: Vec<f64> =
            row["values"].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect();
        let sample = Sample::of(&values).unwrap();
        let half = sample.half_width().unwrap();
        assert_near(sample.mean, &row, "mean");
        assert_near(sample.sd, &row, "sd");
        assert_near(sample.mean - half, &row, "low");
        assert_near(sample.mean + half, &row, "high");
    }
}
