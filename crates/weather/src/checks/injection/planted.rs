//! How many of the planted errors are found, and what the others do to a
//! crossing.

use std::collections::HashSet;

use model::series::{Flag, Reading};
use model::time::{DAY, HOUR, Instant};

use super::kit::{self, Dice, at};
use super::plants::{Plant, Planted};
use crate::checks::{Check, Checked};

/// Errors planted of each kind: half on the way of a leg, half anywhere.
const COUNT: usize = 120;
const SEED: u64 = 2013;
/// A share may lie so far under the measured one.
const MARGIN: f64 = 0.05;
/// Right readings that may fail for each error. At the ends of a planted flat
/// line stand real readings of the same value: 1.3 were measured.
const MOST_LOST: f64 = 1.5;

/// What the checks made of one kind.
#[derive(Default)]
struct Tally {
    planted: usize,
    /// Any planted reading was flagged, by any check.
    hit: usize,
    /// The check that is meant to find it did.
    own: usize,
    /// All planted readings failed.
    failed: usize,
    /// Readings where nothing was planted that failed.
    lost: usize,
    legs: Legs,
}

/// Hours by which crossings move.
#[derive(Default)]
struct Legs {
    /// Without checks.
    unchecked: Vec<f64>,
    /// With checks, where some planted reading is still used.
    slipped: Vec<f64>,
    /// Of these, where none was flagged.
    unseen: Vec<f64>,
    /// With checks, where no planted reading is used: what other readings put in
    /// its place may differ.
    mended: Vec<f64>,
    /// Legs with hours that are not known any more.
    open: usize,
}

/// Faults by time and check.
type Said = HashSet<(Instant, Check)>;

/// What is said of a station as it is.
fn said(own: &[Reading], others: &[&[Reading]]) -> Said {
    let of = |checked: &Checked| {
        let at = checked.reading.at;
        checked.faults.iter().map(|fault| (at, fault.check)).collect::<Vec<_>>()
    };
    kit::checked(own, others, kit::later()).iter().flat_map(of).collect()
}

/// What the checks made of one planting.
struct Seen {
    hit: bool,
    still_used: bool,
}

impl Tally {
    /// `usual` is what is said of the station without anything planted: a false
    /// flag that would stand anyway is no hit.
    fn take(&mut self, plant: Plant, planted: &Planted, checked: &[Checked], usual: &Said) -> Seen {
        let wrong: Vec<&Checked> =
            checked.iter().filter(|checked| planted.is_wrong(&checked.reading)).collect();
        let failed = |checked: &&Checked| checked.reading.flag == Flag::Fail;
        let said = |checked: &&Checked, by: Option<Check>| {
            let checks = checked.faults.iter().map(|fault| fault.check);
            checks
                .filter(|check| by.is_none_or(|by| by == *check))
                .any(|check| !usual.contains(&(checked.reading.at, check)))
        };
        let flagged = |checked: &&Checked| said(checked, None);
        let by_own = |checked: &&Checked| said(checked, Some(plant.own()));
        let seen = Seen { hit: wrong.iter().any(flagged), still_used: !wrong.iter().all(failed) };
        self.planted += 1;
        self.hit += usize::from(seen.hit);
        self.own += usize::from(wrong.iter().any(by_own));
        self.failed += usize::from(!seen.still_used);
        self.lost += checked.iter().filter(failed).filter(|lost| planted.is_apart(&lost.reading)).count();
        seen
    }

    fn line(&self, plant: Plant, setting: &str) -> String {
        let share = |part: usize| format!("{:.0} %", 100.0 * part as f64 / self.planted as f64);
        let Legs { unchecked, slipped, unseen, mended, open } = &self.legs;
        format!(
            "| {} | {} | {setting} | {} | {} | {} | {} | {:.2} | {} | {} | {} | {} | {open} |",
            plant.own().word(),
            plant.spoken(),
            self.planted,
            share(self.hit),
            share(self.own),
            share(self.failed),
            self.lost as f64 / self.planted as f64,
            moved(unchecked),
            moved(slipped),
            moved(unseen),
            moved(mended),
        )
    }
}

impl Legs {
    fn take(&mut self, seen: &Seen, right: Instant, unchecked: Option<Instant>, checked: Option<Instant>) {
        self.unchecked.extend(unchecked.map(|unchecked| kit::hours(right, unchecked)));
        let Some(hours) = checked.map(|checked| kit::hours(right, checked)) else {
            self.open += 1;
            return;
        };
        if seen.still_used {
            self.slipped.push(hours);
            self.unseen.extend((!seen.hit).then_some(hours));
        } else {
            self.mended.push(hours);
        }
    }
}

/// Middle and greatest of some hours, with how many there are.
fn moved(hours: &[f64]) -> String {
    let mut hours: Vec<f64> = hours.iter().map(|hours| hours.abs()).collect();
    hours.sort_by(f64::total_cmp);
    match hours.last() {
        None => "–".to_owned(),
        Some(most) => format!("{:.1}, {most:.1} ({})", hours[hours.len() / 2], hours.len()),
    }
}

