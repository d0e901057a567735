//! The picture of a fit says what the fit says, in well-formed SVG.

use charts::fit::{figures, picture, table};
use model::curve::Curve;
use model::fit::Fit;
use model::input;
use roxmltree::{Document, Node};
use serde_json::Value;

const REFERENCE: &str = include_str!("../../../tests/reference/fit.json");

/// A fit of `tests/reference/fit.json` by its name there, with its curve.
fn fitted(name: &str) -> (Fit, Curve) {
    let reference: Value = serde_json::from_str(REFERENCE).expect("the reference is JSON");
    let cases = reference["cases"].as_array().expect("the reference has cases");
    let case = cases.iter().find(|case| case["name"] == name).expect("a case of that name");
    let fit = Fit::of(&case["document"]).expect("the case is one that fits");
    let read = input::read(&fit.curve, |fields| Curve::from_fields("own", fields));
    (fit, read.expect("a fitted curve reads back"))
}

/// Parses a picture and checks what holds for every one.
fn checked(svg: &str) -> Document<'_> {
    let document = Document::parse(svg).expect("well-formed XML");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let first: Vec<&str> =
        root.children().filter(Node::is_element).take(2).map(|node| node.tag_name().name()).collect();
    assert_eq!(first, ["title", "desc"]);
    for attribute in document.descendants().flat_map(|node| node.attributes()) {
        assert!(attribute.name() != "id" && !attribute.name().starts_with("on"));
        let placed = ["x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "points"].contains(&attribute.name());
        for number in attribute.value().split([' ', ',']).filter(|_| placed) {
            let number: f64 = number.parse().expect("a coordinate is a number");
            assert!((-10.0..=1_010.0).contains(&number), "off the picture: {attribute:?}");
        }
    }
    document
}

fn texts<'a>(document: &'a Document<'a>) -> Vec<&'a str> {
    document.descendants().filter(|node| node.has_tag_name("text")).filter_map(|node| node.text()).collect()
}

/// Circles on the picture without those of the key.
fn dots(document: &Document<'_>) -> Vec<(f64, f64)> {
    let number = |node: Node<'_, '_>, name| node.attribute(name).and_then(|value| value.parse::<f64>().ok());
    document
        .descendants()
        .filter(|node| node.has_tag_name("circle"))
        .filter_map(|node| Some((number(node, "cx")?, number(node, "cy")?)))
        .filter(|(_, y)| *y > 92.0)
        .collect()
}

#[test]
fn each_observation_stands_in_both_panels() {
    let (fit, curve) = fitted("beta");
    let svg = picture(&fit, &curve);
    let document = checked(&svg);
    let (above, below): (Vec<_>, Vec<_>) = dots(&document).into_iter().partition(|(_, y)| *y < 380.0);
    assert_eq!((above.len(), below.len()), (fit.n, fit.n));
    // The panels share one axis of temperature.
    for (above, below) in above.iter().zip(&below) {
        assert_eq!(above.0, below.0);
    }
    // A residual above 0 lies above the middle of its panel.
    for (seen, (_, y)) in fit.residuals.iter().zip(below) {
        assert!((seen.residual > 0.0) == (y < 493.0) || seen.residual.abs() < 0.01, "{seen:?} at {y}");
    }
}

#[test]
fn the_words_are_those_of_the_fit() {
    let (fit, curve) = fitted("beta with a lag");
    let svg = picture(&fit, &curve);
    let document = checked(&svg);
    let texts = texts(&document);
    for words in [
        "Beta curve, fitted to 28 observations",
        "Growth, mm a day",
        "Observed less fitted, mm",
        "Observed from 8 °C (46.4 °F) to 40 °C (104 °F)",
        "after 6 h",
        "after 36 h",
        "20 °C",
        "68 °F",
        "Source: made up",
    ] {
        assert!(texts.contains(&words), "{words} is missing in {texts:#?}");
    }
    let lag = format!("A start lag of {:.1} h was estimated", fit.lag_hours.unwrap());
    assert!(texts.iter().any(|text| text.starts_with(&lag)), "{texts:#?}");
    let told = document.descendants().find(|node| node.has_tag_name("desc")).unwrap().text().unwrap();
    assert!(told.contains("Best temperature 28.") && told.contains(&lag), "{told}");
}

#[test]
fn a_rate_of_its_own_has_its_interval() {
    let (fit, curve) = fitted("nodes");
    let svg = picture(&fit, &curve);
    let bars = checked(&svg)
        .descendants()
        .filter(|node| node.attribute("stroke") == Some("#17583a") && node.has_tag_name("line"))
        .count();
    // Each with its two caps, and the key.
    assert_eq!(bars, fit.parameters.len() * 3 + 1);
    assert!(svg.contains("counts it twice"));
}

#[test]
fn the_tables_have_every_observation_and_every_figure() {
    let (mut fit, _) = fitted("nodes with a lag");
    fit.residuals.reverse();
    let rows = table(&fit);
    assert_eq!(rows[0], ["Temperature", "Hours", "Observed, mm", "Fitted, mm", "Residual, mm"]);
    assert_eq!(rows.len(), fit.n + 1);
    assert_eq!(rows[1][..2], ["8 °C (46.4 °F)", "6"]);
    let rows = figures(&fit);
    assert_eq!(rows.len(), fit.parameters.len() + 1);
    assert_eq!(rows[1][0], "Rate at 8 °C (46.4 °F)");
    assert!(rows[7][0] == "Start lag" && rows[7][1].ends_with(" h"), "{:?}", rows[7]);
}

/// A tube of 0.3 mm measured 6 minutes after the lag has a rate of 72 mm a day;
/// it is named at the upper edge and does not flatten the curve.
#[test]
fn a_rate_far_above_the_curve_is_named_at_the_edge() {
    let (mut fit, curve) = fitted("beta with a lag");
    fit.residuals[0].hours = fit.lag_hours.unwrap() + 0.1;
    fit.residuals[0].length = 0.3;
    let svg = picture(&fit, &curve);
    let document = checked(&svg);
    assert!(texts(&document).contains(&"↑ 72"), "{:?}", texts(&document));
    let highest = dots(&document).into_iter().map(|(_, y)| y).fold(f64::INFINITY, f64::min);
    assert!(highest > 96.0 && highest < 130.0, "{highest}");
}

#[test]
fn hostile_sources_stay_text() {
    let (fit, mut curve) = fitted("beta");
    curve.source = "</text><script>alert(1)</script>&\"'\u{1}".to_owned();
    let svg = picture(&fit, &curve);
    let document = checked(&svg);
    assert!(texts(&document).contains(&"Source: </text><script>alert(1)</script>&\"'\u{fffd}"));
}

#[test]
fn senseless_numbers_stay_on_the_picture() {
    let (mut fit, curve) = fitted("nodes");
    for (n, seen) in fit.residuals.iter_mut().enumerate() {
        seen.residual = [f64::NAN, 0.1, f64::INFINITY][n % 3];
        seen.length = [f64::INFINITY, 1.0, f64::NAN][n % 3];
    }
    fit.sigma = f64::NAN;
    checked(&picture(&fit, &curve));
    fit.residuals.clear();
    checked(&picture(&fit, &curve));
}

#[test]
fn the_same_fit_gives_the_same_bytes() {
    let (fit, curve) = fitted("beta");
    assert_eq!(picture(&fit, &curve), picture(&fit, &curve));
}
