use serde_json::{Value, json};

use super::*;
use crate::curve::{Measure, Status, beta_share};

/// Rates in mm an hour on a beta curve, for made-up tubes.
fn rate(celsius: f64) -> f64 {
    0.4 * beta_share(celsius, 6.0, 28.0, 43.0)
}

/// Tubes that grow as `length` says at each temperature and time.
fn observed(temperatures: &[f64], hours: &[f64], length: impl Fn(f64, f64) -> f64) -> Vec<Value> {
    let at = |t: f64| hours.iter().map(move |h| (t, *h));
    let all = temperatures.iter().flat_map(|t| at(*t));
    all.map(|(t, h)| json!({"celsius": t, "hours": h, "length_mm": length(t, h)})).collect()
}

const TRIED: [f64; 6] = [8.0, 12.0, 18.0, 24.0, 30.0, 38.0];
const HOURS: [f64; 3] = [12.0, 24.0, 36.0];

fn nodes() -> Value {
    json!({"form": "nodes", "unit": "mm-per-hour", "source": "for tests", "zero_below": 4, "zero_above": 44,
        "observations": observed(&TRIED, &HOURS, |t, h| rate(t) * h)})
}

fn beta() -> Value {
    json!({"form": "beta", "unit": "mm-per-hour", "source": "for tests",
        "observations": observed(&TRIED, &HOURS, |t, h| rate(t) * h)})
}

fn with(mut document: Value, field: &str, value: Value) -> Value {
    document[field] = value;
    document
}

fn value(fit: &Fit, name: &str) -> f64 {
    fit.parameters.iter().find(|parameter| parameter.name == name).unwrap().value
}

fn codes(fit: &Fit) -> Vec<&str> {
    fit.notes.iter().map(|note| note.code.as_ref()).collect()
}

fn near(found: f64, wanted: f64, within: f64) -> bool {
    (found - wanted).abs() <= within * wanted.abs()
}

/// `tests/reference/fit.json`: scipy.optimize.curve_fit on made-up observations
/// (derived).
#[test]
fn figures_and_their_errors_as_scipy_has_them() {
    let reference: Value =
        serde_json::from_str(include_str!("../../../../tests/reference/fit.json")).unwrap();
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 5);
    for case in cases {
        let fit = Fit::of(&case["document"]).unwrap();
        let wanted = case["parameters"].as_array().unwrap();
        assert_eq!(fit.parameters.len(), wanted.len());
        for (found, wanted) in fit.parameters.iter().zip(wanted) {
            assert_eq!(found.name, wanted["name"], "{}", case["name"]);
            let number = |name: &str| wanted[name].as_f64().unwrap();
            assert!(near(found.value, number("value"), 1e-6), "{}: {found:?}, {wanted}", case["name"]);
            let error = number("standard_error");
            assert!(near(found.standard_error, error, 1e-4), "{}: {found:?}, {wanted}", case["name"]);
        }
        assert!(near(fit.sigma, case["sigma"].as_f64().unwrap(), 1e-6));
        assert!(near(fit.r2.unwrap(), case["r2"].as_f64().unwrap(), 1e-9));
    }
}

#[test]
fn exact_tubes_give_their_own_curve() {
    let fit = Fit::of(&nodes()).unwrap();
    assert!(near(value(&fit, "rate_at_24"), rate(24.0), 1e-12));
    let fit = Fit::of(&beta()).unwrap();
    for (name, wanted) in [("tmin", 6.0), ("topt", 28.0), ("tmax", 43.0), ("rate_at_topt", 0.4)] {
        assert!(near(value(&fit, name), wanted, 1e-8), "{name}: {:?}", fit.parameters);
    }
    assert!(fit.sigma < 1e-9 && fit.r2.unwrap() > 1.0 - 1e-12);
}

#[test]
fn an_exact_lag_is_found_in_both_forms() {
    for document in [nodes(), beta()] {
        let late = observed(&TRIED, &HOURS, |t, h| rate(t) * (h - 5.0));
        let fit = Fit::of(&with(with(document, "observations", json!(late)), "lag", json!(true))).unwrap();
        assert!(near(fit.lag_hours.unwrap(), 5.0, 1e-7), "{:?}", fit.parameters);
        assert_eq!(fit.curve["lag_inside"], json!(false));
        assert!(codes(&fit).contains(&"lag-apart"));
    }
}

/// What no tube had begun by then is no evidence against a later lag.
#[test]
fn a_time_before_the_lag_without_a_tube_is_taken() {
    let late = observed(&TRIED, &[2.0, 12.0, 24.0], |t, h| rate(t) * (h - 5.0_f64).max(0.0));
    let fit = Fit::of(&with(with(beta(), "observations", json!(late)), "lag", json!(true))).unwrap();
    assert!(near(fit.lag_hours.unwrap(), 5.0, 1e-7), "{:?}", fit.parameters);
}

