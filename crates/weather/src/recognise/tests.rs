use chrono_tz::America::New_York;
use chrono_tz::Europe::Berlin;
use model::time::Instant;
use serde_json::json;

use super::*;
use crate::station_file;

mod arbitrary;
mod layouts;
mod open;

fn by_hand(table: &Value) -> impl Fn(&[u8], Option<Tz>) -> Result<Recognised, Box<Unrecognised>> {
    move |head, zone| recognise(head, table, zone)
}

/// Readings as they come out: `2013-05-01T02:00:00Z` and hundredths of a °C.
fn readings(bytes: &[u8], mapping: &Mapping) -> Vec<(String, i64)> {
    let file = station_file::read(bytes, mapping, Instant::MAX).unwrap_or_else(|fault| panic!("{fault}"));
    assert_eq!(file.rows.refused, 0, "{:?}", file.refused);
    let hundredths = |celsius: f64| (celsius * 100.0).round() as i64;
    file.readings.iter().map(|reading| (reading.at.to_string(), hundredths(reading.celsius))).collect()
}

fn keys(doubts: &[Doubt]) -> Vec<&str> {
    doubts.iter().map(|doubt| doubt.key).collect()
}

fn utf16(text: &str, bytes: fn(u16) -> [u8; 2], marked: bool) -> Vec<u8> {
    let mark = marked.then_some(0xFEFF);
    mark.into_iter().chain(text.encode_utf16()).flat_map(bytes).collect()
}
