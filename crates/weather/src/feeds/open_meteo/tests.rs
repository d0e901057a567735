mod air;
mod archive;
mod ensemble;

use std::time::Duration;

use proptest::prelude::*;
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use wiremock::matchers::{any as everything, header, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::*;
use crate::feeds::tests::{local, local_client};
use crate::feeds::{ClientSettings, Retry, client};

const NOW: Instant = Instant(1_657_587_600 + 30 * 60);

fn cell(name: &str, latitude: f64, elevation_m: Option<f64>) -> CellRequest {
    CellRequest { cell: name.to_owned(), latitude, longitude: 2.0, elevation_m, memory: None }
}

fn cells() -> Vec<CellRequest> {
    vec![cell("north", 41.0, Some(5.0)), cell("hill", 41.5, Some(9.0))]
}

fn feed_with(base_url: String, changes: impl FnOnce(&mut Settings, &mut ClientSettings)) -> OpenMeteo {
    let mut settings = Settings { base_url, ..Settings::default() };
    let mut client_settings = local();
    changes(&mut settings, &mut client_settings);
    OpenMeteo::new(settings, client(&client_settings).unwrap()).unwrap()
}

fn feed(server: &MockServer) -> OpenMeteo {
    feed_with(server.uri(), |_, _| {})
}

/// One place as documented; the first of several comes without `location_id`.
fn place(id: Option<u64>, temperatures: Value) -> Value {
    let mut place = json!({
        "latitude": 41.0, "longitude": 2.0, "generationtime_ms": 12.0, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 5.0,
        "hourly_units": { "time": "unixtime", "temperature_2m": "°C" },
        "hourly": { "time": [1_657_584_000, 1_657_587_600, 1_657_591_200, 1_657_594_800], "temperature_2m": temperatures },
    });
    if let Some(id) = id {
        place["location_id"] = json!(id);
    }
    place
}

async fn serving(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path("/v1/forecast")).respond_with(answer).mount(&server).await;
    server
}

fn body(text: &str) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(text.to_owned(), "application/json")
}

async fn refused(answer: ResponseTemplate) -> FeedError {
    let server = serving(answer).await;
    feed(&server).fetch(&cells(), NOW).await.unwrap_err()
}

#[tokio::test]
async fn two_cells_are_asked_for_at_once_and_joined_by_place() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .and(path("/v1/forecast"))
        .and(query_param("latitude", "41.0000,41.5000"))
        .and(query_param("longitude", "2.0000,2.0000"))
        .and(query_param("elevation", "5,9"))
        .and(query_param(
            "hourly",
            "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,wind_speed_10m,wind_gusts_10m",
        ))
        .and(query_param("wind_speed_unit", "ms"))
        .and(query_param("timezone", "GMT"))
        .and(query_param("timeformat", "unixtime"))
        .and(query_param("past_days", "3"))
        .and(query_param("forecast_days", "5"))
        .and(header("user-agent", concat!("bloomtide/", env!("CARGO_PKG_VERSION"), " (ops@orchard.example)")))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!([
            place(None, json!([20.0, 20.1, 19.5, 18.0])),
            place(Some(1), json!([19.8, null, 19.0, null])),
        ])))
        .expect(1)
        .mount(&server)
        .await;
    let feed =
        feed_with(server.uri() + "/", |_, client| client.contact = Some("ops@orchard.example".to_owned()));
    let answers = feed.fetch(&cells(), NOW).await.unwrap();
    let values = |readings: &[model::series::Reading]| {
        readings.iter().map(|r| (r.at.0, r.celsius)).collect::<Vec<_>>()
    };
    assert_eq!((answers[0].cell.as_str(), answers[1].cell.as_str()), ("north", "hill"));
    assert_eq!(values(&answers[0].readings), [(1_657_584_000, 20.0), (1_657_587_600, 20.1)]);
    let ahead = answers[0].forecast.as_ref().unwrap();
    assert_eq!(
        (ahead.issued_at, values(&ahead.hours)),
        (NOW, vec![(1_657_591_200, 19.5), (1_657_594_800, 18.0)])
    );
    assert_eq!(values(&answers[1].readings), [(1_657_584_000, 19.8)], "a null is no reading");
    assert_eq!(values(&answers[1].forecast.as_ref().unwrap().hours), [(1_657_591_200, 19.0)]);
}

