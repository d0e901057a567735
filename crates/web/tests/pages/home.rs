//! Home: farms, blocks, and what waits.

use model::series::Reading;
use model::time::Instant;
use model::words;
use serde_json::json;
use store::Role;

use crate::house::House;
use crate::orchard::{log, plan};

#[tokio::test]
async fn home_leads_to_every_page_of_ones_farms_alone() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let home = house.page("/", &ines).await;
    for part in [
        "/farms/alder/sprays/2013",
        "/blocks/bench\"",
        "/outcomes/2013",
        "season over",
        "Alder &#60;Ridge&#62;: grower",
    ] {
        assert!(home.contains(part), "{part}: {home}");
    }
    assert!(!home.contains("River Bend") && !home.contains("Waiting"), "{home}");
}

#[tokio::test]
async fn an_advisor_has_what_waits_due_first() {
    let house = House::planted().await;
    // Counts and no decision: due on the third day after.
    house.set_clock("2013-05-02T22:00:00Z");
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.person("ines", "elder", Role::Advisor).await;
    for block in ["bench", "bend"] {
        house.store.set_plan(block, 2013, 0, &plan(), house.now()).await.unwrap();
    }
    let counts: Vec<_> = log().into_iter().filter(|entry| entry["kind"] == "open-count").collect();
    house.write("bench", &counts).await;
    house.reckon().await;
    let home = house.page("/", &ines).await;
    let waiting = &home[home.find("Waiting").unwrap()..home.find("<h2>Farms</h2>").unwrap()];
    let (first, second) = (waiting.find("North").unwrap(), waiting.find("River Bend").unwrap());
    assert!(first < second, "{waiting}");
    for part in [
        "Spray 1 is",
        "To thin or not is not decided; the table says:",
        "No open flowers are counted yet.",
        words::UNCONFIRMED,
    ] {
        assert!(waiting.contains(part), "{part}: {waiting}");
    }
}

#[tokio::test]
async fn nobody_is_asked_into_a_block_before_its_re_entry_time() {
    let house = House::planted().await;
    house.set_clock("2013-05-02T14:00:00Z");
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
    let closed = json!({"id": "b01", "kind": "spray", "at": "2013-05-02T10:00:00Z", "finished_at": "2013-05-02T12:00:00Z",
        "material": "captan", "reentry_hours": 24});
    house.write("bench", &[closed]).await;
    house.reckon().await;
    let home = house.page("/", &ines).await;
    assert!(
        home.contains("Not before re-entry, Fri 3 May, 08:00: no open flowers are counted yet."),
        "{home}"
    );
    assert!(home.contains("Nobody works in the block before Fri 3 May, 08:00."));
    house.set_clock("2013-05-03T12:00:00Z");
    let ines = house.sign_in("ines").await;
    let home = house.page("/", &ines).await;
    assert!(
        home.contains("No open flowers are counted yet.") && !home.contains("Not before re-entry"),
        "{home}"
    );
    let open = json!({"id": "b02", "kind": "spray", "at": "2013-05-03T10:00:00Z", "finished_at": "2013-05-03T11:00:00Z",
        "material": "captan"});
    house.write("bench", &[open]).await;
    house.reckon().await;
    assert!(house.page("/", &ines).await.contains(words::NO_REENTRY));
}

#[tokio::test]
async fn a_block_on_hold_asks_for_a_look_before_any_spray() {
    let house = House::planted().await;
    house.set_clock("2013-05-02T22:00:00Z");
    let night = ["2013-04-30T08:00:00Z", "2013-04-30T09:00:00Z", "2013-04-30T10:00:00Z"];
    let cold = night.map(|at| Reading::instant(Instant::parse(at).unwrap(), -4.0));
    house.store.store_readings("mast", &cold, house.now()).await.unwrap();
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
    let mut seen: Vec<_> = log().into_iter().filter(|entry| entry["kind"] == "open-count").collect();
    seen.push(json!({"id": "b01", "kind": "stage", "at": "2013-04-29T12:00:00Z", "stage": "full-bloom"}));
    house.write("bench", &seen).await;
    house.reckon().await;
    let home = house.page("/", &ines).await;
    assert!(home.contains("On hold after frost: look at the flowers before any spray."), "{home}");
    assert!(!home.contains("Spray 1 is due") && !home.contains("Spray 1 is overdue"), "{home}");
}
