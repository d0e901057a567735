//! Limits of slots, past springs, the round, and how good odds were.

use serde_json::{Value, json};

use crate::house::{House, SPRING};

const LIMITS: &str = "farms/alder/slot-limits";

#[tokio::test]
async fn a_farm_goes_by_its_own_limits_while_it_has_any() {
    let house = House::planted().await;
    let ships = house.get(LIMITS).await.expect(200);
    assert_eq!(ships["own"], false);
    let own = json!({"limit": [
        {"what": "wind", "at": 4.5, "source": "our sprayer", "status": "own"},
        {"what": "warmest", "at": 86, "unit": "fahrenheit", "source": "our own springs", "status": "own"},
        {"what": "bee-quiet", "source": "our beekeeper", "status": "own"}]});
    let set = house.put(LIMITS, own).await.expect(200);
    assert_eq!((&set["own"], &set["limit"][0]["at"], &set["fact"]), (&json!(true), &json!(4.5), &json!([])));
    assert_eq!((&set["limit"][1]["at"], &set["limit"][2]["at"]), (&json!(30.0), &Value::Null));
    assert_eq!(house.pokes(), 1);
    // As it was read it can be sent back.
    assert_eq!(house.put(LIMITS, set.clone()).await.expect(200), set);
    for (limit, pointer) in [
        (json!({"what": "moon", "at": 1, "source": "x", "status": "own"}), "/limit/0/what"),
        (json!({"what": "wind", "source": "x", "status": "own"}), "/limit/0/at"),
        (json!({"what": "wind", "at": -1, "source": "x", "status": "own"}), "/limit/0/at"),
        (json!({"what": "wind", "at": 4, "status": "own"}), "/limit/0/source"),
        (json!({"what": "wind", "at": 4, "source": "x", "status": "sure"}), "/limit/0/status"),
        (json!({"what": "bee-quiet", "at": 9, "source": "x", "status": "own"}), "/limit/0/at"),
        (json!({"what": "wind", "at": 4, "gusts": 5, "source": "x", "status": "own"}), "/limit/0/gusts"),
    ] {
        house.put(LIMITS, json!({"limit": [limit]})).await.fault(422, pointer);
    }
    assert_eq!(house.delete(LIMITS).await.expect(200), ships);
}

#[tokio::test]
async fn past_springs_are_told_as_json_and_csv() {
    let house = House::planted().await;
    house.set_clock("2013-06-10T00:00:00Z");
    house.upload("mast", SPRING).await.expect(200);
    let path = "sites/ridge/hindcast?start=04-29T10:00&marks=0.60,1.00&from=2012&to=2013";
    let found = house.get(path).await.expect(200);
    let springs = found["springs"].as_array().unwrap();
    assert_eq!(springs.len(), 1, "2012 has no readings: {found}");
    // The reference run, integrated apart in steps of five seconds.
    let reached = springs[0]["legs"][0]["reached_at"].as_str().unwrap();
    assert!(reached.starts_with("2013-05-01T13:50:0"), "{reached}");
    assert_eq!(springs[0]["legs"][1]["from"], reached, "each leg begins at the mark before");
    assert_eq!(
        (&found["ranges"][1]["n"], &found["rule"]),
        (&json!(1), &json!("on day 29 of month 4 at 10:00"))
    );
    let csv = house.get(&format!("{path}&format=csv")).await;
    assert!(csv.headers["content-type"].to_str().unwrap().starts_with("text/csv"), "{:?}", csv.headers);
    for (query, parameter) in [
        ("", "start"),
        ("?start=04-29&degree_hours=2000", "start"),
        ("?start=29.4.", "start"),
        ("?degree_hours=-1", "degree_hours"),
        ("?degree_hours=2000&since=winter", "since"),
        ("?logged=2013-04-29", "logged"),
        ("?start=04-29&marks=2", "marks"),
        ("?start=04-29&curve=none", "curve"),
        ("?start=04-29&from=1900&to=2013", "from"),
    ] {
        house.get(&format!("sites/ridge/hindcast{query}")).await.fault(422, parameter);
    }
}

#[tokio::test]
async fn a_round_of_nothing_says_so() {
    let house = House::planted().await;
    let none = house
        .post("farms/alder/round", json!({"sprayers": [{"name": "the old one", "hectares_per_hour": 0}]}))
        .await
        .expect(200);
    assert_eq!(
        none["runs"]
            .as_array()
            .map_or(0, |runs| runs.iter().filter(|run| run["visits"] != json!([])).count()),
        0
    );
    assert!(!none["told"].as_array().unwrap().is_empty(), "{none}");
    for (body, pointer) in [
        (json!({}), "/sprayers"),
        (json!({"sprayers": []}), "/sprayers"),
        (json!({"sprayers": [{"name": "a"}]}), "/sprayers/0/hectares_per_hour"),
        (json!({"sprayers": [{"name": "a", "hectares_per_hour": -1}]}), "/sprayers/0/hectares_per_hour"),
        (
            json!({"sprayers": [{"name": "a", "hectares_per_hour": 1, "fill_at": {"latitude": 95, "longitude": 0}}]}),
            "/sprayers/0/fill_at/latitude",
        ),
        (json!({"sprayers": [{"name": "a", "hectares_per_hour": 1}], "works_from": "5 am"}), "/works_from"),
        (json!({"sprayers": [{"name": "a", "hectares_per_hour": 1}], "works_from": "05:00"}), "/works_until"),
        (json!({"sprayers": [{"name": "a", "hectares_per_hour": 1}], "moon": 1}), "/moon"),
    ] {
        house.post("farms/alder/round", body).await.fault(422, pointer);
    }
}

#[tokio::test]
async fn odds_that_nothing_came_of_are_too_few_to_judge() {
    let house = House::planted().await;
    let found = house.get("farms/alder/verification").await.expect(200);
    assert_eq!((&found["scores"], &found["open"]), (&json!([]), &json!(0)));
    assert!(found["told"][0].as_str().unwrap().contains("too few to judge"), "{found}");
    house.get("farms/alder/verification?since=spring").await.fault(422, "since");
}