/// The same place with the rest of the air, nulls at the end.
fn airy() -> Value {
    let mut place = place(None, json!([20.0, 20.1, 19.5, null]));
    let air = [
        ("relative_humidity_2m", "%", json!([48, 50, null, null])),
        ("dew_point_2m", "°C", json!([8.5, 9.0, 9.5, null])),
        ("precipitation", "mm", json!([0.0, 0.4, 0.0, null])),
        ("wind_speed_10m", "m/s", json!([2.5, 3.0, -1.0, null])),
        ("wind_gusts_10m", "m/s", json!([6.6, 1e308, 7.0, null])),
    ];
    for (name, unit, values) in air {
        place["hourly_units"][name] = json!(unit);
        place["hourly"][name] = values;
    }
    place
}

#[tokio::test]
async fn a_value_at_the_very_time_of_the_fetch_is_a_reading() {
    let server =
        serving(ResponseTemplate::new(200).set_body_json(place(None, json!([1.0, 2.0, 3.0, 4.0])))).await;
    let counts = async |now: i64| {
        let answer = feed(&server).fetch(&cells()[..1], Instant(now)).await.unwrap().remove(0);
        (answer.readings.len(), answer.forecast.map_or(0, |forecast| forecast.hours.len()))
    };
    assert_eq!(counts(1_657_591_199).await, (2, 2));
    assert_eq!(counts(1_657_591_200).await, (3, 1));
    assert_eq!(counts(1_657_600_000).await, (4, 0));
}

#[tokio::test]
async fn cells_without_a_height_are_asked_for_apart() {
    let server = MockServer::start().await;
    Mock::given(query_param("latitude", "41.0000,43.0000"))
        .and(query_param_is_missing("elevation"))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!([
            place(None, json!([1.0, 1.0, 1.0, 1.0])),
            place(Some(1), json!([3.0, 3.0, 3.0, 3.0])),
        ])))
        .mount(&server)
        .await;
    Mock::given(query_param("latitude", "42.0000"))
        .and(query_param("elevation", "70"))
        .respond_with(ResponseTemplate::new(200).set_body_json(place(None, json!([2.0, 2.0, 2.0, 2.0]))))
        .mount(&server)
        .await;
    let asked = [cell("a", 41.0, None), cell("b", 42.0, Some(70.0)), cell("c", 43.0, None)];
    let answers = feed(&server).fetch(&asked, NOW).await.unwrap();
    let found: Vec<_> =
        answers.iter().map(|answer| (answer.cell.as_str(), answer.readings[0].celsius)).collect();
    assert_eq!(found, [("a", 1.0), ("b", 2.0), ("c", 3.0)]);
    assert_eq!(feed(&server).fetch(&[], NOW).await, Ok(vec![]));
}

#[tokio::test]
async fn limits_are_waited_out_by_their_own_words() {
    // NOW is 2022-07-12T01:30:00Z.
    let cases = [
        ("Minutely API request limit exceeded. Please try again in one minute.", "2022-07-12T01:31:00Z"),
        ("Hourly API request limit exceeded. Please try again in the next hour.", "2022-07-12T02:00:00Z"),
        ("Daily API request limit exceeded. Please try again tomorrow.", "2022-07-13T00:00:00Z"),
        ("Too many concurrent requests", "2022-07-12T01:31:00Z"),
    ];
    for (reason, until) in cases {
        let answer = ResponseTemplate::new(429).set_body_json(json!({ "error": true, "reason": reason }));
        let error = refused(answer).await;
        assert_eq!(error.cause, Cause::TooOften(reason.to_owned()));
        assert_eq!(error.retry, Retry::At(Instant::parse(until).unwrap()), "{reason}");
    }
    let asked = ResponseTemplate::new(429).insert_header("retry-after", "7200");
    assert_eq!(refused(asked).await.retry, Retry::At(NOW.plus(7_200)));
}

#[tokio::test]
async fn refusals_carry_the_providers_words() {
    let soon = Retry::At(NOW.plus(300));
    let late = Retry::At(NOW.plus(3_600));
    let cases = [
        (400, "No data is available for this location", late),
        (401, "API key required. Please add &apikey= to the URL.", late),
        (403, "This API endpoint requires the API Professional or Enterprise plan", late),
        (404, "Not Found", late),
        (500, "Something went wrong.", soon),
        (503, "The service is overloaded", soon),
    ];
    for (status, reason, retry) in cases {
        let error =
            refused(ResponseTemplate::new(status).set_body_json(json!({ "error": true, "reason": reason })))
                .await;
        assert_eq!(error.retry, retry, "{status}");
        let text = error.to_string();
        assert!(
            text.contains("open-meteo") && text.contains(reason) && text.contains(&status.to_string()),
            "{text}"
        );
    }
}

