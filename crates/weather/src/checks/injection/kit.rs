//! The real readings, the curves that ship, and crossings reckoned on them.

use std::sync::Arc;

use model::curve::Curve;
use model::growth::{Bound, Course, Growth, UNITS};
use model::series::{Reading, Series};
use model::time::{HOUR, Instant};
use serde_json::{Map, Value, json};

use crate::checks::{Checked, Thresholds, check};
use crate::mapping::Mapping;
use crate::station_file;

const SPRING: &[u8] = include_bytes!("../../../../../tests/data/spring-2013.csv");
const CURVES: &str = include_str!("../../../../../config/curves.toml");

/// The sensor spike in the file of JFK.
pub const BAD_ROW: &str = "2013-05-09T02:00:00Z";

pub fn at(text: &str) -> Instant {
    text.parse().unwrap()
}

/// Long after all readings of that year.
pub fn later() -> Instant {
    at("2014-06-01T00:00:00Z")
}

/// A station's readings as the file has them.
pub fn spring(station: &str) -> Vec<Reading> {
    read(SPRING, station)
}

/// A station's readings from a file of these columns.
pub fn read(file: &[u8], station: &str) -> Vec<Reading> {
    let mapping = json!({
        "time_column": "time_hour", "temperature_column": "temp", "unit": "fahrenheit", "kind": "instant",
        "where": { "origin": station },
    });
    let mapping = model::input::read(&mapping, Mapping::from_fields).unwrap();
    station_file::read(file, &mapping, later()).unwrap().readings
}

/// The same without the sensor spike.
pub fn clean(station: &str) -> Vec<Reading> {
    let mut readings = spring(station);
    readings.retain(|reading| station != "JFK" || reading.at != at(BAD_ROW));
    readings
}

/// Checks with the thresholds that ship.
pub fn checked(readings: &[Reading], others: &[&[Reading]], now: Instant) -> Vec<Checked> {
    check(readings, others, now, &Thresholds::default())
}

/// The readings alone, with their flags.
pub fn flagged(checked: &[Checked]) -> Vec<Reading> {
    checked.iter().map(|checked| checked.reading).collect()
}

/// A curve of `config/curves.toml`. Of TOML it knows what those two need: a
/// table, and values that are JSON as well.
pub fn curve(id: &str) -> Arc<Curve> {
    let table = CURVES.split(&format!("[{id}]\n")).nth(1).unwrap();
    let table = table.split("\n[").next().unwrap();
    let mut fields = Map::new();
    let mut lines = table.lines();
    while let Some((name, value)) = lines.next().and_then(|line| line.split_once(" = ")) {
        let mut value = value.to_owned();
        while value.ends_with(['[', ',', '\\']) || value == "[" {
            value = value.trim_end_matches('\\').to_owned() + lines.next().unwrap();
        }
        let value = value.replace("\"\"\"", "\"").replace(",]", "]").replace(", ]", "]");
        fields
            .insert(name.to_owned(), serde_json::from_str(&value).unwrap_or_else(|e| panic!("{value}: {e}")));
    }
    model::input::read(&Value::Object(fields), |fields| Curve::from_fields(id, fields)).map(Arc::new).unwrap()
}

/// Growth on the readings of a site's sources.
pub fn growth(curve: &Arc<Curve>, sources: &[Vec<Reading>]) -> Growth {
    Growth::new(Arc::new(Course::new(Series::join(sources, None, later()))), curve.clone())
}

/// When a leg reaches its mark; none when it does not, or when hours on the way
/// are not known.
pub fn crossing(growth: &Growth, start: Instant, mark: f64) -> Option<Instant> {
    let wanted = (mark * UNITS) as i64;
    let [low, high] = [Bound::Low, Bound::High].map(|bound| growth.reached(start, wanted, bound));
    low.filter(|_| low == high)
}

/// Hours from one moment to another.
pub fn hours(from: Instant, to: Instant) -> f64 {
    to.since(from) as f64 / HOUR as f64
}

/// Steele, Lea and Flood's SplitMix64 (2014): a few lines, and the same numbers
/// everywhere.
pub struct Dice(pub u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A whole number from `low` to `high`.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        low + (self.next() % (high - low + 1) as u64) as i64
    }

    /// A number from `low` to `high`.
    pub fn number(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// One of two signs.
    pub fn sign(&mut self) -> f64 {
        if self.next() & 1 == 0 { 1.0 } else { -1.0 }
    }
}
