//! The passes against a real SQLite store: each does all there is to do, and
//! doing it again changes nothing.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod checked;
mod decision;
mod delivery;
mod watched;

use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicUsize, Ordering};

use alerts::deliver::Outlet;
use alerts::hook::{Carried, Carrier, Carrying, Post};
use alerts::journal::Journal;
use alerts::sender::Sender;
use engine::{Bells, Engine, Meters, deliver, fetch, reckon};
use model::catalogue::{Catalogue, Rules};
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::pollination::Bees;
use model::season;
use model::series::{Forecast, Kind, Reading, Series};
use model::site::Place;
use model::time::{Clock, DAY, HOUR, Instant};
use model::verdict::Table;
use serde_json::json;
use store::{Block, Farm, LogEntry, Site, Source, Store, Way};
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use weather::checks::Thresholds;
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

/// Calls nobody.
struct Nowhere;

impl Carrier for Nowhere {
    fn carry<'a>(&'a self, _: &'a Post) -> Carrying<'a> {
        Box::pin(async { Carried::Failed("nobody is called here".into()) })
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

    fn limits(&self) -> &'static [(i64, u64)] {
        &[]
    }

    fn cost(&self, _cells: &[CellRequest], _now: Instant) -> u64 {
        0
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
                    readings: (-72..=0).map(hour).collect(),
                    forecast: Some(Forecast { issued_at: now, hours: (1..72).map(hour).collect() }),
                    ..CellAnswer::of(cell)
                })
                .collect())
        })
    }
}

struct House {
    engine: Engine,
    clock: Arc<HandClock>,
    folder: TempDir,
    /// Whether readings are taken as they are.
    unchecked: bool,
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
            // The feed of most tests says 15 °C for ever.
            thresholds: Arc::new(Thresholds {
                flat_suspect_hours: 1_000.0,
                flat_fail_hours: 1_000.0,
                ..Thresholds::default()
            }),
            feeds,
            station_files: None,
            outlet: Outlet::Folder(folder.path().join("mail")),
            bounces: None,
            sender: Sender::new("clock@quernstone.example").unwrap(),
            journal: Journal::open(folder.path(), "main").unwrap(),
            instance: "main".into(),
            way: Arc::default(),
            awake: Arc::default(),
            learned: Arc::default(),
            heartbeat_to: None,
            carrier: Arc::new(Nowhere),
            bells: Arc::new(Bells::default()),
            meters: Meters::default(),
        };
        let farm = Farm {
            id: "farm".into(),
            name: "Quernstone".into(),
            alert_emails: vec!["grower@quernstone.example".into()],
            created_at: BEGIN,
            closed_at: None,
        };
        engine.store.add_farm(&farm).await.unwrap();
        House { engine, clock, folder, unchecked: false }
    }

    /// One that takes readings as they are and has a small table of verdicts.
    async fn unchecked() -> House {
        let mut house = House::new(Vec::new()).await;
        house.unchecked = true;
        let table = json!({"row": [
            {"id": "frost", "when": [{"figure": "frost-since-damage-count", "is": true}],
             "verdict": "count-first", "says": "Look first.", "basis": "for tests"},
            {"id": "rest", "verdict": "your-call", "says": "Your call.", "basis": "for tests"},
        ]});
        let rules = Rules { verdict: Arc::new(Table::read(&table).unwrap()), ..Rules::default() };
        house.engine.catalogue = house.engine.catalogue.ruled_by(rules);
        house
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
            mapping: self.unchecked.then(|| json!({"checks": "off"})),
            created_at: BEGIN,
        };
        self.engine.store.add_source(&source).await.unwrap();
    }

    /// A block on a site that nothing is logged of, with more details.
    async fn bare_block(&self, id: &str, site: &str, more: serde_json::Value) {
        let mut details =
            json!({"name": id, "cultivar": "Gala", "curve": "steady", "target_fruit_per_tree": 100});
        details.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let block = Block {
            id: id.into(),
            farm_id: "farm".into(),
            site_id: site.into(),
            name: id.into(),
            details,
            geometry: None,
            version: 1,
            created_at: BEGIN,
            archived_at: None,
        };
        self.engine.store.add_block(&block).await.unwrap();
        let plan = json!({"sprays": [{"material": "ats", "mark": 0.6}]});
        self.engine.store.set_plan(id, 2013, 0, &plan, BEGIN).await.unwrap();
    }

    /// A block on a site whose clock started at [`BEGIN`].
    async fn block(&self, id: &str, site: &str) {
        self.bare_block(id, site, json!({})).await;
        let start = LogEntry {
            id: "start".into(),
            at: BEGIN,
            kind: "bloom-start".into(),
            doc: json!({"id": "start", "kind": "bloom-start", "at": BEGIN}),
            received_at: BEGIN,
        };
        self.engine.store.append_entries(id, 2013, &[start]).await.unwrap();
    }

    /// Logs one more entry.
    async fn log(&self, block: &str, doc: serde_json::Value) {
        let entry = Entry::read(&doc, None).unwrap();
        let row = LogEntry {
            id: entry.id.clone(),
            at: entry.at,
            kind: entry.kind().into(),
            doc,
            received_at: self.clock.now(),
        };
        self.engine.store.append_entries(block, 2013, &[row]).await.unwrap();
    }

    /// A season as the database has it, every bit of it.
    async fn season(&self, block: &str) -> serde_json::Value {
        self.engine.store.season(block, 2013).await.unwrap().unwrap().reckoned.unwrap().doc
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
    house.set(2);
    assert_eq!(fetch::pass(&house.engine).await.unwrap().fetched, 1, "its moment in the hour has come");
    assert_eq!(fetch::pass(&house.engine).await.unwrap(), fetch::Report::default(), "once in an interval");
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
    assert_eq!((report.composed, report.sent), (1, 1), "started and due, to one person");
    assert_eq!(deliver::pass(&house.engine).await.unwrap(), deliver::Report::default());
    assert_eq!(house.mails(), 1);
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
    reckon::pass(&house.engine).await.unwrap();
    assert_eq!(alerts().await, 1, "four hours on nothing more is told");
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 0, "nothing is stale");
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
        while house.mails() < 1 {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(30), told).await.expect("the other block is mailed");
    assert_eq!(hung.asked.load(Ordering::SeqCst), 1, "it was asked, and never answered");
    stop.cancel();
    tokio::time::timeout(std::time::Duration::from_secs(10), loops).await.expect("the loops end").unwrap();
}

