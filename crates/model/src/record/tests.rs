use chrono::NaiveDate;
use serde_json::json;

use super::*;
use crate::materials::Material;

mod kept;
mod sheets;

fn record(more: Value) -> Record {
    read(more).unwrap()
}

fn read(more: Value) -> Result<Record, Faults> {
    let mut entry = json!({"id": "spray-1", "kind": "spray", "material": "ats",
        "at": "2025-05-01T17:10:00-04:00", "finished_at": "2025-05-01T18:30:00-04:00"});
    entry.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    input::read(&entry, Record::from_fields)
}

fn material(more: Value) -> Material {
    let mut document = json!({"name": "Ammonium thiosulfate", "role": "thinner"});
    document.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    input::read(&document, |fields| Material::from_fields("ats", fields)).unwrap()
}

fn shipped() -> Profiles {
    let document: Value = toml::from_str(include_str!("../../../../config/records.toml")).unwrap();
    Profiles::read(&document).unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// 7 CFR 110.3(a), as of 2006 (published): product and registration number,
/// total amount, location, size and crop, date, applicator with certificate.
#[test]
fn what_the_profile_names_and_is_not_there_is_told() {
    let profiles = shipped();
    let federal = profiles.get("us-federal").unwrap();
    let block = BlockFacts { name: "North Bench", location: Some("Section 12"), ..BlockFacts::default() };
    let some = record(json!({"product": "X", "total_amount": "40 L", "area": 6, "crop": "apple"}));
    let missing = federal.missing(&some, None, &block);
    assert_eq!(missing, ["registration_number", "area_unit", "applicator", "certificate"]);
    let told = federal.told(&missing, day("2025-05-01"));
    assert!(
        told.ends_with(
            "registration number, unit of the area, who applied it, the applicator's certificate."
        )
    );

    let full = record(json!({"product": "X", "registration_number": 123, "total_amount": "40 L", "area": 6,
        "area_unit": "acre", "crop": "apple", "applicator": "Ines", "certificate": "7"}));
    assert!(federal.missing(&full, None, &block).is_empty());
    assert_eq!(federal.missing(&full, None, &BlockFacts::default()), ["location"]);
}

#[test]
fn a_profile_holds_between_its_dates_both_included() {
    let profiles = shipped();
    let on = |text| profiles.on(day(text)).map(|profile| profile.id.as_str()).collect::<Vec<_>>();
    assert!(on("2025-07-10").contains(&"us-federal"));
    assert!(!on("2025-07-11").contains(&"us-federal"), "rescinded as of that day (published)");
    assert!(!on("2025-12-31").contains(&"eu-2023-564"));
    assert!(on("2026-01-01").contains(&"eu-2023-564"));
    assert_eq!(on("1992-01-01"), ["general"]);
    let shown = json!(profiles.get("us-federal"));
    assert_eq!((&shown["from"], &shown["until"]), (&json!("1993-05-10"), &json!("2025-07-10")));
    assert_eq!(json!(profiles.get("general"))["until"], json!(null));
    let told = profiles.get("us-federal").unwrap().told(&[], day("2025-07-11"));
    assert!(told.ends_with("It held until 2025-07-10."), "{told}");
    let told = profiles.get("eu-2023-564").unwrap().told(&[], day("2025-12-31"));
    assert!(told.ends_with("It holds from 2026-01-01 on."), "{told}");
}

#[test]
fn material_and_block_stand_in_where_the_record_is_silent() {
    let document = json!({"p": {"name": "P", "from": "2020-01-01", "source": "for tests", "status": "constructed",
        "fields": ["material", "reentry_interval", "area", "crop", "time_zone", "farm", "block", "cultivar"]}});
    let profiles = Profiles::read(&document).unwrap();
    let profile = profiles.get("p").unwrap();
    let bare = record(json!({}));
    let missing = profile.missing(&bare, None, &BlockFacts::default());
    assert_eq!(missing, ["reentry_interval", "area", "crop", "time_zone", "farm", "block", "cultivar"]);
    let (ats, block) = (
        material(json!({"reentry_hours": 24})),
        BlockFacts {
            name: "North Bench",
            farm: Some("Larkmoor"),
            cultivar: Some("Gala"),
            crop: Some("apple"),
            area: Some("2 ha"),
            zone: Some(chrono_tz::America::New_York),
            ..BlockFacts::default()
        },
    );
    assert!(profile.missing(&bare, Some(&ats), &block).is_empty());
    let part = record(json!({"share_of_block": 0.5}));
    assert_eq!(
        profile.missing(&part, Some(&ats), &block),
        ["area"],
        "the block's area is not what was sprayed"
    );
}

#[test]
fn a_re_entry_interval_that_cannot_be_read_counts_as_missing() {
    let profiles = shipped();
    let general = profiles.get("general").unwrap();
    let lacks = |typed: &str| {
        let record = record(json!({"reentry_interval": typed}));
        general.missing(&record, None, &BlockFacts::default()).contains(&"reentry_interval")
    };
    assert!(lacks("see label") && !lacks("24 h"));
}

#[test]
fn a_bad_profile_is_told_at_its_field() {
    let good = json!({"name": "P", "from": "2020-01-01", "until": "2020-01-01", "source": "for tests",
        "status": "constructed", "fields": ["product"]});
    Profiles::read(&json!({"p": good})).unwrap();
    for (field, bad) in [
        ("name", json!("")),
        ("from", json!("1 May 2020")),
        ("from", json!(null)),
        ("until", json!("2019-12-31")),
        ("source", json!(null)),
        ("status", json!("law")),
        ("fields", json!(["colour"])),
        ("fields", json!(null)),
    ] {
        let mut document = good.clone();
        document[field] = bad;
        let faults = Profiles::read(&json!({"p": document})).unwrap_err().0;
        assert_eq!(faults[0].pointer, format!("/p/{field}"), "{faults:?}");
    }
}

fn confirmation(more: Value) -> Result<Confirmation, Faults> {
    let mut document = json!({"material": "ats", "jurisdiction": "New York", "by": "Ines", "on": "2025-04-20",
        "registered": true, "bloom_use": true});
    document.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    input::read(&document, Confirmation::from_fields)
}

#[test]
fn a_confirmation_counts_only_with_both_ticked() {
    let both = confirmation(json!({"note": "label of 2024"})).unwrap();
    assert!(both.covers("ats") && !both.covers("lime-sulfur"));
    for field in ["registered", "bloom_use"] {
        for bad in [json!(false), json!(null), json!("yes")] {
            let faults = confirmation(json!({field: bad})).unwrap_err().0;
            assert_eq!(faults.len(), 1, "{faults:?}");
            assert_eq!(faults[0].pointer, format!("/{field}"));
        }
    }
    let neither = confirmation(json!({"registered": false, "bloom_use": false})).unwrap_err();
    assert_eq!(neither.0.len(), 2);
}

#[test]
fn a_confirmation_has_a_name_a_place_and_a_date() {
    for (field, bad) in [
        ("material", json!(null)),
        ("jurisdiction", json!(" ")),
        ("by", json!(null)),
        ("by", json!("x".repeat(201))),
        ("on", json!("20 April")),
        ("on", json!("1899-12-31")),
        ("note", json!("x".repeat(2_001))),
    ] {
        let faults = confirmation(json!({field: bad})).unwrap_err().0;
        assert_eq!(faults[0].pointer, format!("/{field}"), "{faults:?}");
    }
    confirmation(json!({"by": "x".repeat(200), "on": "1900-01-01"})).unwrap();
}
