//! In which order a season's entries and a place's readings come, and which of them
//! are wrong at first.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::air::{Air, HOUR};
use crate::dice::Dice;
use crate::orchard::at;
use crate::rig::BEGIN;
use crate::straight::Known;

/// The trial's end, within which no alert grows too old to be sent.
pub(crate) const END: i64 = BEGIN + 68 * HOUR;

/// Readings begin so long before the first start.
pub(crate) const BEFORE: i64 = 24 * HOUR;

/// A place fed by files, whose readings come late, with holes, and wrong at first.
pub(crate) struct Place {
    pub(crate) id: String,
    air: Air,
    pub(crate) known: BTreeMap<i64, f64>,
    /// Readings are checked, so that a wild one may not count at all.
    pub(crate) checked: bool,
}

impl Place {
    pub(crate) fn new(id: String, air: Air, checked: bool) -> Place {
        Place { id, air, known: BTreeMap::new(), checked }
    }

    /// What comes in at `now`: new hours, some wrong, and corrections of earlier ones.
    pub(crate) fn news(&mut self, dice: &mut Dice, now: i64) -> Vec<(i64, f64)> {
        let lag = dice.between(0, 4) * HOUR;
        let mut news = Vec::new();
        let mut skipped = false;
        for hour in hours(now - lag) {
            let truth = self.air.at(hour);
            let value = match self.known.get(&hour) {
                // Never two holes in a row: what is between them is joined.
                None if !skipped && dice.percent(10) => {
                    skipped = true;
                    continue;
                }
                None if dice.percent(15) => self.wrong(dice, truth),
                None => truth,
                Some(held) if *held == truth && dice.percent(1) => self.wrong(dice, truth),
                Some(held) if *held != truth && dice.percent(25) => truth,
                Some(_) => {
                    skipped = false;
                    continue;
                }
            };
            skipped = false;
            news.push((hour, value));
        }
        self.known.extend(news.iter().copied());
        dice.shuffle(&mut news);
        news
    }

    fn wrong(&self, dice: &mut Dice, truth: f64) -> f64 {
        let off = dice.between(-30, 31) as f64 / 10.0;
        match self.checked {
            // Fahrenheit, as far as an upload takes it.
            true if dice.percent(30) => (truth * 1.8 + 32.0).min(59.0),
            true => truth + 4.0 * off,
            false => ((truth + off).clamp(15.0, 24.0) * 10.0).round() / 10.0,
        }
    }

    /// All hours as they are in truth, which comes in at the end.
    pub(crate) fn truth(&mut self) -> Vec<(i64, f64)> {
        self.known = hours(END).map(|hour| (hour, self.air.at(hour))).collect();
        self.known.clone().into_iter().collect()
    }
}

fn hours(until: i64) -> impl Iterator<Item = i64> {
    (0..=(until - BEGIN + BEFORE) / HOUR).map(|hour| BEGIN - BEFORE + hour * HOUR)
}

/// A file of them.
pub(crate) fn file(readings: &[(i64, f64)]) -> String {
    let rows = readings.iter().map(|(hour, celsius)| format!("{},{celsius:.2}\n", at(*hour)));
    format!("time,celsius\n{}", rows.collect::<String>())
}

/// A season's entries, each with when it comes.
pub(crate) struct Course {
    pub(crate) block: String,
    /// Of its place.
    pub(crate) place: usize,
    /// What comes and when, in order of time.
    pub(crate) entries: Vec<(i64, Value)>,
    pub(crate) posted: usize,
}

impl Course {
    /// A season that starts within a day, with some entries wrong, late, before what
    /// they correct, or taken back.
    pub(crate) fn throw(dice: &mut Dice, block: String, place: usize) -> Course {
        let start = BEGIN + HOUR + dice.between(0, 24 * HOUR);
        let mut entries =
            vec![json!({"kind": "decision", "at": at(start), "thin": true, "reason": "a full set"})];
        let logged = |at_: i64| json!({"kind": "bloom-start", "at": at(at_)});
        let off = |dice: &mut Dice| start + dice.between(-14 * HOUR, 14 * HOUR);
        entries.push(logged(if dice.percent(60) { off(dice) } else { start }));
        let mut after: Vec<Value> = Vec::new();
        for last in [false, true] {
            if dice.percent(60) {
                let held = logged(if last { start } else { off(dice) });
                after.push(json!({"kind": "correction", "of": "b", "entry": held}));
            }
        }
        if dice.percent(20) {
            after.push(json!({"kind": "withdrawal", "of": "b", "reason": "another block"}));
            if dice.percent(60) {
                after.push(logged(off(dice)));
            }
        }
        if dice.percent(30) {
            let sprayed = start + dice.between(8 * HOUR, 36 * HOUR);
            after.push(spray(sprayed));
            if dice.percent(30) {
                let of = char::from(b'b' + u8::try_from(after.len()).unwrap());
                after.push(json!({"kind": "withdrawal", "of": of.to_string(), "reason": "it rained"}));
            }
        }
        entries.extend(after);
        let comes = |dice: &mut Dice, entry: &Value| {
            let observed =
                [&entry["entry"]["finished_at"], &entry["entry"]["at"], &entry["finished_at"], &entry["at"]];
            let observed =
                observed.into_iter().find(|at| at.is_string()).map_or(BEGIN + HOUR, crate::straight::seconds);
            // What corrects comes about the time of the alert, before it and after it.
            let late = if entry["of"].is_string() { 44 } else { 20 };
            (observed + dice.between(0, late * HOUR)).min(END - HOUR)
        };
        let mut timed: Vec<(i64, Value)> = Vec::new();
        for (number, mut entry) in entries.into_iter().enumerate() {
            let when = comes(dice, &entry);
            // Ids rise in the order in which the entries were made on the phone.
            let name = |letter: &str| format!("{block}-{letter}");
            entry["id"] = json!(name(&char::from(b'a' + u8::try_from(number).unwrap()).to_string()));
            if let Some(of) = entry["of"].as_str().map(name) {
                entry["of"] = json!(of);
                if entry["entry"].is_object() {
                    entry["entry"]["id"] = json!(of);
                }
            }
            if !entry["at"].is_string() {
                entry["at"] = json!(at(when));
            }
            timed.push((when, entry));
        }
        timed.sort_by_key(|(when, _)| *when);
        Course { block, place, entries: timed, posted: 0 }
    }

    /// The entries that come until `now` and did not come before.
    pub(crate) fn news(&mut self, now: i64) -> Vec<Value> {
        let until = self.entries.iter().take_while(|(when, _)| *when <= now).count();
        let news = self.entries[self.posted..until].iter().map(|(_, entry)| entry.clone()).collect();
        self.posted = until;
        news
    }

    /// What is known of it, with the readings of its place.
    pub(crate) fn known(&self, readings: &BTreeMap<i64, f64>, mark: f64) -> Known {
        let entries = self.entries[..self.posted].iter().map(|(_, entry)| entry.clone()).collect();
        Known { readings: readings.clone(), entries, mark }
    }
}

fn spray(begun: i64) -> Value {
    json!({
        "kind": "spray", "material": "ammonium-thiosulfate", "at": at(begun), "finished_at": at(begun + HOUR),
    })
}
