use std::sync::Arc;

use model::catalogue::Catalogue;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::season::{Season, reckon};
use model::series::{Forecast, Reading, Series};
use model::time::DAY;
use serde_json::{Value, json};

use super::*;

mod ahead;

/// 1 May, 00:00 UTC: the clock starts, at a steady 15 °C, half a style a day.
const BEGIN: Instant = Instant(1_367_366_400);

struct Spring {
    plan: Plan,
    log: Vec<Value>,
    /// Hours of readings from [`BEGIN`] on.
    read: i64,
    known: Vec<AlertRow>,
    /// An hour, from it on, of frost.
    frost_from: Option<i64>,
}

impl Spring {
    fn new() -> Spring {
        let curves = json!({"steady": {
            "form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 0.5], [30, 0.5]],
            "source": "made for this test", "status": "constructed",
        }});
        let catalogue = Catalogue::read(&curves, &json!({})).unwrap();
        let block = json!({"name": "North Bench", "cultivar": "Gala", "curve": "steady", "target_fruit_per_tree": 100});
        let plan = json!({"sprays": [{"material": "ats", "mark": 0.6}, {"material": "ats", "mark": 0.6}]});
        let plan = Plan::assemble(Some(2013), chrono_tz::UTC, &block, Some(&plan), &catalogue).unwrap();
        let log = vec![json!({"id": "a-start", "kind": "bloom-start", "at": BEGIN})];
        Spring { plan, log, read: 0, known: Vec::new(), frost_from: None }
    }

    fn season(&self, now: Instant) -> Season {
        let frosty = |n: i64| self.frost_from.is_some_and(|from| (from..=from + 1).contains(&n));
        let hour = |n: i64| Reading::instant(BEGIN.plus(n * HOUR), if frosty(n) { -3.0 } else { 15.0 });
        let readings: Vec<Reading> = (-24..=self.read).map(hour).collect();
        let hours = (self.read + 1..self.read + 72).map(hour).collect();
        let forecast = Forecast { issued_at: now, hours };
        let course = Arc::new(Course::new(Series::join(&[readings], Some(&forecast), now)));
        let growth = Growth::new(course, self.plan.block.curve.clone());
        let entries = self.log.iter().map(|entry| Entry::read(entry, None).unwrap()).collect();
        reckon(&self.plan, &FieldLog::by_id(entries).unwrap(), &growth, now)
    }

    /// One pass at `hours` after the begin; what it writes is known to the next.
    fn pass(&mut self, hours: i64) -> Vec<String> {
        let now = BEGIN.plus(hours * HOUR);
        let decisions = decide(&self.season(now), &self.plan, &self.beside(), &self.known, now);
        decisions.into_iter().map(|decision| self.write(decision, now)).collect()
    }

    fn beside(&self) -> Beside<'_> {
        let recipients =
            Recipients { block_id: "north-bench", addresses: &[], contacts: &[], silenced: &[], mutes: &[] };
        Beside { curve: "steady", fed: true, awake: true, ahead: None, recipients }
    }

    fn write(&mut self, decision: Decision, now: Instant) -> String {
        let number = self.known.len();
        let mut add = |subject: &str, generation, status, about: &About| {
            self.known.push(AlertRow {
                id: format!("alert-{number}"),
                block_id: "north-bench".into(),
                year: 2013,
                kind: about.kind.word().into(),
                subject: subject.into(),
                generation,
                status,
                reason: None,
                about: serde_json::to_value(about).unwrap(),
                raised_at: now,
                useful_until: useful_until(about, now),
                withdrawn_at: None,
                acknowledged_at: None,
                mailed: status == AlertStatus::Told,
            });
        };
        match decision {
            Decision::Tell { subject, generation, skipped_before: None, about, .. } => {
                add(&subject, generation, AlertStatus::Told, &about);
                format!("tell {} {subject} {generation}", about.kind.word())
            }
            Decision::Tell { subject, skipped_before: Some(id), about, .. } => {
                let row = self.known.iter_mut().find(|row| row.id == id).unwrap();
                row.status = AlertStatus::Told;
                format!("tell after all {} {subject}", about.kind.word())
            }
            Decision::Skip { subject, generation, reason, about } => {
                add(&subject, generation, AlertStatus::Skipped, &about);
                format!("skip {} {subject}: {reason}", about.kind.word())
            }
            Decision::Retime { alert_id, about } => {
                let row = self.known.iter_mut().find(|row| row.id == alert_id).unwrap();
                row.about = serde_json::to_value(&about).unwrap();
                row.useful_until = useful_until(&about, now);
                format!("retime {}", about.kind.word())
            }
            Decision::Close { alert_id, reason } => {
                let row = self.known.iter_mut().find(|row| row.id == alert_id).unwrap();
                row.useful_until = now;
                format!("close {}: {reason}", row.kind)
            }
            Decision::Withdraw { alert_id, about, .. } => {
                add(&alert_id, 1, AlertStatus::Told, &about);
                let row = self.known.iter_mut().find(|row| row.id == alert_id).unwrap();
                row.withdrawn_at = Some(now);
                format!("withdraw {}", about.takes_back.unwrap().word())
            }
        }
    }

    fn spray(&mut self, id: &str, hours: i64) {
        let at = BEGIN.plus(hours * HOUR);
        self.log.push(json!({"id": id, "kind": "spray", "material": "ats", "at": at, "finished_at": at}));
    }
}

