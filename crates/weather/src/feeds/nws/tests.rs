//! The feed as a whole, against a server that answers as documented.

mod bodies;
mod failures;
mod readers;

use serde_json::{Value, json};
use wiremock::matchers::{header, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

use self::bodies::{grid, hourly, observation, observations, point, stations, temperature};
use super::*;
use crate::feeds::Retry;
use crate::feeds::tests::local_client;

const AGENT: &str = concat!("bloomtide/", env!("CARGO_PKG_VERSION"), " (ops@orchard.example)");
const MODIFIED: &str = "Fri, 01 May 2026 11:12:33 GMT";
const GRID: &str = "/gridpoints/OKX/33,35";
const OBSERVATIONS: &str = "/stations/KNEA/observations";

fn now() -> Instant {
    at("2026-05-01T12:20:00Z")
}

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn cell() -> CellRequest {
    CellRequest {
        cell: "low".to_owned(),
        latitude: 40.70,
        longitude: -74.006,
        elevation_m: None,
        memory: None,
    }
}

/// The cell with its place already looked up.
fn known_cell() -> CellRequest {
    let station = Some(station("KNEA"));
    let square = Memory::of_square("OKX".to_owned(), 33, 35).unwrap();
    let memory = Memory { station, grid_modified: Some(MODIFIED.to_owned()), ..square };
    CellRequest { memory: memory.write(), ..cell() }
}

/// A station of which nothing is known but its name.
fn station(id: &str) -> Station {
    Station { id: id.to_owned(), elevation_m: None, read_to: None }
}

fn memory(answer: &CellAnswer) -> Memory {
    Memory::read(answer.memory.as_deref().unwrap()).unwrap()
}

fn feed_at(base_url: String) -> Nws {
    let settings = Settings { base_url, contact: "ops@orchard.example".to_owned() };
    Nws::new(settings, local_client()).unwrap()
}

async fn fetch(server: &MockServer, cell: CellRequest) -> Result<CellAnswer, FeedError> {
    feed_at(server.uri()).fetch(&[cell], now()).await.map(|mut answers| {
        assert_eq!(answers.len(), 1);
        answers.remove(0)
    })
}

fn answering(body: &Value) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(body.to_string(), "application/geo+json")
}

fn good_grid() -> ResponseTemplate {
    good_grid_of("OKX/33,35")
}

fn good_grid_of(square: &str) -> ResponseTemplate {
    let hours = json!([
        { "validTime": "2026-05-01T11:00:00+00:00/PT3H", "value": 7.5 },
        { "validTime": "2026-05-01T14:00:00+00:00/PT1H", "value": 6.25 },
    ]);
    let mut body = grid(json!({ "temperature": temperature(hours) }));
    body["properties"]["@id"] = json!(format!("https://api.weather.gov/gridpoints/{square}"));
    answering(&body).insert_header("last-modified", MODIFIED)
}

fn good_observations() -> ResponseTemplate {
    answering(&observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(8.3), "V")]))
}

async fn put(server: &MockServer, at: &str, answer: ResponseTemplate) {
    Mock::given(method("GET"))
        .and(path(at))
        .and(header("accept", "application/geo+json"))
        .and(header("user-agent", AGENT))
        .respond_with(answer)
        .mount(server)
        .await;
}

/// A service that answers everything, except what was mounted before.
async fn put_the_rest(server: &MockServer) {
    put(server, "/points/40.7,-74.006", answering(&point("OKX", 33, 35))).await;
    put(server, &format!("{GRID}/stations"), answering(&stations())).await;
    put(server, GRID, good_grid()).await;
    put(server, OBSERVATIONS, good_observations()).await;
}

async fn paths(server: &MockServer) -> Vec<String> {
    server.received_requests().await.unwrap().iter().map(|request| request.url.path().to_owned()).collect()
}

#[tokio::test]
async fn a_new_place_is_looked_up_and_remembered() {
    let server = MockServer::start().await;
    Mock::given(path(OBSERVATIONS))
        .and(query_param("start", "2026-04-28T12:00:00Z"))
        .and(query_param("limit", "500"))
        .and(query_param_is_missing("end"))
        .respond_with(good_observations())
        .expect(1)
        .mount(&server)
        .await;
    put_the_rest(&server).await;
    let answer = fetch(&server, cell()).await.unwrap();
    assert_eq!(
        paths(&server).await,
        ["/points/40.7,-74.006", GRID, "/gridpoints/OKX/33,35/stations", OBSERVATIONS]
    );
    assert_eq!(answer.cell, "low");
    let readings: Vec<_> = answer.readings.iter().map(|r| (r.at, r.span, r.celsius)).collect();
    assert_eq!(readings, [(at("2026-05-01T11:51:00Z"), 0, 8.3)], "to the second as given");
    let forecast = answer.forecast.as_ref().unwrap();
    assert_eq!(forecast.issued_at, at("2026-05-01T11:12:33Z"));
    let hours: Vec<_> = forecast.hours.iter().map(|r| (r.at, r.celsius)).collect();
    assert_eq!(
        hours,
        [(at("2026-05-01T13:00:00Z"), 7.5), (at("2026-05-01T14:00:00Z"), 6.25)],
        "only hours ahead"
    );
    assert_eq!(answer.not_before, None);
    let memory = memory(&answer);
    assert_eq!((memory.grid.as_str(), memory.x, memory.y), ("OKX", 33, 35));
    assert_eq!(memory.grid_modified.as_deref(), Some(MODIFIED));
    let station = memory.station.unwrap();
    assert_eq!(
        (station.id.as_str(), station.elevation_m, station.read_to),
        ("KNEA", Some(3.0), Some(at("2026-05-01T11:51:00Z"))),
        "the nearest, not the first of the list"
    );
}

