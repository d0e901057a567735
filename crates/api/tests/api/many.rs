//! Many blocks at one look: what waits, what happened, how a year ended, and one
//! change or note for many.

use serde_json::{Value, json};
use store::{Role, Scope};

use crate::house::{House, SPRING, counts, plan, spray};
use crate::season::reckon;
use crate::story::{member, token_of};

const SEASON: &str = "blocks/bench/seasons/2013";

/// The morning after the start, nothing decided.
async fn started() -> House {
    let house = House::planted().await;
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    house.upload("mast", SPRING).await.expect(200);
    house.post(&format!("{SEASON}/log"), json!({"entries": counts()})).await.expect(201);
    house
}

fn waits(answer: &Value) -> Vec<&str> {
    let items = answer["items"].as_array().unwrap();
    let waits = items.iter().flat_map(|item| item["waits"].as_array().unwrap());
    waits.filter_map(|waits| waits["what"].as_str()).collect()
}

#[tokio::test]
async fn what_waits_goes_away_when_it_is_done() {
    let house = started().await;
    house.set_clock("2013-04-30T12:00:00Z");
    reckon(&house, &[]).await;
    let before = house.get("waiting?year=2013").await.expect(200);
    assert_eq!(before["items"][0]["block_id"], "bench");
    let what = waits(&before);
    assert!(what.ends_with(&["decide", "confirm"]), "{what:?}");
    let decided = json!({"id": "d", "kind": "decision", "thin": true, "at": "2013-04-30T11:00:00Z"});
    house.post(&format!("{SEASON}/log"), decided).await.expect(201);
    reckon(&house, &[]).await;
    let after = house.get("waiting?year=2013").await.expect(200);
    assert!(!waits(&after).contains(&"decide"), "{after}");
    assert_eq!(house.get("waiting?year=2012").await.expect(200)["items"], json!([]));
    house.get("waiting?year=never").await.fault(422, "year");
}

#[tokio::test]
async fn what_happened_is_told_in_words() {
    let house = started().await;
    let note =
        json!({"id": "n", "kind": "note", "text": "Frost fans ran all night", "at": "2013-04-30T11:00:00Z"});
    house.post(&format!("{SEASON}/log"), note).await.expect(201);
    house.post(&format!("{SEASON}/log"), spray()).await.expect(201);
    let news = house.get("news?since=2013-01-01T00:00:00Z").await.expect(200);
    let lines: Vec<&str> = news["items"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|item| item["block_id"] == "bench")
        .flat_map(|item| item["news"].as_array().unwrap())
        .filter_map(|line| line["text"].as_str())
        .collect();
    for said in ["Note: Frost fans ran all night.", "Sprayed ammonium-thiosulfate.", "The plan was set."] {
        assert!(lines.contains(&said), "{said}: {lines:?}");
    }
    assert!(lines.iter().any(|line| line.starts_with("Open flowers: ")), "{lines:?}");
    // By default since yesterday evening; from tomorrow on there is nothing.
    let evening = house.get("news").await.expect(200);
    assert_eq!(evening["since"], "2013-06-02T22:00:00Z", "18:00 in New York");
    assert_eq!(house.get("news?since=2013-07-01T00:00:00Z").await.expect(200)["items"], json!([]));
    house.get("news?farm_id=nowhere").await.problem(404);
    house.get("news?since=yesterday").await.fault(422, "since");
}

