//! Farms, sites and sources.

use axum::http::header;
use serde_json::{Value, json};

use crate::house::{House, mapping, ridge};

#[tokio::test]
async fn a_farm_is_added_read_and_changed() {
    let house = House::new().await;
    let added = house.post("farms", json!({"name": "Alder Ridge Orchards"})).await;
    let location = added.headers[header::LOCATION].to_str().unwrap().to_owned();
    let farm = added.expect(201);
    let id = farm["id"].as_str().unwrap();
    assert_eq!(location, format!("/api/v1/farms/{id}"));
    assert_eq!(id.as_bytes()[14], b'7', "a UUIDv7: {id}");
    assert_eq!(house.get(&format!("farms/{id}")).await.expect(200), farm);
    assert_eq!(farm["alert_emails"], json!([]));

    let path = format!("farms/{id}");
    let changed = house.patch(&path, json!({"alert_emails": ["a@alder-ridge.example"]})).await.expect(200);
    assert_eq!(changed["name"], "Alder Ridge Orchards");
    assert_eq!(house.get(&path).await.expect(200), changed);
    let emptied = house.patch(&path, json!({"alert_emails": []})).await.expect(200);
    assert_eq!(emptied["alert_emails"], json!([]));
    house.patch(&path, json!({"name": null})).await.fault(422, "/name");
    house.patch(&path, json!({"id": "other"})).await.fault(422, "/id");
    house.patch("farms/none", json!({"name": "x"})).await.problem(404);
}

#[tokio::test]
async fn what_is_wrong_with_a_farm_comes_at_once() {
    let house = House::new().await;
    let farm = json!({"id": "a/b", "name": "two\nlines", "alert_emails": ["a@b, c@d"], "colour": "red"});
    let answer = house.post("farms", farm).await;
    for (place, word) in
        [("/id", "a/b"), ("/name", "one line"), ("/alert_emails", "a@b, c@d"), ("/colour", "not a field")]
    {
        let said = answer.fault(422, place);
        assert!(said.contains(word), "{place}: {said}");
    }
    assert_eq!(house.get("farms").await.body["items"], json!([]));
}

#[tokio::test]
async fn an_id_is_taken_once() {
    let house = House::furnished().await;
    let again = house.post("farms", json!({"id": "alder", "name": "Other"})).await;
    again.problem(409);
    assert!(again.body["detail"].as_str().unwrap().contains("alder"));
    assert_eq!(house.get("farms/alder").await.body["name"], "Alder Ridge Orchards");
}

#[tokio::test]
async fn lists_come_in_pages() {
    let house = House::new().await;
    for id in ["a", "b", "c"] {
        house.post("farms", json!({"id": id, "name": id})).await.expect(201);
    }
    let answer = house.get("farms?limit=2").await;
    let link = answer.headers["link"].to_str().unwrap().to_owned();
    let first = answer.expect(200);
    let ids = |page: &Value| {
        page["items"].as_array().unwrap().iter().map(|farm| farm["id"].clone()).collect::<Vec<_>>()
    };
    assert_eq!(ids(&first), ["a", "b"]);
    let next = first["next"].as_str().unwrap();
    assert_eq!(link, format!("</api/v1/farms?limit=2&after={next}>; rel=\"next\""));
    // Of another list, or made up, it leads nowhere.
    for path in ["sites", "farms"] {
        let cursor = if path == "farms" { "b" } else { next };
        let said = house.get(&format!("{path}?after={cursor}")).await.fault(422, "after");
        assert!(said.contains("begin without it"), "{said}");
    }
    let address = link.split(['<', '>']).nth(1).unwrap().strip_prefix("/api/v1/").unwrap();
    let answer = house.get(address).await;
    assert!(!answer.headers.contains_key("link"), "the last page");
    let second = answer.expect(200);
    assert_eq!(ids(&second), ["c"]);
    assert_eq!(second["next"], Value::Null);
    house.get("farms?limit=0").await.fault(422, "limit");
    house.get("farms?limit=2&limit=3").await.fault(422, "limit");
    let misspelt = house.get("farms?Limit=2").await;
    misspelt.problem(422);
    assert!(misspelt.body["detail"].as_str().unwrap().contains("Limit"));
}

