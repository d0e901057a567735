//! Rows of a station's file parsed and checked in a second, on one core; and
//! seconds for a year of readings whose layout is told first.
//!
//!     cargo bench -p weather --bench station_file
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a benchmark prints its figures and has no public items"
)]

use std::fmt::Write;
use std::hint::black_box;
use std::time::Instant as Stopwatch;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use model::time::Instant;
use serde_json::{Value, json};
use weather::mapping::Mapping;
use weather::recognise::recognise;
use weather::station_file;

const ROWS: u64 = 1_000_000;
/// Rows a second that must be reached.
const FLOOR: f64 = 1_000_000.0;
/// Readings of a year, each five minutes.
const YEAR_ROWS: i64 = 105_120;
/// Seconds of one core in which a year's file must be recognised and read.
const YEAR_CEILING: f64 = 0.3;
/// Runs of which the fastest is compared with the floor.
const RUNS: usize = 5;

struct Case {
    name: &'static str,
    text: String,
    mapping: Mapping,
}

fn mapping(changes: Value) -> Mapping {
    let mut table = json!({
        "time_column": "time", "temperature_column": "temp", "unit": "fahrenheit", "kind": "instant",
    });
    for (key, value) in changes.as_object().expect("changes are a table") {
        table[key] = value.clone();
    }
    model::input::read(&table, Mapping::from_fields).expect("the mapping is right")
}

/// A reading each minute, written by `row`.
fn text(header: &str, row: impl Fn(&mut String, chrono::DateTime<chrono::Utc>, f64)) -> String {
    let start = Instant(1_356_998_400);
    let mut text = format!("{header}\n");
    for n in 0..ROWS as i64 {
        let tenths = (n * 7_919) % 600;
        row(&mut text, start.plus(n * 60).utc(), 30.0 + tenths as f64 / 10.0);
    }
    text
}

fn cases() -> Vec<Case> {
    let two = |pattern: &'static str| {
        text("time,temp", move |text, at, temp| {
            writeln!(text, "{},{temp:.2}", at.format(pattern)).expect("a text takes more");
        })
    };
    let wide = "EWR,2013,4,1,0";
    let other = "28.04,69.63,350,11.5078,NA,0,1022.4,10";
    vec![
        Case { name: "rfc3339, 2 columns", text: two("%Y-%m-%dT%H:%M:%SZ"), mapping: mapping(json!({})) },
        Case {
            name: "rfc3339, 15 columns with where",
            text: text(
                "origin,year,month,day,hour,temp,dewp,humid,wind_dir,wind_speed,wind_gust,precip,pressure,visib,time",
                |text, at, temp| {
                    writeln!(text, "{wide},{temp:.2},{other},{}", at.format("%Y-%m-%dT%H:%M:%SZ"))
                        .expect("a text takes more");
                },
            ),
            mapping: mapping(json!({ "where": { "origin": "EWR" } })),
        },
        Case {
            name: "strftime, UTC",
            text: two("%Y-%m-%d %H:%M"),
            mapping: mapping(json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "UTC" })),
        },
        Case {
            name: "strftime, wall clock",
            text: two("%Y-%m-%d %H:%M"),
            mapping: mapping(json!({ "time_format": "%Y-%m-%d %H:%M", "time_zone": "Asia/Tokyo" })),
        },
        Case {
            name: "strftime, wall clock with summer time",
            // Written in UTC, read as New York: one hour a spring is refused.
            text: two("%m/%d/%Y %H:%M:%S"),
            mapping: mapping(json!({ "time_format": "%m/%d/%Y %H:%M:%S", "time_zone": "America/New_York" })),
        },
    ]
}

/// Seconds that this thread has had of a core, so that a busy machine does not
/// count as a slow program; none where the kernel does not tell.
fn core_seconds() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    told.split_whitespace().next()?.parse::<f64>().ok().map(|nanoseconds| nanoseconds / 1e9)
}

