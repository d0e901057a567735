//! What was typed is kept, and what of it could be read.

use super::*;

#[test]
fn numbers_are_numbers_and_the_rest_is_kept_as_typed() {
    let read = |value: Value| {
        let record = record(json!({"total_amount": value}));
        let amount = record.amount("total_amount").unwrap().clone();
        (amount.typed, amount.number, amount.unit)
    };
    let unit = |text: &str| Some(text.to_owned());
    assert_eq!(read(json!("40 L")), ("40 L".into(), Some(40.0), unit("L")));
    assert_eq!(read(json!("2.5 gal")), ("2.5 gal".into(), Some(2.5), unit("gal")));
    assert_eq!(read(json!("2,5L")), ("2,5L".into(), Some(2.5), unit("L")));
    assert_eq!(read(json!(4.0)), ("4.0".into(), Some(4.0), None));
    assert_eq!(read(json!("8 lb/100 gal")), ("8 lb/100 gal".into(), Some(8.0), unit("lb/100 gal")));
    assert_eq!(read(json!("−2 °C")), ("−2 °C".into(), Some(-2.0), unit("°C")));
    for unread in [
        "about 40 L",
        "1,000 L",
        "2 to 3 L",
        "1.5-2 %",
        "2 x 20 L",
        "2 and a half L",
        "--5",
        "plenty",
        "5. L",
    ] {
        assert_eq!(read(json!(unread)), (unread.into(), None, None));
    }
}

#[test]
fn a_unit_behind_the_figure_outranks_its_own_field() {
    let amount = |typed: Value| {
        record(json!({"total_amount": typed, "total_unit": "US gal"})).amount("total_amount").unwrap().clone()
    };
    assert_eq!(amount(json!(4)).spoken(), "4 US gal");
    assert_eq!(amount(json!("40 L")).spoken(), "40 L");
    assert_eq!(amount(json!("40 L")).unit.as_deref(), Some("L"));
}

/// By definition: US gallon 3.785411784 L, mile 1609.344 m, acre
/// 0.40468564224 ha, 32 °F is 0 °C (published, exact).
#[test]
fn known_units_are_metric_too() {
    let metric =
        |text: &str| Amount::of(text.into(), None).metric().map(|(value, unit)| (value as f32, unit));
    assert_eq!(metric("2.5 US gal"), Some((9.463_53, "L")));
    assert_eq!(metric("10 mph"), Some((4.470_4, "m/s")));
    assert_eq!(metric("9 km/h"), Some((2.5, "m/s")));
    assert_eq!(metric("1 acre"), Some((0.404_685_64, "ha")));
    assert_eq!(metric("50 °F"), Some((10.0, "°C")));
    assert_eq!(metric("1 US-gal/acre"), Some((9.353_956, "L/ha")));
    assert_eq!(metric("2.5 gal"), None, "which gallon is not said");
    assert_eq!(metric("2.5"), None);
}

/// ISO 8601-1:2019, durations (published).
#[test]
fn re_entry_intervals_as_people_and_programs_write_them() {
    for (typed, hours) in [
        (json!("24 h"), 24.0),
        (json!("4 hours"), 4.0),
        (json!("1 day"), 24.0),
        (json!("2 Days"), 48.0),
        (json!("30 min"), 0.5),
        (json!("12"), 12.0),
        (json!(24), 24.0),
        (json!(1.5), 1.5),
        (json!("PT24H"), 24.0),
        (json!("P1D"), 24.0),
        (json!("P1DT12H"), 36.0),
        (json!("PT1H30M"), 1.5),
        (json!("P1W"), 168.0),
        (json!("366 days"), 8_784.0),
    ] {
        let record = record(json!({"reentry_interval": typed}));
        assert_eq!(record.reentry_seconds(), Some((hours * 3_600.0) as i64), "{typed}");
    }
}

