use model::air::Air;
use proptest::prelude::*;
use serde_json::{Value, json};
use wiremock::matchers::{any as everything, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::*;
use crate::feeds::Retry;
use crate::feeds::tests::local_client;

const AGENT: &str = concat!("bloomtide/", env!("CARGO_PKG_VERSION"), " (ops@orchard.example)");
const PATH: &str = "/weatherapi/locationforecast/2.0/compact";
const CHANGED: &str = "Fri, 01 May 2026 04:05:09 GMT";
const EXPIRY: &str = "Fri, 01 May 2026 05:55:12 GMT";

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    at("2026-05-01T05:20:00Z")
}

fn cell(memory: Option<&str>) -> CellRequest {
    CellRequest {
        cell: "hillside".to_owned(),
        latitude: 60.123_456,
        longitude: 10.0,
        elevation_m: Some(266.6),
        memory: memory.map(str::to_owned),
    }
}

fn feed_at(base_url: String) -> Result<MetNorway, Cause> {
    let settings = Settings { base_url, contact: Some("ops@orchard.example".to_owned()) };
    MetNorway::new(settings, local_client())
}

async fn serving(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET")).and(path(PATH)).respond_with(answer).mount(&server).await;
    server
}

async fn asked_of(server: &MockServer, cell: CellRequest) -> Result<CellAnswer, FeedError> {
    let answers = feed_at(server.uri()).unwrap().fetch(&[cell], now()).await;
    answers.map(|mut answers| answers.remove(0))
}

async fn asked(answer: ResponseTemplate) -> Result<CellAnswer, FeedError> {
    asked_of(&serving(answer).await, cell(None)).await
}

/// A forecast as documented: by the hour, then by six, what is not known absent.
fn forecast() -> Value {
    json!({
        "type": "Feature",
        "geometry": { "type": "Point", "coordinates": [10, 60.1235, 267] },
        "properties": {
            "meta": {
                "updated_at": "2026-05-01T04:04:26Z",
                "units": {
                    "air_pressure_at_sea_level": "hPa", "air_temperature": "celsius",
                    "dew_point_temperature": "celsius", "precipitation_amount": "mm",
                    "relative_humidity": "%", "wind_speed": "m/s", "wind_speed_of_gust": "m/s"
                }
            },
            "timeseries": [
                { "time": "2026-05-01T05:00:00Z", "data": {
                    "instant": { "details": {
                        "air_pressure_at_sea_level": 1020.5, "air_temperature": 4.7, "relative_humidity": 48.6,
                        "dew_point_temperature": -1.5, "wind_speed": 2.5, "wind_speed_of_gust": 6.6
                    } },
                    "next_12_hours": { "summary": { "symbol_code": "cloudy" }, "details": {} },
                    "next_1_hours": {
                        "summary": { "symbol_code": "rain" }, "details": { "precipitation_amount": 0.4 }
                    },
                    "next_6_hours": { "summary": { "symbol_code": "rain" }, "details": { "precipitation_amount": 2.0 } }
                } },
                { "time": "2026-05-01T06:00:00Z", "data": {
                    "instant": { "details": { "air_temperature": 5.2, "wind_speed": 3.0 } },
                    "next_1_hours": {
                        "summary": { "symbol_code": "cloudy" }, "details": { "precipitation_amount": 0.0 }
                    }
                } },
                { "time": "2026-05-01T12:00:00Z", "data": {
                    "instant": { "details": { "air_temperature": 9.1 } },
                    "next_6_hours": { "summary": { "symbol_code": "rain" }, "details": { "precipitation_amount": 1.2 } }
                } },
                { "time": "2026-05-01T18:00:00Z", "data": { "instant": { "details": { "relative_humidity": 70.0 } } } }
            ]
        }
    })
}

fn good() -> ResponseTemplate {
    ResponseTemplate::new(200)
        .set_body_json(forecast())
        .insert_header("last-modified", CHANGED)
        .insert_header("expires", EXPIRY)
}

