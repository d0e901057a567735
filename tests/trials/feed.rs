//! A weather provider: what it answers follows the trial's clock.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, UNIX_EPOCH};

use axum::extract::{Query, State};
use axum::http::header::DATE;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use serde_json::{Value, json};

use crate::air::{Air, DAY, HOUR};

/// What the provider knows.
#[derive(Debug)]
struct Sky {
    seed: u64,
    now: AtomicI64,
}

/// A running provider.
pub(crate) struct Feed {
    pub(crate) url: String,
    sky: Arc<Sky>,
}

impl Feed {
    pub(crate) async fn start(seed: u64) -> Feed {
        let sky = Arc::new(Sky { seed, now: AtomicI64::new(0) });
        let router = Router::new().route("/v1/forecast", get(forecast)).with_state(sky.clone());
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(async move { axum::serve(listener, router).await });
        Feed { url, sky }
    }

    pub(crate) fn set(&self, now: i64) {
        self.sky.now.store(now, Ordering::SeqCst);
    }
}

async fn forecast(State(sky): State<Arc<Sky>>, Query(asked): Query<HashMap<String, String>>) -> Response {
    let degrees =
        |name: &str| -> Vec<f64> { asked[name].split(',').map(|number| number.parse().unwrap()).collect() };
    let places: Vec<(f64, f64)> = degrees("latitude").into_iter().zip(degrees("longitude")).collect();
    let now = sky.now.load(Ordering::SeqCst);
    let midnight = now.div_euclid(DAY) * DAY;
    let hours: Vec<i64> = (-3 * 24..5 * 24).map(|hour| midnight + hour * HOUR).collect();
    let one = |number: usize, (latitude, longitude): (f64, f64)| {
        let air = Air::of(sky.seed, latitude, longitude);
        let mut answer = json!({
            "latitude": latitude, "longitude": longitude, "generationtime_ms": 0.1, "utc_offset_seconds": 0,
            "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 5.0,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°C"},
            "hourly": {"time": hours, "temperature_2m": hours.iter().map(|hour| air.at(*hour)).collect::<Vec<f64>>()},
        });
        if number > 0 {
            answer["location_id"] = json!(number);
        }
        answer
    };
    let mut answers: Vec<Value> = places.iter().enumerate().map(|(n, place)| one(n, *place)).collect();
    let answer = if answers.len() == 1 { answers.remove(0) } else { Value::Array(answers) };
    let date = UNIX_EPOCH + Duration::from_secs(u64::try_from(now).unwrap());
    ([(DATE, httpdate::fmt_http_date(date))], Json(answer)).into_response()
}
