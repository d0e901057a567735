//! What MET Norway answers, checked against what it was asked.

use std::collections::BTreeMap;

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::{DAY, HOUR, Instant};
use serde::Deserialize;

use crate::feeds::{Cause, CellAnswer, CellRequest, check};

/// How far from the place asked for the answer's own may lie, degrees: it gives
/// the place back as it was asked for.
const SAME_PLACE: f64 = 0.1;
/// Farthest past that a forecast may begin in, days: older ones are left over in
/// some cache.
const MOST_PAST_DAYS: i64 = 2;
/// Farthest future of a forecast, days; it reaches ten.
const MOST_DAYS_AHEAD: i64 = 16;

/// A GeoJSON feature; what is not read is left out.
#[derive(Deserialize)]
struct Feature {
    geometry: Geometry,
    properties: Properties,
}

#[derive(Deserialize)]
struct Geometry {
    /// Longitude, latitude, metres above the sea.
    coordinates: Vec<f64>,
}

#[derive(Deserialize)]
struct Properties {
    meta: Meta,
    timeseries: Vec<Step>,
}

#[derive(Deserialize)]
struct Meta {
    updated_at: Option<String>,
    units: Units,
}

#[derive(Deserialize)]
struct Units {
    air_temperature: String,
    dew_point_temperature: Option<String>,
    precipitation_amount: Option<String>,
    relative_humidity: Option<String>,
    wind_speed: Option<String>,
    wind_speed_of_gust: Option<String>,
}

#[derive(Deserialize)]
struct Step {
    time: String,
    data: Data,
}

#[derive(Deserialize)]
struct Data {
    instant: At,
    next_1_hours: Option<Hour>,
}

#[derive(Deserialize)]
struct At {
    details: Details,
}

/// What is not known of a place is absent.
#[derive(Deserialize)]
struct Details {
    air_temperature: Option<f64>,
    dew_point_temperature: Option<f64>,
    relative_humidity: Option<f64>,
    wind_speed: Option<f64>,
    wind_speed_of_gust: Option<f64>,
}

#[derive(Deserialize)]
struct Hour {
    details: Option<HourDetails>,
}

#[derive(Deserialize)]
struct HourDetails {
    precipitation_amount: Option<f64>,
}

/// Reads an answer of status 200 or 203.
pub(super) fn read(body: &[u8], cell: &CellRequest, now: Instant) -> Result<CellAnswer, Cause> {
    let Feature { geometry, properties } = check::object(body)?;
    let read = same_place(&geometry.coordinates, cell)
        .and_then(|()| units(&properties.meta.units))
        .and_then(|()| steps(properties.timeseries, now));
    let (hours, air) = read.map_err(Cause::Unfit)?;
    if hours.last().is_none_or(|last| last.at <= now) {
        return Err(Cause::Unfit(format!("no temperature after {now}")));
    }
    let issued_at = properties
        .meta
        .updated_at
        .and_then(|text| Instant::parse(&text).ok())
        .filter(|at| *at <= now)
        .unwrap_or(now);
    Ok(CellAnswer { forecast: Some(Forecast { issued_at, hours }), air, ..CellAnswer::of(cell) })
}

fn same_place(coordinates: &[f64], cell: &CellRequest) -> Result<(), String> {
    let &[longitude, latitude, ..] = coordinates else {
        return Err("a place without coordinates".to_owned());
    };
    // The two sides of the date line are one.
    let turn = (longitude - cell.longitude).abs();
    let apart = (latitude - cell.latitude).abs().max(turn.min((360.0 - turn).abs()));
    if apart <= SAME_PLACE {
        return Ok(());
    }
    Err(format!(
        "another place, {latitude}, {longitude}; asked for {:.4}, {:.4}",
        cell.latitude, cell.longitude
    ))
}

fn units(units: &Units) -> Result<(), String> {
    check::unit("air temperature", Some(&units.air_temperature), "celsius")?;
    check::unit("dew point", units.dew_point_temperature.as_deref(), "celsius")?;
    check::unit("precipitation", units.precipitation_amount.as_deref(), "mm")?;
    check::unit("relative humidity", units.relative_humidity.as_deref(), "%")?;
    check::unit("wind", units.wind_speed.as_deref(), "m/s")?;
    check::unit("gusts", units.wind_speed_of_gust.as_deref(), "m/s")
}

fn steps(steps: Vec<Step>, now: Instant) -> Result<(Vec<Reading>, Vec<Air>), String> {
    let within = (now.plus(-MOST_PAST_DAYS * DAY), now.plus(MOST_DAYS_AHEAD * DAY));
    let mut hours = Vec::with_capacity(steps.len());
    let mut air: BTreeMap<Instant, Air> = BTreeMap::new();
    let mut before = Instant::MIN;
    for Step { time, data } in steps {
        let at = Instant::parse(&time).map_err(|error| error.to_string())?;
        check::follows(before, at, within)?;
        before = at;
        let details = data.instant.details;
        if let Some(celsius) = details.air_temperature {
            check::plausible(celsius, at)?;
            hours.push(Reading::instant(at, celsius));
        }
        let here = air.entry(at).or_insert_with(|| Air::at(at));
        here.wind_m_s = details.wind_speed;
        here.gust_m_s = details.wind_speed_of_gust;
        here.humidity_percent = details.relative_humidity;
        here.dew_point_c = details.dew_point_temperature;
        // It falls in the hour that begins here, and is known by its end.
        let rain = data.next_1_hours.and_then(|hour| hour.details?.precipitation_amount);
        if rain.is_some() {
            let end = at.plus(HOUR);
            air.entry(end).or_insert_with(|| Air::at(end)).rain_mm = rain;
        }
    }
    Ok((hours, air.into_values().map(Air::plausible).filter(Air::tells).collect()))
}