#[tokio::test]
async fn a_forecast_is_read_and_what_to_remember_of_it() {
    let server = serving(good()).await;
    let answer = asked_of(&server, cell(None)).await.unwrap();
    assert_eq!((answer.cell.as_str(), answer.readings.len()), ("hillside", 0));
    let ahead = answer.forecast.unwrap();
    assert_eq!(ahead.issued_at, at("2026-05-01T04:04:26Z"));
    let hours: Vec<_> =
        ahead.hours.iter().map(|hour| (hour.at.to_string(), hour.span, hour.celsius)).collect();
    let expected =
        [("2026-05-01T05:00:00Z", 4.7), ("2026-05-01T06:00:00Z", 5.2), ("2026-05-01T12:00:00Z", 9.1)];
    assert_eq!(
        hours,
        expected.map(|(at, celsius)| (at.to_owned(), 0, celsius)),
        "a step without is left out"
    );
    let air = [
        Air {
            wind_m_s: Some(2.5),
            gust_m_s: Some(6.6),
            humidity_percent: Some(48.6),
            dew_point_c: Some(-1.5),
            ..Air::at(at("2026-05-01T05:00:00Z"))
        },
        // The rain of the hour that begins at five.
        Air { wind_m_s: Some(3.0), rain_mm: Some(0.4), ..Air::at(at("2026-05-01T06:00:00Z")) },
        Air { rain_mm: Some(0.0), ..Air::at(at("2026-05-01T07:00:00Z")) },
        Air { humidity_percent: Some(70.0), ..Air::at(at("2026-05-01T18:00:00Z")) },
    ];
    assert_eq!(answer.air, air, "rain of six hours is that of no single one");
    assert_eq!(answer.not_before, Some(at("2026-05-01T05:55:12Z")));
    assert_eq!(answer.memory.as_deref(), Some(r#"{"last_modified":"Fri, 01 May 2026 04:05:09 GMT"}"#));
    let request = &server.received_requests().await.unwrap()[0];
    assert_eq!(request.url.query(), Some("lat=60.1235&lon=10.0000&altitude=267"));
    assert_eq!(request.headers.get_all("user-agent").iter().collect::<Vec<_>>(), [AGENT]);
    assert!(!request.headers.contains_key("if-modified-since"));
}

#[tokio::test]
async fn nothing_new_leaves_everything_as_it_was() {
    let first = asked(good()).await.unwrap();
    let server = serving(ResponseTemplate::new(304).insert_header("expires", EXPIRY)).await;
    let asked_for = cell(first.memory.as_deref());
    let again = asked_of(&server, asked_for.clone()).await.unwrap();
    assert_eq!(
        again,
        CellAnswer { not_before: Some(at("2026-05-01T05:55:12Z")), ..CellAnswer::of(&asked_for) }
    );
    assert_eq!(again.memory, first.memory);
    let request = &server.received_requests().await.unwrap()[0];
    assert_eq!(request.headers.get_all("if-modified-since").iter().collect::<Vec<_>>(), [CHANGED]);
    // Someone who asked without a condition cannot have meant that.
    let error = asked(ResponseTemplate::new(304)).await.unwrap_err();
    assert!(error.to_string().contains("304"), "{error}");
    assert_eq!(error.retry, Retry::At(now().plus(300)));
}

#[tokio::test]
async fn what_is_remembered_goes_back_to_the_letter() {
    // Not even a date; the service compares it as text.
    let odd = "fri,  1 May 2026 04:05:09 +0000";
    let first = asked(good().insert_header("last-modified", odd)).await.unwrap();
    let server = serving(ResponseTemplate::new(304)).await;
    asked_of(&server, cell(first.memory.as_deref())).await.unwrap();
    let request = &server.received_requests().await.unwrap()[0];
    assert_eq!(request.headers.get("if-modified-since").unwrap(), odd);
    // Memories of another make are none.
    for memory in ["", "{}", "CHANGED", "{\"last_modified\":7}", "{\"last_modified\":\"a\\nb\"}"] {
        let server = serving(good()).await;
        let answer = asked_of(&server, cell(Some(memory))).await.unwrap();
        assert_eq!(answer.memory, first_memory(), "{memory}");
        let request = &server.received_requests().await.unwrap()[0];
        assert!(!request.headers.contains_key("if-modified-since"), "{memory}");
    }
    // An answer that says no date leaves nothing to compare with.
    let bare = ResponseTemplate::new(200).set_body_json(forecast());
    let answer = asked_of(&serving(bare).await, cell(first.memory.as_deref())).await.unwrap();
    assert_eq!((answer.memory, answer.not_before), (None, None));
}

fn first_memory() -> Option<String> {
    Some(format!("{{\"last_modified\":\"{CHANGED}\"}}"))
}

#[tokio::test]
async fn a_product_on_its_way_out_is_as_good_as_ever() {
    let old = ResponseTemplate::new(203).set_body_json(forecast()).insert_header("last-modified", CHANGED);
    let answer = asked(old).await.unwrap();
    assert_eq!(answer.forecast.unwrap().hours.len(), 3);
    assert_eq!(answer.memory, first_memory());
}

#[test]
fn an_expiry_is_heeded_for_a_day() {
    let cases = [
        ("Fri, 01 May 2026 05:20:01 GMT", Some("2026-05-01T05:20:01Z")),
        ("Fri, 01 May 2026 05:20:00 GMT", None),
        ("Thu, 30 Apr 2026 05:55:12 GMT", None),
        ("Sat, 02 May 2026 05:20:00 GMT", Some("2026-05-02T05:20:00Z")),
        ("Sun, 01 May 2033 05:20:00 GMT", Some("2026-05-02T05:20:00Z")),
        ("Mon, 01 May 2026 05:55:12 GMT", None),
        ("Fri, 32 May 2026 05:55:12 GMT", None),
        ("2026-05-01T05:55:12Z", None),
        ("0", None),
        ("-1", None),
        ("", None),
    ];
    for (text, expected) in cases {
        assert_eq!(expiry(text, now()), expected.map(at), "{text}");
    }
}

#[tokio::test]
async fn the_height_is_whole_metres_or_left_to_the_provider() {
    for (metres, expected) in [(None, ""), (Some(-0.3), "&altitude=0"), (Some(-3.5), "&altitude=-4")] {
        let server = serving(good()).await;
        asked_of(&server, CellRequest { elevation_m: metres, ..cell(None) }).await.unwrap();
        let request = &server.received_requests().await.unwrap()[0];
        assert_eq!(request.url.query().unwrap(), format!("lat=60.1235&lon=10.0000{expected}"));
    }
}

#[tokio::test]
async fn refusals_say_what_was_refused_and_when_to_come_again() {
    let page = |status: u16| {
        ResponseTemplate::new(status).set_body_raw("<html><body>403 Forbidden</body></html>", "text/html")
    };
    let text = |status: u16, words: &str| ResponseTemplate::new(status).set_body_string(words);
    let (soon, late, next_hour) = (now().plus(300), now().plus(3_600), at("2026-05-01T06:00:00Z"));
    let cases = [
        (page(403), late, "refuses the request (403): a web page instead of a reason"),
        (page(400), late, "(400): a web page"),
        (text(404, "no data"), late, "(404): no data"),
        (text(422, "Location outside the area"), late, "(422): Location outside the area"),
        (page(429), next_hour, "asked too often (429)"),
        (page(429).insert_header("retry-after", "7200"), now().plus(7_200), "asked too often (429)"),
        (page(429).insert_header("retry-after", "60"), next_hour, "asked too often (429)"),
        (page(429).insert_header("retry-after", "999999999"), now().plus(86_400), "asked too often (429)"),
        (text(500, ""), soon, "is in trouble (500): no reason given"),
        (text(502, ""), soon, "is in trouble (502)"),
        (
            text(503, "later").insert_header("retry-after", "900"),
            now().plus(900),
            "is in trouble (503): later",
        ),
    ];
    for (answer, retry, expected) in cases {
        let error = asked(answer).await.unwrap_err();
        let words = error.to_string();
        assert!(words.starts_with("met-norway: ") && words.contains(expected), "{words}");
        assert_eq!(error.retry, Retry::At(retry), "{words}");
    }
    // A refusal's date of expiry holds nothing back.
    let error = asked(page(403).insert_header("expires", EXPIRY)).await.unwrap_err();
    assert!(matches!(error.cause, Cause::Refused { status: 403, .. }), "{error}");
}

fn with(pointer: &str, value: Value) -> String {
    let mut body = forecast();
    *body.pointer_mut(pointer).unwrap() = value;
    body.to_string()
}

#[tokio::test]
async fn bodies_that_do_not_fit_give_nothing() {
    let whole = forecast().to_string();
    let temperature = "/properties/timeseries/1/data/instant/details/air_temperature";
    let time = "/properties/timeseries/1/time";
    let (meta, steps) = ("/properties/meta/units", "/properties/timeseries");
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "not the JSON"),
        ("<!DOCTYPE html><html><body>busy</body></html>".to_owned(), "web page"),
        (String::new(), "empty"),
        ("null".to_owned(), "not the JSON"),
        ("[]".to_owned(), "not the JSON"),
        ("{}".to_owned(), "does not fit"),
        (
            whole.replacen("{\"type\"", "{\"geometry\":{\"coordinates\":[10,60.1]},\"type\"", 1),
            "duplicate field",
        ),
        (
            whole.replacen("{\"air_temperature\":5.2", "{\"air_temperature\":5,\"air_temperature\":6", 1),
            "duplicate",
        ),
        (with(temperature, json!(1e308)), "outside -60 to 60"),
        (with(temperature, json!(-60.5)), "outside -60 to 60"),
        (with(temperature, json!("mild")), "does not fit"),
        (whole.replacen("\"air_temperature\":5.2", "\"air_temperature\":1e999", 1), "not the JSON"),
        (with(&format!("{meta}/air_temperature"), json!("fahrenheit")), "expected celsius"),
        (with(meta, json!({})), "does not fit"),
        (with(&format!("{meta}/dew_point_temperature"), json!("K")), "dew point in `K`"),
        (with(&format!("{meta}/precipitation_amount"), json!("inch")), "expected mm"),
        (with(&format!("{meta}/relative_humidity"), json!("1")), "expected %"),
        (with(&format!("{meta}/wind_speed"), json!("knots")), "wind in `knots`; expected m/s"),
        (with(&format!("{meta}/wind_speed_of_gust"), json!("km/h")), "gusts in `km/h`"),
        (with(time, json!("2026-05-01T05:00:00Z")), "out of order"),
        (with(time, json!("2026-05-01T04:00:00Z")), "out of order"),
        (with(time, json!("2027-05-01T06:00:00Z")), "another than asked for"),
        (with("/properties/timeseries/0/time", json!("2025-05-01T05:00:00Z")), "another than asked for"),
        (with(time, json!("0026-05-01T06:00:00Z")), "outside the years"),
        (with(time, json!("06:00")), "is not a time"),
        (with(time, json!(1_777_615_200)), "does not fit"),
        (with(steps, json!([])), "no temperature after"),
        (with(steps, json!([forecast()["properties"]["timeseries"][0]])), "no temperature after"),
        (with("/geometry/coordinates", json!([10.2, 60.1235])), "another place, 60.1235, 10.2"),
        (with("/geometry/coordinates", json!([60.1235, 10])), "another place"),
        (with("/geometry/coordinates", json!([10])), "without coordinates"),
    ];
    for (text, expected) in cases {
        let answer = ResponseTemplate::new(200)
            .set_body_raw(text.clone(), "application/json")
            .insert_header("expires", EXPIRY);
        let error = asked(answer).await.unwrap_err();
        assert!(error.to_string().contains(expected), "{text:.80}: {error}");
        // Something else than a forecast may come whole the next time; the same
        // forecast comes again until it is over.
        let again = match error.cause {
            Cause::Unfit(_) => at("2026-05-01T05:55:12Z"),
            _ => now().plus(300),
        };
        assert_eq!(error.retry, Retry::At(again), "{error}");
    }
    let long = ResponseTemplate::new(200).set_body_string(" ".repeat(10 * 1024 * 1024));
    assert_eq!(asked(long).await.unwrap_err().cause, Cause::TooLong(MOST_BYTES));
}

