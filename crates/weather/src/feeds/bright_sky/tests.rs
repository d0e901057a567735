use model::air::Air;
use model::series::Reading;
use proptest::prelude::*;
use serde_json::{Value, json};
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::*;
use crate::feeds::Retry;
use crate::feeds::tests::local_client;

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    at("2026-05-01T10:30:00Z")
}

fn cell() -> CellRequest {
    CellRequest {
        cell: "orchard".to_owned(),
        latitude: 52.123_456,
        longitude: 7.6,
        elevation_m: None,
        memory: None,
    }
}

fn feed_at(base_url: String) -> Result<BrightSky, Cause> {
    BrightSky::new(Settings { base_url }, local_client())
}

async fn serving(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path("/weather")).respond_with(answer).mount(&server).await;
    server
}

async fn asked(answer: ResponseTemplate) -> Result<CellAnswer, FeedError> {
    let server = serving(answer).await;
    feed_at(server.uri()).unwrap().fetch(&[cell()], now()).await.map(|mut answers| answers.remove(0))
}

fn source(id: i64, observation_type: &str, distance: Value) -> Value {
    json!({
        "id": id, "dwd_station_id": "01766", "wmo_station_id": null, "station_name": "Münster/Osnabrück",
        "observation_type": observation_type, "first_record": "2010-01-01T00:00:00+00:00",
        "last_record": "2026-05-01T10:00:00+00:00", "lat": 52.1344, "lon": 7.6969, "height": 47.8,
        "distance": distance
    })
}

fn row(timestamp: &str, source_id: i64, temperature: Value) -> Value {
    json!({
        "timestamp": timestamp, "source_id": source_id, "precipitation": 0.2, "pressure_msl": 1015.1,
        "temperature": temperature, "wind_direction": 70, "wind_speed": 18.0, "cloud_cover": 12,
        "dew_point": -2.5, "relative_humidity": null, "wind_gust_speed": 36.0, "condition": "dry",
        "icon": "clear-day"
    })
}

/// Two hours of a station near by and two of the forecast, as documented; where
/// nothing was filled in, nothing is said of it.
fn weather() -> Value {
    json!({
        "weather": [
            row("2026-05-01T09:00:00+00:00", 6007, json!(11.2)),
            row("2026-05-01T10:00:00+00:00", 6007, json!(12.0)),
            row("2026-05-01T11:00:00+00:00", 2252, json!(13.1)),
            row("2026-05-01T12:00:00+00:00", 2252, json!(null)),
        ],
        "sources": [source(6007, "current", json!(6_600)), source(2252, "forecast", json!(7438.0))]
    })
}

fn read(body: &Value) -> Result<CellAnswer, Cause> {
    answer::read(body.to_string().as_bytes(), &cell(), window(now()), now())
}

fn with(pointer: &str, value: Value) -> Value {
    let mut body = weather();
    match body.pointer_mut(pointer) {
        Some(place) => *place = value,
        None => {
            let (row, name) = pointer.rsplit_once('/').unwrap();
            body.pointer_mut(row).unwrap()[name] = value;
        }
    }
    body
}

fn values(readings: &[Reading]) -> Vec<(String, f64)> {
    readings.iter().map(|reading| (reading.at.to_string(), reading.celsius)).collect()
}

fn told(answer: &CellAnswer) -> (Vec<f64>, Vec<f64>) {
    let celsius = |readings: &[Reading]| readings.iter().map(|reading| reading.celsius).collect();
    (
        celsius(&answer.readings),
        answer.forecast.as_ref().map_or(Vec::new(), |forecast| celsius(&forecast.hours)),
    )
}

