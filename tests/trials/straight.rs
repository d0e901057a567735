//! What a season must say, worked out apart from the program.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::air::crossing;

/// What is known of a block and its place at some moment.
#[derive(Debug, Clone, Default)]
pub(crate) struct Known {
    /// Temperatures by time, as they now hold, °C.
    pub(crate) readings: BTreeMap<i64, f64>,
    /// Entries of the field log as they were posted, in the order in which they came.
    pub(crate) entries: Vec<Value>,
    /// Of the style, at which leg 1's spray is due.
    pub(crate) mark: f64,
}

/// What is to be told of leg 1.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Called {
    /// When the clock started.
    pub(crate) start: Option<i64>,
    /// When the mark is reached on readings, were there no spray.
    pub(crate) reached: Option<i64>,
    /// When the leg's spray began, where one is logged.
    pub(crate) sprayed: Option<i64>,
}

impl Called {
    /// When the mark is reached, unless the spray came first.
    pub(crate) fn due(&self) -> Option<i64> {
        self.reached.filter(|at| self.sprayed.is_none_or(|spray| *at <= spray))
    }
}

/// What a season must say of leg 1, on what is known. Logged starts, and air in which
/// the curve is one straight line: a few lines that can be checked by eye.
pub(crate) fn called(known: &Known) -> Called {
    let standing = standing(&known.entries);
    let earliest = |kind: &str| {
        let of_kind = standing.iter().filter(|entry| entry["kind"] == kind);
        of_kind.map(|entry| seconds(&entry["at"])).min()
    };
    let start = earliest("bloom-start");
    let readings = known.readings.iter().map(|(at, celsius)| (*at, *celsius));
    let reached = start.and_then(|start| crossing(readings, start, known.mark));
    // A spray before the start ends nothing.
    let sprays = standing.iter().filter(|entry| entry["kind"] == "spray").map(|entry| seconds(&entry["at"]));
    let sprayed = start.and_then(|start| sprays.filter(|at| *at >= start).min());
    Called { start, reached, sprayed }
}

/// The entries as they hold: of several corrections the one of the highest id, and
/// whatever is withdrawn not at all.
fn standing(entries: &[Value]) -> Vec<Value> {
    let of = |entry: &Value| entry["of"].as_str().unwrap_or_default().to_owned();
    let kind = |entry: &Value| entry["kind"].as_str().unwrap_or_default().to_owned();
    let withdrawn: Vec<String> = entries.iter().filter(|entry| kind(entry) == "withdrawal").map(of).collect();
    let corrected = |id: &str| {
        let corrections = entries.iter().filter(|entry| kind(entry) == "correction" && of(entry) == id);
        corrections.max_by_key(|entry| entry["id"].as_str().unwrap_or_default().to_owned())
    };
    entries
        .iter()
        .filter(|entry| !["correction", "withdrawal"].contains(&kind(entry).as_str()))
        .filter_map(|entry| {
            let id = entry["id"].as_str().unwrap_or_default();
            let gone = withdrawn.iter().any(|of| of == id);
            (!gone).then(|| corrected(id).map_or_else(|| entry.clone(), |held| held["entry"].clone()))
        })
        .collect()
}

/// Of an instant as it is written in an entry.
pub(crate) fn seconds(at: &Value) -> i64 {
    let at: model::time::Instant = at.as_str().unwrap_or_default().parse().expect("an instant");
    at.0
}

#[test]
fn the_straight_line_is_that_of_the_reference_curve() {
    // 15 °C for ever is half a style a day, 24 °C a whole one.
    for (celsius, hours) in [(15.0, 28.8), (24.0, 14.4), (19.5, 19.2)] {
        let readings = (0..100).map(|hour| (hour * 3600, celsius));
        assert_eq!(crossing(readings, 1800, 0.6), Some(1800 + (hours * 3600.0) as i64), "{celsius} °C");
    }
    let short = (0..10).map(|hour| (hour * 3600, 15.0));
    assert_eq!(crossing(short, 1800, 0.6), None);
}
