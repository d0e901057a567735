//! The weather provider of this suite: it answers over HTTP in the documented shape,
//! with a forecast, the rest of the air, and the members of an ensemble.

use std::f64::consts::TAU;

use model::time::{DAY, HOUR, Instant};
use serde_json::{Value, json};
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, Request, ResponseTemplate};

use super::spring::air;

/// Members beside the control.
const MEMBERS: u32 = 20;
/// Kelvin by which the outermost member is off, and by how much more each day ahead.
const APART: (f64, f64) = (0.4, 0.8);

/// A provider that has nothing to tell until [`Sky::over`].
pub(crate) struct Sky(MockServer);

impl Sky {
    pub(crate) async fn silent() -> Sky {
        Sky(MockServer::start().await)
    }

    /// How the program is told of it.
    pub(crate) fn settings(&self) -> Vec<String> {
        let address = self.0.uri();
        [
            "--open-meteo-url",
            &address,
            "--open-meteo-ensemble-url",
            &address,
            "--allow-feed-hosts",
            "127.0.0.1",
        ]
        .map(str::to_owned)
        .to_vec()
    }

    /// From now on it tells of the three days before `now` and the five from its day on.
    pub(crate) async fn over(&self, now: Instant) {
        let told = [("/v1/forecast", forecast as fn(Instant, &[i64]) -> Value), ("/v1/ensemble", ensemble)];
        for (at, hourly) in told {
            let answer = move |request: &Request| {
                ResponseTemplate::new(200).set_body_json(answered(request, hourly, now))
            };
            Mock::given(method("GET")).and(path(at)).respond_with(answer).mount(&self.0).await;
        }
    }
}

/// One document, or one for each of several places.
fn answered(request: &Request, hourly: fn(Instant, &[i64]) -> Value, now: Instant) -> Value {
    let asked = |name: &str| {
        let found = request.url.query_pairs().find(|(key, _)| key == name);
        found.map(|(_, value)| value.into_owned()).unwrap_or_default()
    };
    assert_eq!((asked("timezone").as_str(), asked("timeformat").as_str()), ("GMT", "unixtime"));
    let midnight = now.0.div_euclid(DAY) * DAY;
    let before = asked("past_days").parse().unwrap_or(0);
    let ahead: i64 = asked("forecast_days").parse().unwrap();
    let hours: Vec<i64> = (-before * 24..ahead * 24).map(|hour| midnight + hour * HOUR).collect();
    let places = asked("latitude").split(',').count();
    let one = |place: usize| {
        let hourly = hourly(now, &hours);
        let unit = |name: &str| match name {
            "time" => "unixtime",
            "relative_humidity_2m" => "%",
            "precipitation" => "mm",
            name if name.starts_with("wind") => "m/s",
            _ => "°C",
        };
        let units: Value =
            hourly.as_object().unwrap().keys().map(|name| (name.clone(), json!(unit(name)))).collect();
        let mut answer = json!({"latitude": 40.7, "longitude": -74.2, "generationtime_ms": 0.1,
            "utc_offset_seconds": 0, "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 5.0,
            "hourly_units": units, "hourly": hourly});
        if place > 0 {
            answer["location_id"] = json!(place);
        }
        answer
    };
    if places == 1 { one(0) } else { (0..places).map(one).collect() }
}

/// What a value that rises and falls with a period of some hours is of its range.
fn turned(at: i64, hours: i64) -> f64 {
    ((at.div_euclid(HOUR).rem_euclid(hours) as f64 / hours as f64 * TAU).sin() + 1.0) / 2.0
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Mild days with a breeze that comes and goes, and a shower every other day.
fn forecast(_: Instant, hours: &[i64]) -> Value {
    let of = |value: &dyn Fn(i64) -> f64| -> Vec<f64> { hours.iter().map(|at| tenth(value(*at))).collect() };
    let spread = |at: i64| 2.0 + 6.0 * turned(at, 24);
    json!({
        "time": hours,
        "temperature_2m": of(&|at| air(at.div_euclid(HOUR))),
        "relative_humidity_2m": of(&|at| 100.0 - 5.0 * spread(at)),
        "dew_point_2m": of(&|at| air(at.div_euclid(HOUR)) - spread(at)),
        "precipitation": of(&|at| if turned(at, 47) > 0.97 { 1.2 } else { 0.0 }),
        "wind_speed_10m": of(&|at| 1.0 + 5.0 * turned(at, 19)),
        "wind_gusts_10m": of(&|at| 2.0 + 8.0 * turned(at, 19)),
    })
}

/// The control as forecast, and members around it that part the more the farther ahead.
fn ensemble(now: Instant, hours: &[i64]) -> Value {
    let member = |number: u32| -> Vec<f64> {
        // From one edge to the other, the control in the middle.
        let side = f64::from(number) / f64::from(MEMBERS) * 2.0 - 1.0;
        let off = |at: i64| {
            let days = (at - now.0).max(0) as f64 / DAY as f64;
            side * (APART.0 + APART.1 * days) + 0.3 * (turned(at, 11 + i64::from(number)) - 0.5)
        };
        hours.iter().map(|at| tenth(air(at.div_euclid(HOUR)) + off(*at))).collect()
    };
    let mut hourly = json!({"time": hours});
    let control: Vec<f64> = hours.iter().map(|at| air(at.div_euclid(HOUR))).collect();
    hourly["temperature_2m"] = json!(control);
    for number in 1..=MEMBERS {
        hourly[format!("temperature_2m_member{number:02}")] = json!(member(number));
    }
    hourly
}
