//! A house of its own for each test: the pages over a real SQLite store.

use std::io::Read;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex};

use access::link;
use access::password::Passwords;
use api::{App, Provider, Sight, Stirred};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::{Request, StatusCode, header};
use model::catalogue::{Catalogue, Rules};
use model::series::Kind;
use model::time::{Clock, Instant};
use serde_json::Value;
use store::{Farm, Role, Store};
use tower::ServiceExt;
use web::{Post, Web, Word};

pub const NOW: Instant = Instant(1_367_000_000);
pub const PASSWORD: &str = "pears+before+apples";
pub const PROXY: &str = "192.0.2.1:9000";

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
    router: Router,
    clock: Arc<Set>,
    pub mails: Arc<Mutex<Vec<Word>>>,
    /// What the loops were told to do.
    pub stirred: Arc<Mutex<Vec<Stirred>>>,
}

pub struct Answer {
    pub status: StatusCode,
    pub body: String,
    pub cookie: Option<String>,
    pub location: Option<String>,
    pub tag: Option<String>,
    pub packed: bool,
    pub bytes: usize,
    /// What its page tells of where it was.
    pub referrer: String,
}

/// A request from a place, with headers.
pub struct From<'a> {
    pub peer: &'a str,
    pub headers: &'a [(&'static str, &'a str)],
}

/// A feed that a source may name; nothing asks it.
fn sky() -> Provider {
    Provider {
        name: "sky",
        kind: Kind::ModelAnalysis,
        attribution: "Sky <Service>",
        limits: &[],
        cell: |place| format!("{:.1},{:.1}", place.latitude, place.longitude),
    }
}

/// A provider of stations' readings.
fn breeze() -> Provider {
    Provider {
        name: "breeze",
        kind: Kind::Station,
        attribution: "Air by Breeze",
        limits: &[],
        cell: |_| "c1".to_owned(),
    }
}

/// Whether nothing is sent from a page but signing out.
pub fn only_signs_out(page: &str) -> bool {
    page.matches("<form").count() == 1 && page.contains("action=\"/sign-out\"")
}

/// A browser on this machine.
pub const HERE: From<'static> = From { peer: "127.0.0.1:40000", headers: &[("host", "localhost:8420")] };

impl House {
    /// With the farm `alder`.
    pub async fn new() -> House {
        let house = House::bare().await;
        let farm = Farm {
            id: "alder".into(),
            name: "Alder <Ridge>".into(),
            alert_emails: vec![],
            created_at: NOW,
            closed_at: None,
        };
        house.store.add_farm(&farm).await.unwrap();
        house
    }

    /// Without anything in it.
    pub async fn bare() -> House {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
        let mails = Arc::new(Mutex::new(Vec::new()));
        let sent = mails.clone();
        let send = Arc::new(move |word| sent.lock().unwrap().push(word));
        let stirred = Arc::new(Mutex::new(Vec::new()));
        let poked = stirred.clone();
        let clock = Arc::new(Set(AtomicI64::new(NOW.0)));
        let sight = Sight::new(App {
            sound: Arc::new(true.into()),
            store: store.clone(),
            clock: clock.clone(),
            catalogue: shipped_catalogue(),
            thresholds: Arc::default(),
            providers: vec![sky(), breeze()],
            poke: Arc::new(move |stirred| poked.lock().unwrap().push(stirred)),
            callable: Arc::new(|_| Ok(())),
            requests_a_minute: 0,
            version: "0.0.0-test",
        });
        let seal = store.seal().await.unwrap();
        let router = web::router(Web {
            seal,
            mail_way: web::MailWay::Folder("mails".into()),
            post: Some(Post { public_url: "https://bloom.example/".into(), send }),
            store: store.clone(),
            sight,
            clock: clock.clone(),
            passwords: Passwords::new().await.unwrap(),
            trusted_proxies: Arc::new([PROXY.parse::<SocketAddr>().unwrap().ip()]),
        });
        House { _dir: dir, store, router, clock, mails, stirred }
    }

