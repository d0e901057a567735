//! Four providers that answer as documented, in a process of their own.

use std::collections::HashMap;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::extract::{Path, Query, Request, State};
use axum::http::header;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use model::time::{DAY, HOUR, Instant};
use serde_json::{Value, json};

use crate::NOW;

/// The process; it ends with this.
pub struct Served {
    pub address: String,
    child: Child,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Starts it.
pub fn start() -> Served {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .arg("--providers")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    Served { address: line.trim().to_owned(), child }
}

/// What was asked so far, in order.
pub async fn asked(address: &str) -> Vec<String> {
    let body = reqwest::get(format!("http://{address}/asked")).await.unwrap().text().await.unwrap();
    body.lines().map(str::to_owned).collect()
}

type Asked = Arc<Mutex<Vec<String>>>;

/// Serves until it is killed.
pub async fn serve() {
    let asked = Asked::default();
    let router = Router::new()
        .route("/open-meteo/v1/forecast", get(open_meteo))
        .route("/nws/points/{place}", get(nws_point))
        .route("/nws/gridpoints/{office}/{square}", get(nws_grid))
        .route("/nws/gridpoints/{office}/{square}/stations", get(nws_stations))
        .route("/nws/stations/{station}/observations", get(nws_observations))
        .route("/met-norway/weatherapi/locationforecast/2.0/compact", get(met_norway))
        .route("/bright-sky/weather", get(bright_sky))
        .layer(middleware::from_fn_with_state(asked.clone(), noted))
        .route("/asked", get(async move |State(asked): State<Asked>| asked.lock().unwrap().join("\n")))
        .with_state(asked);
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    println!("{}", listener.local_addr().unwrap());
    axum::serve(listener, router).await.unwrap();
}

async fn noted(State(asked): State<Asked>, request: Request, next: Next) -> Response {
    asked.lock().unwrap().push(request.uri().to_string());
    next.run(request).await
}

fn body(value: &Value) -> Response {
    ([(header::CONTENT_TYPE, "application/geo+json")], value.to_string()).into_response()
}

/// Each hour of some days around now.
fn hours(before: i64, after: i64) -> impl Iterator<Item = Instant> {
    let midnight = NOW.0.div_euclid(DAY) * DAY;
    (midnight - before * DAY..midnight + after * DAY).step_by(HOUR as usize).map(Instant)
}

fn celsius(at: Instant) -> f64 {
    let turn = (at.0 % DAY) as f64 / DAY as f64 * std::f64::consts::TAU;
    (120.0 - 55.0 * turn.cos()).round() / 10.0
}

async fn open_meteo(Query(query): Query<HashMap<String, String>>) -> Response {
    let latitudes = query["latitude"].split(',').zip(query["longitude"].split(','));
    let all: Vec<Value> = latitudes
        .enumerate()
        .map(|(id, (latitude, longitude))| {
            let (time, temperature): (Vec<i64>, Vec<f64>) = hours(3, 5).map(|at| (at.0, celsius(at))).unzip();
            let same = |value: f64| vec![value; time.len()];
            let number = |text: &str| text.parse::<f64>().unwrap();
            let mut place = json!({
                "latitude": number(latitude), "longitude": number(longitude), "generationtime_ms": 1.5,
                "utc_offset_seconds": 0, "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 100.0,
                "hourly_units": {"time": "unixtime", "temperature_2m": "°C", "relative_humidity_2m": "%",
                    "dew_point_2m": "°C", "precipitation": "mm", "wind_speed_10m": "m/s", "wind_gusts_10m": "m/s"},
                "hourly": {"time": time, "temperature_2m": temperature, "relative_humidity_2m": same(71.0),
                    "dew_point_2m": same(6.1), "precipitation": same(0.1), "wind_speed_10m": same(2.4),
                    "wind_gusts_10m": same(5.2)},
            });
            if id > 0 {
                place["location_id"] = json!(id);
            }
            place
        })
        .collect();
    body(&if all.len() == 1 { all[0].clone() } else { json!(all) })
}

/// A square for each place, so that none is shared by chance.
async fn nws_point(Path(place): Path<String>) -> Response {
    let (latitude, longitude) = place.split_once(',').unwrap();
    let square = |degrees: &str| (degrees.parse::<f64>().unwrap().abs() * 50.0).round() as i64;
    let (x, y) = (square(longitude), square(latitude));
    let grid = format!("https://api.weather.gov/gridpoints/OKX/{x},{y}");
    body(&json!({
        "type": "Feature", "geometry": {"type": "Point", "coordinates": [0.0, 0.0]},
        "properties": {"cwa": "OKX", "gridId": "OKX", "gridX": x, "gridY": y, "forecastGridData": grid,
            "observationStations": format!("{grid}/stations"), "timeZone": "America/New_York"},
    }))
}

async fn nws_grid(Path((_, square)): Path<(String, String)>) -> Response {
    let layer = |unit: &str, value: &dyn Fn(Instant) -> f64| {
        let values: Vec<Value> = hours(0, 7)
            .map(|at| json!({"validTime": format!("{}/PT1H", at.to_string().replace('Z', "+00:00")), "value": value(at)}))
            .collect();
        json!({"uom": unit, "values": values})
    };
    body(&json!({
        "type": "Feature", "geometry": null,
        "properties": {
            "@id": format!("https://api.weather.gov/gridpoints/OKX/{square}"),
            "updateTime": NOW.plus(-HOUR).to_string().replace('Z', "+00:00"),
            "validTimes": format!("{}/P7DT20H", NOW.plus(-HOUR).to_string().replace('Z', "+00:00")),
            "elevation": {"unitCode": "wmoUnit:m", "value": 100.0},
            "temperature": layer("wmoUnit:degC", &celsius),
            "dewpoint": layer("wmoUnit:degC", &|_| 6.1),
            "relativeHumidity": layer("wmoUnit:percent", &|_| 71.0),
            "windSpeed": layer("wmoUnit:km_h-1", &|_| 8.6),
            "windGust": layer("wmoUnit:km_h-1", &|_| 18.7),
            "quantitativePrecipitation": layer("wmoUnit:mm", &|_| 0.1),
        },
    }))
}

async fn nws_stations(Path((_, square)): Path<(String, String)>) -> Response {
    let (x, y) = square.split_once(',').unwrap();
    let degrees = |text: &str| text.parse::<f64>().unwrap() / 50.0;
    body(&json!({"type": "FeatureCollection", "features": [{
        "id": "https://api.weather.gov/stations/KNEA", "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-degrees(x), degrees(y)]},
        "properties": {"elevation": {"unitCode": "wmoUnit:m", "value": 100.0}, "stationIdentifier": "KNEA",
            "name": "KNEA", "timeZone": "America/New_York"},
    }]}))
}

async fn nws_observations(Path(station): Path<String>) -> Response {
    let told = |unit: &str, value: f64| json!({"unitCode": unit, "value": value, "qualityControl": "V"});
    let observation = |at: Instant| {
        let written = at.to_string().replace('Z', "+00:00");
        json!({
            "id": format!("https://api.weather.gov/stations/{station}/observations/{written}"), "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-74.0, 40.75]},
            "properties": {
                "elevation": {"unitCode": "wmoUnit:m", "value": 100.0},
                "station": format!("https://api.weather.gov/stations/{station}"), "timestamp": written,
                "rawMessage": "", "textDescription": "Clear",
                "temperature": told("wmoUnit:degC", celsius(at)), "dewpoint": told("wmoUnit:degC", 6.1),
                "windSpeed": told("wmoUnit:km_h-1", 8.6), "relativeHumidity": told("wmoUnit:percent", 71.0),
            },
        })
    };
    let features: Vec<Value> =
        hours(3, 1).filter(|at| *at <= NOW).map(|at| observation(at.plus(-9 * 60))).collect();
    body(&json!({"type": "FeatureCollection", "features": features}))
}

async fn met_norway(Query(query): Query<HashMap<String, String>>) -> Response {
    let number = |name: &str| query[name].parse::<f64>().unwrap();
    let series: Vec<Value> = hours(0, 3)
        .filter(|at| *at >= NOW.plus(-HOUR))
        .map(|at| {
            json!({"time": at, "data": {
            "instant": {"details": {"air_temperature": celsius(at), "relative_humidity": 71.0,
                "dew_point_temperature": 6.1, "wind_speed": 2.4, "wind_speed_of_gust": 5.2}},
            "next_1_hours": {"summary": {"symbol_code": "rain"}, "details": {"precipitation_amount": 0.1}}}})
        })
        .collect();
    let body = json!({
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [number("lon"), number("lat"), number("altitude")]},
        "properties": {"meta": {"updated_at": NOW.plus(-HOUR), "units": {"air_temperature": "celsius",
            "dew_point_temperature": "celsius", "precipitation_amount": "mm", "relative_humidity": "%",
            "wind_speed": "m/s", "wind_speed_of_gust": "m/s"}}, "timeseries": series},
    });
    let headers = [
        (header::CONTENT_TYPE, "application/json"),
        (header::EXPIRES, "Fri, 01 May 2026 12:55:12 GMT"),
        (header::LAST_MODIFIED, "Fri, 01 May 2026 12:04:26 GMT"),
    ];
    (headers, body.to_string()).into_response()
}

