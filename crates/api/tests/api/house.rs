//! A house of its own for each test.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicUsize, Ordering};

use api::{App, Provider};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode, header};
use model::catalogue::{Catalogue, Rules};
use model::series::Kind;
use model::time::{Clock, Instant};
use serde_json::{Value, json};
use sqlx::Connection;
use store::Store;
use tower::ServiceExt;

/// The moment at which the tests begin: 3 June 2013, after the readings of
/// `tests/data/spring-2013.csv`.
pub const NOW: &str = "2013-06-03T12:00:00Z";
const MOST_BYTES: usize = 64 * 1024 * 1024;

pub struct Set(AtomicI64);

impl Clock for Set {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }

    fn sleep_until(&self, _: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

pub struct House {
    _dir: tempfile::TempDir,
    pub store: Store,
    pub router: Router,
    pub token: String,
    clock: Arc<Set>,
    pokes: Arc<AtomicUsize>,
}

/// An answer with its body read: JSON, or text where it is none.
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Value,
}

pub fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

/// The curves, materials and tables that ship.
pub fn shipped_catalogue() -> Catalogue {
    let table = |text| toml::from_str::<Value>(text).unwrap();
    let rules = Rules::read(
        &table(include_str!("../../../../config/cultivars.toml")),
        &table(include_str!("../../../../config/verdict.toml")),
        &table(include_str!("../../../../config/records.toml")),
    );
    let catalogue = Catalogue::read(
        &table(include_str!("../../../../config/curves.toml")),
        &table(include_str!("../../../../config/materials.toml")),
    );
    catalogue.unwrap().ruled_by(rules.unwrap())
}

/// The API over a database.
fn router(store: &Store, clock: &Arc<Set>, pokes: &Arc<AtomicUsize>, requests_a_minute: u32) -> Router {
    let counted = pokes.clone();
    api::router(App {
        sound: std::sync::Arc::new(true.into()),
        store: store.clone(),
        clock: clock.clone(),
        catalogue: shipped_catalogue(),
        thresholds: Arc::default(),
        providers: vec![Provider {
            name: "open-meteo",
            kind: Kind::ModelAnalysis,
            attribution: "Weather data by Open-Meteo.com",
            limits: &[(60, 420), (3_600, 3_500)],
            cell: |place| place.grid_cell().key,
        }],
        poke: Arc::new(move |_| {
            counted.fetch_add(1, Ordering::SeqCst);
        }),
        callable: Arc::new(|url| match url {
            "http://127.0.0.1/" => Err("127.0.0.1 is no public address".into()),
            _ => Ok(()),
        }),
        requests_a_minute,
        version: "0.0.0-test",
    })
}

impl House {
    pub async fn new() -> House {
        House::limited(0).await
    }

    /// One in which a token has so many requests a minute; 0 for no limit.
    pub async fn limited(requests_a_minute: u32) -> House {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
        let token = access::first_token(&store, at(NOW)).await.unwrap().unwrap();
        let clock = Arc::new(Set(AtomicI64::new(at(NOW).0)));
        let pokes = Arc::new(AtomicUsize::new(0));
        let router = router(&store, &clock, &pokes, requests_a_minute);
        House { _dir: dir, store, router, token, clock, pokes }
    }

    /// Another instance on the same database.
    pub async fn second(&self) -> House {
        let path = self._dir.path().join("t.db");
        let store = Store::open(path.to_str().unwrap()).await.unwrap();
        let router = router(&store, &self.clock, &self.pokes, 0);
        let token = self.token.clone();
        let (clock, pokes) = (self.clock.clone(), self.pokes.clone());
        House { _dir: tempfile::tempdir().unwrap(), store, router, token, clock, pokes }
    }

    /// Changes the database behind the API's back.
    pub async fn execute(&self, sql: &'static str) {
        let path = self._dir.path().join("t.db");
        let mut raw = sqlx::SqliteConnection::connect(path.to_str().unwrap()).await.unwrap();
        sqlx::query(sql).execute(&mut raw).await.unwrap();
    }