#[test]
fn what_no_air_has_is_left_out_of_a_good_forecast() {
    let body = with("/properties/timeseries/1/data/instant/details/wind_speed", json!(1e308));
    let answer = answer::read(body.as_bytes(), &cell(None), now()).unwrap();
    assert_eq!(answer.air[1], Air { rain_mm: Some(0.4), ..Air::at(at("2026-05-01T06:00:00Z")) });
    assert_eq!(answer.forecast.unwrap().hours.len(), 3);
}

#[test]
fn an_issue_that_cannot_be_is_the_fetch() {
    let cases = [
        (json!("2026-05-01T05:20:00Z"), "2026-05-01T05:20:00Z"),
        (json!("2026-05-01T05:20:01Z"), "2026-05-01T05:20:00Z"),
        (json!("this morning"), "2026-05-01T05:20:00Z"),
        (json!(null), "2026-05-01T05:20:00Z"),
        (json!("2026-04-30T22:10:00+02:00"), "2026-04-30T20:10:00Z"),
    ];
    for (said, expected) in cases {
        let body = with("/properties/meta/updated_at", said.clone());
        let answer = answer::read(body.as_bytes(), &cell(None), now()).unwrap();
        assert_eq!(answer.forecast.unwrap().issued_at, at(expected), "{said}");
    }
}