async fn bright_sky(Query(query): Query<HashMap<String, String>>) -> Response {
    let number = |name: &str| query[name].parse::<f64>().unwrap();
    let asked = |name: &str| query[name].parse::<Instant>().unwrap();
    let (from, to) = (asked("date"), asked("last_date"));
    let rows: Vec<Value> = hours(4, 8)
        .filter(|at| (from..=to).contains(at))
        .map(|at| {
            let source = if at <= NOW { 6_007 } else { 2_252 };
            json!({"timestamp": at.to_string().replace('Z', "+00:00"), "source_id": source, "precipitation": 0.1,
                "pressure_msl": 1015.1, "temperature": celsius(at), "wind_direction": 70, "wind_speed": 8.6,
                "cloud_cover": 12, "dew_point": 6.1, "relative_humidity": 71, "wind_gust_speed": 18.7,
                "condition": "dry", "icon": "clear-day"})
        })
        .collect();
    let source = |id: i64, kind: &str| {
        json!({"id": id, "dwd_station_id": "01766", "wmo_station_id": null, "station_name": "Ort",
            "observation_type": kind, "first_record": "2010-01-01T00:00:00+00:00",
            "last_record": NOW.to_string().replace('Z', "+00:00"), "lat": number("lat"), "lon": number("lon"),
            "height": 100.0, "distance": 600.0})
    };
    body(&json!({"weather": rows, "sources": [source(6_007, "current"), source(2_252, "forecast")]}))
}