#[test]
fn what_cannot_be_read_is_kept_and_counts_as_not_recorded() {
    for typed in [
        "see label",
        "until dry",
        "P",
        "PT",
        "P1M",
        "PT1H1D",
        "PTH",
        "4-24 h",
        "-4 h",
        "0",
        "0 h",
        "367 days",
        "4 weeks?",
    ] {
        let record = record(json!({"reentry_interval": typed}));
        assert_eq!((record.reentry_seconds(), record.reentry_at()), (None, None), "{typed}");
        assert_eq!(record.reentry_typed, [typed]);
    }
}

#[test]
fn of_two_re_entry_intervals_the_longer_holds() {
    let both = |hours: Value, interval: &str| {
        record(json!({"reentry_hours": hours, "reentry_interval": interval})).reentry_seconds()
    };
    assert_eq!(both(json!(4), "24 h"), Some(86_400));
    assert_eq!(both(json!(48), "24 h"), Some(172_800));
    assert_eq!(both(json!(4), "see label"), Some(14_400));
}

#[test]
fn re_entry_runs_from_the_finish() {
    let at = |more| record(more).reentry_at().map(|at| at.to_string());
    assert_eq!(at(json!({"reentry_hours": 24})).as_deref(), Some("2025-05-02T22:30:00Z"));
    assert_eq!(at(json!({"reentry_hours": 24, "finished_at": null})), None, "a draft has no finish yet");
    let written = |time: &str| at(json!({"reentry_hours": 24, "reentry_at": time}));
    assert_eq!(written("2025-05-03T00:00:00Z").as_deref(), Some("2025-05-03T00:00:00Z"));
    assert_eq!(written("2025-05-02T00:00:00Z").as_deref(), Some("2025-05-02T22:30:00Z"));
    assert_eq!(written("tomorrow").as_deref(), Some("2025-05-02T22:30:00Z"));
}

#[test]
fn a_draft_with_nothing_in_it_is_read() {
    let empty = input::read(&json!({}), Record::from_fields).unwrap();
    assert_eq!(empty, Record::default());
    assert_eq!(record(json!({"at": null})).at, record(json!({})).finished_at, "the finish stands for both");
}

#[test]
fn an_entry_that_is_stored_is_read_whatever_stands_in_it() {
    let entry = json!({"kind": "spray", "product": "X", "later/field": 1, "wind": [2], "reentry_hours": 24,
        "finished_at": "2025-05-01T18:30:00-04:00"});
    let record = Record::of(&entry);
    assert_eq!((record.text("product"), record.amount("wind")), (Some("X"), None));
    assert_eq!(record.reentry_at().map(|at| at.to_string()).as_deref(), Some("2025-05-02T22:30:00Z"));
    assert_eq!(Record::of(&json!("none")), Record::default());
}

#[test]
fn every_field_takes_a_text_or_a_number_and_nothing_deeper() {
    for (name, _) in TEXTS.into_iter().chain([("reentry_interval", "")]) {
        assert!(read(json!({name: "x"})).is_ok() && read(json!({name: 7.5})).is_ok(), "{name}");
        assert_eq!(read(json!({name: [1]})).unwrap_err().0[0].pointer, format!("/{name}"));
    }
    for (name, _, unit, _) in AMOUNTS {
        let kept = record(json!({name: 7.5, unit: "u"}));
        assert_eq!(kept.amount(name).unwrap().unit.as_deref(), Some("u"));
        assert_eq!(read(json!({name: {"a": 1}})).unwrap_err().0[0].pointer, format!("/{name}"));
    }
    assert_eq!(record(json!({"registration_number": 12345})).text("registration_number"), Some("12345"));
    assert_eq!(record(json!({"product": "  "})).text("product"), None);
}

#[test]
fn what_was_typed_stands_in_the_json() {
    let shown = json!(record(json!({"product": "X", "rate": "2,5 %", "reentry_interval": "1 day"})));
    assert_eq!(shown["product"], "X");
    assert_eq!(shown["rate"], json!({"typed": "2,5 %", "number": 2.5, "unit": "%"}));
    assert_eq!(shown["reentry_typed"], json!(["1 day"]));
}
