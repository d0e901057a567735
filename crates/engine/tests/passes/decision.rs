//! The decision through the passes: frost and its hold, what a farm confirmed and
//! changed, hours for bees, and a start borrowed from another block.

use engine::{deliver, fetch, reckon};
use model::air::Air;
use model::series::Reading;
use model::time::HOUR;
use serde_json::{Value, json};
use store::Confirmed;

use crate::{BEGIN, House};

/// Readings at 15 °C, with an hour of frost from `frost` on, stored for a site.
async fn read(house: &House, site: &str, hours: i64, frost: Option<i64>) {
    let frosty = |n: i64| frost.is_some_and(|from| (from..=from + 1).contains(&n));
    // No two hours alike, so that no check takes them for a stuck sensor.
    let celsius = |n: i64| if frosty(n) { -3.0 } else { 15.0 + (n % 7) as f64 / 100.0 };
    let readings: Vec<Reading> =
        (-48..=hours).map(|n| Reading::instant(BEGIN.plus(n * HOUR), celsius(n))).collect();
    house.engine.store.store_readings(&format!("{site}-source"), &readings, BEGIN).await.unwrap();
}

fn codes(season: &Value) -> Vec<&str> {
    season["notes"].as_array().unwrap().iter().filter_map(|note| note["code"].as_str()).collect()
}

/// A block that frost came over, at `hours`.
async fn frosted(hours: i64) -> House {
    let house = House::unchecked().await;
    house.site("site", 200.0, None).await;
    house.block("bench", "site").await;
    house.set(hours);
    read(&house, "site", hours, Some(20)).await;
    house
        .log("bench", json!({"id": "stage", "kind": "stage", "stage": "full-bloom", "at": BEGIN.plus(-HOUR)}))
        .await;
    reckon::pass(&house.engine).await.unwrap();
    house
}

#[tokio::test]
async fn frost_over_a_running_leg_holds_it_until_damage_is_counted() {
    // The frost of hour 20 is at 8 in the evening there; the morning after begins at
    // hour 11 of the next day.
    let house = frosted(40).await;
    assert_eq!(house.state("bench").await.as_deref(), Some("hold"));
    let season = house.season("bench").await;
    assert_eq!(season["verdict"]["verdict"], "count-first");
    assert!(season["legs"][0]["reached_at"].is_string(), "due times are shown: {season}");
    let alerts = house.engine.store.alerts_of("bench", 2013).await.unwrap();
    let asked = alerts.iter().find(|alert| alert.kind == "check-damage").expect("someone is asked to look");
    assert_eq!(asked.about["on_hold"], true);
    deliver::pass(&house.engine).await.unwrap();
    assert_eq!(house.mails(), 1, "started, due and check-damage, to one person");

    house.set(41);
    house
        .log(
            "bench",
            json!({"id": "tally", "kind": "damage-count", "at": BEGIN.plus(41 * HOUR), "kings_alive": 95,
        "kings_dead": 5, "laterals_alive": 380, "laterals_dead": 20}),
        )
        .await;
    reckon::pass(&house.engine).await.unwrap();
    assert_eq!(house.state("bench").await.as_deref(), Some("due"));
    assert_eq!(house.season("bench").await["hold"], Value::Null);
}

/// A person who goes on says why.
#[tokio::test]
async fn a_decision_with_its_reason_lifts_the_hold() {
    let house = frosted(40).await;
    house.set(41);
    let decided = |id: &str, reason: Value| json!({"id": id, "kind": "decision", "thin": true, "at": BEGIN.plus(41 * HOUR), "reason": reason});
    house.log("bench", decided("bare", Value::Null)).await;
    reckon::pass(&house.engine).await.unwrap();
    assert_eq!(house.state("bench").await.as_deref(), Some("hold"));
    house.log("bench", decided("said", json!("cut thirty clusters by eye, all green"))).await;
    reckon::pass(&house.engine).await.unwrap();
    assert_eq!(house.state("bench").await.as_deref(), Some("due"));
}