#[tokio::test]
async fn readings_forecast_and_air_of_one_cell() {
    let server = serving(ResponseTemplate::new(200).set_body_json(weather())).await;
    let answers = feed_at(server.uri() + "/").unwrap().fetch(&[cell()], now()).await.unwrap();
    let request = &server.received_requests().await.unwrap()[0];
    assert_eq!(
        request.url.query_pairs().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>(),
        [
            "lat=52.1235",
            "lon=7.6000",
            "date=2026-04-28T10:00:00Z",
            "last_date=2026-05-06T10:00:00Z",
            "units=dwd",
            "tz=Etc/UTC"
        ]
    );
    let answer = &answers[0];
    let expected = [("2026-05-01T09:00:00Z", 11.2), ("2026-05-01T10:00:00Z", 12.0)];
    assert_eq!(values(&answer.readings), expected.map(|(at, celsius)| (at.to_owned(), celsius)));
    let ahead = answer.forecast.as_ref().unwrap();
    assert_eq!(ahead.issued_at, now());
    assert_eq!(values(&ahead.hours), [("2026-05-01T11:00:00Z".to_owned(), 13.1)], "a null is no hour");
    let nine = Air {
        wind_m_s: Some(5.0),
        gust_m_s: Some(10.0),
        rain_mm: Some(0.2),
        dew_point_c: Some(-2.5),
        ..Air::at(at("2026-05-01T09:00:00Z"))
    };
    assert_eq!((answer.air.len(), answer.air[0]), (4, nine));
    assert_eq!((answer.memory.as_ref(), answer.not_before), (None, None));
}

#[test]
fn a_forecast_of_a_past_hour_is_no_reading() {
    let body = with("/weather/1/source_id", json!(2252));
    assert_eq!(told(&read(&body).unwrap()), (vec![11.2], vec![12.0, 13.1]));
}

#[test]
fn a_reading_ahead_of_the_fetch_is_none() {
    let body = with("/weather/2/source_id", json!(6007));
    assert_eq!(told(&read(&body).unwrap()), (vec![11.2, 12.0], vec![13.1]));
    let body = with("/weather/1/timestamp", json!("2026-05-01T12:30:00+02:00"));
    assert_eq!(told(&read(&body).unwrap()).0, [11.2, 12.0], "at the very time of the fetch it is one");
}

#[test]
fn another_valleys_temperature_is_not_taken() {
    for (distance, readings) in [(json!(30_000), 2), (json!(30_001), 0), (json!(49_999.0), 0)] {
        let answer = read(&with("/sources/0/distance", distance.clone())).unwrap();
        assert_eq!(answer.readings.len(), readings, "{distance}");
        assert_eq!(answer.air.len(), 2 + readings, "{distance}: nor is its wind");
        assert_eq!(answer.forecast.unwrap().hours.len(), 1, "{distance}");
    }
    // The forecast of a point far off is still the nearest there is.
    let answer = read(&with("/sources/1/distance", json!(45_000))).unwrap();
    assert_eq!(told(&answer), (vec![11.2, 12.0], vec![13.1]));
    // Where the way is not said, the places tell it; 1 degree of latitude is 111 km.
    let mut far = with("/sources/0/distance", json!(null));
    assert_eq!(read(&far).unwrap().readings.len(), 2);
    far["sources"][0]["lat"] = json!(52.5);
    assert_eq!(read(&far).unwrap().readings.len(), 0);
    far["sources"][0]["lat"] = json!(null);
    assert_eq!(read(&far).unwrap().readings.len(), 2, "nothing says that it is far");
}

#[test]
fn a_value_that_was_filled_in_belongs_to_its_own_source() {
    let from =
        |id: i64| with("/weather/1/fallback_source_ids", json!({ "temperature": id, "pressure_msl": 4 }));
    assert_eq!(told(&read(&from(2252)).unwrap()), (vec![11.2], vec![12.0, 13.1]), "from the forecast");
    let mut far = from(77);
    far["sources"].as_array_mut().unwrap().push(source(77, "current", json!(44_000)));
    assert_eq!(told(&read(&far).unwrap()), (vec![11.2], vec![13.1]), "from another valley");
    far["sources"][2]["distance"] = json!(20_000);
    assert_eq!(told(&read(&far).unwrap()), (vec![11.2, 12.0], vec![13.1]));
    let mut wind = with("/weather/1/fallback_source_ids", json!({ "wind_speed": 77, "precipitation": null }));
    wind["sources"].as_array_mut().unwrap().push(source(77, "historical", json!(44_000)));
    let air = read(&wind).unwrap().air[1];
    assert_eq!((air.wind_m_s, air.gust_m_s, air.rain_mm), (None, Some(10.0), Some(0.2)));
    assert!(read(&from(78)).unwrap_err().to_string().contains("source 78 at 2026-05-01T10:00:00Z"));
}

