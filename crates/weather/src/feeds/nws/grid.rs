//! The raw forecast of a square: layers of intervals, equal hours merged.

use std::collections::BTreeMap;

use model::air::Air;
use model::series::Reading;
use model::time::{HOUR, Instant};
use model::units::{COLDEST_C, WARMEST_C};
use serde::Deserialize;

use super::MOST_AHEAD;
use super::answer::{Feature, issued, json};
use super::interval::Interval;
use super::quantity::{
    Convert, Quantity, celsius, correction, if_it_fits, metres_per_second, millimetres, percent,
};
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellRequest};

/// Most intervals of a layer: those of eight days are at most some 200.
const MOST_INTERVALS: usize = 1_000;

/// What is foretold of a cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Foretold {
    pub issued_at: Instant,
    /// Numbers of the square as `33,35`, where the answer tells them.
    pub square: Option<String>,
    /// Temperatures ahead, by time; may be empty.
    pub hours: Vec<Reading>,
    /// The rest of the air ahead, by time.
    pub air: Vec<Air>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Grid {
    /// Its address; the numbers stand at the end.
    #[serde(rename = "@id", default, deserialize_with = "if_it_fits")]
    address: Option<String>,
    #[serde(default, deserialize_with = "if_it_fits")]
    update_time: Option<String>,
    #[serde(default, deserialize_with = "if_it_fits")]
    elevation: Option<Quantity>,
    temperature: Option<Layer>,
    #[serde(default, deserialize_with = "if_it_fits")]
    wind_speed: Option<Layer>,
    #[serde(default, deserialize_with = "if_it_fits")]
    wind_gust: Option<Layer>,
    #[serde(default, deserialize_with = "if_it_fits")]
    relative_humidity: Option<Layer>,
    #[serde(default, deserialize_with = "if_it_fits")]
    dewpoint: Option<Layer>,
    #[serde(default, deserialize_with = "if_it_fits")]
    quantitative_precipitation: Option<Layer>,
}

#[derive(Deserialize)]
struct Layer {
    uom: Option<String>,
    #[serde(default)]
    values: Vec<Stretch>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Stretch {
    valid_time: String,
    value: Option<f64>,
}

/// Reads a square. Intervals that are none, or lie not ahead, are left out.
pub(super) fn read(body: &[u8], cell: &CellRequest, now: Instant) -> Result<Foretold, Cause> {
    let grid = json::<Feature<Grid>>(body)?.properties;
    let shift = correction(grid.elevation.as_ref(), cell.elevation_m);
    let mut hours = BTreeMap::new();
    if let Some(layer) = &grid.temperature {
        spread(layer, celsius, now, |at, value, _| {
            hours.entry(at).or_insert(value);
        })
        .map_err(|fault| Cause::Unfit(format!("the layer temperature {fault}")))?;
    }
    let hours: Vec<Reading> = hours
        .into_iter()
        .filter(|(at, _)| is_ahead(*at, now))
        .map(|(at, value)| within_range(at, value).map(|value| Reading::instant(at, value + shift)))
        .collect::<Result<_, _>>()?;
    let square = grid.address.as_deref().and_then(|address| address.rsplit('/').next()).map(str::to_owned);
    let issued_at = issued(grid.update_time.as_deref(), now);
    Ok(Foretold { issued_at, square, hours, air: air(&grid, now) })
}

/// A temperature, which no orchard has when it lies outside of the range; then
/// the unit is in doubt, and with it all values.
pub(super) fn within_range(at: Instant, celsius: f64) -> Result<f64, Cause> {
    if (COLDEST_C..=WARMEST_C).contains(&celsius) {
        Ok(celsius)
    } else {
        Err(Cause::Unfit(format!("{celsius} °C at {at} is outside {COLDEST_C} to {WARMEST_C} °C")))
    }
}

/// Whether a forecast may tell of this moment.
pub(super) fn is_ahead(at: Instant, now: Instant) -> bool {
    now < at && at <= now.plus(MOST_AHEAD)
}

/// The air ahead. A layer that does not fit is left out: none of them is worth
/// the temperature.
fn air(grid: &Grid, now: Instant) -> Vec<Air> {
    let mut air: BTreeMap<Instant, Air> = BTreeMap::new();
    let mut lay =
        |layer: &Option<Layer>, convert: Convert, delay: i64, of: fn(&mut Air) -> &mut Option<f64>| {
            let Some(layer) = layer else { return };
            let _ = spread(layer, convert, now, |at, value, _| {
                let at = at.plus(delay);
                of(air.entry(at).or_insert(Air::at(at))).get_or_insert(value);
            });
        };
    lay(&grid.wind_speed, metres_per_second, 0, |air| &mut air.wind_m_s);
    lay(&grid.relative_humidity, percent, 0, |air| &mut air.humidity_percent);
    lay(&grid.dewpoint, celsius, 0, |air| &mut air.dew_point_c);
    // Told at the end of the hour that they are of.
    lay(&grid.wind_gust, metres_per_second, HOUR, |air| &mut air.gust_m_s);
    if let Some(rain) = &grid.quantitative_precipitation {
        let _ = spread(rain, millimetres, now, |at, value, seconds| {
            let at = at.plus(HOUR);
            let of_hour = value * HOUR as f64 / seconds as f64;
            air.entry(at).or_insert(Air::at(at)).rain_mm.get_or_insert(of_hour);
        });
    }
    air.into_values().filter(|air| is_ahead(air.at, now)).map(Air::plausible).filter(Air::tells).collect()
}

/// Gives the begin of each hour that a layer tells of and that is not long
/// past or far ahead, with the value and the seconds of the whole interval.
fn spread(
    layer: &Layer,
    convert: Convert,
    now: Instant,
    mut each: impl FnMut(Instant, f64, i64),
) -> Result<(), String> {
    if layer.values.len() > MOST_INTERVALS {
        return Err(format!("has {} intervals; at most {MOST_INTERVALS}", layer.values.len()));
    }
    for stretch in &layer.values {
        let Some(value) = stretch.value else { continue };
        let Some(value) = convert(layer.uom.as_deref().unwrap_or_default(), value) else {
            let unit = words(layer.uom.as_deref().unwrap_or_default());
            return Err(format!("is in the unit `{unit}`, which is not known"));
        };
        let Some(interval) = Interval::read(&stretch.valid_time, now) else { continue };
        let near = now.plus(-HOUR)..=now.plus(MOST_AHEAD);
        for at in interval.hours().filter(|at| near.contains(at)) {
            each(at, value, interval.seconds());
        }
    }
    Ok(())
}