#[test]
fn without_a_lag_the_rate_holds_it_and_says_so() {
    let late = observed(&TRIED, &HOURS, |t, h| rate(t) * (h - 5.0));
    let fit = Fit::of(&with(nodes(), "observations", json!(late))).unwrap();
    assert_eq!(fit.curve["lag_inside"], json!(true));
    assert!(codes(&fit).contains(&"lag-inside") && codes(&fit).contains(&"lag-likely"), "{:?}", fit.notes);
    assert!(!codes(&Fit::of(&nodes()).unwrap()).contains(&"lag-likely"));
}

/// The curve that comes out is one that the program reads, in its own unit.
#[test]
fn a_fitted_curve_reads_back_and_gives_the_fitted_rate() {
    for (document, within) in [(nodes(), 1e-12), (beta(), 1e-3)] {
        let document = with(with(document, "end_point", json!("style-base")), "cultivars", json!(["Gala"]));
        let fit = Fit::of(&with(document, "unit", json!("mm-per-day"))).unwrap();
        let curve = input::read(&fit.curve, |fields| Curve::from_fields("own", fields)).unwrap();
        assert!(near(curve.rate_per_day(24.0), 24.0 * rate(24.0), within), "{}", curve.rate_per_day(24.0));
        assert_eq!((curve.status, curve.measure), (Status::Measured, Measure::Millimetre));
        assert_eq!((curve.covered, curve.lag_inside), ((8.0, 38.0), true));
        assert_eq!(curve.cultivars, ["Gala"]);
        assert_eq!(curve.end_point, crate::curve::EndPoint::StyleBase);
    }
}

#[test]
fn shares_of_the_style_make_a_curve_in_shares() {
    let mut document = with(nodes(), "unit", json!("fraction-per-day"));
    document["observations"] = json!([
        {"celsius": 12, "hours": 24, "length_share": 0.2}, {"celsius": 12, "hours": 48, "length_share": 0.4},
        {"celsius": 24, "hours": 24, "length_share": 1.0}, {"celsius": 24, "hours": 12, "length_share": 0.5},
    ]);
    let fit = Fit::of(&document).unwrap();
    assert!(near(value(&fit, "rate_at_12"), 0.2, 1e-12) && near(value(&fit, "rate_at_24"), 1.0, 1e-12));
    assert!(codes(&fit).contains(&"arrived"));
}

/// A temperature that the person fixed is not estimated, and takes one
/// temperature less.
#[test]
fn a_fixed_end_stands_as_given() {
    let three = observed(&[10.0, 20.0, 30.0], &HOURS, |t, h| rate(t) * h);
    let document = with(beta(), "observations", json!(three));
    let fit = Fit::of(&with(document.clone(), "tmax", json!(43))).unwrap();
    assert_eq!(fit.parameters.len(), 3);
    assert_eq!(fit.curve["tmax"], json!(43.0));
    assert!(near(value(&fit, "tmin"), 6.0, 1e-8) && codes(&fit).contains(&"fixed"));
    let refused = Fit::of(&document).unwrap_err().to_string();
    assert!(refused.contains("3 different temperatures for 4 figures"), "{refused}");
}

/// Why it was refused, and where.
fn refused(document: &Value, pointer: &str, words: &str) {
    let faults = Fit::of(document).unwrap_err();
    let found = faults.0.iter().any(|fault| fault.pointer == pointer && fault.detail.contains(words));
    assert!(found, "`{words}` at {pointer} is missing in: {faults}");
}

#[test]
fn what_the_observations_cannot_carry_is_refused_in_words() {
    let seen = |temperatures: &[f64], hours: &[f64]| json!(observed(temperatures, hours, |t, h| rate(t) * h));
    let one = with(nodes(), "observations", seen(&[18.0], &HOURS));
    refused(&one, "/observations", "one temperature only");
    let exact = with(nodes(), "observations", seen(&[18.0, 24.0], &[24.0]));
    refused(&exact, "/observations", "are 2 for 2 figures");
    Fit::of(&with(nodes(), "observations", seen(&[18.0, 24.0], &[24.0, 36.0]))).unwrap();
    let none = with(nodes(), "observations", json!(observed(&TRIED, &HOURS, |_, _| 0.0)));
    refused(&none, "/observations", "no tube that grew");
    let mut once = nodes();
    once["observations"] = json!(observed(&[18.0, 24.0, 24.0, 24.0], &[24.0], |t, h| rate(t) * h));
    refused(&with(once, "lag", json!(true)), "/lag", "after the same time");
}

#[test]
fn a_lag_that_each_temperature_hides_is_refused() {
    let at = |t: f64, h: f64| json!({"celsius": t, "hours": h, "length_mm": rate(t) * (h - 3.0)});
    let document = with(
        nodes(),
        "observations",
        json!([at(12.0, 24.0), at(12.0, 24.0), at(24.0, 12.0), at(24.0, 12.0)]),
    );
    refused(&with(document, "lag", json!(true)), "/lag", "measure at each temperature after two times");
}

