//! Whatever the bytes are, reading ends, with counts that add up or a fault.

use proptest::prelude::*;

use super::*;

fn layouts() -> Vec<Value> {
    let numbered = json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#2" });
    let with = |changes: Value| {
        let mut table = numbered.clone();
        for (key, value) in changes.as_object().unwrap() {
            table[key] = value.clone();
        }
        table
    };
    vec![
        json!({}),
        json!({ "header_lines": 2, "skip_lines": 1, "time_column": "#1", "temperature_column": "#2" }),
        json!({ "time_column": "#1", "temperature_column": "#3", "skip_after_header": 2, "encoding": "windows-1252" }),
        numbered.clone(),
        with(json!({ "delimiter": "blanks", "time_format": "%H%M %d.%m.%Y", "date_column": "#3" })),
        with(json!({ "columns": [[1, 2], [4, 9], [10, 10]], "encoding": "utf-16le" })),
        with(json!({ "delimiter": ";", "decimal": ",", "encoding": "utf-16be", "time_zone": ZONE })),
        with(
            json!({ "time_format": "%d %B %Y %I:%M %p", "date_columns": ["#1", "#2", "#3"], "time_column": "#4" }),
        ),
    ]
}

fn goes_through(bytes: &[u8]) {
    for changes in layouts() {
        if let Ok((file, understood)) = understand(bytes, &mapping(changes), now()) {
            let Rows { seen, taken, filtered, missing, refused, superseded } = file.rows;
            assert_eq!(seen, taken + filtered + missing + refused + superseded);
            assert_eq!(taken, file.readings.len() as u64);
            assert!(file.readings.is_sorted_by_key(|reading| reading.at));
            assert_eq!(understood.rows, file.rows);
        }
    }
}

/// Whatever may be sent.
pub(crate) fn any_bytes_at_all() -> impl Strategy<Value = Vec<u8>> {
    proptest::collection::vec(any::<u8>(), 0..600)
}

/// Bytes that station files are made of, in any order.
pub(crate) fn bytes_of_files() -> impl Strategy<Value = Vec<u8>> {
    let bytes = b"0123456789;,|\t \n\r\"/:.-+TZ#CF\xB0\xC2\0aptimed";
    proptest::collection::vec(proptest::sample::select(bytes.to_vec()), 0..400)
}

proptest! {
    #[test]
    fn any_bytes(bytes in any_bytes_at_all()) {
        goes_through(&bytes);
    }

    #[test]
    fn any_bytes_of_files(bytes in bytes_of_files()) {
        goes_through(&bytes);
        let headed = [&b"time,temp\n2013-05-01 01:00,5\n"[..], &bytes].concat();
        goes_through(&headed);
    }
}
