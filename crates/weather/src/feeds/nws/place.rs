//! Where a place lies: its square of the grid, and the stations about it.

use serde::Deserialize;

use super::answer::{Feature, json};
use super::memory::{Memory, Station, is_name};
use super::quantity::{Quantity, height, if_it_fits};
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellRequest};

/// Path of a place. The provider takes at most four decimals, and sends those
/// who write zeros at the end elsewhere.
pub(super) fn point_path(cell: &CellRequest) -> String {
    let degrees = |value: f64| {
        let text = format!("{value:.4}");
        let text = text.trim_end_matches('0').trim_end_matches('.');
        if text == "-0" { "0".to_owned() } else { text.to_owned() }
    };
    format!("/points/{},{}", degrees(cell.latitude), degrees(cell.longitude))
}

/// Reads the square of a place.
pub(super) fn point(body: &[u8]) -> Result<Memory, Cause> {
    #[derive(Deserialize)]
    #[serde(rename_all = "camelCase")]
    struct Point {
        grid_id: String,
        grid_x: u32,
        grid_y: u32,
    }
    let Point { grid_id, grid_x, grid_y } = json::<Feature<Point>>(body)?.properties;
    let shown = words(&grid_id);
    Memory::of_square(grid_id, grid_x, grid_y)
        .ok_or_else(|| Cause::Unfit(format!("the grid `{shown}` of the place is no name of an office")))
}

/// Reads the `most` nearest stations, not yet read, the nearest first. The
/// provider's own order is not that of distance; stations without a place come
/// last, in its order.
pub(super) fn nearest_stations(body: &[u8], cell: &CellRequest, most: usize) -> Result<Vec<Station>, Cause> {
    #[derive(Deserialize)]
    struct List {
        features: Vec<Listed>,
    }
    #[derive(Deserialize)]
    struct Listed {
        #[serde(default, deserialize_with = "if_it_fits")]
        geometry: Option<Point>,
        properties: Properties,
    }
    #[derive(Deserialize)]
    struct Point {
        /// Degrees east, degrees north, and perhaps a height.
        coordinates: Vec<f64>,
    }
    #[derive(Deserialize)]
    #[serde(rename_all = "camelCase")]
    struct Properties {
        station_identifier: String,
        #[serde(default, deserialize_with = "if_it_fits")]
        elevation: Option<Quantity>,
    }
    // Degrees on a plane; over the some 100 km in question that is near enough.
    let shrink = cell.latitude.to_radians().cos();
    let apart = |station: &Listed| match station.geometry.as_ref().map(|point| &point.coordinates[..]) {
        Some([east, north, ..]) => {
            ((north - cell.latitude).powi(2) + ((east - cell.longitude) * shrink).powi(2)).sqrt()
        }
        _ => f64::INFINITY,
    };
    let mut stations: Vec<(f64, Station)> = json::<List>(body)?
        .features
        .into_iter()
        .filter(|station| is_name(&station.properties.station_identifier))
        .map(|station| {
            let way = apart(&station);
            let Properties { station_identifier: id, elevation } = station.properties;
            (way, Station { id, elevation_m: height(elevation.as_ref()), read_to: None })
        })
        .collect();
    stations.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(stations.into_iter().take(most).map(|(_, station)| station).collect())
}
