//! The reference program of five-second steps on what a trial knows.

use serde_json::Value;

use crate::reference::{Block, Entry, Reading, What, reckon};
use crate::straight::{Called, Known, seconds};

/// The curve that ships as `reference`: °C, and share of the style a day.
const CURVE: [(f64, f64); 15] = [
    (4.0, 0.0),
    (5.0, 0.08),
    (6.0, 0.09),
    (7.0, 0.10),
    (8.0, 0.11),
    (9.0, 0.12),
    (10.0, 0.14),
    (11.0, 0.17),
    (12.0, 0.20),
    (13.0, 0.25),
    (14.0, 0.35),
    (15.0, 0.50),
    (24.0, 1.00),
    (30.0, 1.05),
    (43.7, 0.0),
];

/// Whether it comes to the same as what is called for, in words where it does not.
pub(crate) fn disagrees(known: &Known, now: i64, called: &Called) -> Option<String> {
    let block = Block {
        curve: CURVE.to_vec(),
        marks: vec![known.mark],
        threshold: 100.0,
        flowers: None,
        overrun_margin: 0.25,
        age_limit: 21 * 86_400,
    };
    let readings: Vec<Reading> =
        known.readings.iter().map(|(at, celsius)| Reading { at: *at, celsius: *celsius }).collect();
    let entries: Vec<Entry> = known.entries.iter().map(entry).collect();
    let season = reckon(&block, &readings, &entries, now);
    let reached = season.legs.first().map(|leg| leg.reached).unwrap_or_default();
    let same = season.start == called.start && reached.agrees(called.due());
    (!same).then(|| format!("start {:?}, reached {reached:?}; called for {called:?}", season.start))
}

fn entry(posted: &Value) -> Entry {
    let of = || posted["of"].as_str().unwrap_or_default().to_owned();
    let kind = posted["kind"].as_str().unwrap_or_default();
    let what = match kind {
        "bloom-start" => What::BloomStart,
        "decision" => What::Decision { thin: posted["thin"] == true },
        "spray" => What::Spray {
            finished_at: posted["finished_at"].is_string().then(|| seconds(&posted["finished_at"])),
            planned: true,
            thins: None,
            took: true,
            share_of_block: 1.0,
        },
        "correction" => What::Correction { of: of(), entry: Box::new(entry(&posted["entry"])) },
        "withdrawal" => What::Withdrawal { of: of() },
        other => panic!("no trial posts a {other}"),
    };
    Entry { id: posted["id"].as_str().unwrap_or_default().to_owned(), at: seconds(&posted["at"]), what }
}
