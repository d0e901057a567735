use encoding_rs::UTF_8;
use model::input::{Faults, read};
use serde_json::{Value, json};

use super::*;

fn mapping(table: &Value) -> Result<Mapping, Faults> {
    read(table, Mapping::from_fields)
}

fn plain() -> Value {
    json!({ "time_column": "time_hour", "temperature_column": "temp", "unit": "fahrenheit", "kind": "instant" })
}

/// The plain table with some keys set; null takes a key out.
fn with(changes: Value) -> Value {
    let mut table = plain();
    for (key, value) in changes.as_object().unwrap() {
        table[key] = value.clone();
    }
    table
}

#[test]
fn defaults_are_those_of_the_season_file() {
    let read = mapping(&plain()).unwrap();
    assert_eq!(read.time_format, TimeFormat::Rfc3339);
    assert_eq!(read.time_zone, None);
    assert_eq!(read.interval, Interval::Instant);
    assert_eq!(
        (&read.delimiter, read.decimal, read.encoding),
        (&Delimiter::Sign(b','), Decimal::Point, UTF_8)
    );
    assert_eq!((read.role, read.reading_kind, read.checks), (Role::Observed, Kind::Station, true));
}

#[test]
fn a_table_comes_back_whole() {
    let full = json!({
        "name": "hollow", "file": "hollow.csv", "skip_lines": 3, "header_lines": 2, "skip_after_header": 1,
        "time_column": "Zeit", "date_column": "Datum", "time_format": "%d.%m.%Y %H:%M", "time_zone": "+01:00",
        "temperature_column": "Temp", "unit": "celsius", "kind": "mean-starting", "interval_minutes": 10,
        "where": { "station": "4", "level": "2 m" }, "checks": "off", "delimiter": ";", "decimal": ",",
        "encoding": "windows-1252", "missing": ["fehlt"], "role": "forecast", "issued_at": "2013-05-01T00:00:00Z",
        "reading_kind": "model-analysis",
    });
    let read = mapping(&full).unwrap();
    assert_eq!(read.to_json(), full);
    let layouts = [
        json!({ "columns": [[1, 4], [6, 7], [9, 9]] }),
        json!({ "delimiter": "blanks" }),
        json!({ "delimiter": "\t" }),
        json!({ "delimiter": "|" }),
        json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#2" }),
        json!({ "date_columns": ["y", "m", "d"], "time_column": "h", "time_format": "%Y %m %d %H", "time_zone": "UTC" }),
    ];
    for layout in layouts {
        let read = mapping(&with(layout.clone())).unwrap();
        let again = read.to_json();
        assert_eq!(mapping(&again).unwrap(), read);
        for (key, value) in layout.as_object().unwrap() {
            assert_eq!(&again[key], value, "{key}");
        }
    }
    let plain = mapping(&plain()).unwrap();
    assert_eq!(mapping(&plain.to_json()).unwrap(), plain);
    for zone in ["UTC", "-03:30", "America/New_York"] {
        let read = mapping(&with(json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": zone }))).unwrap();
        assert_eq!(read.to_json()["time_zone"], zone);
    }
}

#[test]
fn a_time_needs_a_zone_unless_it_carries_its_offset() {
    for format in ["%Y-%m-%d %H:%M:%S%z", "%Y-%m-%dT%H:%M:%S%:z", "%s", "rfc3339"] {
        mapping(&with(json!({ "time_format": format })))
            .unwrap_or_else(|faults| panic!("{format}: {faults}"));
    }
    let faults = mapping(&with(json!({ "time_format": "%d/%m/%y %I:%M %p" }))).unwrap_err();
    assert_eq!(faults.0[0].pointer, "/time_zone");
    assert!(faults.0[0].detail.contains("is missing"), "{faults}");
}

#[test]
fn each_fault_is_named_at_its_place() {
    let table = [
        (json!({ "time_column": null }), "/time_column", "missing"),
        (json!({ "temperature_column": " " }), "/temperature_column", "blank"),
        (json!({ "temperature_column": "time_hour" }), "/temperature_column", "time column"),
        (json!({ "unit": null }), "/unit", "missing"),
        (json!({ "unit": "rankine" }), "/unit", "celsius, fahrenheit, kelvin"),
        (json!({ "kind": null }), "/kind", "missing"),
        (json!({ "kind": "mean" }), "/kind", "mean-ending"),
        (json!({ "kind": "mean-ending" }), "/interval_minutes", "missing"),
        (json!({ "kind": "mean-ending", "interval_minutes": 1441 }), "/interval_minutes", "1 to 1440"),
        (json!({ "kind": "mean-ending", "interval_minutes": 0 }), "/interval_minutes", "1 to 1440"),
        (json!({ "interval_minutes": 60 }), "/interval_minutes", "leave it out"),
        (
            json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "Atlantis/Capital" }),
            "/time_zone",
            "Atlantis/Capital",
        ),
        (json!({ "time_zone": "Atlantis/Capital" }), "/time_zone", "IANA"),
        (json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "+1" }), "/time_zone", "+01:00"),
        (json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "+15:00" }), "/time_zone", "+01:00"),
        (json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "+0é:0" }), "/time_zone", "+01:00"),
        (json!({ "time_format": "%Y-%Q", "time_zone": "UTC" }), "/time_format", "strftime"),
        (json!({ "time_format": "%Y-%m-%d", "time_zone": "UTC" }), "/time_format", "hour"),
        (json!({ "time_format": "%d.%m. %H:%M", "time_zone": "UTC" }), "/time_format", "year"),
        (json!({ "time_format": "%Y-%m-%d %I:%M", "time_zone": "UTC" }), "/time_format", "%p"),
        (json!({ "time_format": "iso", "time_zone": "UTC" }), "/time_format", "iso"),
        (json!({ "date_column": "day" }), "/time_format", "date_column"),
        (json!({ "where": { "origin": 4 } }), "/where/origin", "text"),
        (json!({ "checks": "maybe" }), "/checks", "on, off"),
        (json!({ "delimiter": "ab" }), "/delimiter", "one sign"),
        (json!({ "delimiter": "\"" }), "/delimiter", "one sign"),
        (json!({ "delimiter": ",", "columns": [[1, 4]] }), "/columns", "leave one out"),
        (json!({ "columns": [] }), "/columns", "1 to 1000"),
        (json!({ "columns": [[1, 4], [4, 6]] }), "/columns", "[4, 6] does not follow on 4"),
        (json!({ "columns": [[0, 4]] }), "/columns", "first and the last character"),
        (json!({ "columns": [[3, 2]] }), "/columns", "[3, 2]"),
        (json!({ "columns": [[1, 64_001]] }), "/columns", "64000"),
        (json!({ "columns": "1-4" }), "/columns", "no list of pairs"),
        (json!({ "skip_lines": -1 }), "/skip_lines", "0 to 10000"),
        (json!({ "header_lines": 9 }), "/header_lines", "0 to 8"),
        (json!({ "header_lines": 0, "temperature_column": "#2" }), "/time_column", "a number as #1"),
        (
            json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#0" }),
            "/temperature_column",
            "#1",
        ),
        (
            json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#2", "where": { "a": "b" } }),
            "/where",
            "#1",
        ),
        (
            json!({ "date_column": "d", "date_columns": ["d"], "time_format": "%F %T", "time_zone": "UTC" }),
            "/date_column",
            "leave one out",
        ),
        (
            json!({ "date_columns": vec!["d"; 9], "time_format": "%F %T", "time_zone": "UTC" }),
            "/date_columns",
            "at most 8",
        ),
        (json!({ "decimal": "'" }), "/decimal", "., ,"),
        (json!({ "encoding": "klingon" }), "/encoding", "windows-1252"),
        (json!({ "missing": [-999] }), "/missing/0", "text"),
        (json!({ "role": "forecast" }), "/issued_at", "missing"),
        (json!({ "role": "forecast", "issued_at": "soon" }), "/issued_at", "soon"),
        (json!({ "issued_at": "2013-05-01T00:00:00Z" }), "/issued_at", "forecast"),
        (json!({ "reading_kind": "guess" }), "/reading_kind", "station"),
        (json!({ "temprature_column": "temp" }), "/temprature_column", "not a field"),
    ];
    for (change, pointer, expected) in table {
        let faults = mapping(&with(change.clone())).expect_err(&change.to_string());
        assert!(
            faults.0.iter().any(|fault| fault.pointer == pointer && fault.detail.contains(expected)),
            "{change}: {faults}"
        );
    }
}
