use std::sync::Arc;

use serde_json::json;

use super::*;
use crate::curve::Curve;
use crate::growth::Course;
use crate::series::{Reading, Series};

fn curve() -> Arc<Curve> {
    let nodes = json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 0.0], [25, 1.0], [40, 0.0]],
        "source": "made up for tests", "status": "constructed"});
    Arc::new(crate::input::read(&nodes, |fields| Curve::from_fields("test", fields)).unwrap())
}

fn at(hours: i64) -> Instant {
    Instant(1_367_193_600 + hours * HOUR)
}

/// Hourly readings from the hour 0 on.
fn growth(celsius: impl Fn(i64) -> f64, hours: i64) -> Growth {
    let readings = (0..=hours).map(|hour| Reading::instant(at(hour), celsius(hour))).collect();
    Growth::new(Arc::new(Course::new(Series::join(&[readings], None, Instant::MAX))), curve())
}

fn odds(early: i64, likely: i64, late: i64) -> Odds {
    let dots: Vec<_> = (0..20).map(|dot| Some(at(early + (late - early) * dot / 19))).collect();
    serde_json::from_value(json!({
        "early": at(early), "likely": at(likely), "late": at(late), "never": 0.0, "horizon": at(500),
        "dots": dots, "ends": [at(early), at(late)], "draws": 1000, "weighs": null,
    }))
    .unwrap()
}

#[test]
fn steady_weather_repeats_itself() {
    // 15 °C for ever: half a style a day.
    let growth = growth(|_| 15.0, 400);
    let odds = odds(110, 116, 122);
    let case = Case { issued_at: at(80), odds: &odds, truth: at(116), leg_from: Some(at(60)) };
    let judged = judge(&case, &growth, &[]);
    assert!(judged.last_days_h.unwrap() < 0.01, "{judged:?}");
    assert_eq!((judged.lead, judged.climate_h), (Lead::TwoDays, None));
    assert!(judged.scored.held);
    // A start has nothing that grows.
    let start = Case { leg_from: None, ..case };
    assert_eq!(judge(&start, &growth, &[]).last_days_h, None);
}

#[test]
fn weather_that_warms_comes_sooner_than_it_would_repeated() {
    // Cool for 100 hours, then twice the growth.
    let growth = growth(|hour| if hour < 100 { 10.0 } else { 15.0 }, 400);
    let odds = odds(110, 130, 150);
    // From hour 80: 20 hours at a quarter of a style a day, then half a one.
    let truth = growth.reached(at(80), (0.5 * crate::growth::UNITS) as i64, Bound::Low).unwrap();
    let case = Case { issued_at: at(80), odds: &odds, truth, leg_from: Some(at(80)) };
    let judged = judge(&case, &growth, &[]);
    // Repeated, half a style takes 48 hours.
    let off = (at(128).since(truth) as f64 / 3_600.0).abs();
    assert!((judged.last_days_h.unwrap() - off).abs() < 0.1, "{judged:?} {off}");
}

#[test]
fn other_springs_are_a_climate_once_there_are_enough() {
    let this = growth(|_| 15.0, 400);
    let odds = odds(110, 116, 122);
    let case = Case { issued_at: at(80), odds: &odds, truth: at(116), leg_from: Some(at(80)) };
    let others: Vec<(Growth, i64)> = (0..6).map(|_| (growth(|_| 15.0, 400), 0)).collect();
    assert!(judge(&case, &this, &others).climate_h.unwrap() < 0.01, "all the same");
    assert_eq!(judge(&case, &this, &others[..4]).climate_h, None);
    let cold: Vec<(Growth, i64)> = (0..6).map(|_| (growth(|_| 10.0, 400), 0)).collect();
    // A quarter of a style a day takes twice the 36 hours.
    assert!((judge(&case, &this, &cold).climate_h.unwrap() - 36.0).abs() < 0.1);
}

#[test]
fn scores_come_by_lead_and_say_when_there_are_too_few() {
    let growth = growth(|_| 15.0, 400);
    let odds = odds(110, 116, 122);
    let judged = |issued: i64| {
        let case = Case { issued_at: at(issued), odds: &odds, truth: at(116), leg_from: Some(at(60)) };
        judge(&case, &growth, &[])
    };
    assert!(scores(&[]).is_empty());
    let few = scores(&[judged(100), judged(80)]);
    let leads: Vec<_> = few.iter().map(|scores| scores.lead).collect();
    assert_eq!(leads, [None, Some(Lead::OneDay), Some(Lead::TwoDays)]);
    assert_eq!(few[0].told(), ["So far: too few to judge, n = 2."]);
    let many: Vec<Judged> = (0..25).map(|_| judged(100)).collect();
    let told = scores(&many)[0].told();
    assert!(told[0].contains("10 of 10 windows held") && told[0].contains("n = 25"), "{told:?}");
    assert!(told[2].contains("last two days") && told[2].contains("n = 25"), "{told:?}");
}
