//! Every failure, of every feed: nothing comes of it, and its cause is named.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use model::time::{DAY, HOUR, Instant};
use wiremock::matchers::{any, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

use super::bodies::{self, CELSIUS};
use super::local_client;
use crate::feeds::bright_sky::{self, BrightSky};
use crate::feeds::met_norway::{self, MetNorway};
use crate::feeds::nws::{self, Nws};
use crate::feeds::open_meteo::{self, OpenMeteo};
use crate::feeds::reach::Client;
use crate::feeds::{Cause, CellAnswer, CellRequest, Feed, FeedError, Retry};

/// Longest answer of any of them for one cell.
const MOST: usize = nws::MOST_OBSERVATIONS_BYTES;

pub(super) fn now() -> Instant {
    Instant::parse("2026-05-01T10:30:00Z").unwrap()
}

/// A feed, and what a server has to answer so that it tells something.
pub(super) struct Tried {
    pub(super) provider: &'static str,
    pub(super) feed: fn(String, Client) -> Box<dyn Feed>,
    pub(super) cell: CellRequest,
    /// Paths with their bodies, of hours that lie so far from the right ones.
    pub(super) pages: fn(i64) -> Vec<(&'static str, String)>,
    /// Reading the system's certificates takes a while, so there is one for all.
    client: Client,
    /// A piece of a body about temperature, and the same with a key said twice.
    twice: (&'static str, &'static str),
    /// A piece that says of where a body tells, and the same of elsewhere.
    elsewhere: (&'static str, &'static str),
}

fn cell(latitude: f64, longitude: f64, memory: Option<&str>) -> CellRequest {
    let memory = memory.map(str::to_owned);
    CellRequest { cell: "cell".to_owned(), latitude, longitude, elevation_m: None, memory }
}

pub(super) fn all() -> [Tried; 4] {
    let open_meteo = |shift: i64| {
        let first = Instant::parse("2026-04-28T00:00:00Z").unwrap().plus(shift);
        vec![("/v1/forecast", bodies::open_meteo(1, first, 8 * 24))]
    };
    let bright_sky = |shift: i64| {
        let first = Instant::parse("2026-04-28T10:00:00Z").unwrap().plus(shift);
        vec![("/weather", bodies::bright_sky(first, 8 * 24, now().plus(shift)))]
    };
    let met_norway = |shift: i64| {
        let first = Instant::parse("2026-05-01T10:00:00Z").unwrap().plus(shift);
        vec![("/weatherapi/locationforecast/2.0/compact", bodies::met_norway(first))]
    };
    let nws = |shift: i64| {
        let first = Instant::parse("2026-05-01T10:00:00Z").unwrap().plus(shift);
        vec![
            ("/gridpoints/OKX/33,35", bodies::nws_grid(first, 24)),
            ("/stations/KNEA/observations", bodies::nws_observations(first.plus(-9 * 60), 24)),
        ]
    };
    let client = local_client();
    let known = r#"{"grid":"OKX","x":33,"y":35,"station":{"id":"KNEA","read_to":null},"grid_modified":null}"#;
    [
        Tried {
            provider: open_meteo::PROVIDER,
            feed: |base_url, client| {
                let settings = open_meteo::Settings { base_url, ..open_meteo::Settings::default() };
                Box::new(OpenMeteo::new(settings, client).unwrap())
            },
            cell: cell(40.7, 7.6, None),
            pages: open_meteo,
            client: client.clone(),
            twice: ("\"temperature_2m\":[", "\"temperature_2m\":[],\"temperature_2m\":["),
            // Of one place there is nothing to tell it by but its number.
            elsewhere: ("{\"latitude\"", "{\"location_id\":3,\"latitude\""),
        },
        Tried {
            provider: bright_sky::PROVIDER,
            feed: |base_url, client| {
                Box::new(BrightSky::new(bright_sky::Settings { base_url }, client).unwrap())
            },
            cell: cell(52.1235, 7.6, None),
            pages: bright_sky,
            client: client.clone(),
            twice: ("\"temperature\":11.25", "\"temperature\":null,\"temperature\":11.25"),
            elsewhere: ("\"lat\":52.1344", "\"lat\":42.1344"),
        },
        Tried {
            provider: met_norway::PROVIDER,
            feed: |base_url, client| {
                let contact = Some("ops@orchard.example".to_owned());
                Box::new(MetNorway::new(met_norway::Settings { base_url, contact }, client).unwrap())
            },
            cell: cell(52.1235, 7.6, None),
            pages: met_norway,
            client: client.clone(),
            twice: ("\"air_temperature\":11.25", "\"air_temperature\":11.25,\"air_temperature\":11.25"),
            elsewhere: ("[7.6,52.1235", "[8.6,52.1235"),
        },
        Tried {
            provider: nws::PROVIDER,
            feed: |base_url, client| {
                let contact = "ops@orchard.example".to_owned();
                Box::new(Nws::new(nws::Settings { base_url, contact }, client).unwrap())
            },
            cell: cell(40.7, -74.006, Some(known)),
            pages: nws,
            client: client.clone(),
            twice: ("\"temperature\": {", "\"temperature\": null, \"temperature\": {"),
            elsewhere: ("", ""),
        },
    ]
}

impl Tried {
    pub(super) async fn ask(&self, server: &MockServer) -> Result<CellAnswer, FeedError> {
        let feed = (self.feed)(server.uri(), self.client.clone());
        let answers = feed.fetch(std::slice::from_ref(&self.cell), now()).await;
        answers.map(|mut answers| answers.remove(0))
    }

    /// What comes of one answer to whatever is asked.
    pub(super) async fn told(&self, answer: ResponseTemplate) -> Result<CellAnswer, FeedError> {
        let server = MockServer::start().await;
        Mock::given(any()).respond_with(answer).mount(&server).await;
        self.ask(&server).await
    }

    /// What comes of its good pages, changed.
    pub(super) async fn changed(
        &self,
        shift: i64,
        change: impl Fn(&str) -> ResponseTemplate,
    ) -> Result<CellAnswer, FeedError> {
        let server = MockServer::start().await;
        for (at, body) in (self.pages)(shift) {
            Mock::given(path(at)).respond_with(change(&body)).mount(&server).await;
        }
        self.ask(&server).await
    }
}

pub(super) fn page(body: impl Into<Vec<u8>>) -> ResponseTemplate {
    page_of_status(200, body)
}

pub(super) fn page_of_status(status: u16, body: impl Into<Vec<u8>>) -> ResponseTemplate {
    ResponseTemplate::new(status).set_body_raw(body.into(), "application/json")
}

fn packed(body: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(body).unwrap();
    encoder.finish().unwrap()
}

fn gzip(body: impl Into<Vec<u8>>) -> ResponseTemplate {
    page(body).insert_header("content-encoding", "gzip")
}

/// No temperature is taken over.
fn nothing(told: &Result<CellAnswer, FeedError>) -> bool {
    match told {
        Ok(answer) => answer.readings.is_empty() && answer.forecast.is_none(),
        Err(_) => true,
    }
}

#[tokio::test]
async fn a_good_answer_is_read_packed_or_not() {
    for tried in all() {
        let plain = tried.changed(0, |body| page(body)).await.unwrap();
        let ahead = plain.forecast.as_ref().unwrap();
        assert!(ahead.hours.iter().all(|hour| hour.celsius == CELSIUS), "{}", tried.provider);
        let readings = plain.readings.iter().all(|reading| reading.celsius == CELSIUS);
        assert!(readings && plain.readings.is_empty() == (tried.provider == "met-norway"));
        let told = tried.changed(0, |body| gzip(packed(body.as_bytes()))).await;
        assert_eq!(told, Ok(plain), "{}", tried.provider);
    }
}

#[tokio::test]
async fn packed_answers_are_asked_for() {
    for tried in all() {
        let server = MockServer::start().await;
        Mock::given(any()).respond_with(page("")).mount(&server).await;
        let _ = tried.ask(&server).await;
        for request in server.received_requests().await.unwrap() {
            assert_eq!(request.headers.get("accept-encoding").unwrap(), "gzip", "{}", tried.provider);
        }
    }
}

#[tokio::test]
async fn what_is_no_answer_gives_nothing_and_is_named() {
    let html = "<!DOCTYPE html><html><body>busy</body></html>";
    let moved = |place: &str| ResponseTemplate::new(302).insert_header("location", place);
    let soon = now().plus(300);
    let whole = packed(&vec![b' '; 400_000]);
    // 300 times as long as what is sent, and the sign of nothing but zeros.
    let bomb = packed(&vec![b' '; 48 << 20]);
    assert!(bomb.len() < MOST / 64, "{}", bomb.len());
    let cases = [
        ("a web page", page(html), "a web page", soon),
        ("nothing", page(""), "an empty body", soon),
        ("blanks", page(" \r\n\t"), "an empty body", soon),
        ("no JSON", page("busy"), "not the JSON", soon),
        ("null", page("null"), "not the JSON", soon),
        ("an empty object", page("{}"), "does not fit", soon),
        ("NaN", page("NaN"), "not the JSON", soon),
        ("no UTF-8", page(vec![b'{', b'"', 0xff, 0xfe, b'"', b'}']), "answer", soon),
        ("a deep nest", page("{\"x\":".repeat(25_000)), "not the JSON", soon),
        ("10 MB", page(" ".repeat(10 << 20)), "longer than", soon),
        ("10 MB of a list", page(format!("[{}1]", "1,".repeat(5 << 20))), "longer than", soon),
        ("10 MB in a string", page(format!("{{\"a\":\"{}\"}}", "a".repeat(10 << 20))), "longer than", soon),
        ("a bomb", gzip(bomb), "longer than", soon),
        ("packed nothing", gzip(packed(b"")), "an empty body", soon),
        ("not packed though said so", gzip("{}"), "broke off", soon),
        ("a pack cut short", gzip(&whole[..whole.len() / 2]), "broke off", soon),
        ("204", ResponseTemplate::new(204), "refuses the request (204)", now().plus(3_600)),
        ("206", ResponseTemplate::new(206), "refuses the request (206)", now().plus(3_600)),
        ("a circle", moved("/again"), "more than 3 times", now().plus(3_600)),
        ("elsewhere", moved("http://weather.example/"), "to another address", now().plus(3_600)),
        ("in here", moved("http://169.254.169.254/latest"), "to another address", now().plus(3_600)),
        ("by FTP", moved("ftp://127.0.0.1/"), "elsewhere", now().plus(3_600)),
        ("500", ResponseTemplate::new(500), "is in trouble (500)", soon),
        (
            "429",
            ResponseTemplate::new(429),
            "asked too often",
            Instant::parse("2026-05-01T11:00:00Z").unwrap(),
        ),
        (
            "429 until a date",
            ResponseTemplate::new(429).insert_header("retry-after", "Fri, 01 May 2026 13:10:00 GMT"),
            "asked too often",
            Instant::parse("2026-05-01T13:10:00Z").unwrap(),
        ),
        (
            "503 until a date far off",
            ResponseTemplate::new(503).insert_header("retry-after", "Fri, 01 May 2099 13:10:00 GMT"),
            "is in trouble (503)",
            now().plus(DAY),
        ),
        (
            "503 until last year",
            {
                let past = ResponseTemplate::new(503);
                past.insert_header("retry-after", "Thu, 01 May 2025 13:10:00 GMT")
            },
            "is in trouble (503)",
            soon,
        ),
    ];
    for tried in all() {
        for (name, answer, expected, retry) in &cases {
            let error = tried.told(answer.clone()).await.unwrap_err();
            let words = error.to_string();
            assert!(words.starts_with(tried.provider) && words.contains(expected), "{name}: {words}");
            assert_eq!(error.retry, Retry::At(*retry), "{name}: {words}");
        }
    }
}

#[tokio::test]
async fn nothing_new_and_answers_on_their_way_out() {
    for tried in all() {
        let error = tried.told(ResponseTemplate::new(304)).await.unwrap_err();
        assert!(error.to_string().contains("304"), "unasked: {error}");
        let out = tried.changed(0, |body| page_of_status(203, body)).await;
        // MET Norway says so of a product that is to end.
        assert_eq!(out.is_ok(), tried.provider == met_norway::PROVIDER, "{out:?}");
    }
}

#[tokio::test]
async fn what_does_not_fit_gives_nothing() {
    let number = CELSIUS.to_string();
    for tried in all() {
        let name = tried.provider;
        for other in ["NaN", "-Infinity", "1e999", "1e308", "-1e308", "284.4", "\"mild\"", "[]", "11.25.1"] {
            let told = tried.changed(0, |body| page(body.replace(&number, other))).await;
            assert!(nothing(&told), "{name}: {other}: {told:?}");
        }
        for years in [-1, 1, 100] {
            let told = tried.changed(years * 365 * DAY, |body| page(body)).await;
            assert!(nothing(&told), "{name}: {years} years off: {told:?}");
        }
        let told = tried.changed(0, |body| page(body.replace(tried.twice.0, tried.twice.1))).await;
        assert!(
            told.as_ref().is_err_and(|error| error.to_string().contains("duplicate")),
            "{name}: {told:?}"
        );
        let other = |body: &str| match tried.provider {
            nws::PROVIDER => body.replace("KNEA", "KFAR").replace("OKX/33,35", "OKX/34,35"),
            _ => body.replace(tried.elsewhere.0, tried.elsewhere.1),
        };
        let told = tried.changed(0, |body| page(other(body))).await;
        assert!(matches!(&told, Err(FeedError { cause: Cause::Unfit(_), .. })), "{name}: {told:?}");
        for part in [2, 3, 10] {
            let told =
                tried.changed(0, |body| page(&body.as_bytes()[..body.len() - body.len() / part])).await;
            assert!(nothing(&told), "{name}: cut short: {told:?}");
        }
    }
}

/// Six hours apart stay six hours apart, and no hour is made up between.
#[tokio::test]
async fn steps_are_moments_as_they_come() {
    let all = all();
    let met = all.iter().find(|tried| tried.provider == met_norway::PROVIDER).unwrap();
    let hours = met.changed(0, |body| page(body)).await.unwrap().forecast.unwrap().hours;
    let steps: Vec<i64> = hours.windows(2).map(|two| two[1].at.since(two[0].at) / HOUR).collect();
    assert_eq!(steps, [vec![1; 54], vec![6; 32]].concat());
    assert!(hours.iter().all(|hour| hour.span == 0));
    // Six hours are more than the hours of a season are joined over.
    const { assert!(6 * HOUR > model::series::JOINED) };
}
