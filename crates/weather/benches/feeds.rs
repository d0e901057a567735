//! Bytes of a provider's answer read in a second, on one core, beside those of
//! the same body that serde_json reads into a value of its own.
//!
//!     cargo bench -p weather --bench feeds
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a benchmark prints its figures and has no public items"
)]

#[path = "feeds/bodies.rs"]
mod bodies;

use std::hint::black_box;
use std::time::Instant as Stopwatch;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use model::time::{DAY, Instant};
use weather::feeds::{CellAnswer, CellRequest, bright_sky, met_norway, nws, open_meteo};

/// MB a second that must be reached.
const FLOOR: f64 = 100.0;
/// Runs of which the fastest counts.
const RUNS: usize = 25;
/// Bytes read in a run at least, so that it can be timed.
const BYTES_OF_A_RUN: usize = 4_000_000;

/// What reads a body.
type Reader = Box<dyn Fn(&[u8]) -> Vec<CellAnswer>>;

struct Case {
    name: &'static str,
    body: Vec<u8>,
    read: Reader,
}

fn cell(number: usize) -> CellRequest {
    CellRequest {
        cell: number.to_string(),
        latitude: 52.1235,
        longitude: 7.6,
        elevation_m: Some(60.0),
        memory: None,
    }
}

fn cases() -> Vec<Case> {
    let at = |text: &str| Instant::parse(text).expect("the time is right");
    let (now, hour) = (at("2026-05-01T10:30:00Z"), at("2026-05-01T10:00:00Z"));
    let (midnight, one) = (at("2026-05-01T00:00:00Z"), cell(0));
    let first = midnight.plus(-3 * DAY);
    let within = (first, first.plus(8 * DAY));
    let cells: Vec<CellRequest> = (0..100).map(cell).collect();
    let case = |name, body: String, read: Reader| Case { name, body: body.into_bytes(), read };
    let right = "the body is right";
    let (a, b, c, d) = (one.clone(), one.clone(), one.clone(), one);
    vec![
        case(
            "open-meteo, 100 cells",
            bodies::open_meteo(cells.len(), first, 8 * 24),
            Box::new(move |body| open_meteo::read(body, &cells, within, now).expect(right)),
        ),
        case(
            "bright-sky",
            bodies::bright_sky(hour.plus(-3 * DAY), 8 * 24, now),
            Box::new(move |body| vec![bright_sky::read(body, &a, now).expect(right)]),
        ),
        case(
            "met-norway",
            bodies::met_norway(hour),
            Box::new(move |body| vec![met_norway::read(body, &b, now).expect(right)]),
        ),
        case(
            "nws, grid",
            bodies::nws_grid(hour, 188),
            Box::new(move |body| vec![nws::read_grid(body, &c, now).expect(right)]),
        ),
        case(
            "nws, observations",
            bodies::nws_observations(hour.plus(-9 * 60), 500),
            Box::new(move |body| vec![nws::read_observations(body, "KNEA", &d, now).expect(right)]),
        ),
    ]
}

/// Seconds that this thread has had of a core, so that a busy machine does not
/// count as a slow program; none where the kernel does not tell.
fn core_seconds() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    told.split_whitespace().next()?.parse::<f64>().ok().map(|nanoseconds| nanoseconds / 1e9)
}

/// MB a second of a core: the fastest run of several.
fn mb_a_second(bytes: usize, mut read: impl FnMut()) -> f64 {
    let times = BYTES_OF_A_RUN.div_ceil(bytes);
    let mut least = f64::INFINITY;
    for _ in 0..RUNS {
        let watch = Stopwatch::now();
        let before = core_seconds();
        (0..times).for_each(|_| read());
        let after = core_seconds();
        let wall = watch.elapsed().as_secs_f64();
        least = least.min(before.zip(after).map_or(wall, |(before, after)| after - before));
    }
    (bytes * times) as f64 / 1e6 / least
}

fn feeds(criterion: &mut Criterion) {
    let cases = cases();
    for Case { name, body, read } in &cases {
        let told: usize = read(body).iter().map(|cell| cell.readings.len() + cell.air.len()).sum();
        assert!(told > 0, "{name}");
        let ours = mb_a_second(body.len(), || {
            black_box(read(black_box(body)));
        });
        let bare = mb_a_second(body.len(), || {
            black_box(serde_json::from_slice::<serde_json::Value>(black_box(body)).expect("it is JSON"));
        });
        println!(
            "{name}: {:.0} kB, {ours:.0} MB/s on one core, {:.1} times the floor of {FLOOR:.0} MB/s{}; \
             serde_json into a value of its own {bare:.0} MB/s, {:.2} times that",
            body.len() as f64 / 1e3,
            ours / FLOOR,
            if ours < FLOOR { ", BELOW THE FLOOR" } else { "" },
            ours / bare,
        );
    }
    let mut group = criterion.benchmark_group("feeds");
    group.sample_size(20);
    for Case { name, body, read } in &cases {
        group.throughput(Throughput::Bytes(body.len() as u64));
        group.bench_function(*name, |bencher| bencher.iter(|| read(black_box(body))));
    }
    group.finish();
}

criterion_group!(benches, feeds);
criterion_main!(benches);