#[tokio::test]
async fn a_remembered_place_is_not_looked_up_and_an_old_grid_not_sent_again() {
    let server = MockServer::start().await;
    Mock::given(path(GRID))
        .and(|request: &wiremock::Request| {
            request.headers.get("if-modified-since").is_some_and(|time| time == MODIFIED)
        })
        .respond_with(ResponseTemplate::new(304))
        .expect(1)
        .mount(&server)
        .await;
    put_the_rest(&server).await;
    let answer = fetch(&server, known_cell()).await.unwrap();
    assert_eq!(paths(&server).await, [GRID, OBSERVATIONS]);
    assert_eq!((answer.readings.len(), &answer.forecast), (1, &None));
    assert_eq!(memory(&answer).grid_modified.as_deref(), Some(MODIFIED));
    // A 304 that nobody asked for is not taken for an answer.
    let first = fetch(&server, CellRequest { memory: Some("not ours".to_owned()), ..cell() }).await.unwrap();
    assert!(first.forecast.is_some());
    assert_eq!(paths(&server).await[2], "/points/40.7,-74.006");
}

#[tokio::test]
async fn a_square_that_is_gone_is_looked_up_anew_once() {
    let server = MockServer::start().await;
    put(&server, "/points/40.7,-74.006", answering(&point("PHI", 50, 60))).await;
    put(&server, "/gridpoints/PHI/50,60", good_grid_of("PHI/50,60")).await;
    put(&server, "/gridpoints/PHI/50,60/stations", answering(&stations())).await;
    put(&server, OBSERVATIONS, good_observations()).await;
    let answer = fetch(&server, known_cell()).await.unwrap();
    assert_eq!(memory(&answer).grid, "PHI");
    assert!(answer.forecast.is_some() && answer.readings.len() == 1);

    // The new square is not there either: no second look.
    let server = MockServer::start().await;
    put(&server, "/points/40.7,-74.006", answering(&point("OKX", 33, 35))).await;
    let error = fetch(&server, known_cell()).await.unwrap_err();
    assert!(matches!(error.cause, Cause::Refused { status: 404, .. }), "{error}");
    let looked = paths(&server).await.iter().filter(|path| path.starts_with("/points")).count();
    assert_eq!(looked, 1);
}

#[tokio::test]
async fn a_station_that_is_gone_loses_no_forecast_while_the_look_up_fails() {
    let server = MockServer::start().await;
    put(&server, GRID, good_grid()).await;
    put(&server, "/points/40.7,-74.006", ResponseTemplate::new(500)).await;
    let answer = fetch(&server, known_cell()).await.unwrap();
    assert!(answer.forecast.is_some() && answer.readings.is_empty());
    assert!(paths(&server).await.contains(&"/points/40.7,-74.006".to_owned()));
}

#[tokio::test]
async fn a_silent_station_gives_way_to_the_next() {
    let server = MockServer::start().await;
    // KNEA is null throughout, KMID is listed without observations.
    let silent = observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(null), "Z")]);
    put(&server, OBSERVATIONS, answering(&silent)).await;
    let told = observations("KFAR", &[("2026-05-01T11:53:00+00:00", json!(9.0), "V")]);
    put(&server, "/stations/KFAR/observations", answering(&told)).await;
    put_the_rest(&server).await;
    let first = fetch(&server, known_cell()).await.unwrap();
    assert!(first.readings.is_empty() && first.forecast.is_some());
    assert_eq!(memory(&first).station, None, "forgotten");
    let second = fetch(&server, CellRequest { memory: first.memory, ..cell() }).await.unwrap();
    assert_eq!(second.readings[0].celsius, 9.0);
    assert_eq!(memory(&second).station.unwrap().id, "KFAR");

    // A passing fault of the nearest moves nothing.
    let server = MockServer::start().await;
    put(&server, OBSERVATIONS, ResponseTemplate::new(500)).await;
    put(&server, "/stations/KFAR/observations", answering(&told)).await;
    put_the_rest(&server).await;
    let answer = fetch(&server, cell()).await.unwrap();
    assert!(answer.readings.is_empty() && memory(&answer).station.is_none());
}

