//! How fast a large upload is stored in SQLite, against a bare multi-row
//! insert of the same rows into a table of the same shape with the same
//! settings. Both are one transaction, 2,000 rows an insert, on a fresh file.
//!
//! Pass line: the store keeps at least half of the bare rate.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::hint::black_box;
use std::sync::Mutex;
use std::time::{Duration, Instant as Stopwatch};

use criterion::{Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use model::series::{Kind, Reading};
use model::time::{Instant, MINUTE};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{Connection, QueryBuilder, Sqlite, SqliteConnection};
use store::{Site, Source, Store, Way};
use tempfile::TempDir;
use tokio::runtime::Runtime;

const ROWS: usize = 1_000_000;
const ROWS_AN_INSERT: usize = 2_000;
const PASS_LINE: f64 = 0.5;
const SOURCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";
const NOW: Instant = Instant(1_366_848_000);

/// Ten-minute readings of some nineteen years.
fn readings() -> Vec<Reading> {
    (0..ROWS as i64)
        .map(|number| {
            let celsius = 12.0 + 10.0 * (number as f64 / 917.0).sin();
            Reading::instant(NOW.plus(-number * 10 * MINUTE), celsius)
        })
        .rev()
        .collect()
}

fn path(folder: &TempDir) -> String {
    folder.path().join("upload.db").to_str().expect("temporary paths are text").to_owned()
}

/// A store with one source.
async fn store(folder: &TempDir) -> Store {
    let store = Store::open(&path(folder)).await.expect("a fresh file opens");
    let site = Site {
        id: "site".into(),
        farm_id: None,
        name: "Lower orchard".into(),
        latitude: 40.7,
        longitude: -74.2,
        elevation_m: None,
        time_zone: "America/New_York".into(),
        version: 1,
        created_at: NOW,
    };
    store.add_site(&site).await.expect("the site is new");
    let source = Source {
        id: SOURCE.into(),
        site_id: site.id,
        name: "Station".into(),
        way: Way::File,
        provider: None,
        cell: None,
        kind: Kind::Station,
        trust: 1,
        mapping: None,
        created_at: NOW,
    };
    store.add_source(&source).await.expect("the source is new");
    store
}

async fn through_the_store(readings: &[Reading]) -> Duration {
    let folder = tempfile::tempdir().expect("the temporary folder takes a new one");
    let store = store(&folder).await;
    let begun = Stopwatch::now();
    let upload = store.store_readings(SOURCE, readings, NOW).await.expect("it is stored");
    let taken = begun.elapsed();
    assert_eq!(black_box(upload).stored, ROWS as u64);
    store.close().await.expect("it closes");
    taken
}

async fn bare(readings: &[Reading]) -> Duration {
    let folder = tempfile::tempdir().expect("the temporary folder takes a new one");
    let options = SqliteConnectOptions::new()
        .filename(path(&folder))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let mut connection = SqliteConnection::connect_with(&options).await.expect("a fresh file opens");
    sqlx::query(
        "CREATE TABLE reading (source BIGINT NOT NULL, at BIGINT NOT NULL, span BIGINT NOT NULL, \
         celsius DOUBLE PRECISION NOT NULL, flag BIGINT NOT NULL, received_at BIGINT NOT NULL, \
         revision BIGINT NOT NULL, PRIMARY KEY (source, at)) WITHOUT ROWID",
    )
    .execute(&mut connection)
    .await
    .expect("the table is new");
    let begun = Stopwatch::now();
    let mut tx = connection.begin().await.expect("nobody else is there");
    for rows in readings.chunks(ROWS_AN_INSERT) {
        let mut query = QueryBuilder::<Sqlite>::new(
            "INSERT INTO reading (source, at, span, celsius, flag, received_at, revision) ",
        );
        query.push_values(rows, |mut row, reading| {
            row.push_bind(1_i64)
                .push_bind(reading.at.0)
                .push_bind(reading.span)
                .push_bind(reading.celsius)
                .push_bind(reading.flag as i64)
                .push_bind(NOW.0)
                .push("0");
        });
        query.build().execute(&mut *tx).await.expect("the rows are new");
    }
    tx.commit().await.expect("the disk takes it");
    let taken = begun.elapsed();
    connection.close().await.expect("it closes");
    taken
}

fn upload(criterion: &mut Criterion) {
    let runtime = Runtime::new().expect("threads can be started");
    let readings = readings();
    let best = Mutex::new([Duration::MAX; 2]);
    let note = |which: usize, taken: Duration| {
        let mut best = best.lock().expect("no benchmark panics while it holds this");
        best[which] = best[which].min(taken);
        taken
    };
    let mut group = criterion.benchmark_group("upload of 1,000,000 readings");
    group
        .sample_size(10)
        .sampling_mode(SamplingMode::Flat)
        .warm_up_time(Duration::from_millis(1))
        .measurement_time(Duration::from_secs(1))
        .throughput(Throughput::Elements(ROWS as u64));
    group.bench_function("through the store", |bencher| {
        bencher.iter_custom(|times| {
            let once = |_| note(0, runtime.block_on(through_the_store(&readings)));
            (0..times).map(once).sum()
        });
    });
    group.bench_function("bare insert", |bencher| {
        bencher.iter_custom(|times| (0..times).map(|_| note(1, runtime.block_on(bare(&readings)))).sum());
    });
    group.finish();
    let [store, bare] = best.into_inner().expect("no benchmark panicked");
    if store == Duration::MAX || bare == Duration::MAX {
        return; // One of them was filtered out.
    }
    let rate = |taken: Duration| ROWS as f64 / taken.as_secs_f64();
    let ratio = rate(store) / rate(bare);
    println!(
        "best of the samples: {:.0} rows/s through the store, {:.0} rows/s bare; \
         ratio {ratio:.2}, pass line {PASS_LINE:.2}: {}",
        rate(store),
        rate(bare),
        if ratio >= PASS_LINE { "passed" } else { "FAILED" }
    );
}

criterion_group!(benches, upload);
criterion_main!(benches);
