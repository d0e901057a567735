//! The passes against a real SQLite store: each does all there is to do, and
//! doing it again changes nothing.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicUsize, Ordering};

use alerts::compose::Sender;
use alerts::deliver::Outlet;
use engine::{Bells, Engine, deliver, fetch, reckon};
use model::catalogue::Catalogue;
use model::series::{Forecast, Kind, Reading};
use model::site::Place;
use model::time::{Clock, HOUR, Instant};
use serde_json::json;
use store::{Block, Farm, LogEntry, Site, Source, Store, Way};
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use weather::feeds::{Attribution, CellAnswer, CellRequest, Feed, Fetching};

const BEGIN: Instant = Instant(1_367_366_400);

struct HandClock(AtomicI64);

impl Clock for HandClock {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }

    fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(async move {
            while self.now() < at {
                tokio::task::yield_now().await;
                tokio::time::sleep(std::time::Duration::from_millis(5)).await;
            }
        })
    }
}

/// 15 °C for ever; counts what it is asked, or never answers.
struct Steady {
    provider: &'static str,
    hangs: bool,
    asked: AtomicUsize,
}

impl Steady {
    fn new(provider: &'static str, hangs: bool) -> Arc<Steady> {
        Arc::new(Steady { provider, hangs, asked: AtomicUsize::new(0) })
    }
}

impl Feed for Steady {
    fn provider(&self) -> &'static str {
        self.provider
    }

    fn kind(&self) -> Kind {
        Kind::ModelAnalysis
    }

    fn attribution(&self) -> Attribution {
        Attribution { text: "made for this test", link: "", licence: "" }
    }

    fn most_cells(&self) -> usize {
        10
    }

    fn interval(&self) -> i64 {
        HOUR
    }

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        self.asked.fetch_add(cells.len(), Ordering::SeqCst);
        Box::pin(async move {
            if self.hangs {
                std::future::pending::<()>().await;
            }
            let hour = |n: i64| Reading::instant(Instant(now.0.div_euclid(HOUR) * HOUR).plus(n * HOUR), 15.0);
            Ok(cells
                .iter()
                .map(|cell| CellAnswer {
                    cell: cell.cell.clone(),
                    readings: (-72..=0).map(hour).collect(),
                    forecast: Some(Forecast { issued_at: now, hours: (1..72).map(hour).collect() }),
                })
                .collect())
        })
    }
}

struct House {
    engine: Engine,
    clock: Arc<HandClock>,
    folder: TempDir,
}

impl House {
    async fn new(feeds: Vec<Arc<dyn Feed>>) -> House {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path().join("house.db").to_str().unwrap()).await.unwrap();
        let clock = Arc::new(HandClock(AtomicI64::new(BEGIN.0)));
        let curves = json!({"steady": {
            "form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 0.5], [30, 0.5]],
            "source": "made for this test", "status": "constructed",
        }});
        let engine = Engine {
            store,
            clock: clock.clone(),
            catalogue: Catalogue::read(&curves, &json!({})).unwrap(),
            feeds,
            outlet: Outlet::Folder(folder.path().join("mail")),
            sender: Sender::new("clock@quernstone.example").unwrap(),
            bells: Arc::new(Bells::default()),
        };
        let farm = Farm {
            id: "farm".into(),
            name: "Quernstone".into(),
            alert_emails: vec!["grower@quernstone.example".into()],
            created_at: BEGIN,
        };
        engine.store.add_farm(&farm).await.unwrap();
        House { engine, clock, folder }
    }

    fn set(&self, hours: i64) {
        self.clock.0.store(BEGIN.plus(hours * HOUR).0, Ordering::SeqCst);
    }

    async fn site(&self, id: &str, elevation_m: f64, provider: Option<&str>) {
        let site = Site {
            id: id.into(),
            farm_id: Some("farm".into()),
            name: id.into(),
            latitude: 40.7001,
            longitude: -74.2001,
            elevation_m: Some(elevation_m),
            time_zone: "America/New_York".into(),
            version: 1,
            created_at: BEGIN,
        };
        self.engine.store.add_site(&site).await.unwrap();
        let place = Place {
            latitude: site.latitude,
            longitude: site.longitude,
            elevation_m: site.elevation_m,
            zone: "America/New_York".parse().unwrap(),
        };
        let source = Source {
            id: format!("{id}-source"),
            site_id: id.into(),
            name: "first".into(),
            way: if provider.is_some() { Way::Feed } else { Way::File },
            provider: provider.map(str::to_owned),
            cell: provider.map(|_| place.grid_cell().key),
            kind: if provider.is_some() { Kind::ModelAnalysis } else { Kind::Station },
            trust: 1,
            mapping: None,
            created_at: BEGIN,
        };
        self.engine.store.add_source(&source).await.unwrap();
    }

    /// A block on a site whose clock started at [`BEGIN`].
    async fn block(&self, id: &str, site: &str) {
        let details =
            json!({"name": id, "cultivar": "Gala", "curve": "steady", "target_fruit_per_tree": 100});
        let block = Block {
            id: id.into(),
            farm_id: "farm".into(),
            site_id: site.into(),
            name: id.into(),
            details,
            version: 1,
            created_at: BEGIN,
        };
        self.engine.store.add_block(&block).await.unwrap();
        let plan = json!({"sprays": [{"material": "ats", "mark": 0.6}]});
        self.engine.store.set_plan(id, 2013, &plan, BEGIN).await.unwrap();
        let start = LogEntry {
            id: "start".into(),
            at: BEGIN,
            kind: "bloom-start".into(),
            doc: json!({"id": "start", "kind": "bloom-start", "at": BEGIN}),
            received_at: BEGIN,
        };
        self.engine.store.append_entries(id, 2013, &[start]).await.unwrap();
    }

    async fn state(&self, block: &str) -> Option<String> {
        let season = self.engine.store.season(block, 2013).await.unwrap().unwrap();
        season.reckoned.map(|reckoned| reckoned.state)
    }

    fn mails(&self) -> usize {
        std::fs::read_dir(self.folder.path().join("mail")).map_or(0, Iterator::count)
    }
}