#[tokio::test]
async fn bodies_that_do_not_fit_give_nothing() {
    let good = json!([place(None, json!([1.0, 2.0, 3.0, 4.0])), place(Some(1), json!([1.0, 2.0, 3.0, 4.0]))]);
    let with = |pointer: &str, value: Value| {
        let mut body = good.clone();
        *body.pointer_mut(pointer).unwrap() = value;
        body.to_string()
    };
    let whole = good.to_string();
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "not the JSON"),
        (
            whole[..whole.len() / 2].to_owned() + "Unexpected error while streaming data: timeout",
            "not the JSON",
        ),
        ("<!DOCTYPE html><html><body>busy</body></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        ("null".to_owned(), "not the JSON"),
        ("{}".to_owned(), "does not fit"),
        (r#"{"error":true,"reason":"Out of sorts"}"#.to_owned(), "Out of sorts"),
        (json!([good[0]]).to_string(), "1 places for 2"),
        (good[0].to_string(), "1 places for 2"),
        (json!([good[0], good[1], good[1]]).to_string(), "3 places for 2"),
        (json!([good[1], good[0]]).to_string(), "numbered 1; expected 0"),
        (with("/1/hourly_units/temperature_2m", json!("°F")), "place 2"),
        (with("/0/hourly_units/time", json!("iso8601")), "expected unixtime"),
        (with("/1/hourly/temperature_2m", json!([1.0, 2.0])), "4 times with 2 temperatures"),
        (with("/0/hourly/temperature_2m/1", json!(1e308)), "outside -60 to 60"),
        (whole.replacen("2.0,3.0", "1e999,3.0", 1), "not the JSON"),
        (with("/0/hourly/temperature_2m/1", json!(-60.5)), "outside -60 to 60"),
        (with("/0/hourly/temperature_2m/1", json!("mild")), "does not fit"),
        (with("/0/hourly/time/1", json!(1_657_584_000)), "out of order"),
        (with("/0/hourly/time/3", json!(1_657_594_800_000_i64)), "no year of ours"),
        (with("/0/hourly/time/3", json!(1_657_594_800 + 365 * 86_400)), "another than asked for"),
        (with("/0/hourly/time/0", json!(1_657_584_000 - 365 * 86_400)), "another than asked for"),
        (
            whole.replacen("\"hourly\":", "\"hourly\":{\"time\":[],\"temperature_2m\":[]},\"hourly\":", 1),
            "duplicate field",
        ),
        (
            whole.replacen("\"temperature_2m\":[", "\"temperature_2m\":[],\"temperature_2m\":[", 1),
            "duplicate field",
        ),
    ];
    for (text, expected) in cases {
        let error = refused(body(&text)).await;
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        assert_eq!(error.retry, Retry::At(NOW.plus(300)), "{error}");
    }
    let most = 2 * MOST_BYTES_OF_A_CELL;
    assert_eq!(refused(body(&" ".repeat(most + 1))).await.cause, Cause::TooLong(most));
    assert!(matches!(refused(body(&" ".repeat(most))).await.cause, Cause::NotJson(_)));
}

/// A server that says how long its body is and hangs up half-way.
#[tokio::test]
async fn a_connection_that_breaks_off_gives_nothing() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let server = tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        let mut request = [0; 4_096];
        let _ = stream.read(&mut request).await.unwrap();
        stream
            .write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 5000\r\n\r\n[{\"latitude\":41.0,")
            .await
            .unwrap();
    });
    let error = feed_with(address.clone(), |_, _| {}).fetch(&cells(), NOW).await.unwrap_err();
    server.await.unwrap();
    assert!(matches!(error.cause, Cause::BrokenOff(_)), "{error}");
    assert_eq!(error.retry, Retry::At(NOW.plus(300)));
    // The listener is gone by now.
    let error = feed_with(address, |_, _| {}).fetch(&cells(), NOW).await.unwrap_err();
    assert!(matches!(error.cause, Cause::Unreachable(_)), "{error}");
    assert!(!error.to_string().contains("latitude"), "no address in an error: {error}");
}

#[tokio::test]
async fn a_hang_ends_with_the_timeout() {
    let server = serving(body("[]").set_delay(Duration::from_secs(600))).await;
    let feed = feed_with(server.uri(), |_, client| client.total_timeout = Duration::from_millis(200));
    let error = feed.fetch(&cells(), NOW).await.unwrap_err();
    assert!(matches!(error.cause, Cause::TimedOut(_)), "{error}");
    assert_eq!(error.retry, Retry::At(NOW.plus(300)));
}

