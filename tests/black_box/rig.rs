//! A service with a clock that is set by hand, a weather provider of steady
//! 15 °C, and a real mail listener.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, UNIX_EPOCH};

use black_box::program::{Build, Program, command, eventually};
use black_box::smtp::Listener;
use mail_parser::MessageParser;
use model::time::{DAY, HOUR, Instant};
use serde_json::{Value, json};
use tempfile::TempDir;
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, Request, ResponseTemplate};

/// 1 May 2026, 00:00 UTC.
pub(crate) const BEGIN: Instant = Instant(1_777_593_600);

/// A client of the API.
pub(crate) struct Api {
    client: reqwest::Client,
    base: String,
    token: String,
}

impl Api {
    pub(crate) fn new(base: &str, token: &str) -> Api {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        Api { client, base: base.to_owned(), token: token.to_owned() }
    }

    pub(crate) async fn get(&self, path: &str) -> Value {
        self.ask(self.client.get(format!("{}/{path}", self.base))).await
    }

    pub(crate) async fn post(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.post(format!("{}/{path}", self.base)).json(&body)).await
    }

    pub(crate) async fn put(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.put(format!("{}/{path}", self.base)).json(&body)).await
    }

    /// Changes fields of what stands there, whatever its tag is.
    /// Puts something in the place of what is there, whatever that is.
    pub(crate) async fn set(&self, path: &str, body: Value) -> Value {
        let request = self.client.put(format!("{}/{path}", self.base)).header("if-match", "*");
        self.ask(request.json(&body)).await
    }

    pub(crate) async fn patch(&self, path: &str, body: Value) -> Value {
        let request = self.client.patch(format!("{}/{path}", self.base)).header("if-match", "*").json(&body);
        self.ask(request).await
    }

    /// Secret of the token.
    pub(crate) fn token(&self) -> &str {
        &self.token
    }

    pub(crate) async fn upload(&self, path: &str, csv: String) -> Value {
        let request =
            self.client.post(format!("{}/{path}", self.base)).header("content-type", "text/csv").body(csv);
        self.ask(request).await
    }

    async fn ask(&self, request: reqwest::RequestBuilder) -> Value {
        let answer = request.bearer_auth(&self.token).send().await.unwrap();
        let status = answer.status();
        let body: Value = answer.json().await.unwrap();
        assert!(status.is_success(), "{status}: {body}");
        body
    }
}

/// The clock file and the provider that looks at it.
pub(crate) struct Outside {
    pub(crate) folder: TempDir,
    now: Arc<AtomicI64>,
    pub(crate) weather: MockServer,
}

impl Outside {
    /// A provider that answers.
    pub(crate) async fn new() -> Outside {
        Outside::answering_after(Duration::ZERO).await
    }

    /// A provider that answers after a while.
    pub(crate) async fn answering_after(delay: Duration) -> Outside {
        let now = Arc::new(AtomicI64::new(BEGIN.0));
        let weather = MockServer::start().await;
        let shown = now.clone();
        Mock::given(method("GET"))
            .and(path("/v1/forecast"))
            .respond_with(move |request: &Request| {
                let now = Instant(shown.load(Ordering::SeqCst));
                let answer = steady(request, now);
                let since_1970 = Duration::from_secs(u64::try_from(now.0).unwrap());
                let date = httpdate::fmt_http_date(UNIX_EPOCH + since_1970);
                ResponseTemplate::new(200).set_body_json(answer).insert_header("date", date).set_delay(delay)
            })
            .mount(&weather)
            .await;
        let outside = Outside { folder: tempfile::tempdir().unwrap(), now, weather };
        outside.set(0);
        outside
    }

    /// Sets the clock to some minutes after [`BEGIN`].
    pub(crate) fn set(&self, minutes: i64) {
        let at = BEGIN.plus(minutes * 60);
        self.now.store(at.0, Ordering::SeqCst);
        let part = self.folder.path().join("clock.part");
        std::fs::write(&part, at.to_string()).unwrap();
        std::fs::rename(&part, self.clock()).unwrap();
    }

    fn clock(&self) -> PathBuf {
        self.folder.path().join("clock")
    }

