use serde_json::{Value, json};

use super::*;
use crate::input::{self, Faults};

fn asked(more: Value) -> Result<MixAsked, Faults> {
    let mut document = json!({
        "rate": 2.5, "rate_unit": "percent", "rate_basis": "product-by-volume",
        "volume_per_area": 100, "volume_unit": "US-gal/acre",
        "area": 6, "area_unit": "acre", "tank": 400, "tank_unit": "US-gal",
    });
    document.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    input::read(&document, MixAsked::from_fields)
}

fn mix(more: Value) -> Mix {
    asked(more).unwrap().mix()
}

fn near(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 5e-4, "{found}, not {wanted}");
}

fn litres(product: Product) -> (f64, f64) {
    match product {
        Product::Volume { litres, us_gallons, .. } => (litres, us_gallons),
        Product::Weight { .. } => panic!("weighed"),
    }
}

/// Common practice, no source: 2.5 % by volume of 100 US gal of finished spray
/// an acre is 2.5 US gal of product; metric by definition of the units.
#[test]
fn ammonium_thiosulfate_as_it_is_usually_mixed() {
    let mix = mix(json!({}));
    near(litres(mix.product_per_acre).1, 2.5);
    near(litres(mix.product_per_hectare).0, 23.385);
    near(mix.spray_per_area.litres_per_hectare, 935.396);
    near(mix.spray_per_area.us_gallons_per_acre, 100.0);
    near(litres(mix.product).1, 15.0);
    assert_eq!(mix.full_tanks, 1);
    near(litres(mix.product_per_full_tank).1, 10.0);
    let part = mix.part_tank.unwrap();
    near(part.spray.us_gallons, 200.0);
    near(litres(part.product).1, 5.0);
}

#[test]
fn the_same_in_metric_units_is_the_same_mix() {
    let us = mix(json!({}));
    let metric = mix(json!({
        "volume_per_area": us.spray_per_area.litres_per_hectare, "volume_unit": "L/ha",
        "area": us.area.hectares, "area_unit": "ha", "tank": us.tank.litres, "tank_unit": "L",
    }));
    near(litres(metric.product).1, 15.0);
    assert_eq!(metric.full_tanks, 1);
}

#[test]
fn spray_that_fills_the_tanks_leaves_no_part_tank() {
    // 0.1 ha at 300 L is 30 L: three tanks of 10 L, though 0.1 is no binary figure.
    let even = |area: f64| {
        let area = json!({"area": area, "area_unit": "ha", "volume_per_area": 300, "volume_unit": "L/ha",
            "tank": 10, "tank_unit": "L"});
        let mix = mix(area);
        (mix.full_tanks, mix.part_tank.map(|part| (part.spray.litres * 1e3).round() / 1e3))
    };
    assert_eq!(even(0.1), (3, None));
    assert_eq!(even(0.1001), (3, Some(0.03)));
    assert_eq!(even(0.0999), (2, Some(9.97)));
    assert_eq!(even(0.01), (0, Some(3.0)));
}

/// 10 g/L is the 1 % of a study that weighed it (Scientia Hort. 2005, crabapple,
/// published); 8.345 lb in 100 US gal by definition.
#[test]
fn weight_in_finished_spray() {
    let mix = mix(json!({"rate": 10, "rate_unit": "g/L", "rate_basis": "weight-by-volume",
        "area": 1, "area_unit": "ha", "volume_per_area": 1_000, "volume_unit": "L/ha"}));
    let Product::Weight { kilograms, pounds } = mix.product else { panic!("by volume") };
    near(kilograms, 10.0);
    near(pounds, 22.046);
    let Strength::Weight { pounds_per_100_us_gallons, .. } = mix.strength else { panic!("by volume") };
    near(pounds_per_100_us_gallons, 8.345);
}