    /// Takes back that the request with this key was answered.
    pub async fn forget_answer_body(&self, key: &str) {
        let path = self._dir.path().join("t.db");
        let mut raw = sqlx::SqliteConnection::connect(path.to_str().unwrap()).await.unwrap();
        let update = sqlx::query("UPDATE answer SET status = NULL, body = NULL WHERE key = $1").bind(key);
        assert_eq!(update.execute(&mut raw).await.unwrap().rows_affected(), 1);
    }

    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    pub fn set_clock(&self, text: &str) {
        self.clock.0.store(at(text).0, Ordering::SeqCst);
    }

    /// How often the loops were woken since this was last asked.
    pub fn pokes(&self) -> usize {
        self.pokes.swap(0, Ordering::SeqCst)
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (status, headers) = (response.status(), response.headers().clone());
        let bytes = to_bytes(response.into_body(), MOST_BYTES).await.unwrap();
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        let body = serde_json::from_str(&text).unwrap_or(Value::String(text));
        Answer { status, headers, body }
    }

    pub fn request(
        &self,
        method: Method,
        path: &str,
        content_type: Option<&str>,
        body: impl Into<Body>,
    ) -> Request<Body> {
        let changes = [Method::PUT, Method::PATCH, Method::DELETE].contains(&method);
        let mut request = Request::builder()
            .method(method)
            .uri(format!("/api/v1/{path}"))
            .header(header::AUTHORIZATION, format!("Bearer {}", self.token));
        if changes {
            // Whatever is there.
            request = request.header(header::IF_MATCH, "*");
        }
        if let Some(content_type) = content_type {
            request = request.header(header::CONTENT_TYPE, content_type);
        }
        request.body(body.into()).unwrap()
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(self.request(Method::GET, path, None, Body::empty())).await
    }

    pub async fn post(&self, path: &str, document: Value) -> Answer {
        self.send(self.request(Method::POST, path, Some("application/json"), document.to_string())).await
    }

    pub async fn put(&self, path: &str, document: Value) -> Answer {
        self.send(self.request(Method::PUT, path, Some("application/json"), document.to_string())).await
    }

    pub async fn delete(&self, path: &str) -> Answer {
        self.send(self.request(Method::DELETE, path, None, Body::empty())).await
    }

    pub async fn patch(&self, path: &str, document: Value) -> Answer {
        let kind = Some("application/merge-patch+json");
        self.send(self.request(Method::PATCH, path, kind, document.to_string())).await
    }

    pub async fn upload(&self, source: &str, file: impl Into<Body>) -> Answer {
        let path = format!("sites/ridge/readings?source={source}");
        self.send(self.request(Method::POST, &path, Some("text/csv"), file)).await
    }

    /// A farm `alder`, its site `ridge` with the sources `mast` (files), `book`
    /// (hand) and `sky` (feed), and the server's own site `county`.
    pub async fn furnished() -> House {
        let house = House::new().await;
        let farm = json!({"id": "alder", "name": "Alder Ridge Orchards", "alert_emails": ["crew@alder-ridge.example"]});
        house.post("farms", farm).await.expect(201);
        house.post("sites", ridge()).await.expect(201);
        let county = json!({"id": "county", "name": "County", "farm_id": null, "latitude": 40.7, "longitude": -74.2, "time_zone": "America/New_York"});
        house.post("sites", county).await.expect(201);
        let mast = json!({"id": "mast", "name": "Mast, 2 m", "way": "file", "mapping": mapping()});
        house.post("sites/ridge/sources", mast).await.expect(201);
        house
            .post("sites/ridge/sources", json!({"id": "book", "name": "Log book", "way": "hand"}))
            .await
            .expect(201);
        let sky = json!({"id": "sky", "name": "=Sky", "way": "feed", "provider": "open-meteo"});
        house.post("sites/ridge/sources", sky).await.expect(201);
        house.pokes();
        house
    }