    fn in_folder(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    /// Starts the service; `database` is a URL, or none for SQLite.
    pub(crate) fn serve(&self, database: Option<&str>, mail: Option<&Listener>) -> (Program, String) {
        let smtp = mail.map(|listener| format!("smtp://{}", listener.addr));
        let more: Vec<&str> = smtp.iter().flat_map(|smtp| ["--smtp", smtp]).collect();
        self.serve_with(database, &more)
    }

    /// The same with further settings.
    pub(crate) fn serve_with(&self, database: Option<&str>, more: &[&str]) -> (Program, String) {
        let database = database.map_or_else(|| self.in_folder("bloomtide.db"), str::to_owned);
        let (clock, folder) = (self.clock().display().to_string(), self.in_folder("mail"));
        let journal = self.in_folder("bloomtide.db.journal");
        let (weather, checks) = (self.weather.uri(), self.in_folder("checks.toml"));
        // The provider says 15 °C for ever, which is no real weather.
        std::fs::write(&checks, "flat_suspect_hours = 1000\nflat_fail_hours = 1000\n").unwrap();
        let mut arguments = vec![
            "serve",
            "--trial-clock",
            &clock,
            "--database",
            &database,
            "--listen",
            "127.0.0.1:0",
            "--open-meteo-url",
            &weather,
            "--checks",
            &checks,
            "--allow-feed-hosts",
            "127.0.0.1",
            // The minute of a clock that stands still never ends.
            "--requests-a-minute",
            "0",
            "--journal",
            &journal,
            "--mail-folder",
            &folder,
            "--mail-from",
            "clock@quernstone.example",
        ];
        arguments.extend(more);
        let mut program = Program::start(command(Build::Trial, &arguments));
        let base = program.line("bloomtide serves ");
        (program, base)
    }

    pub(crate) fn mail_folder(&self) -> PathBuf {
        self.folder.path().join("mail")
    }
}

/// The provider's answer: 15 °C at every hour, in the documented shape.
fn steady(request: &Request, now: Instant) -> Value {
    let asked = |name: &str| {
        request
            .url
            .query_pairs()
            .find(|(key, _)| key == name)
            .map(|(_, value)| value.into_owned())
            .unwrap_or_default()
    };
    assert_eq!((asked("timezone").as_str(), asked("timeformat").as_str()), ("GMT", "unixtime"));
    let midnight = now.0.div_euclid(DAY) * DAY;
    let hours: Vec<i64> = (-3 * 24..5 * 24).map(|hour| midnight + hour * HOUR).collect();
    let latitudes: Vec<String> = asked("latitude").split(',').map(str::to_owned).collect();
    let one = |place: usize| {
        let mut answer = json!({
            "latitude": 40.7, "longitude": -74.2, "generationtime_ms": 0.1, "utc_offset_seconds": 0,
            "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 5.0,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°C"},
            "hourly": {"time": hours, "temperature_2m": vec![15.0; hours.len()]},
        });
        if place > 0 {
            answer["location_id"] = json!(place);
        }
        answer
    };
    if latitudes.len() == 1 { one(0) } else { (0..latitudes.len()).map(one).collect() }
}

/// A farm with one site; on it a source and blocks can be put.
pub(crate) async fn farm(api: &Api) {
    let emails = json!(["grower@quernstone.example"]);
    api.post("farms", json!({"id": "farm", "name": "Quernstone", "alert_emails": emails})).await;
}

/// A site of the farm, fed by the provider or by files.
pub(crate) async fn site(api: &Api, id: &str, fed: bool) {
    let place = json!({
        "id": id, "farm_id": "farm", "name": id, "latitude": 40.69, "longitude": -74.17,
        "time_zone": "America/New_York",
    });
    api.post("sites", place).await;
    let source = if fed {
        json!({"id": format!("{id}-source"), "name": "model", "way": "feed", "provider": "open-meteo"})
    } else {
        json!({
            "id": format!("{id}-source"), "name": "mast", "way": "file",
            "mapping": {"time_column": "time", "temperature_column": "celsius", "unit": "celsius", "kind": "instant"},
        })
    };
    api.post(&format!("sites/{id}/sources"), source).await;
}

