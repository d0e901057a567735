//! What odds cost, each figure beside its floor.
//!
//! `cargo bench -p model --bench odds` prints the named figures.

use std::hint::black_box;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant as Stopwatch};

use model::catalogue::Catalogue;
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::odds::{self, Errors, Foretold, Line, Outlook, Tubes};
use model::plan::Plan;
use model::season::{self, Season};
use model::series::{Reading, Series};
use model::time::{DAY, HOUR, Instant};
use serde_json::{Value, json};

const CELLS: usize = 300;
const MEMBERS: usize = 51;
const SEASONS: usize = 10_000;
/// Days read, and days foretold.
const READ: i64 = 45;
const AHEAD: i64 = 10;
/// Times each figure is taken; the least is told, which is what the code costs when
/// nothing else runs beside it.
const TAKES: usize = 7;
/// Seasons of one take, some two milliseconds.
const AT_A_TIME: usize = 8;
const MOST_S: f64 = 2.0;

fn begin() -> Instant {
    Instant(1_364_774_400)
}

fn now() -> Instant {
    begin().plus(READ * DAY)
}

fn celsius(cell: usize, hours: i64) -> f64 {
    let turn = std::f64::consts::TAU;
    let (days, seed) = (hours as f64 / 24.0, cell as f64);
    7.0 + 0.12 * days + 5.5 * (turn * (days - 0.4)).sin() + 3.0 * (turn * (days + seed) / 6.7).sin()
}

fn course(cell: usize) -> Arc<Course> {
    let hours = 0..=READ * 24;
    let readings = hours.map(|n| Reading::instant(begin().plus(n * HOUR), celsius(cell, n))).collect();
    Arc::new(Course::new(Series::join(&[readings], None, Instant::MAX)))
}

/// Members that drift apart as they go on.
fn members(cell: usize) -> Vec<Vec<Reading>> {
    let member = |member: usize| {
        let hours = 0..=AHEAD * 24;
        hours
            .map(|n| {
                let phase = (n as f64 / 31.0 + member as f64 * 1.7).sin() + 0.5 * (member as f64 * 2.9).sin();
                let off = phase * (0.5 + n as f64 / 60.0);
                Reading::instant(now().plus(n * HOUR), celsius(cell, READ * 24 + n) + off)
            })
            .collect()
    };
    (0..MEMBERS).map(member).collect()
}

fn catalogue() -> Catalogue {
    let shipped = |path: &str| -> Value {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
        toml::from_str(&std::fs::read_to_string(path).expect("what ships is there")).expect("TOML")
    };
    let more = json!({"by-the-mm": {
        "form": "nodes", "unit": "mm-per-hour", "source": "for this benchmark", "status": "measured",
        "nodes": [[4, 0], [8, 0.02], [12, 0.06], [16, 0.12], [20, 0.19], [24, 0.25], [30, 0.27], [40, 0]],
    }});
    Catalogue::read(&shipped("config/curves.toml"), &shipped("config/materials.toml"))
        .and_then(|ships| Ok(ships.and(Catalogue::read(&more, &json!({}))?)))
        .expect("the catalogue is sound")
}

/// A season with what its odds are asked of.
struct Block {
    plan: Plan,
    log: FieldLog,
    season: Season,
    cell: usize,
    curve: usize,
}

/// Blocks by cell. One in three still waits for its start, and one in three is on a
/// curve in mm with three styles measured; the start of the others lies between two
/// counts.
fn block(n: usize, catalogue: &Catalogue, growths: &[Vec<Growth>]) -> Block {
    let (cell, curve) = (n * CELLS / SEASONS, n % catalogue.curves.len());
    let block = json!({
        "name": format!("Block {n}"), "cultivar": "Gala", "curve": catalogue.curves[curve].id,
        "style_lengths_mm": [8.6, 9.3, 8.2], "flowers_per_cluster": 5, "target_fruit_per_tree": 100,
    });
    let sprays = json!({"sprays": [
        {"material": "ammonium-thiosulfate", "mark": 0.6}, {"material": "lime-sulfur", "mark": 1.0},
    ]});
    let plan = Plan::assemble(None, chrono_tz::America::New_York, &block, Some(&sprays), catalogue)
        .expect("a sound plan");
    let trees =
        |mean: i64| -> Vec<i64> { (0..5).map(|tree| mean + (n as i64 * 7 + tree * 11) % 23).collect() };
    let means = if (n / 3).is_multiple_of(3) { [20, 60] } else { [50, 140] };
    let entries = [0, 1].map(|count: usize| {
        let at = now().plus(-(32 - 22 * count as i64) * HOUR);
        json!({"id": format!("0{count}"), "kind": "open-count", "at": at, "open_per_tree": trees(means[count])})
    });
    let entries = entries.iter().map(|entry| Entry::read(entry, None).expect("a sound entry")).collect();
    let log = FieldLog::by_id(entries).expect("ids differ");
    let season = season::reckon(&plan, &log, &growths[cell][curve], now());
    Block { plan, log, season, cell, curve }
}