#[tokio::test]
async fn a_mark_is_changed_on_many_blocks_after_a_look() {
    let house = started().await;
    let change = |more: Value| {
        let mut change = json!({"year": 2013, "farm_id": "alder", "spray": 1, "mark": 0.7});
        change.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        change
    };
    let looked = house.post("plan-changes?dry_run=true", change(json!({}))).await.expect(200);
    assert_eq!((&looked["dry_run"], &looked["changed"]), (&json!(true), &json!(1)));
    let bench =
        looked["blocks"].as_array().unwrap().iter().find(|block| block["block_id"] == "bench").unwrap();
    assert_eq!(
        (&bench["before"]["sprays"][0]["mark"], &bench["after"]["sprays"][0]["mark"]),
        (&json!(0.6), &json!(0.7))
    );
    let mark = async || house.get(&format!("{SEASON}/plan")).await.expect(200)["sprays"][0]["mark"].clone();
    assert_eq!(mark().await, 0.6, "only looked at");
    assert_eq!(house.post("plan-changes", change(json!({}))).await.expect(200)["changed"], 1);
    assert_eq!(mark().await, 0.7);
    let again = house.post("plan-changes", change(json!({}))).await.expect(200);
    assert_eq!(again["changed"], 0);
    assert!(again["blocks"].as_array().unwrap().iter().all(|block| block["because"].is_string()), "{again}");
    // A spray that the plan has not, and another cultivar, change nothing.
    assert_eq!(house.post("plan-changes", change(json!({"spray": 9}))).await.expect(200)["changed"], 0);
    assert_eq!(
        house.post("plan-changes", change(json!({"cultivar": "Nobody's"}))).await.expect(200)["blocks"],
        json!([])
    );
    for (more, place) in [
        (json!({"mark": 1.6}), "/mark"),
        (json!({"spray": null}), "/spray"),
        (json!({"blocks": ["bench"]}), "/farm_id"),
        (json!({"farm_id": null, "blocks": ["nowhere"]}), "/blocks/0"),
        (json!({"farm_id": null}), "/blocks"),
        (json!({"lead_hours": 1_000}), "/lead_hours"),
        (json!({"year": null}), "/year"),
    ] {
        house.post("plan-changes", change(more)).await.fault(422, place);
    }
    house.post("plan-changes", json!({"year": 2013, "farm_id": "alder"})).await.fault(422, "");
}

#[tokio::test]
async fn a_note_goes_into_many_logs_by_those_who_may_write() {
    let house = started().await;
    let note = json!({"year": 2013, "blocks": ["bench"], "text": "Hives come tonight."});
    assert_eq!(house.post("notes", note.clone()).await.expect(200)["changed"], 1);
    let log = house.get(&format!("{SEASON}/log")).await.expect(200);
    assert!(log["items"].as_array().unwrap().iter().any(|entry| entry["text"] == "Hives come tonight."));
    house.post("notes", json!({"year": 2013, "blocks": ["bench"], "text": " "})).await.fault(422, "/text");
    member(&house, "carl", "alder", Role::Consultant).await;
    let (_, secret) = token_of(&house, "carl", Scope::Write).await;
    let mut request = house.request(
        axum::http::Method::POST,
        "notes",
        Some("application/json"),
        axum::body::Body::from(note.to_string()),
    );
    let bearer = format!("Bearer {secret}").parse().unwrap();
    request.headers_mut().insert(axum::http::header::AUTHORIZATION, bearer);
    house.send(request).await.problem(403);
}

#[tokio::test]
async fn a_year_ends_in_one_line_for_each_block() {
    let house = started().await;
    house.post(&format!("{SEASON}/log"), spray()).await.expect(201);
    let set = json!({"entries": [
        {"id": "s1", "kind": "set-count", "at": "2013-05-30T12:00:00Z", "fruit_per_tree": [120, 130]},
        {"id": "s2", "kind": "set-count", "at": "2013-05-30T12:00:00Z", "fruit_per_tree": [240, 260], "group": "unsprayed"}]});
    house.post(&format!("{SEASON}/log"), set).await.expect(201);
    reckon(&house, &[]).await;
    let line = house.get("outcomes?year=2013").await.expect(200)["items"][0].clone();
    assert_eq!((&line["set_treated"], &line["set_unsprayed"]), (&json!(125.0), &json!(250.0)));
    assert_eq!(
        (&line["fewer_by"], &line["sprays"][0]["material"]),
        (&json!(0.5), &json!("ammonium-thiosulfate"))
    );
    let years = house.get("blocks/bench/years").await.expect(200);
    assert_eq!(years["items"][0]["set_treated"], 125.0);
    let table = house.get("outcomes?year=2013&format=csv").await;
    let text = table.body.as_str().unwrap();
    assert!(text.starts_with("block_id,name,cultivar") && text.contains("ammonium-thiosulfate"), "{text}");
}
