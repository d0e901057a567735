//! What Bright Sky answers, checked against what it was asked.

use std::collections::HashMap;

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::Instant;
use serde::Deserialize;

use super::FARTHEST_READING_M;
use crate::feeds::{Cause, CellAnswer, CellRequest, check};

/// Farthest source that can belong to the place asked for, metres: the provider
/// looks 50 km around.
const ANOTHER_PLACE_M: f64 = 100_000.0;
/// Mean radius of the earth, metres.
const EARTH_M: f64 = 6_371_000.0;
/// km/h in a m/s.
const KM_H: f64 = 3.6;

/// What is not read is left out.
#[derive(Deserialize)]
struct Answer {
    weather: Vec<Row>,
    sources: Vec<Source>,
}

/// One hour.
#[derive(Deserialize)]
struct Row {
    timestamp: String,
    source_id: i64,
    /// °C at the moment.
    temperature: Option<f64>,
    /// Mean of the hour before, km/h.
    wind_speed: Option<f64>,
    /// Of the hour before, km/h.
    wind_gust_speed: Option<f64>,
    /// %.
    relative_humidity: Option<f64>,
    /// °C.
    dew_point: Option<f64>,
    /// Of the hour before, mm.
    precipitation: Option<f64>,
    /// Where values come from that the row's own source lacked.
    fallback_source_ids: Option<Others>,
}

#[derive(Deserialize, Default)]
struct Others {
    temperature: Option<i64>,
    wind_speed: Option<i64>,
    wind_gust_speed: Option<i64>,
    relative_humidity: Option<i64>,
    dew_point: Option<i64>,
    precipitation: Option<i64>,
}

#[derive(Deserialize)]
struct Source {
    id: i64,
    /// `historical`, `current`, `synop` or `forecast`.
    observation_type: String,
    lat: Option<f64>,
    lon: Option<f64>,
    /// Metres above the sea.
    height: Option<f64>,
    /// Metres from the place asked for.
    distance: Option<f64>,
}

impl Source {
    fn foretells(&self) -> bool {
        self.observation_type == "forecast"
    }

    /// Near enough to tell of the past, or not said to be far.
    fn is_near(&self) -> bool {
        self.distance.is_none_or(|metres| metres <= FARTHEST_READING_M)
    }
}

#[derive(Deserialize)]
struct Refusal {
    detail: String,
}

/// The provider's reason for a refusal, or the begin of what it sent instead.
pub(super) fn reason(body: &[u8]) -> String {
    match serde_json::from_slice::<Refusal>(body) {
        Ok(refusal) => refusal.detail,
        Err(_) => check::unusual_refusal(body),
    }
}

/// Reads an answer of status 200 for the hours `within`.
pub(super) fn read(
    body: &[u8],
    cell: &CellRequest,
    within: (Instant, Instant),
    now: Instant,
) -> Result<CellAnswer, Cause> {
    let Answer { weather, sources } = check::object(body)?;
    let sources = placed(sources, cell).map_err(Cause::Unfit)?;
    let mut answer = CellAnswer::of(cell);
    let mut ahead = Vec::new();
    let mut before = Instant::MIN;
    for row in weather {
        let hour = hour(row, &sources, cell.elevation_m, before, within, now).map_err(Cause::Unfit)?;
        before = hour.air.at;
        answer.readings.extend(hour.read);
        ahead.extend(hour.foretold);
        answer.air.extend(Some(hour.air).filter(Air::tells));
    }
    answer.forecast = (!ahead.is_empty()).then_some(Forecast { issued_at: now, hours: ahead });
    Ok(answer)
}

/// The sources by their number, each with its way from the place asked for if
/// that can be told.
fn placed(sources: Vec<Source>, cell: &CellRequest) -> Result<HashMap<i64, Source>, String> {
    let mut placed = HashMap::with_capacity(sources.len());
    for mut source in sources {
        if let (Some(latitude), Some(longitude)) = (source.lat, source.lon) {
            let metres = metres_between((latitude, longitude), (cell.latitude, cell.longitude));
            // It is no number when the source lies nowhere.
            if metres.is_nan() || metres > ANOTHER_PLACE_M {
                let id = source.id;
                return Err(format!(
                    "source {id} at {latitude}, {longitude} does not belong to the place asked for"
                ));
            }
            source.distance.get_or_insert(metres);
        }
        placed.insert(source.id, source);
    }
    Ok(placed)
}

/// One hour, sorted by what it is.
struct Hour {
    read: Option<Reading>,
    foretold: Option<Reading>,
    air: Air,
}

fn hour(
    row: Row,
    sources: &HashMap<i64, Source>,
    elevation_m: Option<f64>,
    before: Instant,
    within: (Instant, Instant),
    now: Instant,
) -> Result<Hour, String> {
    let at = Instant::parse(&row.timestamp).map_err(|error| error.to_string())?;
    check::follows(before, at, within)?;
    let others = row.fallback_source_ids.unwrap_or_default();
    let source = |other: Option<i64>| {
        let id = other.unwrap_or(row.source_id);
        sources.get(&id).ok_or_else(|| format!("source {id} at {at} is not among the sources"))
    };
    let is_ahead = |from: &Source| at > now || from.foretells();
    let told = |value: Option<f64>, other: Option<i64>| -> Result<Option<f64>, String> {
        let from = source(other)?;
        Ok(value.filter(|_| is_ahead(from) || from.is_near()))
    };
    if let Some(celsius) = row.temperature {
        check::plausible(celsius, at)?;
    }
    let from = source(others.temperature)?;
    let shift = check::height_correction(from.height, elevation_m);
    let temperature =
        told(row.temperature, others.temperature)?.map(|celsius| Reading::instant(at, celsius + shift));
    let (foretold, read) = if is_ahead(from) { (temperature, None) } else { (None, temperature) };
    let air = Air {
        at,
        wind_m_s: told(row.wind_speed, others.wind_speed)?.map(|km_h| km_h / KM_H),
        gust_m_s: told(row.wind_gust_speed, others.wind_gust_speed)?.map(|km_h| km_h / KM_H),
        rain_mm: told(row.precipitation, others.precipitation)?,
        humidity_percent: told(row.relative_humidity, others.relative_humidity)?,
        dew_point_c: told(row.dew_point, others.dew_point)?,
    };
    Ok(Hour { read, foretold, air: air.plausible() })
}

/// Length of the great circle between two places of latitude and longitude in
/// degrees, metres.
fn metres_between(a: (f64, f64), b: (f64, f64)) -> f64 {
    let half = |from: f64, to: f64| ((to - from).to_radians() / 2.0).sin().powi(2);
    let along = half(a.0, b.0) + a.0.to_radians().cos() * b.0.to_radians().cos() * half(a.1, b.1);
    2.0 * EARTH_M * along.sqrt().min(1.0).asin()
}
