//! The grower's day, writing down, and what a phone sends.

use axum::http::StatusCode;
use serde_json::{Value, json};
use store::Role;

use crate::house::{Answer, From, House, whole};
use crate::orchard::{log, plan};

const JSON: From<'static> = From {
    peer: "127.0.0.1:40000",
    headers: &[("host", "localhost:8420"), ("sec-fetch-site", "same-origin")],
};

fn count(id: &str, open: &[i64]) -> Value {
    json!({"id": id, "kind": "open-count", "at": "2013-04-29T14:00:00Z", "open_per_tree": open})
}

async fn send(house: &House, cookie: Option<&str>, entries: &[(&str, Value)]) -> (StatusCode, Value) {
    let entries: Vec<Value> =
        entries.iter().map(|(block, entry)| json!({"block": block, "year": 2013, "entry": entry})).collect();
    let body = json!({"sent_at": "2013-05-02T23:00:00Z", "entries": entries});
    let answer = house.send("POST", "/entries", &body.to_string(), &JSON, cookie).await;
    (answer.status, serde_json::from_str(&answer.body).unwrap())
}

fn outcomes(answer: &Value) -> Vec<&str> {
    answer["answers"].as_array().unwrap().iter().map(|one| one["outcome"].as_str().unwrap()).collect()
}

pub async fn in_bloom() -> (House, String) {
    let house = House::planted().await;
    house.set_clock("2013-05-02T22:00:00Z");
    let cookie = house.person("gus", "alder", Role::Grower).await;
    house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
    (house, cookie)
}

#[tokio::test]
async fn one_refused_entry_does_not_hold_up_the_others() {
    let (house, gus) = in_bloom().await;
    let (status, answer) = send(
        &house,
        Some(&gus),
        &[
            ("bench", count("p1", &[96, 131])),
            ("bench", count("p2", &[-4])),
            ("bend", count("p3", &[50])),
            ("bench", json!({"kind": "note", "at": "2013-05-01T12:00:00Z", "text": "no id"})),
            ("bench", json!({"id": "p4", "kind": "bloom-start", "at": "2013-05-02T22:30:00Z"})),
            ("bench", json!({"id": "p5", "kind": "note", "at": "2013-05-02T22:05:00Z", "text": "wet grass"})),
        ],
    )
    .await;
    assert_eq!(status, StatusCode::OK, "{answer}");
    assert_eq!(outcomes(&answer), ["kept", "refused", "refused", "refused", "refused", "kept"], "{answer}");
    assert_eq!(answer["now"], "2013-05-02T22:00:00Z");
    assert_eq!(answer["clock_ahead_seconds"], 3_600);
    let said = |n: usize| answer["answers"][n]["said"].as_str().unwrap();
    assert!(said(1).starts_with("Open flowers, tree by tree, number 1:"), "{answer}");
    assert!(said(2).contains("There is no block `bend`"), "another farm's is not there: {answer}");
    assert!(said(4).contains("10 minutes ahead"), "{answer}");
    let kept = house.store.log("bench", 2013).await.unwrap();
    assert_eq!(kept.iter().map(|row| row.id.as_str()).collect::<Vec<_>>(), ["p1", "p5"]);
    assert!(house.store.log("bend", 2013).await.unwrap().is_empty());
}

#[tokio::test]
async fn sent_again_is_known_and_other_content_is_a_conflict() {
    let (house, gus) = in_bloom().await;
    for expected in ["kept", "known", "known"] {
        let (_, answer) = send(&house, Some(&gus), &[("bench", count("p1", &[96, 131]))]).await;
        assert_eq!(outcomes(&answer), [expected], "{answer}");
    }
    let (_, answer) = send(&house, Some(&gus), &[("bench", count("p1", &[96, 132]))]).await;
    assert_eq!(outcomes(&answer), ["conflict"], "{answer}");
    assert_eq!(house.store.log("bench", 2013).await.unwrap().len(), 1);
}

#[tokio::test]
async fn who_only_reads_or_is_not_signed_in_adds_nothing() {
    let (house, _) = in_bloom().await;
    let reader = house.person("rosa", "alder", Role::Consultant).await;
    let (_, answer) = send(&house, Some(&reader), &[("bench", count("p1", &[96]))]).await;
    assert_eq!(outcomes(&answer), ["refused"], "{answer}");
    let said = answer["answers"][0]["said"].as_str().unwrap();
    assert_eq!(said, "This needs a grower or an advisor of this farm.");
    let (status, answer) = send(&house, None, &[("bench", count("p1", &[96]))]).await;
    assert_eq!((status, answer["error"].as_str()), (StatusCode::UNAUTHORIZED, Some("signed-out")));
    assert!(house.store.log("bench", 2013).await.unwrap().is_empty());
    let page = house.page("/log", &reader).await;
    assert!(page.contains("There is no block that you may write of") && !page.contains("North"), "{page}");
}

