//! Thirty springs of a hundred sites from readings in memory: at most a second is
//! wanted. Beside it the bare sum of their growth, by the same curve at each hour.

use std::hint::black_box;
use std::sync::Arc;

use chrono_tz::America::New_York;
use criterion::{Criterion, criterion_group, criterion_main};
use model::catalogue::Catalogue;
use model::curve::Curve;
use model::growth::{Course, Growth};
use model::hindcast::{StartRule, spring};
use model::series::{Reading, Series};
use model::time::{DAY, HOUR, Instant};

const SITES: i64 = 100;
const YEARS: std::ops::Range<i32> = 1994..2024;

/// Hourly readings of a spring: warm days and cool nights, another course each.
fn readings(from: Instant, to: Instant, seed: i64) -> Vec<Reading> {
    let hours = to.since(from) / HOUR;
    let celsius = |hour: i64| {
        let day = (hour % 24 - 9) as f64 / 24.0 * std::f64::consts::TAU;
        11.0 + 6.0 * day.sin() + (((hour / 24 + seed) * 7919) % 13) as f64 / 2.0
    };
    (0..=hours).map(|hour| Reading::instant(from.plus(hour * HOUR), celsius(hour))).collect()
}

fn springs(bench: &mut Criterion) {
    let curves: serde_json::Value = {
        let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../config/curves.toml"));
        toml::from_str(&text.expect("the curves ship")).expect("what ships is sound")
    };
    let catalogue = Catalogue::read(&curves, &serde_json::json!({})).expect("what ships is sound");
    let curve: Arc<Curve> = catalogue.curves[0].clone();
    let rule = StartRule::on("04-29T10:00").expect("a day of the year");
    let windows: Vec<(i32, Instant, Instant)> =
        YEARS.filter_map(|year| rule.window(year, New_York).map(|(from, to)| (year, from, to))).collect();
    let all: Vec<(i32, Vec<Reading>)> = (0..SITES)
        .flat_map(|site| windows.iter().map(move |(year, from, to)| (*year, readings(*from, *to, site))))
        .collect();
    let mut group = bench.benchmark_group("hindcast of 30 springs for 100 sites");
    group.sample_size(10);
    group.bench_function("springs", |bench| {
        bench.iter(|| {
            let mut reached = 0;
            for (year, readings) in &all {
                let course = Course::new(Series::join(std::slice::from_ref(readings), None, Instant::MAX));
                let growth = Growth::new(Arc::new(course), curve.clone());
                let past = spring(&growth, *year, New_York, &rule, &[0.6, 0.6, 0.6], 1.0);
                reached += past.legs.iter().filter(|leg| leg.reached_at.is_some()).count();
            }
            black_box(reached)
        });
    });
    group.bench_function("floor: one sum an hour", |bench| {
        bench.iter(|| {
            let sum = |readings: &Vec<Reading>| {
                readings.iter().map(|one| curve.rate_per_day(one.celsius)).sum::<f64>()
            };
            black_box(all.iter().map(|(_, readings)| sum(readings)).sum::<f64>() * DAY as f64)
        });
    });
    group.finish();
}

criterion_group!(benches, springs);
criterion_main!(benches);
