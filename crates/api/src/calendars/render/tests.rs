use std::path::Path;
use std::sync::Arc;

use chrono_tz::America::New_York;
use model::catalogue::{Catalogue, Rules};
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season::{self, Season};
use model::series::{Forecast, Reading, Series};
use model::time::{DAY, HOUR};
use serde_json::{Value, json};

use super::*;
use crate::calendars::events::Shown;

/// Set to write the file anew in place of comparing it.
const REWRITE: &str = "BLOOMTIDE_REWRITE";

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn shipped() -> Catalogue {
    let table = |text| toml::from_str::<Value>(text).unwrap();
    let rules = Rules::read(
        &table(include_str!("../../../../../config/cultivars.toml")),
        &table(include_str!("../../../../../config/verdict.toml")),
        &table(include_str!("../../../../../config/records.toml")),
    );
    let catalogue = Catalogue::read(
        &table(include_str!("../../../../../config/curves.toml")),
        &table(include_str!("../../../../../config/materials.toml")),
    );
    catalogue.unwrap().ruled_by(rules.unwrap())
}

/// A season under 15 °C all along: half a style a day by the curve `reference`. Read
/// up to `now`, foretold for five days more.
fn reckoned(log: &[Value], now: Instant) -> Season {
    let hours = |from: Instant, to: Instant| {
        (from.0..=to.0)
            .step_by(HOUR as usize)
            .map(|at| Reading::instant(Instant(at), 15.0))
            .collect::<Vec<_>>()
    };
    let readings = hours(at("2013-04-20T00:00:00Z"), now);
    let ahead = Forecast { issued_at: now, hours: hours(now.plus(HOUR), now.plus(5 * DAY)) };
    let series = Series::join(&[readings], Some(&ahead), now);
    let block = json!({"name": "Bench", "cultivar": "Gala", "curve": "reference", "flowers_per_cluster": 5, "target_fruit_per_tree": 100});
    let sprays = json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}, {"material": "lime-sulfur", "mark": 1.0}]});
    let plan = Plan::assemble(Some(2013), New_York, &block, Some(&sprays), &shipped()).unwrap();
    let entries = log.iter().map(|entry| Entry::read(entry, None).unwrap()).collect();
    let growth = Growth::new(Arc::new(Course::new(series)), plan.block.curve.clone());
    season::reckon(&plan, &FieldLog::by_id(entries).unwrap(), &growth, now)
}

fn count(id: &str, when: &str, open: u32) -> Value {
    json!({"id": id, "kind": "open-count", "at": when, "open_per_tree": [open - 10, open, open + 10]})
}

/// At or above the threshold at noon UTC on 29 April.
fn started() -> Vec<Value> {
    let decision = json!({"id": "yes", "kind": "decision", "at": "2013-04-29T13:00:00Z", "thin": true});
    vec![
        count("count-1", "2013-04-28T12:00:00Z", 40),
        count("count-2", "2013-04-29T12:00:00Z", 100),
        decision,
    ]
}

fn sprayed() -> Vec<Value> {
    let spray = json!({"id": "spray-1", "kind": "spray", "material": "ammonium-thiosulfate", "at": "2013-04-30T21:00:00Z",
        "finished_at": "2013-04-30T22:00:00Z", "reentry_interval": "48 h"});
    [started(), vec![spray]].concat()
}

fn entries_of(id: &str, name: &str, season: &Season, now: Instant) -> Vec<(Planned, Edition)> {
    let shown = Shown { block_id: id, block: name, zone: New_York, season, reckoned_at: now };
    let edition = Edition::new(season.year, now, 7);
    shown.planned().into_iter().map(|planned| (planned, edition)).collect()
}

fn summaries(log: &[Value], now: &str) -> Vec<(String, String)> {
    let now = at(now);
    let of = entries_of("bench", "Bench", &reckoned(log, now), now);
    let short = |uid: String| uid.trim_start_matches("bench.2013.").trim_end_matches("@bloomtide").to_owned();
    of.into_iter().map(|(one, _)| (short(one.uid), one.summary)).collect()
}