/// A block whose counts reach its threshold at [`BEGIN`].
pub(crate) async fn block(api: &Api, id: &str, site: &str) {
    let document = json!({
        "id": id, "farm_id": "farm", "site_id": site, "name": id, "cultivar": "Gala", "curve": "reference",
        "target_fruit_per_tree": 100, "area": 1.5, "area_unit": "ha",
    });
    api.post("blocks", document).await;
    api.put(
        &format!("blocks/{id}/seasons/2026/plan"),
        json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}]}),
    )
    .await;
    let count = |name: &str, days: i64, open: i64| json!({"id": name, "kind": "open-count", "at": BEGIN.plus(days * DAY), "open_per_tree": [open, open]});
    log(api, id, json!({"entries": [count("a-count", -1, 50), count("b-count", 0, 100)]})).await;
}

/// Appends to a block's log of 2026.
pub(crate) async fn log(api: &Api, block: &str, entries: Value) {
    api.post(&format!("blocks/{block}/seasons/2026/log"), entries).await;
}

/// Waits until a block's season is in `state` and no longer stale.
pub(crate) async fn state(api: &Api, block: &str, state: &str) -> Value {
    let what = format!("{block} {state}");
    eventually(&what, async || {
        let season = api.get(&format!("blocks/{block}/seasons/2026")).await;
        (season["state"] == state && season["stale"] == false).then_some(season)
    })
    .await
}

/// Waits until the service knows of `count` mails that they were taken.
pub(crate) async fn sent(api: &Api, count: usize) {
    eventually("mails known as sent", async || {
        let mut sent = 0;
        for alert in api.get("alerts?limit=100").await["items"].as_array().unwrap() {
            let alert = api.get(&format!("alerts/{}", alert["id"].as_str().unwrap())).await;
            sent +=
                alert["messages"].as_array().unwrap().iter().filter(|mail| mail["state"] == "sent").count();
        }
        (sent == count).then_some(())
    })
    .await;
}

/// What a mail of ours says: kind and alert id from its header, Message-ID,
/// subject, text.
#[derive(Debug, Clone)]
pub(crate) struct Mail {
    pub(crate) kind: String,
    pub(crate) alert: String,
    pub(crate) header_id: String,
    pub(crate) subject: String,
    pub(crate) text: String,
}

impl Mail {
    /// What a mail tells: one for each alert that it carries; none of a notice.
    pub(crate) fn all(bytes: &[u8]) -> Vec<Mail> {
        let mail = MessageParser::default().parse(bytes).unwrap();
        let Some(told) = mail.header("X-Bloomtide-Alert").and_then(|value| value.as_text()) else {
            return Vec::new();
        };
        let one = |told: &str| {
            let (kind, alert) = told.trim().split_once("; ").unwrap();
            Mail {
                kind: kind.to_owned(),
                alert: alert.trim().to_owned(),
                header_id: mail.message_id().unwrap().to_owned(),
                subject: mail.subject().unwrap().to_owned(),
                text: mail.body_text(0).unwrap().into_owned(),
            }
        };
        // A long header is folded at any of its blanks.
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        told.split(',').map(one).collect()
    }

    /// A mail that carries one alert.
    pub(crate) fn read(bytes: &[u8]) -> Mail {
        let mut all = Mail::all(bytes);
        assert_eq!(all.len(), 1, "{all:?}");
        all.remove(0)
    }

    /// What the mails that a listener took tell.
    pub(crate) fn heard(listener: &Listener) -> Vec<Mail> {
        listener.messages().iter().flat_map(|message| Mail::all(&message.bytes)).collect()
    }

    /// What the mails in a folder tell.
    pub(crate) fn in_folder(folder: &Path) -> Vec<Mail> {
        let Ok(files) = std::fs::read_dir(folder) else { return Vec::new() };
        files
            .map(|file| file.unwrap().path())
            .filter(|path| path.extension().is_some_and(|ending| ending == "eml"))
            .flat_map(|path| Mail::all(&black_box::program::bytes(&path)))
            .collect()
    }
}

/// A season's hours as a file: 15 °C from a day before [`BEGIN`] on.
pub(crate) fn steady_file(hours: i64) -> String {
    let rows = (-24..=hours).map(|hour| format!("{},15.0\n", BEGIN.plus(hour * HOUR)));
    format!("time,celsius\n{}", rows.collect::<String>())
}