/// 100 m higher is 0.65 K colder, and each value is at the height of its own source.
#[test]
fn temperatures_are_corrected_to_the_height_asked_for() {
    let read_at = |body: &Value, elevation_m: Option<f64>| {
        let asked = CellRequest { elevation_m, ..cell() };
        told(&answer::read(body.to_string().as_bytes(), &asked, window(now()), now()).unwrap())
    };
    let near = |told: (Vec<f64>, Vec<f64>), expected: (&[f64], &[f64])| {
        let told: Vec<f64> = [told.0, told.1].concat();
        let expected = [expected.0, expected.1].concat();
        assert_eq!(told.len(), expected.len());
        assert!(std::iter::zip(&told, &expected).all(|(a, b)| (a - b).abs() < 1e-9), "{told:?} {expected:?}");
    };
    let mut body = with("/weather/1/fallback_source_ids", json!({ "temperature": 77 }));
    body["sources"].as_array_mut().unwrap().push(source(77, "synop", json!(20_000)));
    body["sources"][1]["height"] = json!(100.0);
    body["sources"][2]["height"] = json!(247.8);
    // From 47.8 m, from 247.8 m, and the forecast from 100 m, to 147.8 m.
    near(read_at(&body, Some(147.8)), (&[10.55, 12.65], &[13.1 - 0.478 * 0.65]));
    near(read_at(&body, None), (&[11.2, 12.0], &[13.1]));
    for height in [json!(null), json!(1e308), json!(-9999.0)] {
        body["sources"][0]["height"] = height;
        near(read_at(&body, Some(147.8)), (&[11.2, 12.65], &[13.1 - 0.478 * 0.65]));
    }
    let air = read(&body).unwrap().air;
    assert_eq!(air[0].dew_point_c, Some(-2.5), "told as it is");
}

#[test]
fn nothing_known_is_no_fault() {
    let answer =
        read(&json!({ "weather": [], "sources": [source(2252, "forecast", json!(7438.0))] })).unwrap();
    assert_eq!(answer, CellAnswer::of(&cell()));
    // Readings that end and a forecast whose last hours are null.
    let mut body = weather();
    body["weather"][2]["temperature"] = json!(null);
    let answer = read(&body).unwrap();
    assert_eq!((answer.readings.len(), answer.forecast), (2, None));
    // What no air has.
    let answer = read(&with("/weather/0/wind_speed", json!(1e308))).unwrap();
    assert_eq!((answer.air[0].wind_m_s, answer.air[0].gust_m_s), (None, Some(10.0)));
}

#[tokio::test]
async fn bodies_that_do_not_fit_give_nothing() {
    let whole = weather().to_string();
    let temperature = "/weather/1/temperature";
    let time = |text: &str| with("/weather/1/timestamp", json!(text)).to_string();
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "not the JSON"),
        ("<!DOCTYPE html><html><body>busy</body></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        ("[]".to_owned(), "not the JSON"),
        ("{}".to_owned(), "does not fit"),
        (whole.replacen("{\"weather\"", "{\"weather\":[],\"weather\"", 1), "duplicate field"),
        (
            whole.replacen("\"temperature\":12.0", "\"temperature\":12.0,\"temperature\":2", 1),
            "duplicate field",
        ),
        (whole.replacen("\"temperature\":12.0", "\"temperature\":1e999", 1), "not the JSON"),
        (with(temperature, json!(1e308)).to_string(), "outside -60 to 60"),
        // Kelvin, or Fahrenheit on a warm day.
        (with(temperature, json!(285.1)).to_string(), "outside -60 to 60"),
        (with(temperature, json!("mild")).to_string(), "does not fit"),
        (time("2026-05-01T09:00:00+00:00"), "out of order"),
        (time("2026-05-01T08:00:00+00:00"), "out of order"),
        (time("2027-05-01T10:00:00+00:00"), "another than asked for"),
        (time("2026-05-01T10:00:00"), "is not a time"),
        (with("/weather/0/timestamp", json!("2025-05-01T09:00:00Z")).to_string(), "another than asked for"),
        (with("/weather/0/source_id", json!(3)).to_string(), "source 3 at"),
        (with("/sources/0/lat", json!(47.0)).to_string(), "does not belong to the place"),
        (with("/sources/0/lon", json!(1e308)).to_string(), "does not belong to the place"),
        (with("/sources/0/lat", json!(232.5)).to_string(), "does not belong to the place"),
    ];
    for (text, expected) in cases {
        let error = asked(ResponseTemplate::new(200).set_body_string(text.clone())).await.unwrap_err();
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        assert_eq!(error.retry, Retry::At(now().plus(300)), "{error}");
    }
    let long = ResponseTemplate::new(200).set_body_string(" ".repeat(10 * 1024 * 1024));
    assert_eq!(asked(long).await.unwrap_err().cause, Cause::TooLong(MOST_BYTES));
}

