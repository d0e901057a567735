//! What Open-Meteo answers, checked against what it was asked.

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::Instant;
use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::feeds::fault::words;
use crate::feeds::{Cause, CellAnswer, CellRequest, check};

/// One place of an answer; what is not read is left out.
#[derive(Deserialize)]
pub(super) struct Location<U, H> {
    /// Left out for the first place.
    location_id: Option<u64>,
    pub(super) hourly_units: U,
    pub(super) hourly: H,
}

#[derive(Deserialize)]
pub(super) struct Units {
    time: String,
    temperature_2m: String,
    relative_humidity_2m: Option<String>,
    dew_point_2m: Option<String>,
    precipitation: Option<String>,
    wind_speed_10m: Option<String>,
    wind_gusts_10m: Option<String>,
}

/// Values of one kind, one for each time.
type Column = Vec<Option<f64>>;

#[derive(Deserialize)]
pub(super) struct Hourly {
    time: Vec<i64>,
    temperature_2m: Column,
    relative_humidity_2m: Option<Column>,
    dew_point_2m: Option<Column>,
    precipitation: Option<Column>,
    wind_speed_10m: Option<Column>,
    wind_gusts_10m: Option<Column>,
}

#[derive(Deserialize)]
struct Refusal {
    reason: String,
}

/// The provider's reason for a refusal, or the begin of what it sent instead.
pub(super) fn reason(body: &[u8]) -> String {
    match serde_json::from_slice::<Refusal>(body) {
        Ok(refusal) => refusal.reason,
        Err(_) => check::unusual_refusal(body),
    }
}

/// The `expected` places of an answer of status 200, in their order: never by
/// their coordinates, which are those of the provider's grid.
pub(super) fn places<U, H>(body: &[u8], expected: usize) -> Result<Vec<Location<U, H>>, Cause>
where
    U: DeserializeOwned,
    H: DeserializeOwned,
{
    // One place answers an object, several an array.
    let places: Vec<Location<U, H>> = match check::opening(body)? {
        b'[' => check::json(body)?,
        _ => {
            if let Ok(refusal) = serde_json::from_slice::<Refusal>(body) {
                return Err(Cause::Failing { status: 200, reason: words(&refusal.reason) });
            }
            vec![check::json(body)?]
        }
    };
    if places.len() != expected {
        return Err(Cause::Unfit(format!("{} places for {expected} asked for", places.len())));
    }
    for (n, place) in places.iter().enumerate() {
        if let Some(id) = place.location_id
            && id != n as u64
        {
            return Err(misplaced(n)(format!("is numbered {id}; expected {n}")));
        }
    }
    Ok(places)
}

/// A fault in the place of that number.
pub(super) fn misplaced(n: usize) -> impl Fn(String) -> Cause {
    move |detail| Cause::Unfit(format!("place {} of the answer: {detail}", n + 1))
}

/// Reads an answer of status 200 for the hours `within`.
pub(super) fn read(
    body: &[u8],
    cells: &[&CellRequest],
    within: (Instant, Instant),
    now: Instant,
) -> Result<Vec<CellAnswer>, Cause> {
    std::iter::zip(places(body, cells.len())?, cells)
        .enumerate()
        .map(|(n, (place, cell))| {
            let (hours, air) = hours(place, within).map_err(misplaced(n))?;
            let (readings, ahead): (Vec<_>, Vec<_>) = hours.into_iter().partition(|hour| hour.at <= now);
            let forecast = (!ahead.is_empty()).then_some(Forecast { issued_at: now, hours: ahead });
            Ok(CellAnswer { readings, forecast, air, ..CellAnswer::of(cell) })
        })
        .collect()
}

/// The temperatures of a place and the rest of its air, by time.
pub(super) fn hours(
    place: Location<Units, Hourly>,
    within: (Instant, Instant),
) -> Result<(Vec<Reading>, Vec<Air>), String> {
    let Location { hourly_units: units, hourly, .. } = place;
    if units.time != "unixtime" || units.temperature_2m != "°C" {
        return Err(format!(
            "times in `{}` and temperatures in `{}`; expected unixtime and °C",
            words(&units.time),
            words(&units.temperature_2m)
        ));
    }
    let times = times(&hourly.time, within)?;
    let readings = readings(&times, &hourly.temperature_2m, "temperatures")?;
    let column = |name: &str, values: Option<Column>, unit: Option<&str>, expected: &str| {
        let Some(values) = values else { return Ok(vec![None; times.len()]) };
        check::unit(name, unit, expected)?;
        same_length(&times, &values, name)?;
        Ok::<Column, String>(values)
    };
    let humidity =
        column("humidities", hourly.relative_humidity_2m, units.relative_humidity_2m.as_deref(), "%")?;
    let dew_point = column("dew points", hourly.dew_point_2m, units.dew_point_2m.as_deref(), "°C")?;
    let rain = column("precipitation", hourly.precipitation, units.precipitation.as_deref(), "mm")?;
    let wind = column("wind speeds", hourly.wind_speed_10m, units.wind_speed_10m.as_deref(), "m/s")?;
    let gusts = column("gusts", hourly.wind_gusts_10m, units.wind_gusts_10m.as_deref(), "m/s")?;
    let air = times.iter().enumerate().map(|(n, at)| Air {
        at: *at,
        wind_m_s: wind[n],
        gust_m_s: gusts[n],
        rain_mm: rain[n],
        humidity_percent: humidity[n],
        dew_point_c: dew_point[n],
    });
    Ok((readings, air.map(Air::plausible).filter(Air::tells).collect()))
}

/// Times in order, each `within`.
pub(super) fn times(seconds: &[i64], within: (Instant, Instant)) -> Result<Vec<Instant>, String> {
    let mut before = Instant(i64::MIN);
    for at in seconds {
        check::follows(before, Instant(*at), within)?;
        before = Instant(*at);
    }
    Ok(seconds.iter().copied().map(Instant).collect())
}

/// One reading for each time that has a temperature. `name` says in an error
/// what was read.
pub(super) fn readings(times: &[Instant], celsius: &Column, name: &str) -> Result<Vec<Reading>, String> {
    same_length(times, celsius, name)?;
    let mut readings = Vec::with_capacity(times.len());
    for (at, celsius) in std::iter::zip(times, celsius) {
        if let Some(celsius) = celsius {
            check::plausible(*celsius, *at)?;
            readings.push(Reading::instant(*at, *celsius));
        }
    }
    Ok(readings)
}

fn same_length(times: &[Instant], column: &Column, name: &str) -> Result<(), String> {
    if times.len() == column.len() {
        return Ok(());
    }
    Err(format!("{} times with {} {name}", times.len(), column.len()))
}
