//! Real weather, in which nothing is to be found.

use std::collections::BTreeMap;

use model::series::{Flag, Reading};
use model::time::{DAY, Instant};

use super::kit::{self, at};
use crate::checks::{Check, Checked};

const YEAR: &[u8] = include_bytes!("../../../../../tests/data/year-2013.csv");

/// Flags of one check less than a day apart are one alarm.
const ONE_ALARM: i64 = DAY;

/// False flags by check.
#[derive(Default)]
struct False {
    days: f64,
    readings: BTreeMap<&'static str, usize>,
    alarms: BTreeMap<&'static str, usize>,
    fails: Vec<String>,
    said: Vec<String>,
}

impl False {
    fn count(&mut self, station: &str, checked: &[Checked]) {
        self.days += checked.len() as f64 / 24.0;
        let mut last: BTreeMap<&str, Instant> = BTreeMap::new();
        for Checked { reading, faults } in checked {
            for fault in faults {
                let (word, line) = (
                    fault.check.word(),
                    format!("{station} {} {}: {}", reading.at, fault.check.word(), fault.detail),
                );
                *self.readings.entry(word).or_default() += 1;
                if last.insert(word, reading.at).is_none_or(|last| reading.at.since(last) > ONE_ALARM) {
                    *self.alarms.entry(word).or_default() += 1;
                    self.said.push(line.clone());
                }
                if reading.flag == Flag::Fail {
                    self.fails.push(line);
                }
            }
        }
    }

    fn a_thousand_days(&self, counts: &BTreeMap<&str, usize>, check: Check) -> f64 {
        counts.get(check.word()).map_or(0.0, |count| *count as f64 * 1_000.0 / self.days)
    }

    fn print(&self, setting: &str) {
        println!("{setting}: {:.0} station-days, {} failed", self.days, self.fails.len());
        println!("| check | alarms per 1,000 station-days | readings flagged per 1,000 station-days |");
        println!("|---|---|---|");
        for check in Check::ALL {
            println!(
                "| {} | {:.1} | {:.0} |",
                check.word(),
                self.a_thousand_days(&self.alarms, check),
                self.a_thousand_days(&self.readings, check)
            );
        }
        for line in &self.said {
            println!("  {line}");
        }
        for line in &self.fails {
            println!("  FAILED {line}");
        }
    }
}

/// Counts on each station, alone or beside the next one.
fn falsely(stations: &[(&str, Vec<Reading>)], beside: bool) -> False {
    let mut found = False::default();
    for (n, (name, readings)) in stations.iter().enumerate() {
        let other = &stations[(n + 1) % stations.len()].1[..];
        let others: &[&[Reading]] = if beside { &[other] } else { &[] };
        found.count(name, &kit::checked(readings, others, kit::later()));
    }
    found
}

#[test]
fn real_weather_is_left_alone() {
    let stations = ["EWR", "JFK"].map(|name| (name, kit::clean(name)));
    // Alarms that were measured: 1 alone; 3 steps, 1 flat line and 4 beside.
    for (beside, setting, ceiling) in [(false, "alone", 2), (true, "beside another", 10)] {
        let found = falsely(&stations, beside);
        found.print(setting);
        assert!(found.fails.is_empty(), "{:?}", found.fails);
        assert!(found.said.len() <= ceiling, "{:#?}", found.said);
    }
}

/// A whole year of three stations, none of which the thresholds were chosen on
/// but for their April and May.
#[test]
fn a_whole_year_is_left_alone() {
    let stations = ["EWR", "JFK", "LGA"].map(|name| {
        let mut readings = kit::read(YEAR, name);
        readings.retain(|reading| name != "JFK" || reading.at != at(kit::BAD_ROW));
        (name, readings)
    });
    // Alarms that were measured: 8 alone, 28 beside.
    for (beside, setting, ceiling) in [(false, "alone", 10), (true, "beside another", 32)] {
        let found = falsely(&stations, beside);
        found.print(setting);
        assert!(found.fails.is_empty(), "{:?}", found.fails);
        assert!(found.said.len() <= ceiling, "{:#?}", found.said);
    }
}
