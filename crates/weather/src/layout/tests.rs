use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use model::input;

use super::*;

const LITE: &str = "2013 04 28 00   106    39 10189   290    31     0     0 -9999\n\
                    2013 04 28 01    94    39 10193   300    26     0     0 -9999\n";

fn packed(text: &str) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(text.as_bytes()).unwrap();
    packer.finish().unwrap()
}

fn told(head: &[u8], by_hand: Value) -> Recognised {
    recognise(head, Some("725020-14734-2013"), &by_hand, None).unwrap()
}

#[test]
fn an_archive_is_told_and_read_packed_or_not() {
    for file in [LITE.as_bytes().to_vec(), packed(LITE)] {
        let recognised = told(&file, json!({}));
        assert_eq!(recognised.doubts, []);
        let read = read(file.as_slice(), &recognised.layout, Instant::MAX).unwrap();
        let celsius: Vec<f64> = read.readings.iter().map(|reading| reading.celsius).collect();
        assert_eq!(celsius, [10.6, 9.4]);
        let (same, report) = understand(file.as_slice(), &recognised.layout, Instant::MAX).unwrap();
        assert_eq!(same, read);
        let report = serde_json::to_value(report).unwrap();
        assert_eq!(
            (&report["mapping"]["format"], &report["cadence_seconds"]),
            (&json!("isd-lite"), &json!(3_600))
        );
    }
}

#[test]
fn a_file_longer_than_its_head_is_told() {
    let mut file = String::from("Zeit (UTC);Lufttemperatur (°C)\n");
    for row in 0..14_000_i64 {
        let at = Instant(1_735_689_600 + row * 300);
        file += &format!("{};{},5\n", at.utc().format("%d.%m.%Y %H:%M"), row % 288 / 24);
    }
    assert!(file.len() > HEAD_BYTES);
    for file in [file.as_bytes().to_vec(), packed(&file)] {
        let head = &file[..file.len().min(HEAD_BYTES)];
        let recognised = recognise(head, None, &json!({}), None).unwrap();
        assert_eq!(recognised.doubts, []);
        assert_eq!(read(file.as_slice(), &recognised.layout, Instant::MAX).unwrap().readings.len(), 14_000);
    }
}

#[test]
fn the_mesonets_clock_is_no_guess() {
    let rows = "station,valid,tmpf\nEWR,2013-04-28 02:00,50.00\nEWR,2013-04-28 03:00,49.00\n";
    assert_eq!(told(rows.as_bytes(), json!({})).doubts[0].key, "time_zone");
    let said = format!("#DEBUG: Time Zone      -> Etc/UTC\n{rows}");
    assert_eq!(told(said.as_bytes(), json!({})).doubts, []);
}

#[test]
fn what_unpacks_beyond_the_limit_is_refused() {
    // Half a gigabyte of blanks in half a megabyte.
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    let blank = vec![b'\n'; 1 << 20];
    for _ in 0..=station_file::MAX_FILE_BYTES >> 20 {
        packer.write_all(&blank).unwrap();
    }
    let bomb = packer.finish().unwrap();
    let layout = input::read(&json!({"format": "isd-lite"}), Layout::from_fields).unwrap();
    assert!(matches!(read(bomb.as_slice(), &layout, Instant::MAX), Err(FileFault::TooLarge { .. })));
}

#[test]
fn tables_come_back_the_same() {
    let tables = [
        json!({"format": "iem-asos", "station": "EWR", "time_zone": "America/New_York", "checks": "off"}),
        json!({"format": "epw", "year": 2026, "name": "typical"}),
        json!({"time_column": "time", "temperature_column": "t", "unit": "celsius", "kind": "instant"}),
    ];
    for table in tables {
        let layout = input::read(&table, Layout::from_fields).unwrap();
        assert_eq!(input::read(&layout.to_json(), Layout::from_fields).unwrap(), layout, "{table}");
    }
    let faults = input::read(&json!({"format": "isd-lite", "year": 2013}), Layout::from_fields).unwrap_err();
    assert!(faults.to_string().contains("tmy3"), "{faults}");
    assert!(input::read(&json!({"format": "csv"}), Layout::from_fields).is_err());
}
