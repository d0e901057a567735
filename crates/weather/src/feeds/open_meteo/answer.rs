//! What Open-Meteo answers, checked against what it was asked.

use model::series::{Forecast, Reading};
use model::time::Instant;
use model::units::{COLDEST_C, WARMEST_C};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::feeds::fault::words;
use crate::feeds::{Cause, CellAnswer, CellRequest};

/// One place of an answer; what is not read is left out.
#[derive(Deserialize)]
struct Location {
    /// Left out for the first place.
    location_id: Option<u64>,
    hourly_units: Units,
    hourly: Hourly,
}

#[derive(Deserialize)]
struct Units {
    time: String,
    temperature_2m: String,
}

#[derive(Deserialize)]
struct Hourly {
    time: Vec<i64>,
    temperature_2m: Vec<Option<f64>>,
}

#[derive(Deserialize)]
struct Refusal {
    reason: String,
}

/// The provider's reason for a refusal, or the begin of what it sent instead.
pub(super) fn reason(body: &[u8]) -> String {
    match serde_json::from_slice::<Refusal>(body) {
        Ok(refusal) => refusal.reason,
        Err(_) if is_html(body) => "a web page instead of a reason".to_owned(),
        Err(_) => String::from_utf8_lossy(body).into_owned(),
    }
}

/// Reads an answer of status 200.
pub(super) fn read(body: &[u8], cells: &[&CellRequest], now: Instant) -> Result<Vec<CellAnswer>, Cause> {
    // One place answers an object, several an array.
    let locations: Vec<Location> = match body.trim_ascii_start().first() {
        Some(b'[') => json(body)?,
        Some(b'{') => {
            if let Ok(refusal) = serde_json::from_slice::<Refusal>(body) {
                return Err(Cause::Failing { status: 200, reason: words(&refusal.reason) });
            }
            vec![json(body)?]
        }
        None => return Err(Cause::NotJson("an empty body".to_owned())),
        Some(_) if is_html(body) => return Err(Cause::NotJson("a web page".to_owned())),
        Some(_) => {
            return Err(Cause::NotJson(words(&String::from_utf8_lossy(&body[..body.len().min(200)]))));
        }
    };
    if locations.len() != cells.len() {
        return Err(Cause::Unfit(format!("{} places for {} asked for", locations.len(), cells.len())));
    }
    // By their order, never by the coordinates, which are those of its grid.
    std::iter::zip(locations, cells)
        .enumerate()
        .map(|(n, (location, cell))| {
            place(n, location, cell, now)
                .map_err(|detail| Cause::Unfit(format!("place {} of the answer: {detail}", n + 1)))
        })
        .collect()
}

fn json<T: DeserializeOwned>(body: &[u8]) -> Result<T, Cause> {
    serde_json::from_slice(body).map_err(|error| match error.classify() {
        serde_json::error::Category::Data => Cause::Unfit(words(&error.to_string())),
        _ => Cause::NotJson(words(&error.to_string())),
    })
}

fn is_html(body: &[u8]) -> bool {
    body.trim_ascii_start().starts_with(b"<")
}

fn place(n: usize, location: Location, cell: &CellRequest, now: Instant) -> Result<CellAnswer, String> {
    if let Some(id) = location.location_id
        && id != n as u64
    {
        return Err(format!("is numbered {id}; expected {n}"));
    }
    let units = location.hourly_units;
    if units.time != "unixtime" || units.temperature_2m != "°C" {
        return Err(format!(
            "times in `{}` and temperatures in `{}`; expected unixtime and °C",
            words(&units.time),
            words(&units.temperature_2m)
        ));
    }
    let Hourly { time, temperature_2m } = location.hourly;
    if time.len() != temperature_2m.len() {
        return Err(format!("{} times with {} temperatures", time.len(), temperature_2m.len()));
    }
    let mut readings = Vec::new();
    let mut ahead = Vec::new();
    let mut before = Instant(i64::MIN);
    for (at, celsius) in std::iter::zip(time, temperature_2m) {
        let at = Instant(at);
        if at <= before || !(Instant::MIN..Instant::MAX).contains(&at) {
            return Err(format!("the time {} is out of order or of no year of ours", at.0));
        }
        before = at;
        let Some(celsius) = celsius else { continue };
        if !(COLDEST_C..=WARMEST_C).contains(&celsius) {
            return Err(format!("{celsius} °C at {at} is outside {COLDEST_C} to {WARMEST_C} °C"));
        }
        let hours = if at <= now { &mut readings } else { &mut ahead };
        hours.push(Reading::instant(at, celsius));
    }
    let forecast = (!ahead.is_empty()).then_some(Forecast { issued_at: now, hours: ahead });
    Ok(CellAnswer { readings, forecast, ..CellAnswer::of(cell) })
}
