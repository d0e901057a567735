//! Scores and the normal distribution, against scoringrules, properscoring and scipy
//! (`tests/reference/score.json`; how, in its README). Status of the values: derived.

use model::score::{self, Estimator, Scored, Summary};
use model::stats;
use serde_json::Value;

/// The most that a value may differ, as a share of it.
const WITHIN: f64 = 1e-11;

fn rows(name: &str) -> Vec<Value> {
    let golden: Value = serde_json::from_str(include_str!("../../../tests/reference/score.json"))
        .expect("the golden file is JSON");
    let rows = golden[name].as_array().expect("a list of rows").clone();
    assert!(rows.len() >= 4);
    rows
}

fn number(row: &Value, name: &str) -> f64 {
    row[name].as_f64().unwrap_or_else(|| panic!("{name} of {row}"))
}

fn assert_near(found: f64, row: &Value, name: &str) {
    let golden = number(row, name);
    assert!((found - golden).abs() <= WITHIN * golden.abs() + 1e-14, "{name}: {found} beside {row}");
}

#[test]
fn ensembles() {
    for row in rows("ensembles") {
        let members: Vec<f64> =
            row["members"].as_array().unwrap().iter().map(|member| member.as_f64().unwrap()).collect();
        let truth = number(&row, "truth");
        let empirical = score::crps(&members, truth, Estimator::Empirical).unwrap();
        assert_near(empirical, &row, "empirical");
        match score::crps(&members, truth, Estimator::Fair) {
            Some(fair) => assert_near(fair, &row, "fair"),
            None => assert_eq!(members.len(), 1),
        }
    }
    assert_eq!(score::crps(&[], 2.5, Estimator::Empirical), None);
}

/// The values that were agreed on before the golden file was made.
#[test]
fn values_that_were_stated() {
    let members = [1.0, 2.0, 3.0, 4.0, 6.0];
    for (estimator, stated) in [(Estimator::Empirical, 0.54), (Estimator::Fair, 0.30)] {
        let found = score::crps(&members, 2.5, estimator).unwrap();
        assert!((found - stated).abs() < 1e-14, "{}: {found}", estimator.spoken());
    }
    assert!((score::crps_normal(3.0, 1.5, 2.5) - 0.416_423_967_575_581_3).abs() < 1e-14);
    for (point, share, loss) in [(1.4, 0.1, 0.11), (3.0, 0.5, 0.25), (5.2, 0.9, 0.27)] {
        assert!((score::pinball(point, share, 2.5) - loss).abs() < 1e-14);
    }
    assert!((score::interval_score(1.4, 5.2, 0.2, 2.5) - 3.8).abs() < 1e-14);
}

#[test]
fn normals_points_and_intervals() {
    for row in rows("normals") {
        let found = score::crps_normal(number(&row, "mean"), number(&row, "sd"), number(&row, "truth"));
        assert_near(found, &row, "crps");
    }
    for row in rows("pinball") {
        let found = score::pinball(number(&row, "point"), number(&row, "share"), number(&row, "truth"));
        assert_near(found, &row, "loss");
    }
    for row in rows("intervals") {
        let [low, high, alpha, truth] = ["low", "high", "alpha", "truth"].map(|name| number(&row, name));
        assert_near(score::interval_score(low, high, alpha, truth), &row, "score");
    }
}

#[test]
fn the_normal_distribution() {
    for row in rows("normal_points") {
        assert_near(stats::normal_point(number(&row, "share")), &row, "z");
    }
    for row in rows("normal_below") {
        assert_near(stats::normal_below(number(&row, "z")), &row, "share");
        assert_near(stats::normal_density(number(&row, "z")), &row, "density");
    }
    assert_eq!([0.0, 1.0].map(stats::normal_point), [f64::NEG_INFINITY, f64::INFINITY]);
    assert!([-0.1, 1.1, f64::NAN].map(stats::normal_point).iter().all(|point| point.is_nan()));
}

#[test]
fn a_summary_in_words() {
    let scored = |held| Scored { crps_h: 3.0, pinball_h: 1.5, held };
    let all: Vec<Scored> = (0..64).map(|n| scored(n % 5 != 0)).collect();
    let summary = Summary::of(&all).unwrap();
    assert_eq!(summary.told("Last spring"), "Last spring 8 of 10 windows held the true time, n = 64.");
    assert!(summary.coverage_low < 0.8 && 0.8 < summary.coverage_high);
    assert_eq!((summary.crps_h, summary.pinball_h), (3.0, 1.5));
    assert_eq!(
        Summary::of(&all[..19]).unwrap().told("Last spring"),
        "Last spring: too few to judge, n = 19."
    );
    assert_eq!(Summary::of(&[]), None);
}
