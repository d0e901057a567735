//! Files of which nobody has said how they are read.

use axum::body::Body;
use axum::http::{Method, header};
use serde_json::{Value, json};

use crate::house::{Answer, House};

/// Half-hourly readings with semicolons and decimal commas, 20 before a gap; the
/// last row is of no hour.
fn clear() -> String {
    let row = |half: u32| format!("2013-05-01 {:02}:{:02};{},5;9,0\n", half / 2, half % 2 * 30, 8 + half / 4);
    let rows: String = (0..20).chain([30]).map(row).collect();
    format!("Zeit (UTC);Lufttemperatur 2 m (°C);Bodentemperatur (°C)\n{rows}2013-05-01 25:00;13,0;9,3\n")
}

/// No unit, and days that may be months.
const UNCLEAR: &str = "date,temp\n04/05/2013 10:00,11.5\n04/05/2013 11:00,12.1\n05/05/2013 11:00,12.1\n";

async fn house() -> House {
    let house = House::furnished().await;
    house
        .post("sites/ridge/sources", json!({"id": "logger", "name": "Logger", "way": "file"}))
        .await
        .expect(201);
    house
}

async fn sent(house: &House, file: impl Into<Body>, more: &str, kind: &str) -> Answer {
    let path = format!("sites/ridge/readings?source=logger{more}");
    let mut request = house.request(Method::POST, &path, None, file.into());
    request.headers_mut().insert(header::CONTENT_TYPE, kind.parse().unwrap());
    house.send(request).await
}

async fn mapping(house: &House) -> Value {
    house.get("sites/ridge/sources/logger").await.expect(200)["mapping"].clone()
}

#[tokio::test]
async fn a_dry_run_shows_what_was_understood_and_keeps_nothing() {
    let house = house().await;
    let shown = sent(&house, clear(), "&dry_run=true", "text/csv").await.expect(200);
    let file = &shown["file"];
    assert_eq!((&file["doubts"], &file["to_give"]), (&json!([]), &json!([])), "{shown}");
    let told = file["told"].as_array().unwrap();
    let how = |key: &str| told.iter().find(|told| told["key"] == key).map(|told| told["value"].clone());
    assert_eq!(how("unit"), Some(json!("celsius")));
    assert_eq!(how("decimal"), Some(json!(",")));
    let understood = &file["understood"];
    assert_eq!(understood["zone"], "UTC");
    assert_eq!(understood["cadence_seconds"], 1_800);
    assert_eq!(
        (&understood["first"], &understood["last"]),
        (&json!("2013-05-01T00:00:00Z"), &json!("2013-05-01T15:00:00Z"))
    );
    assert_eq!(understood["gaps"]["count"], 1);
    assert_eq!(understood["refused"][0]["line"], 23);
    assert_eq!(shown["would_be"], json!({"stored": 21, "unchanged": 0, "corrected": 0}));
    assert_eq!(mapping(&house).await, Value::Null);
    assert_eq!(house.get("sites/ridge/readings").await.expect(200)["items"], json!([]));
    // What is there already is told from what would take its place.
    sent(&house, clear(), "", "text/csv").await.expect(200);
    let other = clear().replace("00:30;8,5", "00:30;7,5");
    let shown = sent(&house, other, "&dry_run=true", "text/csv").await.expect(200);
    assert_eq!(shown["would_be"], json!({"stored": 0, "unchanged": 20, "corrected": 1}));
}

#[tokio::test]
async fn what_is_clear_is_stored_and_remembered() {
    let house = house().await;
    let answer = sent(&house, clear(), "", "text/csv").await.expect(200);
    assert_eq!((&answer["stored"], &answer["refused"]), (&json!(21), &json!(1)));
    let remembered = mapping(&house).await;
    assert_eq!((&remembered["delimiter"], &remembered["unit"]), (&json!(";"), &json!("celsius")));
    let again = sent(&house, clear(), "", "text/plain").await.expect(200);
    assert_eq!(again["unchanged"], 21);
    let shown = sent(&house, clear(), "&dry_run=true", "text/csv").await.expect(200);
    assert_eq!(shown["file"]["mapping"], remembered, "a dry run goes by what is remembered");
}

#[tokio::test]
async fn a_guess_is_refused_with_what_to_settle() {
    let house = house().await;
    let answer = sent(&house, UNCLEAR, "", "text/csv").await;
    answer.problem(422);
    let pointers: Vec<&str> = answer.body["errors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|wrong| wrong["pointer"].as_str().unwrap())
        .collect();
    assert!(pointers.iter().any(|pointer| pointer.starts_with("/mapping/")), "{pointers:?}");
    assert!(answer.body["detail"].as_str().unwrap().contains("dry_run=true"));
    assert_eq!(mapping(&house).await, Value::Null);
    let shown = sent(&house, UNCLEAR, "&dry_run=true", "text/csv").await.expect(200);
    let file = &shown["file"];
    let open = file["to_give"].as_array().unwrap().len() + file["doubts"].as_array().unwrap().len();
    assert!(open > 0, "{shown}");
}

#[tokio::test]
async fn an_archive_is_told_and_its_format_can_be_set() {
    let house = house().await;
    let lite = "2013 04 28 00   106    39 10189   290    31     0     0 -9999\n\
                2013 04 28 01    94    39 10193   300    26     0     0 -9999\n";
    let answer = sent(&house, lite, "", "text/plain").await.expect(200);
    assert_eq!(answer["stored"], 2);
    assert_eq!(mapping(&house).await["format"], "isd-lite");
    let other = json!({"mapping": {"format": "iem-asos", "station": "EWR", "checks": "off"}});
    let changed = house.patch("sites/ridge/sources/logger", other).await.expect(200);
    assert_eq!(changed["mapping"]["station"], "EWR");
    let mesonet = "station,valid,tmpf\nEWR,2013-04-28 02:00,50.00\nJFK,2013-04-28 02:00,48.00\n";
    assert_eq!(sent(&house, mesonet, "", "text/csv").await.expect(200)["stored"], 1);
}

#[tokio::test]
async fn json_is_never_tried_dry() {
    let house = house().await;
    let path = "sites/ridge/readings?source=logger&dry_run=true";
    let typed = json!({"readings": [{"at": "2013-05-01T02:00:00Z", "celsius": 15}]});
    house.post(path, typed).await.problem(422);
}