/// The least of a few takes.
fn taken(takes: usize, mut work: impl FnMut()) -> Duration {
    let take = |_| {
        let begun = Stopwatch::now();
        work();
        begun.elapsed()
    };
    (0..takes).map(take).min().expect("taken at least once")
}

fn figure(name: &str, value: f64, unit: &str, floor: Option<f64>) {
    let compared = floor.map_or(String::new(), |floor| {
        format!(" (floor {floor} {unit}, {})", if value <= floor { "met" } else { "MISSED" })
    });
    writeln!(std::io::stdout(), "named figure: {name}: {value:.4} {unit}{compared}")
        .expect("a place to write to");
}

fn main() {
    // `cargo test --benches` only asks whether it runs.
    let takes = if std::env::args().any(|argument| argument == "--bench") { TAKES } else { return };
    let catalogue = catalogue();
    let courses: Vec<Arc<Course>> = (0..CELLS).map(course).collect();
    let grown = |course: &Arc<Course>| -> Vec<Growth> {
        catalogue.curves.iter().map(|curve| Growth::new(course.clone(), curve.clone())).collect()
    };
    let growths: Vec<Vec<Growth>> = courses.iter().map(grown).collect();
    let blocks: Vec<Block> = (0..SEASONS).map(|n| block(n, &catalogue, &growths)).collect();
    let foretold: Vec<Vec<Vec<Reading>>> = (0..CELLS).map(members).collect();
    let prior = Errors::prior();
    let outlook = |cell: usize| {
        let foretold = Foretold { issued_at: now(), members: &foretold[cell] };
        Outlook::new(&courses[cell], &foretold, &prior, now()).expect("a sound forecast")
    };
    let on = |outlook: &Outlook, curves: &[Arc<Curve>]| -> Vec<Tubes> {
        curves.iter().map(|curve| outlook.on(curve)).collect()
    };
    let made: Vec<Outlook> = (0..CELLS).map(outlook).collect();
    let tubes: Vec<Vec<Tubes>> = made.iter().map(|outlook| on(outlook, &catalogue.curves)).collect();
    // A little at a time, so that a take is seldom broken off by other work; all courses
    // of a cell are gone through many times within each.
    let seconds = |work: &dyn Fn(usize)| -> f64 {
        (0..CELLS).map(|cell| taken(takes, || work(cell)).as_secs_f64()).sum()
    };
    let joined = seconds(&|cell| drop(black_box(outlook(cell))));
    let one = seconds(&|cell| drop(black_box(on(&made[cell], &catalogue.curves[..1]))));
    let all = seconds(&|cell| drop(black_box(on(&made[cell], &catalogue.curves))));
    // With each curve that may hold as the service draws, and with the block's own alone.
    let lines = |block: &Block, doubted: bool| -> Vec<Line<'_>> {
        let line = |curve: usize| {
            let (growth, tubes) = (&growths[block.cell][curve], &tubes[block.cell][curve]);
            Line { growth, tubes, weight: 1.0 }
        };
        if !doubted {
            return vec![line(block.curve)];
        }
        let place = |of: &Arc<Curve>| catalogue.curves.iter().position(|curve| curve.id == of.id);
        let all = odds::curves_in_doubt(&catalogue.curves[block.curve], &catalogue.curves);
        all.iter().filter_map(|(curve, _)| place(curve)).map(line).collect()
    };
    let drawn = |doubted: bool| -> f64 {
        let take = |blocks: &[Block]| {
            taken(takes, || {
                for block in blocks {
                    let (outlook, lines) = (&made[block.cell], lines(block, doubted));
                    let found = odds::of(&block.plan, &block.log, &block.season, outlook, &lines, now());
                    assert!(found.legs.len() == 2 && found.legs[0].odds.draws >= 1_000);
                    black_box(found);
                }
            })
            .as_secs_f64()
        };
        blocks.chunks(AT_A_TIME).map(take).sum()
    };
    let (alone, doubted) = (drawn(false), drawn(true));
    let in_doubt = blocks.iter().filter(|block| lines(block, true).len() > 1).count();
    let waiting = blocks.iter().filter(|block| block.season.running().is_none()).count();
    figure("members joined and put in order, 300 cells of 51 over 10 days", joined, "s", None);
    figure("members' growth alone, one curve", one, "s", None);
    figure("members' growth alone, three curves", all, "s", None);
    figure(&format!("draws of 10,000 seasons, {waiting} of them before their start"), alone, "s", None);
    figure("odds for 10,000 seasons with all of it", joined + all + alone, "s", Some(MOST_S));
    let name = format!("the same where {in_doubt} of them have several curves in doubt");
    figure(&name, joined + all + doubted, "s", Some(MOST_S));
}
