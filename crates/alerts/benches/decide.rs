//! Deciding for many seasons of which nothing has changed since they were told:
//! `cargo bench -p alerts`. Pass line: 100,000 in 100 ms.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a bench measures and prints"
)]

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant as Stopwatch;

use alerts::decide::{Beside, Decision, Recipients, decide, useful_until};
use model::catalogue::Catalogue;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season::{Season, reckon};
use model::series::{Reading, Series};
use model::time::{HOUR, Instant};
use serde_json::json;
use store::{AlertRow, AlertStatus};

const BEGIN: Instant = Instant(1_367_366_400);
const SEASONS: usize = 100_000;

fn main() {
    let (plan, season, now) = due();
    let recipients =
        Recipients { block_id: "bench", addresses: &[], contacts: &[], silenced: &[], mutes: &[] };
    let beside = Beside { curve: "steady", fed: true, awake: true, ahead: None, recipients };
    let told = decide(&season, &plan, &beside, &[], now);
    let known: Vec<AlertRow> = told.into_iter().filter_map(|decision| row(decision, now)).collect();
    assert!(
        known.len() >= 2 && decide(&season, &plan, &beside, &known, now).is_empty(),
        "nothing has changed"
    );
    let begun = Stopwatch::now();
    let mut decided = 0;
    for _ in 0..SEASONS {
        decided += decide(black_box(&season), &plan, &beside, black_box(&known), now).len();
    }
    let taken = begun.elapsed();
    assert_eq!(decided, 0);
    println!(
        "{SEASONS} seasons with {} alerts each, nothing changed: {:.1} ms, pass line 100 ms",
        known.len(),
        taken.as_secs_f64() * 1e3
    );
}

/// A season whose spray is due.
fn due() -> (Plan, Season, Instant) {
    let curves = json!({"steady": {
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 0.5], [30, 0.5]],
        "source": "made for this bench", "status": "constructed",
    }});
    let catalogue = Catalogue::read(&curves, &json!({})).unwrap();
    let block = json!({"name": "Bench", "cultivar": "Gala", "curve": "steady", "target_fruit_per_tree": 100});
    let sprays = json!({"sprays": [{"material": "ats", "mark": 0.6}, {"material": "ats", "mark": 0.6}]});
    let plan = Plan::assemble(Some(2013), chrono_tz::UTC, &block, Some(&sprays), &catalogue).unwrap();
    let readings: Vec<Reading> = (-24..=30).map(|n| Reading::instant(BEGIN.plus(n * HOUR), 15.0)).collect();
    let now = BEGIN.plus(30 * HOUR);
    let course = Arc::new(Course::new(Series::join(&[readings], None, now)));
    let growth = Growth::new(course, plan.block.curve.clone());
    let start = Entry::read(&json!({"id": "a", "kind": "bloom-start", "at": BEGIN}), None).unwrap();
    let season = reckon(&plan, &FieldLog::by_id(vec![start]).unwrap(), &growth, now);
    (plan, season, now)
}

fn row(decision: Decision, now: Instant) -> Option<AlertRow> {
    let Decision::Tell { subject, generation, about, .. } = decision else { return None };
    Some(AlertRow {
        id: format!("alert-{}", about.kind.word()),
        block_id: "bench".into(),
        year: 2013,
        kind: about.kind.word().into(),
        subject,
        generation,
        status: AlertStatus::Told,
        reason: None,
        raised_at: now,
        useful_until: useful_until(&about, now),
        about: serde_json::to_value(&about).unwrap(),
        withdrawn_at: None,
        acknowledged_at: None,
        mailed: true,
    })
}
