//! One pass over 1,000 sites in 300 cells of four feeds, against a bare loop that
//! fetches the same bodies and stores the same rows. The providers are a server in
//! a process of its own.
//!
//! Pass lines: each cell is asked for once; the passes take at most twice as long
//! as the bare loop; the memory at its highest stays under 150 MB.
#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "a benchmark prints its figures")]

mod bare;
mod providers;

use std::collections::BTreeMap;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant as Stopwatch};

use alerts::deliver::Outlet;
use alerts::hook::{Carried, Carrier, Carrying, Post};
use alerts::journal::Journal;
use alerts::sender::Sender;
use engine::{Bells, Engine, Meters, fetch};
use model::catalogue::Catalogue;
use model::site::Place;
use model::time::{Clock, Instant, MINUTE};
use serde_json::json;
use store::{Site, Source, Store, Way};
use weather::feeds::bright_sky::{self, BrightSky};
use weather::feeds::met_norway::{self, MetNorway};
use weather::feeds::nws::{self, Nws};
use weather::feeds::open_meteo::{self, OpenMeteo};
use weather::feeds::{ClientSettings, Feed};

/// 1 May 2026, 12:20 UTC.
pub const NOW: Instant = Instant(1_777_638_000);
const SITES: usize = 1_000;
const CELLS: usize = 300;
const MOST_TIMES_BARE: f64 = 2.0;
const MOST_MEGABYTES: f64 = 150.0;

/// Stands still until it is put forward.
struct HandClock(AtomicI64);

impl Clock for HandClock {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }

    fn sleep_until(&self, _: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(std::future::pending())
    }
}

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    if std::env::args().any(|argument| argument == "--providers") {
        return runtime.block_on(providers::serve());
    }
    rustls::crypto::ring::default_provider().install_default().unwrap();
    let served = providers::start();
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("sites.db").display().to_string();
    let (taken, fetched) = runtime.block_on(passes(&database, &served.address));
    let peak = peak_megabytes();
    let asked = runtime.block_on(providers::asked(&served.address));
    let bare = runtime.block_on(bare::run(&database, &served.address, &asked));
    let mut requests: BTreeMap<&str, usize> = BTreeMap::new();
    for path in &asked {
        *requests.entry(path.split('/').nth(1).unwrap_or_default()).or_default() += 1;
    }
    let ratio = taken.as_secs_f64() / bare.as_secs_f64();
    let told = |good: bool| if good { "passed" } else { "FAILED" };
    println!("{SITES} sites, {fetched} cells fetched of {CELLS}: {}", told(fetched == CELLS as u64));
    println!("requests by provider: {requests:?}");
    println!(
        "passes {:.2} s, bare loop {:.2} s: {ratio:.2} times, pass line {MOST_TIMES_BARE}: {}",
        taken.as_secs_f64(),
        bare.as_secs_f64(),
        told(ratio <= MOST_TIMES_BARE)
    );
    println!(
        "memory at its highest {peak:.0} MB, pass line {MOST_MEGABYTES}: {}",
        told(peak < MOST_MEGABYTES)
    );
}

/// Calls nobody.
struct Nowhere;

impl Carrier for Nowhere {
    fn carry<'a>(&'a self, _: &'a Post) -> Carrying<'a> {
        Box::pin(async { Carried::Failed("nobody is called here".into()) })
    }
}

/// Passes until nothing is due; a minute goes by between two, so that the
/// providers' limits hold and cost no time here. Gives the time of the passes alone
/// and the cells fetched.
async fn passes(database: &str, address: &str) -> (Duration, u64) {
    let store = Store::open(database).await.unwrap();
    plant(&store).await;
    let clock = Arc::new(HandClock(AtomicI64::new(NOW.0)));
    let engine = Engine {
        store,
        clock: clock.clone(),
        catalogue: Catalogue::read(&json!({}), &json!({})).unwrap(),
        thresholds: Arc::default(),
        feeds: feeds(address),
        station_files: None,
        outlet: Outlet::Folder("mail".into()),
        bounces: None,
        sender: Sender::new("bloomtide@localhost").unwrap(),
        journal: Journal::open(&std::env::temp_dir(), "bench").unwrap(),
        instance: "bench".into(),
        way: Arc::default(),
        awake: Arc::default(),
        learned: Arc::default(),
        heartbeat_to: None,
        carrier: Arc::new(Nowhere),
        bells: Arc::new(Bells::default()),
        meters: Meters::default(),
    };
    let (mut taken, mut fetched) = (Duration::ZERO, 0);
    for _ in 0..30 {
        let begun = Stopwatch::now();
        let report = fetch::pass(&engine).await.unwrap();
        taken += begun.elapsed();
        fetched += report.fetched;
        assert_eq!(report.failed, 0, "{:?}", engine.store.cells().await.unwrap().first());
        clock.0.fetch_add(MINUTE, Ordering::SeqCst);
        if fetched >= CELLS as u64 {
            break;
        }
    }
    engine.store.close().await.unwrap();
    (taken, fetched)
}

fn feeds(address: &str) -> Vec<Arc<dyn Feed>> {
    let at = |path: &str| format!("http://{address}/{path}");
    let contact = "ops@orchard.example".to_owned();
    let client = weather::feeds::client(&ClientSettings {
        allow: vec!["127.0.0.1".into()],
        ..ClientSettings::default()
    })
    .unwrap();
    let open_meteo = open_meteo::Settings { base_url: at("open-meteo"), ..open_meteo::Settings::default() };
    let nws = nws::Settings { base_url: at("nws"), contact: contact.clone() };
    let met_norway = met_norway::Settings { base_url: at("met-norway"), contact: Some(contact) };
    let bright_sky = bright_sky::Settings { base_url: at("bright-sky") };
    vec![
        Arc::new(OpenMeteo::new(open_meteo, client.clone()).unwrap()),
        Arc::new(Nws::new(nws, client.clone()).unwrap()),
        Arc::new(MetNorway::new(met_norway, client.clone()).unwrap()),
        Arc::new(BrightSky::new(bright_sky, client).unwrap()),
    ]
}

/// Sites in cells that lie beside one another, each cell at one of the providers.
async fn plant(store: &Store) {
    let providers = [open_meteo::PROVIDER, nws::PROVIDER, met_norway::PROVIDER, bright_sky::PROVIDER];
    for number in 0..SITES {
        let cell = number % CELLS;
        let place = Place {
            latitude: 40.0 + (cell / 20) as f64 * 0.02,
            longitude: -74.0 + (cell % 20) as f64 * 0.02,
            // Within the cell, and corrected for.
            elevation_m: Some(100.0 + (number / CELLS) as f64),
            zone: chrono_tz::UTC,
        };
        let site = Site {
            id: format!("site-{number}"),
            farm_id: None,
            name: format!("Site {number}"),
            latitude: place.latitude,
            longitude: place.longitude,
            elevation_m: place.elevation_m,
            time_zone: "UTC".into(),
            version: 1,
            created_at: NOW,
        };
        store.add_site(&site).await.unwrap();
        let provider = providers[cell % providers.len()];
        let source = Source {
            id: format!("source-{number}"),
            site_id: site.id,
            name: provider.to_owned(),
            way: Way::Feed,
            provider: Some(provider.to_owned()),
            cell: Some(place.grid_cell().key),
            kind: model::series::Kind::ModelAnalysis,
            trust: 1,
            mapping: None,
            created_at: NOW,
        };
        store.add_source(&source).await.unwrap();
    }
}

/// The most memory that this process has had, MB.
fn peak_megabytes() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    let kilobytes: f64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    kilobytes / 1_024.0
}