#[tokio::test]
async fn sites_in_one_cell_are_fetched_once_and_corrected_for_their_height() {
    let feed = Steady::new("steady", false);
    let house = House::new(vec![feed.clone()]).await;
    house.site("low", 180.0, Some("steady")).await;
    house.site("high", 220.0, Some("steady")).await;
    assert_eq!(fetch::pass(&house.engine).await.unwrap().fetched, 1);
    assert_eq!(feed.asked.load(Ordering::SeqCst), 1);
    assert_eq!(fetch::pass(&house.engine).await.unwrap(), fetch::Report::default(), "nothing is due");
    let celsius = async |site: &str| {
        let weather = house.engine.store.site_weather(site, Instant::MIN, Instant::MAX).await.unwrap();
        weather.sources[0].1[0].celsius
    };
    // The cell lies at 200 m; 20 m are 0.13 K.
    assert!((celsius("low").await - 15.13).abs() < 1e-9);
    assert!((celsius("high").await - 14.87).abs() < 1e-9);
    house.set(1);
    assert_eq!(fetch::pass(&house.engine).await.unwrap().fetched, 1, "due again after the feed's interval");
}

#[tokio::test]
async fn a_pass_done_again_changes_nothing() {
    let house = House::new(vec![Steady::new("steady", false)]).await;
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    house.set(30);
    fetch::pass(&house.engine).await.unwrap();
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1);
    assert_eq!(house.state("bench").await.as_deref(), Some("due"));
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 0, "nothing is stale");
    let report = deliver::pass(&house.engine).await.unwrap();
    assert_eq!((report.composed, report.sent), (2, 2), "started and due");
    assert_eq!(deliver::pass(&house.engine).await.unwrap(), deliver::Report::default());
    assert_eq!(house.mails(), 2);
}

#[tokio::test]
async fn time_alone_makes_a_season_stale_when_it_said_so() {
    let house = House::new(vec![Steady::new("steady", false)]).await;
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    fetch::pass(&house.engine).await.unwrap();
    reckon::pass(&house.engine).await.unwrap();
    let alerts = async || house.engine.store.alerts_of("bench", 2013).await.unwrap().len();
    assert_eq!(alerts().await, 1, "started");
    // 0.60 is expected after 28.8 hours: the heads-up is due after 4.8.
    house.set(4);
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 0);
    house.set(5);
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1);
    assert_eq!(alerts().await, 2, "started and heads-up");
}

#[tokio::test]
async fn a_feed_that_hangs_holds_up_no_other() {
    let hung = Steady::new("hung", true);
    let house = House::new(vec![hung.clone(), Steady::new("steady", false)]).await;
    house.site("stuck", 200.0, Some("hung")).await;
    house.site("site", 300.0, Some("steady")).await;
    house.block("bench", "site").await;
    house.set(30);
    let stop = CancellationToken::new();
    let loops = tokio::spawn(engine::run(house.engine.clone(), stop.clone()));
    let told = async {
        while house.mails() < 2 {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(30), told).await.expect("the other block is mailed");
    assert_eq!(hung.asked.load(Ordering::SeqCst), 1, "it was asked, and never answered");
    stop.cancel();
    tokio::time::timeout(std::time::Duration::from_secs(10), loops).await.expect("the loops end").unwrap();
}
