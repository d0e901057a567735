use serde_json::json;

use super::*;

fn material(more: Value) -> Result<Material, Faults> {
    let mut document = json!({"name": "Ammonium thiosulfate", "role": "thinner"});
    document.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    input::read(&document, |fields| Material::from_fields("ats", fields))
}

fn fault(more: Value) -> (String, String) {
    let faults = material(more).unwrap_err().0;
    assert_eq!(faults.len(), 1, "{faults:?}");
    (faults[0].pointer.clone(), faults[0].detail.clone())
}

#[test]
fn what_ships_reads_and_each_figure_names_its_source() {
    let shipped: Value = toml::from_str(include_str!("../../../../config/materials.toml")).unwrap();
    let all = Material::read_all(&shipped).unwrap();
    let by_id = |id| all.iter().find(|material| material.id == id).unwrap();
    // Common practice, no source.
    let ats = by_id("ammonium-thiosulfate");
    assert_eq!(ats.usual_mark, Some(0.60));
    assert_eq!(
        ats.rate.unwrap().spoken(),
        "2.5 % by volume of finished spray (2.5 US gal of product in 100 US gal)"
    );
    // Cornell extension 2025 (published): 1.5 to 2 % by volume.
    let rate = by_id("lime-sulfur-oil").rate.unwrap();
    assert!((1.5..=2.0).contains(&rate.value) && rate.unit == RateUnit::Percent);
    for material in &all {
        assert!(material.basis.is_some() || (material.rate.is_none() && material.usual_mark.is_none()));
        assert_eq!(material.acts_on_flowers == ActsOnFlowers::No, material.role == Role::Other);
    }
}

#[test]
fn name_and_role_are_enough() {
    let plain = material(json!({})).unwrap();
    assert_eq!((plain.rate, plain.usual_mark, plain.reentry_hours), (None, None, None));
    assert_eq!(plain.acts_on_flowers, ActsOnFlowers::Yes);
}

#[test]
fn unknown_stands_only_when_it_was_told() {
    let other = |more| material(more).unwrap().acts_on_flowers;
    assert_eq!(other(json!({"role": "other"})), ActsOnFlowers::No);
    assert_eq!(other(json!({"role": "other", "acts_on_flowers": "unknown"})), ActsOnFlowers::Unknown);
    assert_eq!(other(json!({"role": "acts-on-flowers"})), ActsOnFlowers::Yes);
    assert_eq!(fault(json!({"acts_on_flowers": "no"})).0, "/acts_on_flowers");
}

#[test]
fn a_rate_stands_with_unit_and_basis_or_not_at_all() {
    let (pointer, detail) = fault(json!({"rate": 2.5, "rate_unit": "percent"}));
    assert_eq!(pointer, "/rate_basis");
    assert!(detail.contains("volume or weight"), "{detail}");
    assert_eq!(fault(json!({"rate": 2.5, "rate_basis": "per-area"})).0, "/rate_unit");
    assert_eq!(fault(json!({"rate_unit": "L/ha", "rate_basis": "per-area"})).0, "/rate");
    let (pointer, detail) = fault(json!({"rate": 10, "rate_unit": "g/L", "rate_basis": "product-by-volume"}));
    assert_eq!(pointer, "/rate_unit");
    assert!(detail.ends_with("that takes: percent"), "{detail}");
    let rate =
        |value| material(json!({"rate": value, "rate_unit": "percent", "rate_basis": "product-by-volume"}));
    assert_eq!(rate(100.0).unwrap().rate.unwrap().value, 100.0);
    assert!(rate(100.1).is_err() && rate(0.0).is_err() && rate(-1.0).is_err());
}

#[test]
fn bad_input_is_told_at_its_field() {
    for (field, good, bad) in [
        ("usual_mark", json!(0.05), json!(0.04)),
        ("usual_mark", json!(1.5), json!(1.51)),
        ("usual_bound", json!("not-after"), json!("after")),
        ("reentry_hours", json!(0.5), json!(0)),
        ("season_maximum", json!(1), json!(0)),
        ("minimum_interval_hours", json!(8_784), json!(8_785)),
        ("max_wind_m_s", json!(50), json!(51)),
        ("max_gust_m_s", json!(8.5), json!("8")),
        ("rain_free_hours_after", json!(240), json!(241)),
        ("max_celsius", json!(29.4), json!(51)),
        ("min_celsius", json!(-20), json!(-21)),
        ("basis", json!("common practice, no source"), json!(1)),
    ] {
        material(json!({field: good})).unwrap();
        assert_eq!(fault(json!({field: bad})).0, format!("/{field}"));
    }
    assert!(material(json!({"min_celsius": 10, "max_celsius": 10.1})).is_ok());
    assert_eq!(fault(json!({"min_celsius": 10, "max_celsius": 10})).0, "/max_celsius");
}

/// Each unit by definition: US gallon 3.785411784 L, acre 0.40468564224 ha,
/// pound 0.45359237 kg, 128 US fl oz in a US gallon (published, exact).
#[test]
fn rates_are_spoken_in_metric_and_us_units() {
    let spoken = |value, unit: RateUnit| Rate { value, unit, basis: unit.basis() }.spoken();
    assert_eq!(
        spoken(10.0, RateUnit::GramsPerLitre),
        "10 g of product in a litre of finished spray (8.35 lb in 100 US gal)"
    );
    assert_eq!(
        spoken(1.0, RateUnit::UsGallonsPerAcre),
        "9.35 L of product a hectare (1 US gal or 128 US fl oz an acre)"
    );
    assert_eq!(spoken(1.0, RateUnit::PoundsPerAcre), "1.12 kg of product a hectare (1 lb an acre)");
    assert!((RateUnit::PoundsPer100UsGallons.metric() * 1_000.0 - 1.198_264).abs() < 1e-6);
    assert!((RateUnit::UsFluidOuncesPerAcre.metric() - 0.073_078).abs() < 1e-6);
}

#[test]
fn every_unit_and_basis_has_its_word() {
    for name in RateUnit::NAMES {
        let unit = RateUnit::named(name).unwrap();
        assert_eq!((unit.word(), json!(unit)), (name, json!(name)));
        assert_eq!(json!(unit.basis()), json!(unit.basis().word()));
    }
    assert_eq!(RateUnit::named("gal/acre"), None, "which gallon is not said");
}

#[test]
fn figures_keep_three_that_count() {
    let all: Vec<String> = [935.396, 99.96, 23.385, 2.5, 0.2, 0.012, 0.0].map(figure).into();
    assert_eq!(all, ["935", "100", "23.4", "2.5", "0.2", "0.012", "0"]);
}