/// Plants errors of one kind and tallies them, alone and beside the other
/// station.
fn tally(plant: Plant, stations: &[Vec<Reading>; 2]) -> [Tally; 2] {
    let mut dice = Dice(SEED + plant as u64);
    let mut tallies = [Tally::default(), Tally::default()];
    let curve = kit::curve("reference");
    let [first, second] = stations;
    let usual = [[said(first, &[]), said(first, &[second])], [said(second, &[]), said(second, &[first])]];
    for n in 0..COUNT {
        let (own, other) = (&stations[n / 2 % 2], &stations[1 - n / 2 % 2]);
        // A leg from a start in late April, or none.
        let start = (n % 2 == 0).then(|| at("2013-04-26T12:00:00Z").plus(dice.whole(0, 4 * 24) * HOUR));
        let from = start.map(|start| plant.on_the_way(start, &mut dice));
        let from = from.unwrap_or_else(|| plant.anywhere(&mut dice));
        let planted = plant.plant(own, from, &mut dice);
        let now = planted.now.unwrap_or_else(kit::later);
        let beside: Vec<Reading> = other.iter().filter(|reading| reading.at <= now).copied().collect();
        let beside = [&beside[..]];
        let settings = [&[][..], &beside[..]].into_iter().zip(&usual[n / 2 % 2]);
        for (tally, (others, usual)) in tallies.iter_mut().zip(settings) {
            let checked = kit::checked(&planted.readings, others, now);
            let seen = tally.take(plant, &planted, &checked, usual);
            let Some(start) = start else {
                continue;
            };
            let crossing = |readings: &[Reading]| {
                let mut sources = vec![around(start, &[readings, &planted.later].concat())];
                sources.extend((!others.is_empty()).then(|| around(start, other)));
                kit::crossing(&kit::growth(&curve, &sources), start, 0.60)
            };
            let right = crossing(own).expect("both files are whole in late April");
            let (unchecked, checked) = (crossing(&planted.readings), crossing(&kit::flagged(&checked)));
            tally.legs.take(&seen, right, unchecked, checked);
        }
    }
    tallies
}

/// The readings that a leg from `start` can hang on: ten days before it for what
/// fills a gap, and ten after.
fn around(start: Instant, readings: &[Reading]) -> Vec<Reading> {
    let within = start.plus(-11 * DAY)..start.plus(10 * DAY);
    readings.iter().filter(|reading| within.contains(&reading.at)).copied().collect()
}

/// Shares that were measured, alone and beside the other station: found by the
/// check that is meant to, and wholly failed.
fn measured(plant: Plant) -> [(f64, f64); 2] {
    match plant {
        Plant::Spike => [(0.99, 0.82), (0.98, 0.82)],
        Plant::Step => [(0.87, 0.48), (0.98, 0.71)],
        Plant::Flat12 => [(1.0, 0.0), (1.0, 0.70)],
        Plant::FutureStamp => [(1.0, 0.78); 2],
        Plant::ReStamped => [(0.98, 0.54); 2],
        Plant::Disagreeing => [(1.0, 0.64); 2],
        Plant::Sign => [(0.99, 0.99); 2],
        Plant::Flat24 | Plant::OldStamp | Plant::Fahrenheit | Plant::Kelvin | Plant::TimesTen => {
            [(1.0, 1.0); 2]
        }
        // These can be told only beside another source, and never fail.
        Plant::Sun => [(0.0, 0.0), (0.91, 0.0)],
        Plant::Drift | Plant::Lag3 => [(0.0, 0.0), (1.0, 0.0)],
        Plant::Lag1 => [(0.0, 0.0), (0.55, 0.0)],
        Plant::Lag2 => [(0.0, 0.0), (0.87, 0.0)],
    }
}

/// The check that is meant to find an error must have fired on it, save those
/// against other sources where there are none.
fn fired(tally: &Tally, plant: Plant, setting: &str) -> bool {
    tally.own > 0 || (setting == "alone" && plant.own() == Check::Neighbours)
}

#[test]
fn planted_errors_are_found() {
    let stations = ["EWR", "JFK"].map(kit::clean);
    println!(
        "| check | planted | source | number | hit | by this check | all failed | right ones failed, each | without \
         checks: middle, most (legs) | where any is still used | where none was flagged | where none is used | open |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    let tallies = std::thread::scope(|scope| {
        let runs = Plant::ALL.map(|plant| {
            let stations = &stations;
            scope.spawn(move || tally(plant, stations))
        });
        runs.map(|run| run.join().unwrap())
    });
    let mut short = Vec::new();
    for (plant, tallies) in Plant::ALL.into_iter().zip(&tallies) {
        for ((tally, floor), setting) in tallies.iter().zip(measured(plant)).zip(["alone", "beside another"])
        {
            println!("{}", tally.line(plant, setting));
            let share = |part: usize| part as f64 / tally.planted as f64;
            let (own, failed) = (share(tally.own), share(tally.failed));
            if own < floor.0 - MARGIN || failed < floor.1 - MARGIN || !fired(tally, plant, setting) {
                short
                    .push(format!("{plant:?} {setting}: found {own:.2}, failed {failed:.2}, were {floor:?}"));
            }
            if share(tally.lost) > MOST_LOST {
                short.push(format!("{plant:?} {setting}: {} right readings failed", tally.lost));
            }
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}
