//! What growth and seasons cost, each figure beside its floor.
//!
//! `cargo bench -p model` prints the named figures first and criterion's own
//! account of the integration after them.

use std::hint::black_box;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant as Stopwatch};

use criterion::{Criterion, Throughput};
use model::catalogue::{Catalogue, Rules};
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season;
use model::series::{Reading, Series};
use model::time::{DAY, HOUR, Instant, MINUTE};
use serde_json::{Value, json};

const DAYS: i64 = 60;
const INTERVALS: usize = 1_440;
const SITES: usize = 100;
const CURVES: usize = 4;
const BLOCKS: usize = 100_000;
/// Times each figure is taken; the least is told, which is what the code costs
/// when nothing else runs beside it.
const TAKES: usize = 9;

/// Floors that the figures are held against.
const MOST_NS_AN_INTERVAL: f64 = 10.0;
const MOST_S_FOR_ALL_BLOCKS: f64 = 0.3;
const LEAST_TIMES_FASTER: f64 = 3.0;

fn begin() -> Instant {
    Instant(1_364_774_400)
}

fn shipped(path: &str) -> Value {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
    toml::from_str(&std::fs::read_to_string(path).expect("what ships is there")).expect("TOML")
}

/// The two curves that ship and two more, one of them in mm.
fn catalogue() -> Catalogue {
    let more = json!({
        "by-the-mm": {
            "form": "nodes", "unit": "mm-per-hour", "source": "for this benchmark", "status": "constructed",
            "nodes": [[4, 0], [8, 0.02], [12, 0.06], [16, 0.12], [20, 0.19], [24, 0.25], [30, 0.27], [40, 0]],
        },
        "quick": {
            "form": "beta", "unit": "fraction-per-day", "source": "for this benchmark", "status": "constructed",
            "tmin": 5.0, "topt": 27.0, "tmax": 42.0, "rate_at_topt": 1.2,
        },
    });
    Catalogue::read(&shipped("config/curves.toml"), &shipped("config/materials.toml"))
        .and_then(|ships| Ok(ships.and(Catalogue::read(&more, &json!({}))?)))
        .expect("the catalogue is sound")
        .ruled_by(rules())
}

/// The tables that ship, so that the verdict is judged as it is in the service.
fn rules() -> Rules {
    let [cultivars, verdict, records] =
        ["cultivars", "verdict", "records"].map(|name| shipped(&format!("config/{name}.toml")));
    Rules::read(&cultivars, &verdict, &records).expect("what ships is sound")
}

/// Sixty days of an orchard's spring, hour by hour: warmer by day and as the
/// weeks go on, with a week of its own for each site.
fn spring(site: usize) -> Vec<Reading> {
    let turn = std::f64::consts::TAU;
    (0..=INTERVALS as i64)
        .map(|n| {
            let (days, seed) = (n as f64 / 24.0, site as f64);
            let celsius = 9.0
                + 0.13 * days
                + 5.5 * (turn * (days - 0.4)).sin()
                + 3.0 * (turn * (days + seed) / 6.7).sin()
                + 0.7 * (n as f64 * 2.3 + seed).sin();
            Reading::instant(begin().plus(n * HOUR), celsius)
        })
        .collect()
}

fn course(site: usize) -> Arc<Course> {
    Arc::new(Course::new(Series::join(&[spring(site)], None, Instant::MAX)))
}

/// A block with its plan of two sprays and a log of counts and one spray.
struct Block {
    plan: Plan,
    log: FieldLog,
    growth: usize,
}

fn block(n: usize, catalogue: &Catalogue) -> Block {
    let curve = &catalogue.curves[n % CURVES];
    let block = json!({
        "name": format!("Block {n}"), "cultivar": "Gala", "curve": curve.id, "style_lengths_mm": [8.6, 9.0, 8.8],
        "flowers_per_cluster": 5, "target_fruit_per_tree": 90 + n % 40,
    });
    let sprays = json!({"sprays": [
        {"material": "ammonium-thiosulfate", "mark": 0.6}, {"material": "lime-sulfur", "mark": 1.0},
    ]});
    let plan = Plan::assemble(None, chrono_tz::America::New_York, &block, Some(&sprays), catalogue)
        .expect("a sound plan");
    // Counts on two mornings in the fifth week, the spray three days on.
    let first = begin().plus(30 * DAY + (n as i64 * 37 % 72) * HOUR);
    let trees =
        |mean: i64| -> Vec<i64> { (0..5).map(|tree| mean + (n as i64 * 7 + tree * 11) % 23).collect() };
    let spray = first.plus(4 * DAY + (n as i64 % 50) * MINUTE);
    let entries = [
        json!({"id": "01", "kind": "bud-count", "at": begin().plus(9 * DAY), "buds_per_tree": [180, 200, 190]}),
        json!({"id": "02", "kind": "open-count", "at": first, "open_per_tree": trees(40)}),
        json!({"id": "03", "kind": "open-count", "at": first.plus(DAY), "open_per_tree": trees(150)}),
        json!({"id": "04", "kind": "spray", "material": "ammonium-thiosulfate", "at": spray,
            "finished_at": spray.plus(2 * HOUR)}),
    ];
    let entries = entries.iter().map(|entry| Entry::read(entry, None).expect("a sound entry")).collect();
    let log = FieldLog::by_id(entries).expect("ids differ");
    // The blocks of a site come together, as the reckon pass has them.
    Block { plan, log, growth: n / (BLOCKS / SITES) * CURVES + n % CURVES }
}