/// What is reckoned of a season hangs on nothing but its own plan and log and
/// its site's readings: not on which others are stale in the same pass, and
/// not on whether the pass or a fold over all readings reckons it.
#[tokio::test]
async fn no_other_season_changes_a_season() {
    let house = House::new(vec![]).await;
    house.site("site", 200.0, None).await;
    // The readings are no weather, and are taken as they are.
    let source = house.engine.store.source("site-source").await.unwrap().unwrap();
    house.engine.store.set_mapping(&source, &json!({"checks": "off"})).await.unwrap();
    // Seventy days of hours that differ, with two holes, the second over the start.
    let hour = |n: i64| Reading::instant(BEGIN.plus(n * HOUR), 12.0 + ((n * 7) % 11) as f64);
    let readings: Vec<Reading> = (-70 * 24..60)
        .filter(|n| !(-1_300..-1_290).contains(n) && !(-30..10).contains(n))
        .map(hour)
        .collect();
    house.engine.store.store_readings("site-source", &readings, BEGIN).await.unwrap();
    house.set(72);
    house.block("bench", "site").await;
    reckon::pass(&house.engine).await.unwrap();
    let alone = house.season("bench").await;

    // A season of the same site that reaches far back, stale in the same pass.
    house.block("early", "site").await;
    let note = json!({"id": "n", "kind": "note", "text": "pruned", "at": BEGIN.plus(-65 * DAY)});
    house.log("early", note).await;
    house.log("bench", json!({"id": "m", "kind": "note", "text": "mown", "at": BEGIN})).await;
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 2);
    assert_eq!(house.season("bench").await, alone);

    // A correction moves the start far back: readings from there on count.
    let moved = json!({"id": "z", "kind": "correction", "of": "start", "at": BEGIN.plus(70 * HOUR),
        "entry": {"kind": "bloom-start", "at": BEGIN.plus(-50 * DAY)}});
    house.log("bench", moved).await;
    reckon::pass(&house.engine).await.unwrap();
    let stored = house.season("bench").await;
    let now = house.clock.now();
    let block = house.engine.store.block("bench").await.unwrap().unwrap();
    let plan = house.engine.store.plan("bench", 2013).await.unwrap().unwrap().doc;
    let zone = "America/New_York".parse().unwrap();
    let plan =
        Plan::assemble(Some(2013), zone, &block.details, Some(&plan), &house.engine.catalogue).unwrap();
    let log = house.engine.store.log("bench", 2013).await.unwrap();
    let log = FieldLog::by_id(log.iter().map(|row| Entry::read(&row.doc, None).unwrap()).collect()).unwrap();
    let series = Series::join(&[readings], None, now);
    let place = Place { latitude: 40.7001, longitude: -74.2001, elevation_m: Some(200.0), zone };
    let bees = Bees::judge(&series, &[], &place);
    let course = Arc::new(Course::new(series).with_bees(bees));
    let whole = season::reckon(&plan, &log, &Growth::new(course, plan.block.curve.clone()), now);
    assert_eq!(stored["legs"][0]["from"], json!(BEGIN.plus(-50 * DAY)));
    assert_eq!(stored, serde_json::to_value(whole).unwrap());
}

