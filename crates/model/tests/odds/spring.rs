//! Odds on the spring of 2013: windows from forecasts that the model's errors know
//! nothing of hold the truth as often as they say, once enough was learned.

use std::collections::BTreeMap;

use model::odds::{self, Errors, Line, Outlook};
use model::score::{Scored, Summary};
use model::time::{DAY, HOUR, Instant};

use super::weather::{Archive, CALM, EACH, Known, ROUGH, Setting};
use crate::kit;

/// Issues that are learned from.
const LEARNED: usize = 40;
/// Days on which a leg begins at each station.
const DAYS: i64 = 30;
const SEEDS: u64 = 6;
const MARKS: [f64; 2] = [0.6, 1.0];

/// What each leg's odds scored, by the day on which it began.
#[derive(Default)]
struct Judged(BTreeMap<i64, Vec<Scored>>);

impl Judged {
    fn add(&mut self, known: &Known, errors: &Errors, day: i64, truths: &[Instant]) {
        let curve = kit::curve("reference");
        let growth = known.growth(curve.clone());
        let outlook: Outlook = known.outlook(&growth, errors);
        let tubes = outlook.on(&curve);
        let line = Line { growth: &growth, tubes: &tubes, weight: 1.0 };
        for (mark, truth) in MARKS.iter().zip(truths) {
            let plan = kit::plan(&[("lime-sulfur", *mark)]);
            let log = kit::log(&[kit::start(known.at)]);
            let season = model::season::reckon(&plan, &log, &growth, known.at);
            let found = odds::of(&plan, &log, &season, &outlook, &[line], known.at);
            self.0.entry(day).or_default().push(found.legs[0].odds.scored(*truth));
        }
    }

    fn summary(&self) -> Summary {
        let all: Vec<Scored> = self.0.values().flatten().copied().collect();
        Summary::of(&all).expect("legs were judged")
    }

    /// 95 % interval of coverage when whole days are drawn again: legs of one day share
    /// its weather.
    fn by_days(&self) -> (f64, f64) {
        let days: Vec<&Vec<Scored>> = self.0.values().collect();
        let mut state = 1_u64;
        let mut shares: Vec<f64> = (0..2_000)
            .map(|_| {
                let (mut held, mut all) = (0, 0);
                for _ in 0..days.len() {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(99_991);
                    let day = days[(state >> 33) as usize % days.len()];
                    held += day.iter().filter(|scored| scored.held).count();
                    all += day.len();
                }
                held as f64 / all as f64
            })
            .collect();
        shares.sort_by(f64::total_cmp);
        (shares[50], shares[1_949])
    }

    /// The scores in a line.
    fn told(&self, name: &str, when: &str) -> String {
        let summary = self.summary();
        let (low, high) = self.by_days();
        format!(
            "{name}, {when}: coverage {:.1} % ({:.1} to {:.1} by {} start days; Wilson {:.1} to {:.1}), n = {}, \
             CRPS {:.2} h ({}), pinball {:.2} h",
            100.0 * summary.coverage,
            100.0 * low,
            100.0 * high,
            self.0.len(),
            100.0 * summary.coverage_low,
            100.0 * summary.coverage_high,
            summary.n,
            summary.crps_h,
            summary.estimator.spoken(),
            summary.pinball_h
        )
    }
}

/// Reckons all legs and looks whether windows hold; what is to be shown of it.
fn on_the_spring(setting: Setting) -> String {
    let (mut first, mut learned, mut worse) = (Judged::default(), Judged::default(), Judged::default());
    for station in ["EWR", "JFK"] {
        for seed in 1..=SEEDS {
            let archive = Archive::new(station, setting, seed);
            let begin = archive.truth()[0].at.plus(LEARNED as i64 * EACH);
            let all = kit::growth(kit::curve("reference"), archive.truth());
            for day in 0..DAYS {
                // Two hours after an issue, in the morning and in the evening by turns.
                let at = begin.plus(day * DAY + 2 * HOUR + (day % 2) * EACH);
                let truths: Vec<Instant> = MARKS
                    .iter()
                    .map(|mark| {
                        let plan = kit::plan(&[("lime-sulfur", *mark)]);
                        let season =
                            model::season::reckon(&plan, &kit::log(&[kit::start(at)]), &all, Instant::MAX);
                        season.legs[0].reached_at.expect("the spring is long enough")
                    })
                    .collect();
                let known = archive.known_at(at);
                let errors = known.errors(LEARNED);
                first.add(&known, &Errors::prior(), day, &truths);
                learned.add(&known, &errors, day, &truths);
                worse.add(&archive.known_at_but(at, 1.5), &errors, day, &truths);
            }
        }
    }
    let told = [
        first.told(setting.name, "at first issue, by the prior"),
        learned.told(setting.name, &format!("after {LEARNED} learned issues")),
        worse.told(setting.name, "errors 1.5 times what was learned"),
    ]
    .join("\n");
    let (held, failed) = (learned.summary().coverage, worse.summary().coverage);
    assert!(learned.summary().n >= 300);
    assert!((0.75..=0.85).contains(&held), "{told}");
    assert!(failed < 0.75, "{told}");
    assert!(learned.summary().crps_h < first.summary().crps_h, "{told}");
    told
}

#[test]
fn windows_hold_where_forecasts_err_less_than_the_prior() {
    println!("{}", on_the_spring(CALM));
}

#[test]
fn windows_hold_where_forecasts_err_more_than_the_prior() {
    println!("{}", on_the_spring(ROUGH));
}
