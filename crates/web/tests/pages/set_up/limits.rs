use axum::http::StatusCode;
use serde_json::json;
use store::Role;

use super::{led_to, refused};
use crate::house::{House, tag};

const PATH: &str = "/farms/alder/slot-limits";

fn own() -> serde_json::Value {
    json!({"limit": [
        {"what": "wind", "at": 4.5, "source": "what our sprayer bears", "status": "own"},
        {"what": "warmest", "at": 85, "unit": "fahrenheit", "materials": ["sulfur"], "source": "a <leaflet>",
            "status": "from-memory"},
    ], "fact": [{"says": "Bees come early here", "source": "ours", "status": "own"}]})
}

/// The same as they are typed.
fn typed<'a>(wind: &'a str, read: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("limit0.what", "wind"),
        ("limit0.at", wind),
        ("limit0.source", "what our sprayer bears"),
        ("limit0.status", "own"),
        ("limit2.what", "warmest"),
        ("limit2.at", "80"),
        ("limit2.unit", "fahrenheit"),
        ("limit2.materials", "sulfur, oil"),
        ("limit2.source", "a leaflet"),
        ("limit2.status", "from-memory"),
        ("tag", read),
    ]
}

#[tokio::test]
async fn a_farm_sets_limits_of_its_own_and_goes_back_to_those_that_ship() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    assert!(house.page("/farms/alder/materials", &ines).await.contains(&format!("href=\"{PATH}\"")));
    let page = house.page(PATH, &ines).await;
    assert!(page.contains("These ship with the program") && !page.contains("/shipped\""), "{page}");
    let read = tag(&page, "typed");
    let page = house.page(&led_to(&house.fill(PATH, &typed("4,5", &read), &ines).await), &ines).await;
    for part in [
        "Saved.",
        "These are the farm’s own.",
        "name=\"limit0.at\" value=\"4.5\"",
        "name=\"limit1.at\" value=\"80\"",
        "name=\"limit1.materials\" value=\"sulfur oil\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let kept = house.store.farm_rule("alder", "slot-limits").await.unwrap().unwrap();
    assert!((kept["limit"][1]["at"].as_f64().unwrap() - 80.0 / 1.8 + 32.0 / 1.8).abs() < 1e-9, "{kept}");
    assert!(!kept["fact"].as_array().unwrap().is_empty(), "the facts stay beside them: {kept}");
    let read = tag(&page, "shipped-typed");
    led_to(&house.fill(&format!("{PATH}/shipped"), &[("tag", &read)], &ines).await);
    assert_eq!(house.store.farm_rule("alder", "slot-limits").await.unwrap(), None);

    let nils = house.person("nils", "alder", Role::Grower).await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for (who, status) in [(&nils, StatusCode::FORBIDDEN), (&otto, StatusCode::NOT_FOUND)] {
        assert_eq!(house.get(PATH, Some(who)).await.status, status);
        assert_eq!(house.fill(PATH, &typed("4", "x"), who).await.status, status);
        assert_eq!(house.fill(&format!("{PATH}/shipped"), &[], who).await.status, status);
    }
}

#[tokio::test]
async fn each_slip_in_a_limit_stands_in_its_row() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let read = tag(&house.page(PATH, &ines).await, "typed");
    for (field, value, says) in [
        ("at", "", "is missing"),
        ("at", "hot", "found the text `hot`"),
        ("at", "500", "outside"),
        ("source", "", "is missing"),
        ("spread", "2", "belongs to dew-free-after alone"),
        ("status", "certain", "certain"),
    ] {
        let name = format!("limit2.{field}");
        let mut typed = typed("4.5", &read);
        typed.retain(|(known, _)| *known != name);
        typed.push((&name, value));
        let answer = house.fill(PATH, &typed, &ines).await;
        refused(&answer, &[says, &format!("id=\"{name}-wrong\""), "value=\"sulfur, oil\""]);
    }
    assert_eq!(house.store.farm_rule("alder", "slot-limits").await.unwrap(), None);
}

#[tokio::test]
async fn of_two_who_change_a_limit_the_second_is_told_and_nothing_is_lost() {
    let house = House::planted().await;
    house.store.set_farm_rule("alder", "slot-limits", Some(&own()), house.now()).await.unwrap();
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let nora = house.person("nora", "alder", Role::Advisor).await;
    let page = house.page(PATH, &ines).await;
    assert!(
        page.contains("value=\"a &#60;leaflet&#62;\"") && page.contains("name=\"limit1.at\" value=\"85\"")
    );
    let read = tag(&page, "typed");
    led_to(&house.fill(PATH, &typed("3.5", &read), &nora).await);
    let late = house.fill(PATH, &typed("5.5", &read), &ines).await;
    refused(
        &late,
        &[
            "Someone else changed this since the page was opened.",
            "value=\"5.5\"",
            "id=\"limit0.at-now\">Stands there now: 3.5</p>",
        ],
    );
    let kept = async || house.store.farm_rule("alder", "slot-limits").await.unwrap().unwrap();
    assert_eq!(kept().await["limit"][0]["at"], 3.5, "what the first wrote stands");
    led_to(&house.fill(PATH, &typed("4", &tag(&late.body, "typed")), &ines).await);
    assert_eq!(
        (&kept().await["limit"][0]["at"], &kept().await["fact"][0]["says"]),
        (&json!(4.0), &json!("Bees come early here"))
    );
}