#[test]
fn a_rate_per_area_is_spread_over_the_water_on_it() {
    let per_area = |volume| {
        mix(json!({"rate": 20, "rate_unit": "L/ha", "rate_basis": "per-area",
            "volume_per_area": volume, "volume_unit": "L/ha", "area": 2, "area_unit": "ha"}))
    };
    let (thin, thick) = (per_area(1_000.0), per_area(500.0));
    assert_eq!((thin.strength, thick.strength), (Strength::of(0.02, false), Strength::of(0.04, false)));
    near(litres(thin.product).0, 40.0);
    near(litres(thick.product).0, 40.0);
    assert!(thin.sentences[1].contains("2 % by volume in the tank"), "{:?}", thin.sentences);
}

#[test]
fn words_name_both_units_and_the_caution_goes_along() {
    let mix = mix(json!({}));
    assert_eq!(
        mix.sentences,
        [
            "The rate is 2.5 % by volume of finished spray (2.5 US gal of product in 100 US gal).",
            "2.43 hectares (6 acres) at 935 L a hectare (100 US gal an acre) take 2271 L (600 US gal) of finished spray.",
            "One full tank of 1514 L (400 US gal): 37.9 L (10 US gal) of product, filled up with water.",
            "The last tank: 18.9 L (5 US gal) of product, filled up with water to 757 L (200 US gal).",
            "For the block that is 56.8 L (15 US gal) of product: 23.4 L a hectare (2.5 US gal an acre).",
        ]
    );
    assert_eq!(json!(mix)["caution"], words::CAUTION);
}

#[test]
fn nothing_goes_unmeasured() {
    for field in ["rate", "volume_per_area", "area", "tank"] {
        for bad in [json!(null), json!(0), json!(-1), json!("5")] {
            let faults = asked(json!({field: bad})).unwrap_err().0;
            assert_eq!(faults.len(), 1, "{faults:?}");
            assert_eq!(faults[0].pointer, format!("/{field}"));
        }
    }
    for field in ["rate_unit", "rate_basis", "volume_unit", "area_unit", "tank_unit"] {
        for bad in [json!(null), json!("gal")] {
            let faults = asked(json!({field: bad})).unwrap_err().0;
            assert_eq!(faults[0].pointer, format!("/{field}"), "{faults:?}");
        }
    }
}

#[test]
fn what_no_tank_and_no_ground_holds_is_refused() {
    for (field, unit, word, good, bad) in [
        ("volume_per_area", "volume_unit", "L/ha", 50_000.0, 50_001.0),
        ("area", "area_unit", "ha", 10_000.0, 10_001.0),
        ("tank", "tank_unit", "L", 0.5, 0.4),
        ("tank", "tank_unit", "L", 100_000.0, 100_001.0),
    ] {
        asked(json!({field: good, unit: word})).unwrap();
        assert_eq!(asked(json!({field: bad, unit: word})).unwrap_err().0[0].pointer, format!("/{field}"));
    }
}

#[test]
fn more_product_than_spray_is_refused() {
    let neat = |rate| {
        asked(json!({"rate": rate, "rate_unit": "L/ha", "rate_basis": "per-area",
            "volume_per_area": 100, "volume_unit": "L/ha"}))
    };
    neat(100).unwrap();
    assert_eq!(neat(101).unwrap_err().0[0].pointer, "/rate");
}

#[test]
fn the_usual_rate_stands_in_only_where_none_is_given() {
    let usual =
        Rate { value: 2.0, unit: crate::materials::RateUnit::Percent, basis: RateBasis::ProductByVolume };
    let with = |rate: Value| {
        let mut document = json!({"volume_per_area": 1_000, "volume_unit": "L/ha", "area": 1, "area_unit": "ha",
            "tank": 1_000, "tank_unit": "L"});
        document.as_object_mut().unwrap().extend(rate.as_object().unwrap().clone());
        input::read(&document, |fields| MixAsked::with_usual(fields, Some(usual)))
    };
    assert_eq!(with(json!({})).unwrap().rate, usual);
    let given = with(json!({"rate": 1, "rate_unit": "percent", "rate_basis": "product-by-volume"}));
    assert_eq!(given.unwrap().rate.value, 1.0);
    assert!(with(json!({"rate": 1})).is_err());
}