#[test]
fn a_lag_before_pollination_or_after_a_grown_tube_is_refused() {
    let early = observed(&TRIED, &HOURS, |t, h| rate(t) * (h + 4.0));
    for document in [nodes(), beta()] {
        let document = with(with(document, "observations", json!(early)), "lag", json!(true));
        refused(&document, "/lag", "before pollination");
    }
    let mut late = observed(&TRIED, &[20.0, 30.0, 40.0], |t, h| rate(t) * (h - 15.0));
    late.push(json!({"celsius": 24, "hours": 10, "length_mm": 0.05}));
    let document = with(with(nodes(), "observations", json!(late)), "lag", json!(true));
    refused(&document, "/lag", "had grown after 10 h already");
}

/// Below tmin all tubes stand still alike: of four temperatures three are left
/// for four figures.
#[test]
fn a_temperature_without_growth_is_none_for_a_beta_curve() {
    let tried = |t: f64| json!(observed(&[t, 12.0, 24.0, 36.0], &HOURS, |t, h| rate(t) * h));
    refused(&with(beta(), "observations", tried(3.0)), "/observations", "no tube grew tells little");
    let grown = with(beta(), "observations", tried(8.0));
    assert!(near(value(&Fit::of(&grown).unwrap(), "tmin"), 6.0, 1e-7));
}

/// Rising rates alone do not say where growth ends.
#[test]
fn an_end_that_nothing_shows_is_refused() {
    let rising = observed(&[8.0, 10.0, 12.0, 14.0, 16.0], &HOURS, |t, h| 0.01 * (t - 5.0) * h);
    let faults = Fit::of(&with(beta(), "observations", json!(rising))).unwrap_err().to_string();
    assert!(faults.contains("/tmax") && faults.contains("fix it"), "{faults}");
}

#[test]
fn bad_input_is_named_by_its_field() {
    let first = |field: &str, value: Value| {
        let mut document = nodes();
        document["observations"][0][field] = value;
        document
    };
    refused(&first("length_mm", json!(-1)), "/observations/0/length_mm", "outside 0 to");
    refused(&first("hours", json!(-1)), "/observations/0/hours", "outside 0 to");
    refused(&first("hours", json!(0)), "/observations/0/hours", "at pollination");
    refused(&first("length_share", json!(0.4)), "/observations/0/length_share", "give length_mm");
    refused(&first("lenght", json!(1)), "/observations/0/lenght", "is not a field here");
    refused(&with(nodes(), "zero_below", json!(8)), "/zero_below", "below the lowest observed, 8 °C");
    refused(&with(nodes(), "zero_above", json!(38)), "/zero_above", "above the highest observed, 38 °C");
    refused(&with(nodes(), "zero_above", Value::Null), "/zero_above", "is missing");
    refused(&with(nodes(), "tmin", json!(5)), "/tmin", "is not a field here");
    refused(&with(with(beta(), "tmin", json!(30)), "tmax", json!(30)), "/tmin", "does not lie below tmax");
    refused(&with(nodes(), "form", json!("spline")), "/form", "nodes, beta");
    refused(&with(nodes(), "observations", json!([])), "/observations", "are 0");
    let both = with(with(nodes(), "source", json!(" ")), "unit", json!("inch"));
    refused(&both, "/source", "is blank");
    refused(&both, "/unit", "mm-per-hour");
}

/// 0 and 45 °C are taken as they are; a step further needs its reason.
#[test]
fn a_temperature_hardly_ever_tried_needs_its_reason() {
    let at = |celsius: f64| {
        let mut document = with(with(nodes(), "zero_above", json!(50)), "zero_below", json!(-5));
        document["observations"][0]["celsius"] = json!(celsius);
        document
    };
    for celsius in [0.0, 45.0] {
        Fit::of(&at(celsius)).unwrap();
    }
    for celsius in [-0.1, 45.1] {
        refused(&at(celsius), "/observations/0/celsius", "say why in `reason`");
    }
    let mut told = at(45.1);
    told["observations"][0]["reason"] = json!("to see where growth ends");
    let fit = Fit::of(&told).unwrap();
    assert!(fit.notes.iter().any(|note| note.code == "reason" && note.text.contains("where growth ends")));
}

/// 50 mm a day is the fastest that a curve takes.
#[test]
fn a_curve_that_would_be_refused_is_refused_here() {
    let fast = |a_day: f64| {
        let seen = observed(&[12.0, 24.0], &[12.0, 24.0], |_, h| a_day / 24.0 * h);
        with(nodes(), "observations", json!(seen))
    };
    Fit::of(&fast(49.9)).unwrap();
    refused(&fast(50.1), "/observations", "rates from 0 to 50 a day");
}

#[test]
fn the_order_of_observations_does_not_matter() {
    let mut turned = beta();
    turned["observations"].as_array_mut().unwrap().reverse();
    let (fit, turned) = (Fit::of(&beta()).unwrap(), Fit::of(&turned).unwrap());
    for (a, b) in fit.parameters.iter().zip(&turned.parameters) {
        assert!(near(a.value, b.value, 1e-9), "{a:?}, {b:?}");
    }
}
