use serde_json::{Value, json};

use super::*;

fn curve(document: Value) -> Curve {
    input::read(&document, |fields| Curve::from_fields("own", fields)).unwrap()
}

fn nodes(unit: &str, nodes: Value) -> Curve {
    curve(
        json!({"form": "nodes", "unit": unit, "nodes": nodes, "source": "for tests", "status": "constructed"}),
    )
}

/// Zero at and beyond both ends, one straight line inside, a step at the right.
fn plain() -> Curve {
    nodes("fraction-per-hour", json!([[4, 0.0], [10, 0.6], [20, 0.6], [30, 1.0]]))
}

#[test]
fn zero_below_the_first_node_and_from_the_last_on() {
    let curve = plain();
    for (celsius, rate) in [
        (-60.0, 0.0),
        (3.999, 0.0),
        (4.0, 0.0),
        (7.0, 0.3),
        (10.0, 0.6),
        (15.0, 0.6),
        (25.0, 0.8),
        (29.999_999, 0.999_999_96),
        (30.0, 0.0),
        (60.0, 0.0),
    ] {
        assert!(
            (curve.table.rate(celsius) - rate).abs() < 1e-9,
            "{celsius} °C: {}",
            curve.table.rate(celsius)
        );
    }
}

#[test]
fn a_rate_is_converted_once_to_hours() {
    for (unit, factor, measure) in [
        ("mm-per-hour", 1.0, Measure::Millimetre),
        ("mm-per-day", 1.0 / 24.0, Measure::Millimetre),
        ("fraction-per-hour", 1.0, Measure::Style),
        ("fraction-per-day", 1.0 / 24.0, Measure::Style),
    ] {
        let curve = nodes(unit, json!([[0, 0], [10, 1.2], [20, 0]]));
        assert!((curve.table.rate(10.0) - 1.2 * factor).abs() < 1e-15, "{unit}");
        assert_eq!(curve.measure, measure, "{unit}");
    }
}

/// The mean over a straight run against a sum over a million steps.
#[test]
fn the_mean_over_a_run_is_exact() {
    let beta = curve(json!({
        "form": "beta", "unit": "fraction-per-day", "tmin": 6.3, "topt": 28.6, "tmax": 43.7,
        "rate_at_topt": 1.078158, "source": "for tests", "status": "constructed",
    }));
    for curve in [plain(), beta] {
        for (a, b) in [
            (5.0, 9.0),
            (9.0, 5.0),
            (0.0, 50.0),
            (2.0, 4.5),
            (29.5, 30.5),
            (9.99, 10.01),
            (12.0, 12.0),
            (-3.0, 3.0),
            (31.0, 44.0),
            (45.0, 50.0),
            (6.25, 6.35),
            (43.65, 43.75),
        ] {
            const STEPS: i32 = 200_000;
            let at = |n: i32| a + (b - a) * (f64::from(n) + 0.5) / f64::from(STEPS);
            let sum: f64 = (0..STEPS).map(|n| curve.table.rate(at(n))).sum::<f64>() / f64::from(STEPS);
            let mean = curve.table.mean(a, b);
            assert!((mean - sum).abs() < 1e-5, "{a} to {b}: {mean} is not {sum}");
            assert_eq!(mean, curve.table.mean(b, a), "the same either way");
            let (least, most) = curve.table.bounds(a.min(b), a.max(b));
            assert!(least <= mean + 1e-12 && mean <= most + 1e-12, "{least} {mean} {most}");
        }
    }
}

/// Two halves of a run average to the whole of it.
#[test]
fn a_run_in_two_halves() {
    let table = plain().table;
    for n in 0..200 {
        let (a, b) = (f64::from(n) * 0.17, 33.0 - f64::from(n) * 0.11);
        let halves = (table.mean(a, (a + b) / 2.0) + table.mean((a + b) / 2.0, b)) / 2.0;
        assert!((table.mean(a, b) - halves).abs() < 1e-12, "{a} to {b}");
    }
}

#[test]
fn bounds_take_in_what_lies_between() {
    let table = nodes("fraction-per-hour", json!([[0, 0], [10, 1.0], [20, 0.2], [30, 0.4]])).table;
    assert_eq!(table.bounds(5.0, 25.0), (0.2, 1.0));
    let (least, most) = table.bounds(12.0, 18.0);
    assert!((least - 0.36).abs() < 1e-12 && (most - 0.84).abs() < 1e-12);
    assert_eq!(table.bounds(15.0, 15.0).0, table.bounds(15.0, 15.0).1);
    assert_eq!(table.bounds(-5.0, 5.0).0, 0.0);
    let (least, most) = table.bounds(29.0, 31.0);
    assert_eq!(least, 0.0, "no growth from the last node on");
    assert!((0.38..=0.4).contains(&most));
    assert_eq!(table.bounds(40.0, 50.0), (0.0, 0.0));
    assert_eq!(table.greatest(), 1.0);
}

/// Tabled each 0.1 °C, the beta form is nowhere far from itself: most just
/// above Tmin, where it bends most.
#[test]
fn the_beta_form_is_tabled_closely() {
    let table = beta_table();
    let mut most = 0.0_f64;
    for n in 0..45_000 {
        let celsius = f64::from(n) * 0.001;
        let exact = 1.078158 / 24.0 * beta_share(celsius, 6.3, 28.6, 43.7);
        most = most.max((table.rate(celsius) - exact).abs() * 24.0);
    }
    assert!(most < 2e-4, "{most} a day");
    assert_eq!(table.reach(), (6.3, 43.7));
    assert_eq!(table.nodes().count(), 375, "a node each 0.1 °C, both ends included");
}

fn beta_table() -> Table {
    curve(json!({
        "form": "beta", "unit": "fraction-per-day", "tmin": 6.3, "topt": 28.6, "tmax": 43.7,
        "rate_at_topt": 1.078158, "source": "for tests", "status": "constructed",
    }))
    .table
}

/// A range that is no multiple of 0.1 °C ends on Tmax itself.
#[test]
fn a_beta_curve_ends_where_it_says() {
    let curve = curve(json!({
        "form": "beta", "unit": "mm-per-day", "tmin": 5.03, "topt": 25.0, "tmax": 39.98,
        "rate_at_topt": 9.0, "source": "for tests", "status": "measured",
    }));
    assert_eq!(curve.table.reach(), (5.03, 39.98));
    assert_eq!(curve.table.rate(39.98), 0.0);
    assert!(curve.table.rate(39.97) > 0.0);
    assert_eq!(curve.covered, (5.03, 39.98), "without its own range the curve's reach stands for it");
}

/// Nodes closer than a lookup bin, and far apart, are found all the same.
#[test]
fn nodes_of_any_spacing_are_found() {
    let many: Vec<Value> = (0..400).map(|n| json!([f64::from(n) * 0.013, f64::from(n % 7)])).collect();
    let table = nodes("fraction-per-day", Value::Array(many)).table;
    for n in 0..399 {
        let rate = f64::from(n % 7) / 24.0;
        assert!((table.rate(f64::from(n) * 0.013) - rate).abs() < 1e-9, "node {n}");
    }
    let far = nodes("fraction-per-day", json!([[-60, 0], [60, 1.2]])).table;
    assert!((far.rate(0.0) - 0.025).abs() < 1e-12);
}