#[test]
fn the_date_line_parts_no_place() {
    let body = with("/geometry/coordinates", json!([-179.9999, 60.1235, 3]));
    let asked = CellRequest { longitude: 179.9999, ..cell(None) };
    assert!(answer::read(body.as_bytes(), &asked, now()).is_ok());
}

#[tokio::test]
async fn redirects_stay_on_the_host_and_keep_the_name() {
    let other = MockServer::start().await;
    Mock::given(everything()).respond_with(good()).mount(&other).await;
    let to = |place: &str| ResponseTemplate::new(301).insert_header("location", place);
    let error = asked(to(&other.uri())).await.unwrap_err();
    assert!(matches!(error.cause, Cause::Redirected(_)), "{error}");
    assert_eq!(error.retry, Retry::At(now().plus(3_600)));
    assert!(other.received_requests().await.unwrap().is_empty());

    let server = serving(to("/weatherapi/locationforecast/2.1/compact")).await;
    Mock::given(path("/weatherapi/locationforecast/2.1/compact")).respond_with(good()).mount(&server).await;
    asked_of(&server, cell(first_memory().as_deref())).await.unwrap();
    let request = &server.received_requests().await.unwrap()[1];
    assert_eq!(request.headers.get("user-agent").unwrap(), AGENT);
    assert_eq!(request.headers.get("if-modified-since").unwrap(), CHANGED);
}