#[test]
fn each_alert_of_a_leg_is_told_once() {
    let mut spring = Spring::new();
    assert_eq!(spring.pass(0), ["tell started - 1"]);
    spring.read = 4;
    // 0.60 comes after 28.8 hours: from 4.8 hours on that is within a day.
    assert_eq!(spring.pass(4), [""; 0]);
    spring.read = 5;
    assert_eq!(spring.pass(5), ["tell heads-up start 1"]);
    assert_eq!(spring.pass(5), [""; 0]);
    spring.read = 28;
    assert_eq!(spring.pass(29), [""; 0], "due goes by readings, not by the forecast");
    spring.read = 29;
    assert_eq!(spring.pass(29), ["tell due start 1"]);
    assert_eq!(spring.pass(30), [""; 0]);
    spring.spray("b-spray", 30);
    spring.read = 40;
    let over = "the spray of this leg is logged already";
    assert_eq!(
        spring.pass(40),
        [
            "tell heads-up b-spray 1".to_owned(),
            format!("close started: {over}"),
            format!("close heads-up: {over}"),
            format!("close due: {over}")
        ]
    );
    spring.read = 60;
    assert_eq!(spring.pass(60), ["tell due b-spray 1"]);
    assert_eq!(spring.pass(61), [""; 0]);
}

#[test]
fn old_weather_mails_nobody() {
    let mut spring = Spring::new();
    spring.read = 40;
    let told = spring.pass(40 + 24 * 300);
    assert_eq!(told.len(), 2);
    assert!(told[0].starts_with("skip started -: the season is closed"), "{told:?}");
    assert!(told[1].starts_with("skip due start: the season is closed"), "{told:?}");
    let mut late = Spring::new();
    late.read = 40;
    let told = late.pass(29 + 73);
    assert!(
        told.contains(&"skip due start: it came to light more than 72 hours late".to_owned()),
        "{told:?}"
    );
}

#[test]
fn a_sprayed_leg_is_not_due_any_more() {
    let mut spring = Spring::new();
    spring.read = 40;
    spring.spray("b-spray", 35);
    let told = spring.pass(40);
    assert!(told.contains(&"skip due start: the spray of this leg is logged already".to_owned()), "{told:?}");
    // The spray is withdrawn: what was left untold is told after all.
    spring
        .log
        .push(json!({"id": "c-back", "kind": "withdrawal", "of": "b-spray", "at": BEGIN.plus(40 * HOUR)}));
    let told = spring.pass(41);
    assert!(told.contains(&"tell after all due start".to_owned()), "{told:?}");
}

#[test]
fn a_start_taken_back_withdraws_what_was_told_and_may_be_told_again() {
    let mut spring = Spring::new();
    spring.read = 29;
    assert_eq!(spring.pass(29), ["tell started - 1", "tell due start 1"]);
    spring
        .log
        .push(json!({"id": "b-back", "kind": "withdrawal", "of": "a-start", "at": BEGIN.plus(29 * HOUR)}));
    assert_eq!(spring.pass(30), ["withdraw started", "withdraw due"]);
    assert_eq!(spring.pass(31), [""; 0]);
    spring.log.push(json!({"id": "c-start", "kind": "bloom-start", "at": BEGIN.plus(HOUR)}));
    spring.read = 31;
    assert_eq!(spring.pass(31), ["tell started - 2", "tell due start 2"]);
}

#[test]
fn a_moved_mark_is_retimed_and_not_told_again() {
    let mut spring = Spring::new();
    spring.read = 40;
    assert!(spring.pass(40).contains(&"tell due start 1".to_owned()));
    spring.log[0] = json!({"id": "a-start", "kind": "bloom-start", "at": BEGIN.plus(2 * HOUR)});
    assert_eq!(spring.pass(41), ["retime due"]);
    assert_eq!(spring.pass(42), [""; 0]);
}