/// Seasons follow the curves and materials that the program comes with, and
/// those that are added; one that does not read back costs nobody else.
#[tokio::test]
async fn another_catalogue_makes_seasons_stale() {
    let mut house = House::new(vec![]).await;
    house.site("site", 200.0, None).await;
    let readings: Vec<Reading> = (-24..60).map(|n| Reading::instant(BEGIN.plus(n * HOUR), 15.0)).collect();
    house.engine.store.store_readings("site-source", &readings, BEGIN).await.unwrap();
    house.block("bench", "site").await;
    house.set(60);
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1);
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 0);
    let reached = house.season("bench").await["legs"][0]["reached_at"].clone();

    let curves = json!({"steady": {
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 0.6], [30, 0.6]],
        "source": "measured again", "status": "constructed",
    }});
    house.engine.catalogue = Catalogue::read(&curves, &json!({})).unwrap();
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1, "the file was changed");
    assert_ne!(house.season("bench").await["legs"][0]["reached_at"], reached);

    house.engine.store.add_curve("broken", &json!({"form": "spline"}), BEGIN).await.unwrap();
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1);
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 0);
    assert_eq!(house.state("bench").await.as_deref(), Some("overrun"));
}

/// A mail that could not go out while its leg ran is not sent once the spray is
/// logged, and one that was put into words before a correction says what now
/// holds.
#[tokio::test]
async fn what_is_of_no_use_any_more_is_not_sent() {
    let mut house = House::new(vec![]).await;
    house.site("site", 200.0, None).await;
    let readings: Vec<Reading> = (-24..60).map(|n| Reading::instant(BEGIN.plus(n * HOUR), 15.0)).collect();
    house.engine.store.store_readings("site-source", &readings, BEGIN).await.unwrap();
    house.block("bench", "site").await;
    // A folder that cannot be made: nothing goes out.
    let blocked = house.folder.path().join("file");
    std::fs::write(&blocked, "").unwrap();
    let folder = std::mem::replace(&mut house.engine.outlet, Outlet::Folder(blocked.join("mail")));
    house.set(30);
    reckon::pass(&house.engine).await.unwrap();
    let report = deliver::pass(&house.engine).await.unwrap();
    assert_eq!((report.composed, report.sent, report.later), (1, 0, 1), "started and due, to one person");

    house.engine.outlet = folder;
    let spray = json!({"id": "spray", "kind": "spray", "material": "ats", "at": BEGIN.plus(30 * HOUR),
        "finished_at": BEGIN.plus(31 * HOUR)});
    house.log("bench", spray).await;
    house.set(32);
    reckon::pass(&house.engine).await.unwrap();
    let report = deliver::pass(&house.engine).await.unwrap();
    assert_eq!((report.composed, report.sent, report.failed), (0, 0, 0), "both came too late");
    assert_eq!(house.mails(), 0);

    // Nothing waits for ever.
    assert_eq!(house.engine.store.oldest_unsent().await.unwrap(), None);
}

#[tokio::test]
async fn a_provider_in_trouble_is_left_alone_and_then_tried_with_one_cell() {
    let feed = Steady::new("steady", false);
    let house = House::new(vec![feed.clone()]).await;
    for (site, height) in [("low", 100.0), ("middle", 300.0), ("high", 500.0)] {
        house.site(site, height, Some("steady")).await;
    }
    let store = &house.engine.store;
    for _ in 0..3 {
        store.provider_failed("steady", "status 503", &[0, 0, 600], BEGIN).await.unwrap();
    }
    assert_eq!(fetch::pass(&house.engine).await.unwrap(), fetch::Report::default());
    assert_eq!(feed.asked.load(Ordering::SeqCst), 0, "nobody is asked");
    house.set(1);
    assert_eq!(fetch::pass(&house.engine).await.unwrap().fetched, 1, "one is tried");
    assert_eq!(fetch::pass(&house.engine).await.unwrap().fetched, 2, "it answered: the others are asked");
    let state = store.providers().await.unwrap().remove(0);
    assert_eq!((state.failures, state.open_until, state.last_error), (0, None, None));
}
