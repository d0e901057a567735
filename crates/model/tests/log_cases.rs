//! Corrections, withdrawals and repetition, in whatever order they come.

use model::field_log::{Entry, FieldLog};
use model::season::Season;
use model::time::HOUR;
use serde_json::{Value, json};

use crate::kit::{entry, hour, log, noted, season_of, spray, start, steady, two_sprays, with, withdrawal};

fn correction(id: &str, of: &str, corrected: Value) -> Value {
    json!({"id": id, "kind": "correction", "at": hour(39.0), "of": of, "entry": corrected})
}

fn reckoned(log: &FieldLog) -> Season {
    season_of(&two_sprays(), log, &[steady(15.0, 40)], None, hour(40.0))
}

/// Every order of a few entries.
fn orders(entries: &[Value]) -> Vec<Vec<Entry>> {
    if entries.is_empty() {
        return vec![Vec::new()];
    }
    (0..entries.len())
        .flat_map(|first| {
            let rest: Vec<Value> = [&entries[..first], &entries[first + 1..]].concat();
            orders(&rest).into_iter().map(move |mut order| {
                order.insert(0, entry(entries[first].clone()));
                order
            })
        })
        .collect()
}

#[test]
fn correction_and_withdrawal_in_any_order() {
    let entries = [
        start(hour(0.0)),
        spray("s1", hour(30.0), "ammonium-thiosulfate"),
        correction("t1", "s1", spray("s1", hour(32.0), "ammonium-thiosulfate")),
        withdrawal("u1", hour(39.5), "s1"),
    ];
    let without = reckoned(&log(&entries[..1]));
    let corrected = reckoned(&log(&entries[..3]));
    assert_eq!(corrected.legs[1].from, hour(32.0));
    assert_eq!(corrected.legs[1].opened_by, "s1", "a correction keeps the first entry's id");
    for order in orders(&entries) {
        let season = reckoned(&FieldLog::by_id(order.clone()).unwrap());
        assert_eq!(season, without, "a withdrawal always wins");
        assert_eq!(reckoned(&FieldLog::in_order(order).unwrap()), without);
    }
    for order in orders(&entries[..3]) {
        assert_eq!(reckoned(&FieldLog::by_id(order).unwrap()), corrected);
    }
}

#[test]
fn of_several_corrections_the_highest_id_holds_and_in_files_the_later() {
    let first = correction("t1", "s1", spray("s1", hour(31.0), "ammonium-thiosulfate"));
    let second = correction("t2", "s1", spray("s1", hour(33.0), "ammonium-thiosulfate"));
    let base = [start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")];
    let backwards = [base.as_slice(), &[second, first]].concat();
    let entries: Vec<Entry> = backwards.iter().cloned().map(entry).collect();
    assert_eq!(reckoned(&FieldLog::by_id(entries.clone()).unwrap()).legs[1].from, hour(33.0));
    assert_eq!(reckoned(&FieldLog::in_order(entries).unwrap()).legs[1].from, hour(31.0));
    // With the one that holds withdrawn, the other one holds.
    let less = [backwards, vec![withdrawal("u1", hour(39.0), "t2")]].concat();
    let entries: Vec<Entry> = less.into_iter().map(entry).collect();
    assert_eq!(reckoned(&FieldLog::by_id(entries).unwrap()).legs[1].from, hour(31.0));
}

#[test]
fn a_correction_from_not_thinning_to_thinning_ends_the_leg() {
    let other = spray("s1", hour(30.0), "captan");
    let corrected = correction("t1", "s1", spray("s1", hour(30.0), "ammonium-thiosulfate"));
    assert_eq!(reckoned(&log(&[start(hour(0.0)), other.clone()])).legs.len(), 1);
    assert_eq!(reckoned(&log(&[start(hour(0.0)), other, corrected])).legs.len(), 2);
}

#[test]
fn what_speaks_of_nothing_changes_nothing_and_is_noted() {
    let base = [start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")];
    let plain = reckoned(&log(&base));
    let strays = [
        withdrawal("u1", hour(35.0), "no-such-entry"),
        correction("u2", "no-such-entry", spray("x", hour(31.0), "lime-sulfur")),
        correction("u3", "start-1", spray("x", hour(31.0), "lime-sulfur")),
    ];
    let season = reckoned(&log(&[base.as_slice(), &strays].concat()));
    assert_eq!(season.legs, plain.legs);
    for id in ["u1", "u2", "u3"] {
        assert!(noted(&season, "entry-orphan", Some(id)), "{id}");
    }
}

/// A withdrawal cannot be withdrawn: what was meant is entered again.
#[test]
fn a_withdrawal_stays() {
    let entries = [
        start(hour(0.0)),
        spray("s1", hour(30.0), "ammonium-thiosulfate"),
        withdrawal("u1", hour(33.0), "s1"),
        withdrawal("u2", hour(34.0), "u1"),
    ];
    let season = reckoned(&log(&entries));
    assert_eq!(season.legs.len(), 1);
    assert!(noted(&season, "entry-orphan", Some("u2")));
}

#[test]
fn same_id_and_content_again_changes_nothing() {
    let entries = [start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")];
    let twice = [entries.clone(), entries.clone()].concat();
    assert_eq!(log(&twice), log(&entries));
}

#[test]
fn same_id_with_other_content_is_refused() {
    let one = entry(spray("s1", hour(30.0), "ammonium-thiosulfate"));
    let others = [
        spray("s1", hour(30.0).plus(1), "ammonium-thiosulfate"),
        spray("s1", hour(30.0), "lime-sulfur"),
        with(
            spray("s1", hour(30.0), "ammonium-thiosulfate"),
            "finished_at",
            json!(hour(30.0).plus(2 * HOUR)),
        ),
        with(spray("s1", hour(30.0), "ammonium-thiosulfate"), "took", false),
        json!({"id": "s1", "kind": "bloom-end", "at": hour(30.0)}),
    ];
    for other in others {
        let entries = vec![one.clone(), entry(other.clone())];
        let error = FieldLog::by_id(entries).expect_err(&other.to_string());
        assert!(error.to_string().contains("`s1`"), "{error}");
    }
}

/// What lies after `now` is left out and noted; the season says when to look
/// again.
#[test]
fn entries_after_now_are_left_out() {
    let entries = [
        start(hour(0.0)),
        spray("s1", hour(30.0), "ammonium-thiosulfate"),
        withdrawal("u1", hour(45.0), "s1"),
        spray("s2", hour(50.0), "lime-sulfur"),
    ];
    let season = reckoned(&log(&entries));
    assert_eq!(season.legs.len(), 2);
    assert!(noted(&season, "entry-ahead", Some("u1")) && noted(&season, "entry-ahead", Some("s2")));
    // Unless no reading comes before that.
    let unheard = season.as_of.unwrap().plus(3 * HOUR + 1);
    assert_eq!(season.look_again_at, Some(hour(45.0).min(unheard)));
}