#[tokio::test]
async fn entries_of_someone_else_do_not_go_under_another_name() {
    let (house, gus) = in_bloom().await;
    let body = json!({"person": "somebody", "entries": [{"block": "bench", "year": 2013, "entry": count("p1", &[96])}]});
    let answer = house.send("POST", "/entries", &body.to_string(), &JSON, Some(&gus)).await;
    assert_eq!(answer.status, StatusCode::CONFLICT);
    assert!(answer.body.contains("other-person"), "{}", answer.body);
    let foreign =
        From { peer: JSON.peer, headers: &[("host", "localhost:8420"), ("sec-fetch-site", "cross-site")] };
    let answer = house.send("POST", "/entries", &body.to_string(), &foreign, Some(&gus)).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    let broken = house.send("POST", "/entries", "{\"entries\": [", &JSON, Some(&gus)).await;
    assert_eq!(broken.status, StatusCode::BAD_REQUEST);
    assert!(house.store.log("bench", 2013).await.unwrap().is_empty());
}

#[tokio::test]
async fn today_says_when_it_is_time_and_what_to_do() {
    let (house, gus) = in_bloom().await;
    let counts: Vec<_> = log().into_iter().filter(|entry| entry["kind"] == "open-count").collect();
    house.write("bench", &counts).await;
    house.reckon().await;
    let today = house.page("/today", &gus).await;
    for part in [
        "Spray 1 is overdue: its mark of 0.60 was reached",
        "It may have been as early as",
        "/log?block=bench&amp;what=spray\">Write the spray down",
        "/log?block=bench&amp;what=decision\"",
        "The mark has passed: what now?",
        "count what set first",
        "/blocks/bench\"",
    ] {
        assert!(today.contains(part), "{part}: {today}");
    }
    assert!(!today.contains("River Bend"));
    let reader = house.person("rosa", "alder", Role::Consultant).await;
    let today = house.page("/today", &reader).await;
    assert!(today.contains("Spray 1 is overdue") && !today.contains("/log?block"), "{today}");
}

#[tokio::test]
async fn a_closed_block_asks_for_no_work_in_it() {
    let (house, gus) = in_bloom().await;
    let closed = json!({"id": "b01", "kind": "spray", "at": "2013-05-02T18:00:00Z", "finished_at": "2013-05-02T20:00:00Z",
        "material": "captan", "reentry_hours": 24});
    house.write("bench", &[closed]).await;
    house.reckon().await;
    let today = house.page("/today", &gus).await;
    assert!(today.contains("Nobody works in the block before Fri 3 May, 16:00."), "{today}");
    assert!(!today.contains("what=open-count"), "{today}");
    let page = house.page("/log?block=bench", &gus).await;
    assert!(page.contains("Nobody works in the block before Fri 3 May, 16:00."), "{page}");
    let shown = shown(&page);
    assert_eq!(shown, ["note"], "no form for work in the block is held out");
    house.page("/log?block=bench&what=open-count", &gus).await;
}

/// The forms that a page shows without a script.
pub fn shown(page: &str) -> Vec<&str> {
    page.split("data-what=\"")
        .skip(1)
        .filter(|rest| !rest.split('>').next().unwrap().contains(" hidden"))
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

/// What a form sends: a field's value on the page.
pub fn value(page: &str, what: &str, name: &str) -> String {
    let form = page.split(&format!("data-what=\"{what}\"")).nth(1).unwrap();
    let field = form.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap();
    field.split('"').next().unwrap().to_owned()
}

pub async fn post(house: &House, cookie: &str, form: &str) -> Answer {
    house.send("POST", "/log", form, &JSON, Some(cookie)).await
}

#[tokio::test]
async fn a_count_is_written_down_without_a_script_and_once() {
    let (house, gus) = in_bloom().await;
    let page = house.page("/log?block=bench&what=open-count", &gus).await;
    assert_eq!(shown(&page), ["open-count"]);
    let id = value(&page, "open-count", "id");
    let form = format!(
        "block=bench&what=open-count&id={id}&at=2013-05-02T10%3A00&year=2013&open_per_tree=41+66%3B58%0D%0A47&wood="
    );
    for _ in 0..2 {
        let answer = post(&house, &gus, &form).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        assert_eq!(answer.location.as_deref(), Some("/log?block=bench&what=open-count&year=2013&done=1"));
    }
    let rows = house.store.log("bench", 2013).await.unwrap();
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0].doc["open_per_tree"], json!([41, 66, 58, 47]));
    assert_eq!(rows[0].doc["at"], "2013-05-02T14:00:00Z");
    assert_eq!(rows[0].doc["by"], "gus");
    let page = house.page("/log?block=bench&what=open-count&year=2013&done=1", &gus).await;
    assert!(
        page.contains("Written down.") && page.contains("Thu 2 May, 10:00: Open flowers 41 66 58 47"),
        "{page}"
    );
}