/// The least of a few takes.
fn taken(mut work: impl FnMut()) -> Duration {
    let take = |_| {
        let begun = Stopwatch::now();
        work();
        begun.elapsed()
    };
    (0..TAKES).map(take).min().expect("taken at least once")
}

fn figure(name: &str, value: f64, unit: &str, floor: Option<(f64, bool)>) {
    let compared = match floor {
        Some((floor, met)) => format!(" (floor {floor} {unit}, {})", if met { "met" } else { "MISSED" }),
        None => String::new(),
    };
    writeln!(std::io::stdout(), "named figure: {name}: {value:.4} {unit}{compared}")
        .expect("a place to write to");
}

fn integration(curves: &[Arc<Curve>]) {
    let course = course(0);
    assert_eq!(course.series().spans.len(), INTERVALS);
    for curve in curves {
        const TIMES: usize = 2_000;
        let time = taken(|| {
            for _ in 0..TIMES {
                black_box(Growth::new(black_box(course.clone()), curve.clone()));
            }
        });
        let ns = time.as_nanos() as f64 / (TIMES * INTERVALS) as f64;
        let name = format!("rate and integrate an hourly interval, {}", curve.id);
        figure(&name, ns, "ns", Some((MOST_NS_AN_INTERVAL, ns <= MOST_NS_AN_INTERVAL)));
    }
}

fn all_growth(courses: &[Arc<Course>], curves: &[Arc<Curve>]) -> Vec<Growth> {
    courses
        .iter()
        .flat_map(|course| curves.iter().map(|curve| Growth::new(course.clone(), curve.clone())))
        .collect()
}

fn seasons(catalogue: &Catalogue) {
    let courses: Vec<Arc<Course>> = (0..SITES).map(course).collect();
    let blocks: Vec<Block> = (0..BLOCKS).map(|n| block(n, catalogue)).collect();
    let now = begin().plus(DAYS * DAY).plus(-20 * DAY);
    let growths = all_growth(&courses, &catalogue.curves);
    // What is timed is what is meant: a start between counts, two legs each.
    for block in &blocks {
        let season = season::reckon(&block.plan, &block.log, &growths[block.growth], now);
        let start = season.start.expect("counted above the threshold");
        assert!(start.earliest < Some(start.at) && season.legs.len() == 2, "{season:?}");
    }

    let alone = taken(|| drop(black_box(all_growth(&courses, &catalogue.curves)))).as_secs_f64();
    let reckoned = |growths: &dyn Fn(&Block) -> season::Season| {
        taken(|| {
            for block in &blocks {
                black_box(growths(block));
            }
        })
        .as_secs_f64()
    };
    let shared =
        alone + reckoned(&|block| season::reckon(&block.plan, &block.log, &growths[block.growth], now));
    let each = reckoned(&|block| {
        let growth = Growth::new(courses[block.growth / CURVES].clone(), block.plan.block.curve.clone());
        season::reckon(&block.plan, &block.log, &growth, now)
    });
    figure("cumulative growth alone, 100 sites and 4 curves", alone * 1e3, "ms", None);
    let met = shared <= MOST_S_FOR_ALL_BLOCKS;
    figure("100,000 blocks of two legs, growth shared", shared, "s", Some((MOST_S_FOR_ALL_BLOCKS, met)));
    figure("100,000 blocks of two legs, each integrated alone", each, "s", None);
    let faster = each / shared;
    let met = faster >= LEAST_TIMES_FASTER;
    figure("sharing growth is faster by", faster, "times", Some((LEAST_TIMES_FASTER, met)));
}

fn main() {
    let catalogue = catalogue();
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|argument| argument == "--bench") {
        integration(&catalogue.curves[..2]);
        seasons(&catalogue);
    }
    let mut criterion = Criterion::default()
        .sample_size(20)
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2))
        .configure_from_args();
    let course = course(0);
    let mut group = criterion.benchmark_group("growth over 60 days by the hour");
    group.throughput(Throughput::Elements(INTERVALS as u64));
    for curve in &catalogue.curves[..2] {
        group.bench_function(curve.id.as_str(), |bench| {
            bench.iter(|| Growth::new(course.clone(), curve.clone()));
        });
    }
    group.finish();
    criterion.final_summary();
}