#[tokio::test]
async fn what_a_farm_confirmed_and_its_own_table_are_reckoned_with() {
    let house = House::unchecked().await;
    house.site("site", 200.0, None).await;
    house.block("bench", "site").await;
    house.set(10);
    read(&house, "site", 10, None).await;
    reckon::pass(&house.engine).await.unwrap();
    assert!(codes(&house.season("bench").await).contains(&"materials-unconfirmed"));
    let confirmed = Confirmed {
        id: "one".into(),
        farm_id: "farm".into(),
        material: "ats".into(),
        doc: json!({"material": "ats", "jurisdiction": "Hessen", "by": "Ines", "on": "2013-04-02",
            "registered": true, "bloom_use": true}),
        at: BEGIN,
        taken_back_at: None,
    };
    house.engine.store.confirm(&confirmed).await.unwrap();
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 1, "its season is stale");
    assert!(!codes(&house.season("bench").await).contains(&"materials-unconfirmed"));

    let table = json!({"row": [{"id": "ours", "verdict": "wait", "says": "We wait.", "basis": "our own"}]});
    house.engine.store.set_farm_rule("farm", "verdict", Some(&table), BEGIN).await.unwrap();
    reckon::pass(&house.engine).await.unwrap();
    assert_eq!(house.season("bench").await["verdict"]["row"], "ours");
}

#[tokio::test]
async fn hours_for_bees_come_from_the_air_beside_the_readings() {
    let house = House::unchecked().await;
    house.site("site", 200.0, None).await;
    house.block("bench", "site").await;
    house.set(24);
    read(&house, "site", 24, None).await;
    reckon::pass(&house.engine).await.unwrap();
    let bees = |season: Value| season["legs"][0]["bee_hours"].clone();
    let before = bees(house.season("bench").await);
    assert_eq!(before["fit"], 0.0);
    assert!(before["unknown"].as_f64().unwrap() > 8.0, "nobody told wind or rain: {before}");
    let air: Vec<Air> = (0..=25)
        .map(|n| Air { wind_m_s: Some(2.0), rain_mm: Some(0.0), ..Air::at(BEGIN.plus(n * HOUR)) })
        .collect();
    house.engine.store.store_air("site-source", &air, BEGIN).await.unwrap();
    house.log("bench", json!({"id": "n", "kind": "note", "text": "mown", "at": BEGIN})).await;
    reckon::pass(&house.engine).await.unwrap();
    let after = bees(house.season("bench").await);
    assert_eq!((&after["fit"], &after["unknown"]), (&before["unknown"], &json!(0.0)));
}

/// A borrowed start is the lender's own, wider; what the lender corrects moves it.
#[tokio::test]
async fn a_start_is_borrowed_and_follows_its_lender() {
    let house = House::unchecked().await;
    house.site("site", 200.0, None).await;
    house.block("bench", "site").await;
    house.site("hill", 300.0, None).await;
    house.bare_block("far", "hill", json!({"borrows": {"start": "bench"}})).await;
    house.set(20);
    for site in ["site", "hill"] {
        read(&house, site, 20, None).await;
    }
    reckon::pass(&house.engine).await.unwrap();
    let start = |season: &Value, field: &str| season["start"][field].as_str().unwrap().to_owned();
    let (lent, borrowed) = (house.season("bench").await, house.season("far").await);
    assert_eq!(start(&borrowed, "at"), start(&lent, "at"));
    assert_eq!(borrowed["borrowed"]["start"], "bench");
    assert!(start(&borrowed, "earliest") < start(&lent, "earliest"), "half a day wider");
    assert!(codes(&borrowed).contains(&"start-borrowed"));
    house
        .log(
            "bench",
            json!({"id": "x", "kind": "correction", "of": "start", "at": BEGIN.plus(HOUR),
        "entry": {"kind": "bloom-start", "at": BEGIN.plus(5 * HOUR)}}),
        )
        .await;
    assert_eq!(reckon::pass(&house.engine).await.unwrap(), 2, "lender and borrower");
    let moved = house.season("far").await;
    assert_eq!(start(&moved, "at"), BEGIN.plus(5 * HOUR).to_string());
    // Its own count stands before what is borrowed.
    house.log("far", json!({"id": "own", "kind": "bloom-start", "at": BEGIN.plus(2 * HOUR)})).await;
    reckon::pass(&house.engine).await.unwrap();
    let own = house.season("far").await;
    assert_eq!(
        (start(&own, "at"), &own["borrowed"]["start"]),
        (BEGIN.plus(2 * HOUR).to_string(), &Value::Null)
    );
    assert_eq!(fetch::pass(&house.engine).await.unwrap(), fetch::Report::default());
}