#[test]
fn a_mark_no_longer_reached_is_withdrawn() {
    let mut spring = Spring::new();
    spring.read = 30;
    assert!(spring.pass(30).contains(&"tell due start 1".to_owned()));
    spring.log[0] = json!({"id": "a-start", "kind": "bloom-start", "at": BEGIN.plus(20 * HOUR)});
    let told = spring.pass(30);
    assert!(told.contains(&"withdraw due".to_owned()), "{told:?}");
}

#[test]
fn a_block_stood_down_hears_nothing_more() {
    let mut spring = Spring::new();
    spring.pass(0);
    spring.log.push(json!({"id": "b-no", "kind": "decision", "thin": false, "at": BEGIN.plus(DAY)}));
    spring.read = 40;
    assert_eq!(spring.pass(40), ["close started: the block is stood down"]);
    assert_eq!(spring.pass(41), [""; 0]);
}

/// Standing down after `due` was told takes nothing back: it was true.
#[test]
fn a_stand_down_after_due_takes_nothing_back() {
    let mut spring = Spring::new();
    spring.read = 40;
    assert!(spring.pass(40).contains(&"tell due start 1".to_owned()));
    // Even one dated before the mark was reached.
    spring.log.push(json!({"id": "b-no", "kind": "decision", "thin": false, "at": BEGIN.plus(20 * HOUR)}));
    let told = spring.pass(41);
    assert!(told.iter().all(|told| told.starts_with("close ")), "{told:?}");
    assert!(told.contains(&"close due: the block is stood down".to_owned()), "{told:?}");
}

/// Asked for once when the start is near, and no more once it is decided.
#[test]
fn a_decision_is_asked_for_before_the_start() {
    let mut spring = Spring::new();
    let count = |id: &str, hours: i64, open: i64| json!({"id": id, "kind": "open-count", "at": BEGIN.plus(hours * HOUR), "open_per_tree": [open, open]});
    spring.log = vec![count("a", 0, 10), count("b", 24, 20)];
    spring.read = 24;
    // From 20 to 100 at a doubling a day: 2.3 days on; asked for 48 hours before.
    assert_eq!(spring.pass(24), Vec::<String>::new());
    spring.read = 36;
    assert_eq!(spring.pass(36), ["tell decide - 1"]);
    assert_eq!(spring.pass(37), Vec::<String>::new());
    spring.log.push(json!({"id": "c", "kind": "decision", "thin": true, "at": BEGIN.plus(38 * HOUR)}));
    assert_eq!(spring.pass(38), ["close decide: a decision is logged"]);
}

/// Damage is asked for on the morning after a frost, once a night; a count after it
/// closes that, a reading that takes the frost away withdraws it.
#[test]
fn damage_is_asked_for_on_the_morning_after() {
    let stage = json!({"id": "a0", "kind": "stage", "stage": "first-bloom", "at": BEGIN.plus(-HOUR)});
    let frosty = || {
        let mut spring = Spring::new();
        spring.log.push(stage.clone());
        (spring.read, spring.frost_from) = (30, Some(26));
        spring
    };
    let mut spring = frosty();
    let begun = spring.pass(30);
    assert!(!begun.iter().any(|told| told.contains("check-damage")), "before seven: {begun:?}");
    spring.read = 31;
    assert!(spring.pass(31).contains(&"tell check-damage 2013-05-01 1".to_owned()));
    spring.log.push(json!({"id": "b", "kind": "damage-count", "at": BEGIN.plus(32 * HOUR), "kings_alive": 9,
        "kings_dead": 1, "laterals_alive": 30, "laterals_dead": 10}));
    assert_eq!(spring.pass(32), ["close check-damage: damage was counted"]);

    let mut corrected = frosty();
    corrected.read = 31;
    corrected.pass(31);
    corrected.frost_from = None;
    assert!(corrected.pass(32).contains(&"withdraw check-damage".to_owned()));
}

/// Where both come up in one pass only `overrun` is told; where `due` was told
/// before, `overrun` follows it.
#[test]
fn overrun_stands_for_due_where_both_come_up_at_once() {
    let mut spring = Spring::new();
    spring.read = 50;
    let told = spring.pass(50);
    assert!(told.iter().any(|told| told.starts_with("skip due start: it came up together")), "{told:?}");
    assert!(told.contains(&"tell overrun start 1".to_owned()), "{told:?}");
    assert_eq!(spring.pass(50), [""; 0]);
    // A later start takes `overrun` back, and `due` is told after all.
    spring.log[0] = json!({"id": "a-start", "kind": "bloom-start", "at": BEGIN.plus(10 * HOUR)});
    let told = spring.pass(51);
    assert!(told.contains(&"withdraw overrun".to_owned()), "{told:?}");
    assert!(told.contains(&"tell after all due start".to_owned()), "{told:?}");

    let mut followed = Spring::new();
    followed.read = 30;
    assert!(followed.pass(30).contains(&"tell due start 1".to_owned()));
    followed.read = 50;
    assert_eq!(followed.pass(50), ["tell overrun start 1"]);
}