#[tokio::test]
async fn a_full_answer_is_followed_by_an_older_one_unless_that_was_read() {
    let newest = at("2026-05-01T12:15:00Z");
    let many: Vec<(String, Value, &str)> =
        (0..MOST_OBSERVATIONS as i64).map(|n| (newest.plus(-300 * n).to_string(), json!(5.0), "V")).collect();
    let many: Vec<(&str, Value, &str)> =
        many.iter().map(|(at, value, letter)| (at.as_str(), value.clone(), *letter)).collect();
    let oldest = many.last().unwrap().0.to_owned();
    let server = MockServer::start().await;
    let older =
        observations("KNEA", &[("2026-04-29T10:00:00Z", json!(1.0), "V"), (&oldest, json!(5.0), "V")]);
    Mock::given(path(OBSERVATIONS))
        .and(query_param("end", oldest.as_str()))
        .and(query_param("start", "2026-04-28T12:00:00Z"))
        .respond_with(answering(&older))
        .expect(1)
        .mount(&server)
        .await;
    put(&server, OBSERVATIONS, answering(&observations("KNEA", &many))).await;
    put_the_rest(&server).await;
    let first = fetch(&server, known_cell()).await.unwrap();
    assert_eq!(first.readings.len(), MOST_OBSERVATIONS + 1);
    assert_eq!(first.readings[0].celsius, 1.0, "by time");
    assert!(first.readings.is_sorted_by_key(|reading| reading.at));
    let second = fetch(&server, CellRequest { memory: first.memory, ..cell() }).await.unwrap();
    assert_eq!(second.readings.len(), MOST_OBSERVATIONS, "what was read is not asked for again");
}

#[tokio::test]
async fn a_grid_without_temperature_is_made_up_for_by_the_hourly_forecast() {
    let server = MockServer::start().await;
    let wind = json!({ "uom": "wmoUnit:km_h-1", "values": [
        { "validTime": "2026-05-01T13:00:00+00:00/PT1H", "value": 18.0 }
    ] });
    let bare = grid(json!({ "temperature": { "values": [] }, "windSpeed": wind }));
    put(&server, GRID, answering(&bare).insert_header("last-modified", MODIFIED)).await;
    put(&server, &format!("{GRID}/forecast/hourly"), answering(&hourly(json!(50), Some("F")))).await;
    put_the_rest(&server).await;
    let answer = fetch(&server, cell()).await.unwrap();
    let forecast = answer.forecast.as_ref().unwrap();
    assert_eq!(forecast.hours[0], model::series::Reading::instant(at("2026-05-01T13:00:00Z"), 10.0));
    assert_eq!(forecast.issued_at, at("2026-05-01T10:50:36Z"));
    assert_eq!(answer.air.last().unwrap().wind_m_s, Some(5.0));
    assert_eq!(memory(&answer).grid_modified.as_deref(), Some(MODIFIED));

    // The hourly forecast fails: the next fetch must get the grid again.
    let server = MockServer::start().await;
    put(&server, GRID, answering(&bare).insert_header("last-modified", MODIFIED)).await;
    put(&server, &format!("{GRID}/forecast/hourly"), ResponseTemplate::new(500)).await;
    put_the_rest(&server).await;
    let answer = fetch(&server, cell()).await.unwrap();
    assert_eq!((answer.forecast.as_ref(), answer.readings.len()), (None, 1));
    assert_eq!(memory(&answer).grid_modified, None);
}

#[tokio::test]
async fn what_cannot_be_asked_is_never_sent() {
    let server = MockServer::start().await;
    let feed = feed_at(server.uri());
    let nowhere = [CellRequest { latitude: 90.5, ..cell() }];
    let not_a_number = [CellRequest { longitude: f64::NAN, ..cell() }];
    for asked in [&[cell(), cell()][..], &nowhere, &not_a_number] {
        let error = feed.fetch(asked, now()).await.unwrap_err();
        assert!(matches!(error.cause, Cause::Request(_)), "{error}");
        assert_eq!(error.retry, Retry::Never);
    }
    assert_eq!(feed.fetch(&[], now()).await, Ok(vec![]));
    assert!(server.received_requests().await.unwrap().is_empty());
    assert_eq!((feed.most_cells(), feed.interval(), feed.kind()), (1, 3_600, Kind::Station));
    assert_eq!((feed.provider(), feed.attribution().link), ("nws", "https://www.weather.gov/"));
}

#[test]
fn wrong_settings_are_named() {
    let good = Settings { contact: "ops@orchard.example".to_owned(), ..Settings::default() };
    let cases = [
        (Settings::default(), "contact: the National Weather Service answers nobody"),
        (
            Settings { contact: " \t".to_owned(), ..good.clone() },
            "contact: the National Weather Service answers nobody",
        ),
        (Settings { contact: "two\nlines".to_owned(), ..good.clone() }, "contact: has signs"),
        (Settings { base_url: "api.weather.gov".to_owned(), ..good.clone() }, "base URL"),
        (Settings { base_url: "ftp://weather.example".to_owned(), ..good.clone() }, "base URL"),
        (Settings { base_url: "https://weather.example/?a=b".to_owned(), ..good.clone() }, "base URL"),
    ];
    let client = local_client();
    for (settings, expected) in cases {
        let cause = Nws::new(settings, client.clone()).unwrap_err();
        assert!(cause.to_string().contains(expected), "{cause}");
    }
    assert!(Nws::new(good, client).is_ok());
}