#[tokio::test]
async fn redirects_stay_on_the_host_and_end() {
    let to = |place: &str| ResponseTemplate::new(302).insert_header("location", place);
    let error = refused(to("/v1/forecast")).await;
    assert!(matches!(&error.cause, Cause::Redirected(text) if text.contains("more than 3")), "{error}");
    let other = MockServer::start().await;
    let error = refused(to(&other.uri())).await;
    assert!(matches!(error.cause, Cause::Redirected(_)), "{error}");
    assert_eq!(error.retry, Retry::At(NOW.plus(3_600)));
    assert!(other.received_requests().await.unwrap().is_empty());
}

#[tokio::test]
async fn the_key_goes_to_the_provider_and_nowhere_else() {
    let server = MockServer::start().await;
    Mock::given(header("x-api-key", "geheim-42"))
        .respond_with(
            ResponseTemplate::new(400)
                .set_body_json(json!({ "error": true, "reason": "The key geheim-42 is invalid." })),
        )
        .expect(1)
        .mount(&server)
        .await;
    let feed = feed_with(server.uri(), |settings, _| settings.api_key = Some(ApiKey::new("geheim-42")));
    let error = feed.fetch(&cells(), NOW).await.unwrap_err();
    for text in [error.to_string(), format!("{error:?}"), format!("{feed:?}")] {
        assert!(!text.contains("geheim-42"), "{text}");
    }
    assert!(error.to_string().contains("is invalid"), "{error}");
}

#[tokio::test]
async fn what_cannot_be_asked_is_never_sent() {
    let server = MockServer::start().await;
    let feed = feed(&server);
    let many: Vec<_> = (0..=MOST_CELLS).map(|n| cell(&n.to_string(), 41.0, None)).collect();
    let nowhere = [cell("pole", 90.5, None)];
    let not_a_number = [cell("nan", f64::NAN, None)];
    for asked in [&many[..], &nowhere, &not_a_number] {
        let error = feed.fetch(asked, NOW).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
        assert_eq!(error.retry, Retry::Never);
    }
    assert!(server.received_requests().await.unwrap().is_empty());
}

#[test]
fn wrong_settings_are_named() {
    let good = Settings::default();
    let cases = [
        (Settings { base_url: "api.open-meteo.com".to_owned(), ..good.clone() }, "base URL"),
        (Settings { base_url: "ftp://weather.example".to_owned(), ..good.clone() }, "base URL"),
        (Settings { past_days: 93, ..good.clone() }, "past days"),
        (Settings { forecast_days: 0, ..good.clone() }, "forecast days"),
        (Settings { forecast_days: 17, ..good.clone() }, "forecast days"),
        (Settings { ensemble_url: "ensembles".to_owned(), ..good.clone() }, "ensemble URL"),
        (Settings { archive_url: "https://archive.example?x=1".to_owned(), ..good.clone() }, "archive URL"),
        (Settings { models: "icon_eu_eps,ncep_gefs025".to_owned(), ..good.clone() }, "ensemble model"),
        (Settings { models: " ".to_owned(), ..good.clone() }, "ensemble model"),
        (Settings { api_key: Some(ApiKey::new("a\nb")), ..good }, "API key"),
    ];
    let client = local_client();
    for (settings, expected) in cases {
        let cause = OpenMeteo::new(settings, client.clone()).unwrap_err();
        assert!(cause.to_string().contains(expected), "{cause}");
    }
    let contact = ClientSettings { contact: Some("two\nlines".to_owned()), ..ClientSettings::default() };
    assert!(crate::feeds::client(&contact).is_err());
}

proptest! {
    #[test]
    fn no_body_is_a_panic(body in proptest::collection::vec(any::<u8>(), 0..400)) {
        let cells = cells();
        let _ = answer::read(&body, &[&cells[0]], (Instant::MIN, Instant::MAX), NOW);
        let _ = answer::reason(&body);
    }

    #[test]
    fn no_change_of_a_good_body_is_a_panic(
        begin in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in prop_oneof!["[-0-9eE.\",:{}\\[\\]]{0,12}", "(null|true|1e308|-1e308|9223372036854775808)"],
    ) {
        let body = spliced(&airy(), begin, length, put);
        let cells = cells();
        if let Ok(answers) = answer::read(&body, &[&cells[0]], (Instant::MIN, Instant::MAX), NOW) {
            prop_assert!(answers[0].readings.iter().all(|hour| hour.at <= NOW && hour.celsius.abs() <= 60.0));
            prop_assert!(answers[0].air.is_sorted_by(|a, b| a.at < b.at));
        }
    }
}

/// A body with something else in place of some of its bytes.
fn spliced(body: &Value, begin: prop::sample::Index, length: usize, put: String) -> Vec<u8> {
    let mut body = body.to_string().into_bytes();
    let begin = begin.index(body.len());
    let end = (begin + length).min(body.len());
    body.splice(begin..end, put.into_bytes());
    body
}