/// A time that was told and is another by more than six hours is told anew, by an
/// ordinal; small steps that add up count by what people last heard.
#[test]
fn a_time_that_moved_is_told_anew() {
    let mut spring = Spring::new();
    spring.read = 40;
    assert!(spring.pass(40).contains(&"tell due start 1".to_owned()));
    let start = |hours: i64| json!({"id": "a-start", "kind": "bloom-start", "at": BEGIN.plus(hours * HOUR)});
    for hours in [2, 4, 6] {
        spring.log[0] = start(hours);
        assert_eq!(spring.pass(40), ["retime due"], "{hours}");
    }
    spring.log[0] = start(7);
    assert_eq!(spring.pass(40), ["retime due", "tell moved start/1 1"]);
    assert_eq!(spring.pass(40), [""; 0]);
    spring.log[0] = start(0);
    assert_eq!(spring.pass(41), ["retime due", "tell moved start/2 1"]);
    // What nobody has yet is only put right.
    let mut unsent = Spring::new();
    unsent.read = 40;
    unsent.pass(40);
    unsent.known.iter_mut().for_each(|alert| alert.mailed = false);
    unsent.log[0] = start(8);
    assert_eq!(unsent.pass(41), ["retime due"]);
}

/// Readings that stay away are told at the first pass after three hours, once for
/// each last reading, and not to people whose service has only just come back.
#[test]
fn silence_is_told_once_for_each_last_reading() {
    let mut spring = Spring::new();
    spring.read = 2;
    spring.pass(2);
    assert_eq!(spring.pass(5), ["tell heads-up start 1"], "three hours are not more than three");
    let at = BEGIN.plus(2 * HOUR);
    let now = BEGIN.plus(5 * HOUR + 1);
    let season = spring.season(now);
    let asleep = Beside { awake: false, ..spring.beside() };
    assert_eq!(decide(&season, &spring.plan, &asleep, &spring.known, now), []);
    let files = Beside { fed: false, ..spring.beside() };
    assert_eq!(decide(&season, &spring.plan, &files, &spring.known, now), [], "a file comes once a day");
    let told = decide(&season, &spring.plan, &spring.beside(), &spring.known, now);
    let told: Vec<String> = told.into_iter().map(|decision| spring.write(decision, now)).collect();
    assert_eq!(told, [format!("tell blind {at} 1")]);
    assert_eq!(spring.pass(6), [""; 0], "once");
    spring.read = 6;
    assert_eq!(spring.pass(6), ["close blind: readings came in again"]);
}

/// Asked for once for each count, when the threshold is near.
#[test]
fn the_next_count_is_asked_for_a_day_before_the_threshold() {
    let mut spring = Spring::new();
    let count = |id: &str, hours: i64, open: i64| json!({"id": id, "kind": "open-count", "at": BEGIN.plus(hours * HOUR), "open_per_tree": [open, open]});
    spring.log = vec![count("a", 0, 10), count("b", 24, 40)];
    spring.read = 24;
    // From 40 to 100 at fourfold a day: in 16 hours.
    assert_eq!(spring.pass(24), ["tell count-now b 1", "tell decide - 1"]);
    assert_eq!(spring.pass(25), [""; 0]);
    spring.log.push(count("c", 26, 45));
    spring.read = 26;
    assert_eq!(spring.pass(26), ["tell count-now c 1", "close count-now: flowers were counted since"]);
}

/// A frost that is forecast is told once a night, where there are flowers to lose.
#[test]
fn frost_ahead_is_told_once_a_night() {
    let mut spring = Spring::new();
    spring.log.push(json!({"id": "a0", "kind": "stage", "stage": "first-bloom", "at": BEGIN.plus(-HOUR)}));
    (spring.read, spring.frost_from) = (2, Some(26));
    let told = spring.pass(2);
    assert!(told.contains(&"tell frost 2013-05-01 1".to_owned()), "{told:?}");
    assert_eq!(spring.pass(2), [""; 0]);
    let mut bare = Spring::new();
    (bare.read, bare.frost_from) = (2, Some(26));
    bare.log.clear();
    assert_eq!(bare.pass(2), [""; 0], "no stage is known and no flower is open");
}
