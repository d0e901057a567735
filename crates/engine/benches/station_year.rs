//! A year of five-minute readings with semicolons and decimal commas: told, read,
//! stored and checked.
//!
//! Pass line: at most a second for all of it.
#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "a benchmark prints its figures")]

use std::fmt::Write;
use std::time::{Duration, Instant as Stopwatch};

use model::series::Kind;
use model::time::{Instant, MINUTE};
use serde_json::json;
use store::{Site, Source, Store, Way};
use weather::checks::{self, Thresholds};
use weather::layout;

const ROWS: i64 = 105_120;
/// 1 January 2025.
const BEGIN: Instant = Instant(1_735_689_600);
const PASS_LINE: Duration = Duration::from_secs(1);
const ROUNDS: usize = 5;

fn file() -> String {
    let mut text = String::from("Zeit (UTC);Lufttemperatur 2 m (°C);Feuchte (%);Bodentemperatur (°C)\n");
    for row in 0..ROWS {
        let at = BEGIN.plus(row * 5 * MINUTE);
        let turn = (row % 288) as f64 / 288.0 * std::f64::consts::TAU;
        let celsius = 12.0 - 6.0 * turn.cos() + ((row * 7_919) % 13) as f64 / 20.0;
        let comma = format!("{celsius:.1}").replace('.', ",");
        writeln!(text, "{};{comma};71;9,3", at.utc().format("%d.%m.%Y %H:%M")).unwrap();
    }
    text
}

async fn once(file: &str) -> [Duration; 4] {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path().join("year.db").to_str().unwrap()).await.unwrap();
    let site = Site {
        id: "site".into(),
        farm_id: None,
        name: "Ridge".into(),
        latitude: 49.0,
        longitude: 8.4,
        elevation_m: None,
        time_zone: "Europe/Berlin".into(),
        version: 1,
        created_at: BEGIN,
    };
    store.add_site(&site).await.unwrap();
    let source = Source {
        id: "mast".into(),
        site_id: site.id,
        name: "Mast".into(),
        way: Way::File,
        provider: None,
        cell: None,
        kind: Kind::Station,
        trust: 1,
        mapping: None,
        created_at: BEGIN,
    };
    store.add_source(&source).await.unwrap();
    let now = BEGIN.plus(ROWS * 5 * MINUTE);
    let begun = Stopwatch::now();
    let head = &file.as_bytes()[..layout::HEAD_BYTES];
    let told = layout::recognise(head, None, &json!({}), Some(chrono_tz::Europe::Berlin)).unwrap();
    assert!(told.doubts.is_empty(), "{:?}", told.doubts);
    let recognised = begun.elapsed();
    let read = layout::read(file.as_bytes(), &told.layout, now).unwrap();
    let parsed = begun.elapsed();
    assert_eq!(store.store_readings("mast", &read.readings, now).await.unwrap().stored, ROWS as u64);
    let stored = begun.elapsed();
    let mut readings = read.readings;
    let found = checks::mark([("Mast", true, &mut readings)], now, &Thresholds::default());
    std::hint::black_box(found);
    let checked = begun.elapsed();
    store.close().await.unwrap();
    [recognised, parsed - recognised, stored - parsed, checked - stored]
}

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let file = file();
    let all = |parts: &[Duration; 4]| parts.iter().sum::<Duration>();
    let rounds = (0..ROUNDS).map(|_| runtime.block_on(once(&file)));
    let best = rounds.min_by_key(all).unwrap();
    let passed = if all(&best) <= PASS_LINE { "passed" } else { "FAILED" };
    println!(
        "{ROWS} rows, {:.1} MB: told {:?}, read {:?}, stored {:?}, checked {:?}: together {:?}, pass line {PASS_LINE:?}: {passed}",
        file.len() as f64 / 1e6,
        best[0],
        best[1],
        best[2],
        best[3],
        all(&best)
    );
}
