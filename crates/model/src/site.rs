//! A point on the map with weather.

use chrono_tz::Tz;
use serde::Serialize;

use crate::input::Fields;
use crate::time::{self, standard_offset_hours};

/// Where a site lies.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea, when known.
    pub elevation_m: Option<f64>,
    /// IANA zone of its wall clock.
    #[serde(rename = "time_zone", serialize_with = "zone_name")]
    pub zone: Tz,
}

fn zone_name<S: serde::Serializer>(zone: &Tz, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(zone.name())
}

/// How far a longitude may lie from the zone's standard meridian, degrees.
/// The widest real zone, China's, reaches 47° west of its meridian; orchards
/// there have a zone of their own.
const WIDEST_ZONE: f64 = 45.0;

/// Degrees of longitude that the sun passes in an hour.
const DEGREES_PER_HOUR: f64 = 15.0;

impl Place {
    /// Reads `latitude`, `longitude`, `elevation_m` and `time_zone`.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Place> {
        let number = |name, low, high| {
            if fields.require(name) { fields.number(name, low, high) } else { None }
        };
        let swapped_numbers = (
            fields.value("latitude").and_then(serde_json::Value::as_f64),
            fields.value("longitude").and_then(serde_json::Value::as_f64),
        );
        let zone = fields.required_text("time_zone").and_then(|name| match time::zone(&name) {
            Ok(zone) => Some(zone),
            Err(error) => {
                fields.fault("time_zone", error.to_string());
                None
            }
        });
        if let (Some(zone), (Some(latitude), Some(longitude))) = (zone, swapped_numbers)
            && swapped(latitude, longitude, zone)
        {
            fields.fault(
                "longitude",
                format!(
                    "latitude {latitude} and longitude {longitude} look swapped: {} lies near longitude {:.0}",
                    zone.name(),
                    standard_offset_hours(zone) * DEGREES_PER_HOUR
                ),
            );
            fields.ignore(&["elevation_m"]);
            return None;
        }
        let latitude = number("latitude", -90.0, 90.0);
        let longitude = number("longitude", -180.0, 180.0);
        let elevation_m = fields.number("elevation_m", -430.0, 5_000.0);
        Some(Place { latitude: latitude?, longitude: longitude?, elevation_m, zone: zone? })
    }
}

/// Width of a cell that feeds are fetched for, degrees: about 2 km, the finest
/// grid of the weather models behind them.
const CELL_DEGREES: f64 = 0.02;
/// Height of a cell, m: within it temperature is corrected by the lapse rate.
const CELL_METRES: f64 = 50.0;
/// Fall of temperature with height that the feeds themselves correct by, K/m.
pub const LAPSE_K_PER_M: f64 = 0.0065;

/// A cell of the map that is fetched once for all sites in it.
#[derive(Debug, Clone, PartialEq)]
pub struct GridCell {
    /// Name of the cell; the same for all places in it.
    pub key: String,
    /// Its middle, degrees north.
    pub latitude: f64,
    /// Its middle, degrees east.
    pub longitude: f64,
    /// Its height, m, where that of the places is known.
    pub elevation_m: Option<f64>,
}

impl Place {
    /// The cell that the place lies in.
    pub fn grid_cell(&self) -> GridCell {
        let middle = |degrees: f64| (degrees / CELL_DEGREES).round() * CELL_DEGREES;
        let (latitude, longitude) = (middle(self.latitude), middle(self.longitude));
        let elevation_m = self.elevation_m.map(|metres| (metres / CELL_METRES).round() * CELL_METRES);
        let height = elevation_m.map_or_else(|| "-".to_owned(), |metres| format!("{metres:.0}"));
        GridCell { key: format!("{latitude:.2},{longitude:.2},{height}"), latitude, longitude, elevation_m }
    }

    /// What to add to a temperature of the cell to have that of the place, K.
    pub fn correction_from(&self, cell: &GridCell) -> f64 {
        match (cell.elevation_m, self.elevation_m) {
            (Some(cell), Some(here)) => (cell - here) * LAPSE_K_PER_M,
            _ => 0.0,
        }
    }
}

/// Whether the longitude does not fit the zone while the latitude would.
fn swapped(latitude: f64, longitude: f64, zone: Tz) -> bool {
    let meridian = standard_offset_hours(zone) * DEGREES_PER_HOUR;
    let apart = |degrees: f64| {
        let turn = (degrees - meridian).rem_euclid(360.0);
        turn.min(360.0 - turn)
    };
    apart(longitude) > WIDEST_ZONE && apart(latitude) <= WIDEST_ZONE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input;
    use serde_json::json;

    fn place(latitude: f64, longitude: f64, zone: &str) -> Result<Place, input::Faults> {
        let document = json!({"latitude": latitude, "longitude": longitude, "time_zone": zone});
        input::read(&document, Place::from_fields)
    }

    #[test]
    fn swapped_coordinates_are_told_from_the_zone() {
        assert!(place(40.69, -74.17, "America/New_York").is_ok());
        let faults = place(-74.17, 40.69, "America/New_York").unwrap_err();
        assert!(faults.to_string().contains("swapped"), "{faults}");
        assert!(place(-41.3, 173.2, "Pacific/Auckland").is_ok());
        assert!(place(173.2, -41.3, "Pacific/Auckland").unwrap_err().to_string().contains("swapped"));
    }

    #[test]
    fn an_unknown_zone_is_named() {
        let faults = place(40.0, -74.0, "America/Newyork").unwrap_err();
        assert_eq!(faults.0[0].pointer, "/time_zone");
        assert!(faults.0[0].detail.contains("America/Newyork"));
    }
}
