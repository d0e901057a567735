//! A season from the first farm to the clock, and what is stale when.

use std::sync::Arc;

use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::time::{Instant, zone};
use serde_json::{Value, json};
use store::{AlertWrite, Reckoned};

use crate::house::{House, SPRING, at, counts, plan, shipped_catalogue, spray};

const SEASON: &str = "blocks/bench/seasons/2013";
const LOG: &str = "blocks/bench/seasons/2013/log";

/// Reckons what is stale as the loops do, with the model alone.
pub async fn reckon(house: &House, alerts: &[AlertWrite]) -> usize {
    let now = house.now();
    let stale = house.store.stale_seasons(now, shipped_catalogue().edition, None, 100).await.unwrap();
    for one in &stale {
        let weather = house.store.site_weather(&one.site.id, Instant::MIN, Instant::MAX).await.unwrap();
        let readings: Vec<_> = weather.sources.into_iter().map(|(_, readings)| readings).collect();
        let series = Series::join(&readings, weather.forecast.as_ref(), now);
        let zone = zone(&one.site.time_zone).unwrap();
        let catalogue = shipped_catalogue();
        let plan =
            Plan::assemble(Some(one.year), zone, &one.block.details, one.plan.as_ref(), &catalogue).unwrap();
        let entries = one.log.iter().map(|entry| Entry::read(&entry.doc, None).unwrap()).collect();
        let growth = Growth::new(Arc::new(Course::new(series)), plan.block.curve.clone());
        let season = season::reckon(&plan, &FieldLog::by_id(entries).unwrap(), &growth, now);
        let reckoned = Reckoned {
            block_id: one.block.id.clone(),
            year: one.year,
            versions: one.versions,
            look_again_at: season.look_again_at,
            state: season.state.word().to_owned(),
            doc: serde_json::to_value(&season).unwrap(),
            alerts: alerts.to_vec(),
            expected: Vec::new(),
        };
        assert_eq!(house.store.commit_reckoned(&[reckoned], now).await.unwrap(), 1);
    }
    stale.len()
}

#[tokio::test]
async fn a_spring_from_the_first_farm_to_the_second_leg() {
    let house = House::planted().await;
    house.get(SEASON).await.problem(404);
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    let fresh = house.get(SEASON).await.expect(200);
    assert_eq!(
        (&fresh["season"], &fresh["stale"], &fresh["year"]),
        (&Value::Null, &json!(true), &json!(2013))
    );
    assert_eq!((&fresh["target"], &fresh["threshold"]), (&json!(115.0), &json!(115.0)));

    house.upload("mast", SPRING).await.expect(200);
    house.post(LOG, json!({"entries": counts()})).await.expect(201);
    house.post(LOG, spray()).await.expect(201);
    assert_eq!(reckon(&house, &[]).await, 1);
    assert_eq!(reckon(&house, &[]).await, 0, "nothing is stale any more");

    let season = house.get(SEASON).await.expect(200);
    assert_eq!(season["stale"], false);
    let legs = season["legs"].as_array().unwrap();
    assert_eq!(legs.len(), 2);
    assert_eq!((&legs[0]["mark"], &legs[0]["ended_by_entry"]), (&json!(0.6), &json!("spray-1")));
    let reached = at(legs[0]["reached_at"].as_str().unwrap());
    assert!(reached > at("2013-04-29T14:00:00Z") && reached < at("2013-05-01T21:10:00Z"), "{reached}");
    assert_eq!(season["start"]["basis"], "between-counts");
    assert_eq!(season["as_of"], "2013-06-01T12:00:00Z");
    for (field, value) in season["season"].as_object().unwrap() {
        assert_eq!(&season[field], value, "{field} stands at the top and under `season`");
    }

    assert_eq!(
        season["block"],
        json!({"id": "bench", "name": "North Bench", "cultivar": "Gala", "curve": "reference"})
    );
    assert_eq!(season["site"]["time_zone"], "America/New_York");
    assert_eq!(season["farm_id"], "alder");
    assert_eq!(
        (&season["curve"]["status"], &season["curve"]["end_point"]),
        (&json!("constructed"), &json!("unknown"))
    );
    assert_eq!(season["curve"]["covered"], json!([5.0, 30.0]));
    assert_eq!(season["plan"]["sprays"][0]["bound"], "not-before");
    assert!(season["caution"].as_str().unwrap().contains("estimate"));
    let sources: Vec<_> =
        season["sources"].as_array().unwrap().iter().map(|source| &source["kind"]).collect();
    assert_eq!(sources, ["station", "hand", "model-analysis"]);
    assert_eq!(season["sources"][2]["attribution"], "Weather data by Open-Meteo.com");
    assert_eq!(
        house.get("blocks/bench/seasons").await.body["items"][0]["season"],
        format!("/api/v1/{SEASON}")
    );
}

#[tokio::test]
async fn whatever_a_season_rests_on_makes_it_stale() {
    let house = House::planted().await;
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    house.upload("mast", SPRING).await.expect(200);
    house.post(LOG, json!({"entries": counts()})).await.expect(201);
    house.pokes();

    let fresh = async |why: &str| {
        reckon(&house, &[]).await;
        assert_eq!(house.get(SEASON).await.body["stale"], false, "{why}");
        house.pokes();
    };
    let stale = async |why: &str| {
        assert_eq!(house.get(SEASON).await.body["stale"], true, "{why}");
        assert_eq!(house.pokes(), 1, "{why}: the loops are woken");
        assert!(house.get(SEASON).await.body["state"].is_string(), "{why}: the last one is shown still");
    };
    fresh("at first").await;
    house.post(LOG, spray()).await.expect(201);
    stale("a spray").await;
    fresh("a spray").await;
    house.put(&format!("{SEASON}/plan"), json!({"sprays": []})).await.expect(200);
    stale("a plan").await;
    fresh("a plan").await;
    house.patch("blocks/bench", json!({"target_fruit_per_tree": 90})).await.expect(200);
    stale("a target").await;
    fresh("a target").await;
    let typed = json!({"source": "book", "readings": [{"at": "2013-06-03T10:00:00Z", "celsius": 15}]});
    house.post("sites/ridge/readings", typed).await.expect(200);
    stale("a reading").await;
    fresh("a reading").await;
}

#[tokio::test]
async fn time_alone_makes_a_season_stale() {
    let house = House::planted().await;
    house.set_clock("2013-05-02T00:00:00Z");
    house.upload("mast", SPRING).await.expect(200);
    house.post(LOG, json!({"entries": counts()})).await.expect(201);
    reckon(&house, &[]).await;
    let season = house.get(SEASON).await.expect(200);
    assert_eq!(season["stale"], false);
    let again = season["look_again_at"].as_str().unwrap().to_owned();
    house.set_clock(&again);
    assert_eq!(house.get(SEASON).await.body["stale"], true);
}