    /// The same with the block `bench`.
    pub async fn planted() -> House {
        let house = House::furnished().await;
        house.post("blocks", bench()).await.expect(201);
        house.pokes();
        house
    }
}

impl Answer {
    /// Checks the status, and shows the body where it is another.
    #[track_caller]
    pub fn expect(self, status: u16) -> Value {
        assert_eq!(self.status.as_u16(), status, "{}", self.body);
        self.body
    }

    /// Checks that this is a whole problem with a fault at `place`, a pointer
    /// or the name of a parameter; gives what it says of it.
    #[track_caller]
    pub fn fault(&self, status: u16, place: &str) -> String {
        self.problem(status);
        let errors = self.body["errors"].as_array().unwrap();
        let found = errors.iter().find(|error| error["pointer"] == place || error["parameter"] == place);
        let found = found.unwrap_or_else(|| panic!("no fault at `{place}`: {}", self.body));
        found["detail"].as_str().unwrap().to_owned()
    }

    /// Checks that this is a whole problem.
    #[track_caller]
    pub fn problem(&self, status: u16) {
        assert_eq!(self.status.as_u16(), status, "{}", self.body);
        assert_eq!(self.headers[header::CONTENT_TYPE], "application/problem+json", "{}", self.body);
        assert_eq!(self.body["status"], status, "{}", self.body);
        assert_eq!(self.body["request_id"], self.headers["x-request-id"].to_str().unwrap(), "{}", self.body);
        for field in ["type", "title", "detail"] {
            assert!(self.body[field].as_str().is_some_and(|text| !text.is_empty()), "{field}: {}", self.body);
        }
        assert!(self.body["errors"].is_array(), "{}", self.body);
    }
}

pub fn ridge() -> Value {
    json!({
        "id": "ridge", "farm_id": "alder", "name": "Ridge",
        "latitude": 40.6925, "longitude": -74.1687, "elevation_m": 30, "time_zone": "America/New_York",
    })
}

pub fn mapping() -> Value {
    json!({
        "time_column": "time_hour", "time_format": "rfc3339", "temperature_column": "temp",
        "unit": "fahrenheit", "kind": "instant", "where": {"origin": "EWR"},
    })
}

pub fn bench() -> Value {
    json!({
        "id": "bench", "farm_id": "alder", "site_id": "ridge", "name": "North Bench",
        "cultivar": "Gala", "curve": "reference", "style_length_mm": 8.8,
        "flowers_per_cluster": 5, "target_fruit_per_tree": 115,
    })
}

pub fn plan() -> Value {
    json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}]})
}

pub fn counts() -> [Value; 2] {
    [
        json!({"id": "count-1", "kind": "open-count", "at": "2013-04-28T10:00:00-04:00", "open_per_tree": [41, 66, 58, 47, 73]}),
        json!({"id": "count-2", "kind": "open-count", "at": "2013-04-29T10:00:00-04:00", "open_per_tree": [96, 131, 104, 122, 141]}),
    ]
}

pub fn spray() -> Value {
    json!({
        "id": "spray-1", "kind": "spray", "material": "ammonium-thiosulfate",
        "at": "2013-05-01T17:10:00-04:00", "finished_at": "2013-05-01T18:30:00-04:00",
    })
}

/// Real readings of two stations; see `tests/data/README.md`.
pub const SPRING: &str = include_str!("../../../../tests/data/spring-2013.csv");
/// Rows of Newark in it.
pub const NEWARK_ROWS: u64 = 1501;
/// Rows of both.
pub const ALL_ROWS: u64 = 3001;

/// A short file in °F with a row for each temperature, hour by hour from
/// midnight UTC on 1 May 2013.
pub fn short_file(temperatures: &[&str]) -> String {
    let row =
        |(hour, temperature): (usize, &&str)| format!("EWR,{temperature},2013-05-01T{hour:02}:00:00Z\n");
    let rows: String = temperatures.iter().enumerate().map(row).collect();
    format!("origin,temp,time_hour\n{rows}")
}