/// Rows a second of a core, and of the wall clock: the fastest run of several.
fn rows_a_second(case: &Case, now: Instant) -> (f64, f64) {
    let (mut core, mut wall) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..RUNS {
        let watch = Stopwatch::now();
        let before = core_seconds();
        let file = station_file::read(black_box(case.text.as_bytes()), &case.mapping, now)
            .expect("the file is right");
        let after = core_seconds();
        let seconds = watch.elapsed().as_secs_f64();
        assert_eq!(file.rows.seen, ROWS);
        assert!(file.rows.taken > ROWS - 200, "{:?}", file.rows);
        wall = wall.min(seconds);
        core = core.min(before.zip(after).map_or(seconds, |(before, after)| after - before));
    }
    (ROWS as f64 / core, ROWS as f64 / wall)
}

/// A year of readings each five minutes, as a European station exports them.
fn year() -> String {
    let start = Instant(1_356_998_400);
    let mut text = "Zeitpunkt;Luftdruck;Lufttemperatur  °C ;Taupunkt °C;Feuchte %;Wind;Regen\r\n".to_owned();
    for n in 0..YEAR_ROWS {
        let at = start.plus(n * 300).utc().format("%d.%m.%Y   %H:%M");
        let tenths = (n * 7_919) % 300;
        writeln!(text, "{at};1015,0;{},{};6,9;80,5;1,2;0,0\r", tenths / 10, tenths % 10)
            .expect("a text takes more");
    }
    text
}

/// Recognises and reads the year; how many rows were taken.
fn recognised_and_read(text: &str, now: Instant) -> u64 {
    let found = recognise(text.as_bytes(), &json!({ "time_zone": "UTC" }), None).expect("the layout is told");
    station_file::read(text.as_bytes(), &found.mapping, now).expect("the file is right").rows.taken
}

/// Seconds of a core that the year takes: the fastest run of several.
fn year_seconds(text: &str, now: Instant) -> f64 {
    let mut fastest = f64::INFINITY;
    for _ in 0..RUNS {
        let watch = Stopwatch::now();
        let before = core_seconds();
        assert_eq!(recognised_and_read(black_box(text), now), YEAR_ROWS.unsigned_abs());
        let core = before.zip(core_seconds()).map(|(before, after)| after - before);
        fastest = fastest.min(core.unwrap_or(watch.elapsed().as_secs_f64()));
    }
    fastest
}

fn station_files(criterion: &mut Criterion) {
    let now = Instant(1_767_225_600);
    let cases = cases();
    for case in &cases {
        let (core, wall) = rows_a_second(case, now);
        println!(
            "{}: {core:.0} rows/s on one core, {:.1} times the floor of {FLOOR:.0} rows/s{} ({wall:.0} rows/s by the wall clock)",
            case.name,
            core / FLOOR,
            if core < FLOOR { ", BELOW THE FLOOR" } else { "" },
        );
    }
    let year = year();
    let seconds = year_seconds(&year, now);
    println!(
        "a year each five minutes, recognised and read: {seconds:.3} s of one core, {:.1} times under the ceiling of \
         {YEAR_CEILING} s{}",
        YEAR_CEILING / seconds,
        if seconds > YEAR_CEILING { ", ABOVE THE CEILING" } else { "" },
    );
    let mut group = criterion.benchmark_group("station_file");
    group.bench_function("a year each five minutes, recognised and read", |bencher| {
        bencher.iter(|| recognised_and_read(black_box(&year), now));
    });
    let head = &year.as_bytes()[..weather::recognise::HEAD_BYTES];
    group.bench_function("a head recognised", |bencher| {
        bencher.iter(|| recognise(black_box(head), &json!({ "time_zone": "UTC" }), None));
    });
    group.throughput(Throughput::Elements(ROWS)).sample_size(10);
    for case in &cases {
        group.bench_function(case.name, |bencher| {
            bencher.iter(|| station_file::read(black_box(case.text.as_bytes()), &case.mapping, now));
        });
    }
    group.finish();
}

criterion_group!(benches, station_files);
criterion_main!(benches);