fn told(uid: &str, summary: &str) -> (String, String) {
    (uid.to_owned(), format!("Bench: {summary}"))
}

#[test]
fn a_season_from_the_first_count_to_the_second_leg() {
    let first = [count("count-1", "2013-04-28T12:00:00Z", 40)];
    let before = summaries(&first, "2013-04-28T13:00:00Z");
    assert!(before.contains(&told("count", "count open flowers")), "{before:?}");
    assert!(before.iter().all(|(uid, _)| !uid.starts_with("mark")), "{before:?}");

    let growing = summaries(&started(), "2013-04-29T18:00:00Z");
    assert_eq!(growing[0], told("start", "bloom clock started"));
    assert_eq!(growing[1..], [told("mark.start", "spray 1 likely due")]);

    // 0.6 of the style at half a style a day: 28 hours and 48 minutes.
    let due = summaries(&started(), "2013-04-30T20:00:00Z");
    assert!(
        due[1].0 == "mark.start" && due[1].1.starts_with("Bench: spray 1 due since Tue 30 Apr, "),
        "{due:?}"
    );

    let overdue = summaries(&started(), "2013-05-01T22:00:00Z");
    assert!(overdue[1].1.starts_with("Bench: spray 1 overdue since Tue 30 Apr, "), "{overdue:?}");

    let sprayed = summaries(&sprayed(), "2013-05-01T12:00:00Z");
    assert_eq!(
        sprayed[1],
        told("mark.start", "mark of spray 1 reached"),
        "the same entry, with what came of it"
    );
    let closed = "mark of spray 2 likely - closed for re-entry until Thu 2 May, 18:00";
    assert_eq!(sprayed[2], told("mark.spray-1", closed));
    assert_eq!(sprayed[3], told("re-entry.spray-1", "nobody works in the block before Thu 2 May, 18:00"));
    assert_eq!(sprayed.len(), 4);
}

/// A calendar calls no spray due before someone has decided to thin.
#[test]
fn nobody_is_told_to_spray_what_nobody_decided() {
    let undecided = &started()[..2];
    for now in ["2013-04-29T18:00:00Z", "2013-04-30T20:00:00Z", "2013-05-01T22:00:00Z"] {
        let mark = &summaries(undecided, now)[1].1;
        assert!(mark.contains("mark of spray 1") && mark.ends_with(" - decide first"), "{mark}");
    }
}

#[test]
fn what_is_withdrawn_or_over_vanishes() {
    let back = json!({"id": "w-1", "kind": "withdrawal", "at": "2013-05-01T06:00:00Z", "of": "spray-1", "reason": "wrong block"});
    let without = summaries(&[sprayed(), vec![back]].concat(), "2013-05-01T12:00:00Z");
    assert!(without.iter().all(|(uid, _)| !uid.contains("spray-1")), "{without:?}");

    let end = json!({"id": "end", "kind": "bloom-end", "at": "2013-05-01T11:00:00Z"});
    let over = summaries(&[sprayed(), vec![end.clone()]].concat(), "2013-05-01T12:00:00Z");
    let closed = told("re-entry.spray-1", "nobody works in the block before Thu 2 May, 18:00");
    assert_eq!(over, [closed], "the block stays closed whatever is over");
    let later = summaries(&[sprayed(), vec![end]].concat(), "2013-05-02T22:00:01Z");
    assert!(later.is_empty(), "{later:?}");

    let decided = json!({"id": "no", "kind": "decision", "at": "2013-04-29T14:00:00Z", "thin": false, "reason": "frost"});
    let stood_down = summaries(&[started(), vec![decided]].concat(), "2013-04-29T18:00:00Z");
    assert!(stood_down.is_empty(), "{stood_down:?}");
}

/// A block whose spray's re-entry nobody recorded says so wherever work is asked for.
#[test]
fn re_entry_that_nobody_recorded_is_said() {
    let mut log = sprayed();
    log[3].as_object_mut().unwrap().remove("reentry_interval");
    let now = at("2013-05-01T12:00:00Z");
    let season = reckoned(&log, now);
    assert_eq!(season.reentry.as_ref().unwrap().until, None, "no material that ships says it");
    let all = entries_of("bench", "Bench", &season, now);
    let mark = all.iter().find(|(one, _)| one.uid.contains("mark.spray-1")).unwrap();
    assert!(mark.0.lines.iter().any(|line| line == words::NO_REENTRY), "{:?}", mark.0.lines);
    for (one, _) in &all {
        let n = one.lines.len();
        assert_eq!(one.lines[n - 2..], [words::CAUTION, words::NOT_THE_ALERT], "{}", one.summary);
    }
}