#[tokio::test]
async fn what_cannot_be_asked_is_never_sent() {
    let server = serving(good()).await;
    let feed = feed_at(server.uri()).unwrap();
    let nowhere = [CellRequest { latitude: f64::NAN, ..cell(None) }];
    let deep = [CellRequest { elevation_m: Some(f64::INFINITY), ..cell(None) }];
    for cells in [&[cell(None), cell(None)][..], &nowhere, &deep] {
        let error = feed.fetch(cells, now()).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
        assert_eq!(error.retry, Retry::Never);
    }
    assert_eq!(feed.fetch(&[], now()).await, Ok(vec![]));
    assert!(server.received_requests().await.unwrap().is_empty());
}

#[test]
fn wrong_settings_are_named() {
    let some = |contact: &str| Some(contact.to_owned());
    let good = Settings { contact: some("ops@orchard.example"), ..Settings::default() };
    let cases = [
        (Settings { base_url: "api.met.no".to_owned(), ..good.clone() }, "base URL"),
        (Settings { base_url: "https://api.met.no?x=1".to_owned(), ..good.clone() }, "base URL"),
        (Settings { contact: None, ..good.clone() }, "contact"),
        (Settings { contact: some("  "), ..good.clone() }, "contact"),
        (Settings { contact: some("two\nlines"), ..good.clone() }, "contact"),
    ];
    let client = local_client();
    for (settings, expected) in cases {
        let cause = MetNorway::new(settings, client.clone()).unwrap_err();
        assert!(cause.to_string().contains(expected), "{cause}");
    }
    let feed = MetNorway::new(good, client).unwrap();
    assert_eq!((feed.provider(), feed.kind(), feed.most_cells()), ("met-norway", Kind::ModelAnalysis, 1));
}

proptest! {
    #[test]
    fn no_body_is_a_panic(body in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = answer::read(&body, &cell(None), now());
    }

    #[test]
    fn no_change_of_a_good_body_is_a_panic(
        begin in any::<prop::sample::Index>(),
        length in 0_usize..40,
        put in prop_oneof!["[-0-9eE.\",:{}\\[\\]]{0,12}", "(null|true|1e308|-1e308|9223372036854775808)"],
    ) {
        let mut body = forecast().to_string().into_bytes();
        let begin = begin.index(body.len());
        let end = (begin + length).min(body.len());
        body.splice(begin..end, put.into_bytes());
        if let Ok(answer) = answer::read(&body, &cell(None), now()) {
            let hours = answer.forecast.unwrap().hours;
            prop_assert!(hours.iter().all(|hour| hour.celsius.abs() <= 60.0));
            prop_assert!(hours.is_sorted_by(|a, b| a.at < b.at));
        }
    }
}