#[tokio::test]
async fn refusals_carry_the_providers_words() {
    let detail =
        |status: u16, words: Value| ResponseTemplate::new(status).set_body_json(json!({ "detail": words }));
    let page = |status: u16| ResponseTemplate::new(status).set_body_raw("<html>no</html>", "text/html");
    let (soon, late, next_hour) = (now().plus(300), now().plus(3_600), at("2026-05-01T11:00:00Z"));
    let cases = [
        (detail(404, json!("No sources match your criteria")), late, "(404): No sources match your criteria"),
        (detail(422, json!([{ "loc": ["query", "lat"], "msg": "too large" }])), late, "too large"),
        (page(403), late, "refuses the request (403): a web page instead of a reason"),
        (page(429), next_hour, "asked too often (429)"),
        (page(429).insert_header("retry-after", "5400"), now().plus(5_400), "asked too often (429)"),
        (page(500), soon, "is in trouble (500)"),
        (page(503).insert_header("retry-after", "1200"), now().plus(1_200), "is in trouble (503)"),
        (ResponseTemplate::new(304), late, "304"),
        (ResponseTemplate::new(302).insert_header("location", "https://weather.example/"), late, "elsewhere"),
    ];
    for (answer, retry, expected) in cases {
        let error = asked(answer).await.unwrap_err();
        let words = error.to_string();
        assert!(words.starts_with("bright-sky: ") && words.contains(expected), "{words}");
        assert_eq!(error.retry, Retry::At(retry), "{words}");
    }
}

#[tokio::test]
async fn what_cannot_be_asked_is_never_sent() {
    let server = serving(ResponseTemplate::new(200).set_body_json(weather())).await;
    let feed = feed_at(server.uri()).unwrap();
    let nowhere = [CellRequest { longitude: 181.0, ..cell() }];
    for cells in [&[cell(), cell()][..], &nowhere] {
        let error = feed.fetch(cells, now()).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
        assert_eq!(error.retry, Retry::Never);
    }
    assert_eq!(feed.fetch(&[], now()).await, Ok(vec![]));
    assert!(server.received_requests().await.unwrap().is_empty());
    assert!(feed_at("brightsky".to_owned()).unwrap_err().to_string().contains("base URL"));
    assert_eq!((feed.provider(), feed.kind(), feed.most_cells()), ("bright-sky", Kind::Station, 1));
}

proptest! {
    #[test]
    fn no_body_is_a_panic(body in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = answer::read(&body, &cell(), window(now()), now());
        let _ = answer::reason(&body);
    }

    #[test]
    fn no_change_of_a_good_body_is_a_panic(
        begin in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in prop_oneof!["[-0-9eE.\",:{}\\[\\]]{0,12}", "(null|true|1e308|-1e308|9223372036854775808)"],
    ) {
        let mut body = weather().to_string().into_bytes();
        let begin = begin.index(body.len());
        let end = (begin + length).min(body.len());
        body.splice(begin..end, put.into_bytes());
        let high = CellRequest { elevation_m: Some(1_200.0), ..cell() };
        if let Ok(answer) = answer::read(&body, &high, window(now()), now()) {
            // Corrected for a height between the Dead Sea and Everest.
            prop_assert!(answer.readings.iter().all(|reading| reading.at <= now() && reading.celsius.abs() < 125.0));
            prop_assert!(answer.readings.is_sorted_by(|a, b| a.at < b.at));
        }
    }
}
