use serde_json::json;

use super::*;

fn at(minutes: i64) -> Instant {
    Instant(1_367_107_200 + minutes * 60)
}

fn entry(document: Value) -> Entry {
    Entry::read(&document, None).unwrap()
}

fn count(id: &str, minutes: i64, open: i64) -> Entry {
    entry(json!({"id": id, "kind": "open-count", "at": at(minutes), "open_per_tree": [open]}))
}

fn opens(log: &FieldLog, now: Instant) -> Vec<(String, i64)> {
    log.stand(now)
        .entries
        .into_iter()
        .map(|entry| match entry.says {
            Observed::OpenCount(open) => (entry.id.to_owned(), open.open_per_tree[0]),
            other => panic!("{other:?}"),
        })
        .collect()
}

/// Every kind of the contracts can be read, with its fields, and writes its
/// kind again.
#[test]
fn every_kind_can_be_read() {
    let documents = [
        json!({"kind": "stage", "bbch": 57, "share_open": 0.1}),
        json!({"kind": "stage", "stage": "first-pink"}),
        json!({"kind": "bud-count", "buds_per_tree": [144, 150], "wood": "spur"}),
        json!({"kind": "flowers-per-cluster", "flowers": [5, 6]}),
        json!({"kind": "style-length", "lengths_mm": [8.8]}),
        json!({"kind": "damage-count", "kings_alive": 80, "kings_dead": 20, "laterals_alive": 300, "laterals_dead": 20,
            "clusters_examined": 100, "clusters_per_tree": [140], "after_night": "2013-04-20", "where": "low",
            "wood": "one-year"}),
        json!({"kind": "open-count", "open_per_tree": [41, 0], "live_only": false, "tree_class": "off", "wood": "spur"}),
        json!({"kind": "bloom-start"}),
        json!({"kind": "decision", "thin": true, "reason": "enough kings"}),
        json!({"kind": "spray", "material": "lime-sulfur", "finished_at": at(90), "thins": true, "took": true,
            "share_of_block": 1, "product": "own stock", "total_amount": "40 L", "wind": 2.5, "certificate": "123"}),
        json!({"kind": "other-thinning", "method": "string", "note": "rows 3 to 9"}),
        json!({"kind": "pollination", "hives_in": 4}),
        json!({"kind": "bloom-end"}),
        json!({"kind": "set-count", "fruit_per_tree": [110], "group": "unsprayed"}),
        json!({"kind": "return-bloom", "share_of_buds": 0.6}),
        json!({"kind": "note", "text": "mown"}),
        json!({"kind": "correction", "of": "c1", "entry": {"kind": "bloom-end", "at": at(5)}}),
        json!({"kind": "withdrawal", "of": "c1", "reason": "wrong block"}),
    ];
    let mut read: Vec<&str> = Vec::new();
    for (n, mut document) in documents.into_iter().enumerate() {
        document["id"] = json!(format!("e{n}"));
        document["at"] = json!(at(0));
        let entry = Entry::read(&document, None).unwrap_or_else(|faults| panic!("{document}: {faults}"));
        assert_eq!(entry.kind(), document["kind"].as_str().unwrap());
        read.push(KINDS[KINDS.iter().position(|kind| *kind == entry.kind()).unwrap()]);
    }
    read.dedup();
    assert_eq!(read, KINDS);
}

#[test]
fn entries_stand_by_time_and_then_by_id() {
    let entries = vec![count("b", 60, 2), count("a", 60, 1), count("c", 0, 3)];
    let in_file = FieldLog::in_order(entries.clone()).unwrap();
    let order = |log: &FieldLog| opens(log, at(90)).into_iter().map(|(id, _)| id).collect::<String>();
    assert_eq!(order(&in_file), "cab");
    assert_eq!(order(&FieldLog::by_id(entries).unwrap()), "cab");
}

/// A correction may move an entry in time; it stands where it now belongs.
#[test]
fn a_corrected_time_moves_the_entry() {
    let moved = entry(json!({"id": "t", "kind": "correction", "at": at(80), "of": "a",
        "entry": {"kind": "open-count", "at": at(70), "open_per_tree": [9]}}));
    let log = FieldLog::in_order(vec![count("a", 0, 1), count("b", 60, 2), moved]).unwrap();
    assert_eq!(opens(&log, at(79)), [("a".into(), 1), ("b".into(), 2)]);
    assert_eq!(opens(&log, at(80)), [("b".into(), 2), ("a".into(), 9)]);
    assert_eq!(log.stand(at(80)).amended_at, [at(80)]);
    assert_eq!((log.begin(), log.end()), (Some(at(0)), Some(at(80))));
}

/// What was corrected to a time that is still ahead waits for it.
#[test]
fn a_correction_into_the_future_waits() {
    let moved = entry(json!({"id": "t", "kind": "correction", "at": at(10), "of": "a",
        "entry": {"kind": "open-count", "at": at(70), "open_per_tree": [9]}}));
    let log = FieldLog::in_order(vec![count("a", 0, 1), moved]).unwrap();
    let stand = log.stand(at(20));
    assert!(stand.entries.is_empty());
    assert_eq!(stand.ahead, [("a", at(70))]);
    assert_eq!(log.end(), Some(at(70)));
}

#[test]
fn a_withdrawal_takes_effect_when_it_was_made() {
    let back = entry(json!({"id": "w", "kind": "withdrawal", "at": at(30), "of": "a"}));
    let log = FieldLog::by_id(vec![count("a", 0, 1), back]).unwrap();
    assert_eq!(opens(&log, at(29)).len(), 1);
    assert_eq!(log.stand(at(29)).ahead, [("w", at(30))]);
    assert_eq!(opens(&log, at(30)).len(), 0);
}
