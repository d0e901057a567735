//! The field log.

use serde_json::{Value, json};

use crate::house::{House, NOW, counts, spray};

const LOG: &str = "blocks/bench/seasons/2013/log";

#[tokio::test]
async fn entries_go_in_once() {
    let house = House::planted().await;
    house.get(LOG).await.problem(404);
    let answer = house.post(LOG, counts()[0].clone()).await.expect(201);
    assert_eq!(answer, json!({"new": 1, "unchanged": 0, "entries": ["count-1"]}));
    assert_eq!(house.pokes(), 1);
    let [first, second] = counts();
    let both = house.post(LOG, json!({"entries": [first, second]})).await.expect(201);
    assert_eq!(both, json!({"new": 1, "unchanged": 1, "entries": ["count-1", "count-2"]}));
    house.pokes();
    let again = house.post(LOG, counts()[1].clone()).await.expect(200);
    assert_eq!(again, json!({"new": 0, "unchanged": 1, "entries": ["count-2"]}));
    assert_eq!(house.pokes(), 0);

    let log = house.get(LOG).await.expect(200);
    let mut written = counts()[0].clone();
    written["received_at"] = json!(NOW);
    assert_eq!(log["items"][0], written, "as it was written");
    assert_eq!(log["items"].as_array().unwrap().len(), 2);
    assert_eq!(house.get("blocks/bench/seasons").await.body["items"][0]["year"], 2013);
}

#[tokio::test]
async fn another_entry_under_the_same_id_is_refused_by_name() {
    let house = House::planted().await;
    let [first, second] = counts();
    house.post(LOG, first.clone()).await.expect(201);
    house.pokes();
    let mut other = first.clone();
    other["open_per_tree"] = json!([1, 2]);

    let answer = house.post(LOG, other.clone()).await;
    assert!(answer.fault(409, "/id").contains("`count-1`"));
    let answer = house.post(LOG, json!({"entries": [second, other]})).await;
    assert!(answer.fault(409, "/entries/1/id").contains("`count-1`"));
    let mut twin = second.clone();
    twin["open_per_tree"] = json!([3]);
    house.post(LOG, json!({"entries": [second, twin]})).await.fault(409, "/entries/1/id");
    assert_eq!(house.get(LOG).await.body["items"].as_array().unwrap().len(), 1, "all or none");
    assert_eq!(house.pokes(), 0);
}

#[tokio::test]
async fn an_entry_without_an_id_gets_one_that_rises() {
    let house = House::planted().await;
    let note = |text: &str| json!({"kind": "note", "at": NOW, "text": text});
    let texts: Vec<String> = (0..20).map(|n| n.to_string()).collect();
    let entries: Vec<Value> = texts.iter().map(|text| note(text)).collect();
    house.post(LOG, json!({"entries": entries})).await.expect(201);
    let log = house.get(LOG).await.expect(200);
    let read: Vec<&str> =
        log["items"].as_array().unwrap().iter().map(|entry| entry["text"].as_str().unwrap()).collect();
    assert_eq!(read, texts, "in order of id they stand as they were written");
}

#[tokio::test]
async fn every_fault_of_a_list_has_its_place_and_nothing_is_stored() {
    let house = House::planted().await;
    let entries = json!({"entries": [
        counts()[0],
        {"id": "a", "kind": "open-count", "at": "2013-04-28T10:00:00-04:00", "open_per_tree": [4, -1, 2.5]},
        {"id": "b", "kind": "dance", "at": "2013-04-28T10:00:00-04:00"},
        {"id": "c", "kind": "note", "text": "no time"},
        {"id": "d", "kind": "note", "at": "2013-06-03T12:10:01Z", "text": "ahead"},
    ]});
    let answer = house.post(LOG, entries).await;
    for (place, word) in [
        ("/entries/1/open_per_tree/1", "-1"),
        ("/entries/1/open_per_tree/2", "whole number"),
        ("/entries/2/kind", "dance"),
        ("/entries/3/at", "missing"),
        ("/entries/4/at", "10 minutes ahead"),
    ] {
        let said = answer.fault(422, place);
        assert!(said.contains(word), "{place}: {said}");
    }
    house.get(LOG).await.problem(404);
    house.post(LOG, json!({"entries": []})).await.fault(422, "/entries");
    house.post(LOG, json!({"entries": counts()[0]})).await.fault(422, "/entries");
    house.post(LOG, json!([])).await.fault(422, "");
    assert_eq!(house.pokes(), 0);
}

#[tokio::test]
async fn what_others_say_or_lack_refuses_no_entry() {
    let house = House::planted().await;
    for entry in [
        spray(),
        json!({"id": "w", "kind": "withdrawal", "at": NOW, "of": "nobody"}),
        json!({"id": "c", "kind": "correction", "at": NOW, "of": "nobody",
               "entry": {"kind": "note", "at": NOW, "text": "as it should read"}}),
        json!({"id": "s1", "kind": "bloom-start", "at": "2013-05-02T00:00:00Z"}),
        json!({"id": "s2", "kind": "bloom-start", "at": "2013-05-03T00:00:00Z"}),
    ] {
        house.post(LOG, entry).await.expect(201);
    }
}

#[tokio::test]
async fn the_edge_of_the_future_is_ten_minutes() {
    let house = House::planted().await;
    let note = |at: &str| json!({"kind": "note", "at": at, "text": "x"});
    house.post(LOG, note("2013-06-03T12:10:00Z")).await.expect(201);
    house.post(LOG, note("2013-06-03T12:10:01Z")).await.fault(422, "/at");
    let mut late = spray();
    late["finished_at"] = json!("2013-06-03T13:00:00Z");
    house.post(LOG, late).await.fault(422, "/finished_at");
    house.set_clock("2013-06-03T12:00:01Z");
    house.post(LOG, note("2013-06-03T12:10:01Z")).await.expect(201);
}