    pub async fn send(
        &self,
        method: &str,
        path: &str,
        form: &str,
        from: &From<'_>,
        cookie: Option<&str>,
    ) -> Answer {
        let kind = "application/x-www-form-urlencoded";
        self.send_body(method, path, (kind, form.as_bytes().to_vec()), from, cookie).await
    }

    /// A form with files, as a browser sends it: name, name of the file, content.
    pub async fn upload(&self, path: &str, parts: &[(&str, Option<&str>, &[u8])], cookie: &str) -> Answer {
        let mut body = Vec::new();
        for (name, file, content) in parts {
            let file = file.map(|file| format!("; filename=\"{file}\"")).unwrap_or_default();
            body.extend(
                format!("--part\r\ncontent-disposition: form-data; name=\"{name}\"{file}\r\n\r\n").bytes(),
            );
            body.extend_from_slice(content);
            body.extend(b"\r\n");
        }
        body.extend(b"--part--\r\n");
        let kind = "multipart/form-data; boundary=part";
        self.send_body("POST", path, (kind, body), &HERE, Some(cookie)).await
    }

    async fn send_body(
        &self,
        method: &str,
        path: &str,
        (kind, body): (&str, Vec<u8>),
        from: &From<'_>,
        cookie: Option<&str>,
    ) -> Answer {
        let mut request = Request::builder().method(method).uri(path).header(header::CONTENT_TYPE, kind);
        for (name, value) in from.headers {
            request = request.header(*name, *value);
        }
        if let Some(cookie) = cookie {
            request = request.header(header::COOKIE, cookie);
        }
        let mut request = request.body(Body::from(body)).unwrap();
        let peer: SocketAddr = from.peer.parse().unwrap();
        request.extensions_mut().insert(ConnectInfo(peer));
        let response = self.router.clone().oneshot(request).await.unwrap();
        let said = |name| response.headers().get(name).map(|value| value.to_str().unwrap().to_owned());
        // A page names its origin to this server, or its forms would be taken for another
        // site's; where its address is a secret, that and nothing else.
        let secret = ["/claim/", "/invitation/", "/reset/", "/mail/", "/confirm/"];
        let referrer = said("referrer-policy").unwrap();
        let alone = secret.iter().any(|of| path.starts_with(of));
        // Of what is on no list nobody knows what it was to be.
        let unknown = response.status() == StatusCode::NOT_FOUND && referrer != "same-origin";
        let policy = if alone || unknown { "no-referrer, strict-origin" } else { "same-origin" };
        assert_eq!(referrer, policy, "{path}");
        let kept = if path.starts_with("/assets/") && response.status().is_success() {
            "public, max-age=31536000, immutable"
        } else if response.headers().contains_key(header::ETAG) {
            "private, no-cache"
        } else {
            "no-store"
        };
        assert_eq!(said("cache-control").as_deref(), Some(kept), "{path}");
        let policy = said("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        let (status, cookie, location) = (response.status(), said("set-cookie"), said("location"));
        let (tag, packed) = (said("etag"), said("content-encoding").as_deref() == Some("gzip"));
        let body = to_bytes(response.into_body(), 1 << 20).await.unwrap();
        let mut text = String::new();
        match packed {
            true => flate2::read::GzDecoder::new(&body[..]).read_to_string(&mut text).unwrap(),
            false => (&body[..]).read_to_string(&mut text).unwrap(),
        };
        Answer { referrer, status, body: text, cookie, location, tag, packed, bytes: body.len() }
    }

    pub async fn get(&self, path: &str, cookie: Option<&str>) -> Answer {
        self.send("GET", path, "", &HERE, cookie).await
    }

    /// Fields typed into a form, sent by someone.
    pub async fn fill(&self, path: &str, fields: &[(&str, &str)], cookie: &str) -> Answer {
        let form: String = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        self.send("POST", path, &form, &HERE, Some(cookie)).await
    }

    pub async fn post(&self, path: &str, form: &str) -> Answer {
        self.send("POST", path, form, &HERE, None).await
    }

    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    pub fn set_clock(&self, text: &str) {
        self.clock.0.store(Instant::parse(text).unwrap().0, Ordering::SeqCst);
    }

    /// Someone with a role on a farm, signed in; gives their cookie.
    pub async fn person(&self, name: &str, farm: &str, role: Role) -> String {
        let email = format!("{name}@larkmoor.example");
        let (_, secret) = link::invite(&self.store, farm, &email, role, None, self.now()).await.unwrap();
        let form = format!("name={name}&password={PASSWORD}");
        let joined = self.post(&format!("/invitation/{secret}"), &form).await;
        assert_eq!(joined.status, StatusCode::SEE_OTHER, "{}", joined.body);
        self.sign_in(name).await
    }

    /// Someone who is known already, signed in anew; gives their cookie.
    pub async fn sign_in(&self, name: &str) -> String {
        let form = format!("email={name}%40larkmoor.example&password={PASSWORD}");
        cookie_of(&self.post("/sign-in", &form).await)
    }

    /// A page as someone has it, whole and well.
    pub async fn page(&self, path: &str, cookie: &str) -> String {
        let answer = self.get(path, Some(cookie)).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.body);
        whole(&answer);
        answer.body
    }

