//! Against pvlib, which reads the same files: `tests/reference/archives.py`.

use serde_json::Value;

use super::*;

fn data(path: &str) -> Vec<u8> {
    let path = format!("{}/../../tests/{path}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

#[test]
fn the_same_hours_as_pvlib() {
    let golden: Value = serde_json::from_slice(&data("reference/archives.json")).unwrap();
    let files = golden["files"].as_array().unwrap();
    assert_eq!(files.len(), 4);
    for golden in files {
        let name = golden["file"].as_str().unwrap();
        let archive = Archive::named(golden["archive"].as_str().unwrap()).unwrap();
        let bytes = data(&format!("data/archives/{name}"));
        assert_eq!(Archive::recognise(&bytes[..HEAD_BYTES], Some(name)), Some(archive));
        let year = golden["year"].as_i64().map(|year| i32::try_from(year).unwrap());
        let Archived { file, .. } = taken_with(archive, &bytes, &Options { year, ..Options::default() });
        let times: Vec<i64> = file.readings.iter().map(|reading| reading.at.0).collect();
        assert_eq!(golden["readings"], times.len(), "{name}");
        assert_eq!((file.rows.refused, file.rows.superseded), (0, 0));
        assert_eq!(golden["first_unix"], times[0]);
        assert_eq!(golden["last_unix"], times[times.len() - 1]);
        assert_eq!(golden["sum_of_unix"], times.iter().sum::<i64>());
        let sum: f64 = file.readings.iter().map(|reading| reading.celsius).sum();
        assert!((golden["sum_of_celsius"].as_f64().unwrap() - sum).abs() < 1e-6, "{name}: {sum}");
        let sampled: Vec<Value> = file
            .readings
            .iter()
            .step_by(7)
            .map(|reading| serde_json::json!({ "unix": reading.at.0, "celsius": reading.celsius }))
            .collect();
        assert_eq!(golden["every_7th"].as_array().unwrap(), &sampled, "{name}");
    }
}

/// The constructed EPW file has the readings of the station's own file.
#[test]
fn the_hours_of_newark() {
    let own = String::from_utf8(data("data/spring-2013.csv")).unwrap();
    let archived = taken(Archive::Epw, data("data/archives/newark-2013.epw"));
    assert_eq!(archived.file.rows, Rows { seen: 240, taken: 239, missing: 1, ..Rows::default() });
    for reading in &archived.file.readings {
        let stamp = reading.at.to_string();
        let row = own.lines().find(|row| row.starts_with("EWR,") && row.ends_with(&stamp)).unwrap();
        let fahrenheit: f64 = row.split(',').nth(5).unwrap().parse().unwrap();
        assert!(((fahrenheit - 32.0) * 5.0 / 9.0 - reading.celsius).abs() < 0.006, "{row}");
    }
}