#[tokio::test]
async fn a_site_belongs_to_a_farm_or_to_the_server() {
    let house = House::furnished().await;
    let mut site = ridge();
    site["id"] = json!("hollow");
    site["farm_id"] = json!("nobody");
    site["time_zone"] = json!("America/Newyork");
    let answer = house.post("sites", site).await;
    assert!(answer.fault(422, "/farm_id").contains("nobody"));
    assert!(answer.fault(422, "/time_zone").contains("America/Newyork"));

    let of_farm = house.get("sites?farm_id=alder").await.expect(200);
    assert_eq!(of_farm["items"].as_array().unwrap().len(), 1);
    let all = house.get("sites").await.expect(200);
    assert_eq!(all["items"].as_array().unwrap().len(), 2);
    assert_eq!(house.get("sites/county").await.body["farm_id"], Value::Null);
}

#[tokio::test]
async fn sources_come_in_order_of_trust_and_say_their_kind() {
    let house = House::furnished().await;
    let listed = house.get("sites/ridge/sources").await.expect(200);
    let shown: Vec<_> = listed["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|source| {
            [&source["id"], &source["reading_kind"], &source["trust"]].map(Value::to_string).join(" ")
        })
        .collect();
    assert_eq!(shown, [r#""mast" "station" 1"#, r#""book" "hand" 2"#, r#""sky" "model-analysis" 3"#]);
    let sky = house.get("sites/ridge/sources/sky").await.expect(200);
    assert_eq!(sky["attribution"], "Weather data by Open-Meteo.com");
    assert!(sky["cell"].is_string());
    house.get("sites/county/sources/sky").await.problem(404);
}

#[tokio::test]
async fn a_source_is_refused_for_what_does_not_fit_its_way() {
    let house = House::furnished().await;
    let cases = [
        (json!({"name": "x"}), "/way", "missing"),
        (json!({"name": "x", "way": "pigeon"}), "/way", "pigeon"),
        (json!({"name": "x", "way": "feed"}), "/provider", "missing"),
        (json!({"name": "x", "way": "feed", "provider": "old-almanac"}), "/provider", "open-meteo"),
        (json!({"name": "x", "way": "hand", "provider": "open-meteo"}), "/provider", "feed"),
        (json!({"name": "x", "way": "hand", "mapping": mapping()}), "/mapping", "file"),
        (json!({"name": "x", "way": "hand", "reading_kind": "station"}), "/reading_kind", "hand"),
        (json!({"name": "x", "way": "file", "mapping": {"time_column": "t"}}), "/mapping/unit", "missing"),
        (json!({"name": "x", "way": "file", "trust": 0}), "/trust", "0"),
    ];
    for (source, place, word) in cases {
        let said = house.post("sites/ridge/sources", source.clone()).await.fault(422, place);
        assert!(said.contains(word), "{source}: {said}");
    }
    house.post("sites/ridge/sources", json!({"name": "Mast, 2 m", "way": "file"})).await.problem(409);
    for way in ["file", "hand"] {
        let source = json!({"name": "x", "way": way});
        let said = house.post("sites/county/sources", source).await.fault(422, "/way");
        assert!(said.contains("feeds only"), "{said}");
    }
    assert_eq!(house.pokes(), 0);
    let feed = json!({"id": "county-sky", "name": "Sky", "way": "feed", "provider": "open-meteo"});
    house.post("sites/county/sources", feed).await.expect(201);
    assert_eq!(house.pokes(), 1, "a new feed is fetched at once");
    assert_eq!(house.get("sites/ridge/sources").await.body["items"].as_array().unwrap().len(), 3);
}

#[tokio::test]
async fn a_mapping_is_changed_as_a_whole_and_keeps_the_kind() {
    let house = House::furnished().await;
    let path = "sites/ridge/sources/mast";
    let mut other = mapping();
    other["unit"] = json!("kelvin");
    let changed = house.patch(path, json!({"mapping": other})).await.expect(200);
    assert_eq!(changed["mapping"]["unit"], "kelvin");
    assert_eq!(house.get(path).await.expect(200), changed);
    let mut of_hand = mapping();
    of_hand["reading_kind"] = json!("hand");
    house.patch(path, json!({"mapping": of_hand})).await.fault(422, "/mapping/reading_kind");
    house.patch(path, json!({})).await.fault(422, "/mapping");
    house.patch("sites/ridge/sources/sky", json!({"mapping": mapping()})).await.problem(409);
    assert_eq!(house.get(path).await.body["mapping"]["unit"], "kelvin");
}