    /// Taken over by its operator.
    pub async fn claimed() -> House {
        let house = House::new().await;
        let secret = link::claim(&house.store, NOW).await.unwrap().unwrap();
        let form = format!("name=Ole&email=ole%40larkmoor.example&password={PASSWORD}");
        let done = house.post(&format!("/claim/{secret}"), &form).await;
        assert_eq!((done.status, done.location.as_deref()), (StatusCode::SEE_OTHER, Some("/sign-in")));
        house
    }
}

pub fn cookie_of(answer: &Answer) -> String {
    answer.cookie.as_deref().unwrap().split(';').next().unwrap().to_owned()
}

/// The tag that a form of a page carries: of what it changes.
pub fn tag(page: &str, form: &str) -> String {
    let form = page.split(&format!("id=\"{form}\"")).nth(1).unwrap_or_else(|| panic!("{form}: {page}"));
    let form = form.split("</form>").next().unwrap();
    let tag = form.split("name=\"tag\" value=\"").nth(1).unwrap_or_else(|| panic!("no tag: {form}"));
    tag.split("\">").next().unwrap().replace("&#34;", "\"")
}

/// A page is whole: what a browser needs to show it and a reader to hear it.
pub fn whole(answer: &Answer) {
    assert!(answer.body.starts_with("<!doctype html>"), "{}", answer.body);
    for part in ["<html lang=\"en\">", "<title>", "name=\"viewport\"", "<h1>", "</html>"] {
        assert!(answer.body.contains(part), "{part}: {}", answer.body);
    }
    assert!(
        answer.body.contains(model::words::CAUTION) && answer.body.contains("href=\"/care\""),
        "{}",
        answer.body
    );
    // What runs or styles comes from files of ours; nothing is written into a page.
    for start in answer.body.split("<script").skip(1) {
        let own = start.starts_with(" type=\"module\" src=\"/assets/")
            || start.starts_with(" type=\"application/json\"");
        assert!(own, "{start}");
    }
    for inline in ["<style", " style=", " onclick=", "http://"] {
        assert!(!answer.body.contains(inline), "{inline}: {}", answer.body);
    }
}

/// Curves, materials and tables as they ship.
pub fn shipped_catalogue() -> Catalogue {
    let table = |text| toml::from_str::<Value>(text).unwrap();
    let catalogue = Catalogue::read(
        &table(include_str!("../../../../config/curves.toml")),
        &table(include_str!("../../../../config/materials.toml")),
    );
    let rules = Rules::read(
        &table(include_str!("../../../../config/cultivars.toml")),
        &table(include_str!("../../../../config/verdict.toml")),
        &table(include_str!("../../../../config/records.toml")),
    );
    let slots = model::slot::Limits::read(&table(include_str!("../../../../config/slots.toml"))).unwrap();
    catalogue.unwrap().ruled_by(Rules { slots: Arc::new(slots), ..rules.unwrap() })
}