#[tokio::test]
async fn what_is_wrong_is_said_and_what_was_typed_stays() {
    let (house, gus) = in_bloom().await;
    for (form, says) in [
        (
            "open_per_tree=41%2C66&at=2013-05-02T10%3A00",
            "Open flowers, tree by tree: “41,66” is no whole number",
        ),
        (
            "open_per_tree=41+66&at=2013-05-09T10%3A00",
            "When: 2013-05-09T14:00:00Z lies more than 10 minutes ahead",
        ),
        ("open_per_tree=41+66&at=never", "When: “never” is no time"),
        ("at=2013-05-02T10%3A00", "Open flowers, tree by tree: is missing"),
    ] {
        let answer = post(&house, &gus, &format!("block=bench&what=open-count&id=x1&year=2013&{form}")).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{form}");
        whole(&answer);
        assert!(answer.body.contains(says), "{says}: {}", answer.body);
    }
    let answer =
        post(&house, &gus, "block=bench&what=note&id=x1&year=2013&at=never&text=%3Cb%3Ewet%3C%2Fb%3E").await;
    assert!(answer.body.contains("&#60;b&#62;wet&#60;/b&#62;</textarea>"), "{}", answer.body);
    let other =
        post(&house, &gus, "block=bend&what=note&id=x1&year=2013&at=2013-05-02T10%3A00&text=hm").await;
    assert_eq!(other.status, StatusCode::NOT_FOUND);
    assert!(house.store.log("bench", 2013).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_spray_is_written_down_in_two_steps_and_an_entry_corrected_and_taken_back() {
    let (house, gus) = in_bloom().await;
    let now = "block=bench&what=spray&id=s1&year=2013&at=2013-05-02T15%3A00&material=ammonium-thiosulfate&reentry_hours=24";
    assert_eq!(post(&house, &gus, now).await.status, StatusCode::SEE_OTHER);
    let page = house.page("/log?block=bench&what=spray-rest", &gus).await;
    assert!(page.contains("<option value=\"s1\">Thu 2 May, 15:00 ammonium-thiosulfate"), "{page}");
    let rest = "block=bench&what=spray-rest&id=s2&year=2013&of=s1&finished_at=2013-05-02T17%3A30&reentry_hours=\
        &total_amount=10+L&applicator=Tom+Ash&took=true";
    let answer = post(&house, &gus, rest).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let rows = house.store.log("bench", 2013).await.unwrap();
    let entry = &rows[1].doc["entry"];
    assert_eq!(rows[1].kind, "correction");
    assert_eq!(entry["material"], "ammonium-thiosulfate");
    assert_eq!(
        (entry["at"].as_str(), entry["finished_at"].as_str()),
        (Some("2013-05-02T19:00:00Z"), Some("2013-05-02T21:30:00Z"))
    );
    assert_eq!(entry["reentry_hours"], 24.0, "what is left empty stays");
    assert_eq!((entry["total_amount"].as_str(), entry["took"].as_bool()), (Some("10 L"), Some(true)));
    house.reckon().await;
    let sprays = house.page("/farms/alder/sprays/2013", &gus).await;
    assert!(sprays.contains("10 L (2.64 US gal)") && !sprays.contains("Draft"), "{sprays}");

    let page = house.page("/log?block=bench&year=2013&what=spray-record&of=s1", &gus).await;
    assert!(page.contains("value=\"ammonium-thiosulfate\"") && page.contains("This corrects"), "{page}");
    let back = "block=bench&what=withdrawal&id=s3&year=2013&of=s1&reason=other+block&at=2013-05-02T17%3A50";
    assert_eq!(post(&house, &gus, back).await.status, StatusCode::SEE_OTHER);
    let page = house.page("/log?block=bench&what=note", &gus).await;
    assert!(page.contains("None in this season yet."), "{page}");
}

#[tokio::test]
async fn the_worker_knows_every_file_and_each_is_there() {
    let house = House::new().await;
    let worker = house.get("/worker.js", None).await;
    assert_eq!(worker.status, StatusCode::OK);
    let files = worker.body.split("const FILES = ").nth(1).unwrap().split(';').next().unwrap();
    let files: Vec<String> = serde_json::from_str(files).unwrap();
    assert!(files.len() > 15 && files.iter().any(|file| file.ends_with("/words-en.js")), "{files:?}");
    for file in files.iter().filter(|file| !file.ends_with(".png")) {
        let answer = house.get(file, None).await;
        assert_eq!(answer.status, StatusCode::OK, "{file}");
        for import in answer.body.lines().filter(|line| line.starts_with("import ")) {
            let named = import.split("\"./").nth(1).unwrap().split('"').next().unwrap();
            assert!(files.iter().any(|file| file.ends_with(&format!("/{named}"))), "{file} imports {named}");
        }
    }
    let modules = |line: &&str| line.starts_with("import ") || line.starts_with("export ");
    assert_eq!(worker.body.lines().find(modules), None, "a worker of this kind has no modules");
    let manifest = house.get("/manifest.webmanifest", None).await;
    let manifest: Value = serde_json::from_str(&manifest.body).unwrap();
    assert_eq!(manifest["start_url"], "/today");
    assert!(
        manifest["icons"]
            .as_array()
            .unwrap()
            .iter()
            .all(|icon| files.contains(&icon["src"].as_str().unwrap().to_owned()))
    );
}