#[test]
fn a_sequence_rises_with_time_and_with_what_it_rests_on() {
    let now = at("2013-05-01T12:00:00Z");
    let edition = |now: Instant, revision| Edition::new(2013, now, revision).sequence;
    assert!(edition(now, 8) > edition(now, 7));
    assert!(edition(now.plus(1), 7) > edition(now, 7));
    assert_eq!(edition(at("2012-01-01T00:00:10Z"), 3), 13);
    assert_eq!(edition(at("1999-01-01T00:00:00Z"), 3), 3, "a clock that was wrong");
    assert_eq!(edition(Instant::MAX, i64::MAX), 2_147_483_647);
}

/// The lines of a file with their folds undone, and each of them as it stands.
fn unfolded(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    assert!(text.ends_with("\r\n"));
    for line in text.trim_end_matches("\r\n").split("\r\n") {
        assert!(line.len() <= 75, "{} octets: {line}", line.len());
        assert!(!line.contains(['\r', '\n']), "{line:?}");
        match line.strip_prefix(' ') {
            Some(rest) => lines.last_mut().unwrap().push_str(rest),
            None => lines.push(line.to_owned()),
        }
    }
    lines
}

#[test]
fn names_of_every_kind_stand_on_one_line() {
    let now = at("2013-04-29T18:00:00Z");
    let season = reckoned(&started(), now);
    let names = [
        ("Bench, upper; half", r"Bench\, upper\; half"),
        (r"C:\new", r"C:\\new"),
        ("Bench\r\nEND:VCALENDAR\r\nX-EVIL:1", "Bench END:VCALENDAR X-EVIL:1"),
        ("one\rtwo\nthree\u{2028}four\u{85}five\u{7}", "one two three four five"),
        (
            "مطعّم التفاح القديم عند النهر الكبير خلف البيت الأبيض القديم جدا",
            "مطعّم التفاح القديم عند النهر الكبير خلف البيت الأبيض القديم جدا",
        ),
        (
            "果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園",
            "果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園",
        ),
        ("🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏", "🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏🍎🍏"),
    ];
    for (name, written) in names {
        let text = calendar(name, &entries_of("bench", name, &season, now));
        let lines = unfolded(&text);
        assert!(lines.contains(&format!("SUMMARY:{written}: bloom clock started")), "{lines:?}");
        assert!(lines.contains(&format!("NAME:{written}: blossom thinning")), "{lines:?}");
        assert!(lines.contains(&format!("X-WR-CALNAME:{written}: blossom thinning")), "{lines:?}");
        assert_eq!(lines.iter().filter(|line| line.starts_with("END:VCALENDAR")).count(), 1, "{lines:?}");
        assert!(!lines.iter().any(|line| line.starts_with("X-EVIL")), "{lines:?}");
    }
}

/// The file that PyPI `icalendar` reads too, in `tests/document/calendars.py`.
#[test]
fn an_orchard_as_it_was_written_before() {
    let now = at("2013-05-01T12:00:00Z");
    let first = [count("count-1", "2013-04-30T12:00:00Z", 40)];
    let mut all = Vec::new();
    for (id, name, log) in [
        ("bench", "Bench, upper; half", sprayed()),
        ("field", "Long Field", started()),
        ("تل", "التل", first.to_vec()),
    ] {
        all.extend(entries_of(id, name, &reckoned(&log, now), now));
    }
    let text = calendar("Larkmoor", &all);
    unfolded(&text);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/document/calendar.ics");
    if std::env::var_os(REWRITE).is_some() {
        std::fs::write(&path, &text).unwrap();
        return;
    }
    let held = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(held, text, "where that is meant, run this test with {REWRITE}=1");
}
