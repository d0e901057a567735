//! A season moment by moment.

use axum::body::Body;
use axum::http::{Method, header};
use model::time::Instant;
use serde_json::{Value, json};

use crate::house::{House, SPRING, at, counts, mapping, plan, spray};

const SEASON: &str = "blocks/bench/seasons/2013";
const TIMELINE: &str = "blocks/bench/seasons/2013/timeline";
const COLUMNS: &str =
    "time_utc,time_local,temperature_c,kind,source,flag,rate_per_day,leg,progress,progress_low,progress_high";

async fn sprung() -> House {
    let house = House::planted().await;
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    house.upload("mast", SPRING).await.expect(200);
    house
}

async fn log(house: &House, entries: Value) {
    house.post(&format!("{SEASON}/log"), json!({"entries": entries})).await.expect(201);
}

fn rows(timeline: &Value) -> &Vec<Value> {
    timeline["rows"].as_array().unwrap()
}

fn time(row: &Value) -> Instant {
    at(row["time_utc"].as_str().unwrap())
}

/// `tests/reference/crossings.json`, made by scipy without this program's code:
/// from the start to 0.60 of the style on the real readings.
#[tokio::test]
async fn progress_passes_the_mark_where_the_reference_has_it() {
    let house = sprung().await;
    let reference: Value =
        serde_json::from_str(include_str!("../../../../tests/reference/crossings.json")).unwrap();
    let cases = reference["cases"].as_array().unwrap().iter().filter(|case| {
        case["station"] == "EWR"
            && case["curve"] == "reference"
            && case["kind"] == "instant"
            && case["mark"] == 0.6
    });
    let mut seen = 0;
    for (n, case) in cases.take(4).enumerate() {
        let year = 2013 + n; // a season of its own for each start
        let start = json!({"id": "s", "kind": "bloom-start", "at": case["start"]});
        house.post(&format!("blocks/bench/seasons/{year}/log"), start).await.expect(201);
        let timeline = house.get(&format!("blocks/bench/seasons/{year}/timeline")).await.expect(200);
        let reached = case["reached_at_unix"].as_f64().unwrap();
        for row in rows(&timeline).iter().filter(|row| row["leg"] == 1) {
            let (at, progress) = (time(row).0 as f64, row["progress"].as_f64().unwrap());
            assert_eq!(progress >= 0.6, at >= reached, "{case}: {row}");
            seen += 1;
        }
    }
    assert!(seen > 1_000, "{seen} rows compared");
}

#[tokio::test]
async fn every_reading_from_three_days_before_the_first_entry_is_there() {
    let house = sprung().await;
    log(&house, json!(counts())).await;
    log(&house, json!([spray()])).await;
    let timeline = house.get(TIMELINE).await.expect(200);
    assert_eq!(
        (&timeline["time_zone"], &timeline["rate_unit"]),
        (&json!("America/New_York"), &json!("fraction-per-day"))
    );
    let rows = rows(&timeline);
    let hours = at("2013-06-01T12:00:00Z").since(at("2013-04-25T14:00:00Z")) / 3_600;
    assert_eq!(rows.len() as i64, hours + 1);
    let first = &rows[0];
    assert_eq!(
        (&first["time_utc"], &first["time_local"]),
        (&json!("2013-04-25T14:00:00Z"), &json!("2013-04-25T10:00:00-04:00"))
    );
    assert_eq!((&first["leg"], &first["progress"]), (&Value::Null, &Value::Null));
    for row in rows {
        assert_eq!((&row["kind"], &row["source"]), (&json!("station"), &json!("Mast, 2 m")), "{row}");
        assert_eq!(row["quality"], "observed", "{row}");
    }
    let flags: Vec<&Value> = rows.iter().map(|row| &row["flag"]).collect();
    let (newest, others) = flags.split_last().unwrap();
    assert!(others.iter().all(|flag| **flag == "pass"), "{others:?}");
    assert_eq!(**newest, "not-evaluated", "nothing came after it yet");
    // EWR 2013-05-01T20Z reads 66.92 °F, 19.4 °C: of the line from 15 to 24 °C.
    let warm = rows.iter().find(|row| row["time_utc"] == "2013-05-01T20:00:00Z").unwrap();
    let line =
        SPRING.lines().find(|line| line.starts_with("EWR") && line.contains("2013-05-01T20:00:00Z")).unwrap();
    let celsius = (line.split(',').nth(5).unwrap().parse::<f64>().unwrap() - 32.0) * 5.0 / 9.0;
    assert!((15.0..24.0).contains(&celsius));
    assert_eq!(warm["temperature_c"], celsius);
    let rate = 0.5 + (celsius - 15.0) * 0.5 / 9.0;
    assert!((warm["rate_per_day"].as_f64().unwrap() - rate).abs() < 1e-12);
    let legs: Vec<_> = rows.iter().map(|row| row["leg"].as_u64().unwrap_or(0)).collect();
    let (one, two) = (legs.iter().position(|leg| *leg == 1), legs.iter().position(|leg| *leg == 2));
    assert!(one < two && two.is_some());

    let part =
        house.get(&format!("{TIMELINE}?from=2013-05-01T00:00:00Z&to=2013-05-02T00:00:00Z")).await.expect(200);
    let same: Vec<Value> = rows
        .iter()
        .filter(|row| (at("2013-05-01T00:00:00Z")..=at("2013-05-02T00:00:00Z")).contains(&time(row)))
        .cloned()
        .collect();
    assert_eq!(part["rows"], Value::from(same), "a narrower view, the same figures");
}

#[tokio::test]
async fn csv_has_exactly_the_columns() {
    let house = sprung().await;
    log(&house, json!(counts())).await;
    let csv = house.get(&format!("{TIMELINE}?format=csv")).await;
    assert!(csv.headers[header::CONTENT_TYPE].to_str().unwrap().starts_with("text/csv"));
    let text = csv.body.as_str().unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[0], COLUMNS);
    assert!(lines[1].starts_with("2013-04-25T14:00:00Z,2013-04-25T10:00:00-04:00,"), "{}", lines[1]);
    assert!(lines[1].contains(",station,\"Mast, 2 m\",pass,"), "{}", lines[1]);
    let timeline = house.get(TIMELINE).await.expect(200);
    assert_eq!(lines.len(), rows(&timeline).len() + 1);

    let mut request = house.request(Method::GET, TIMELINE, None, Body::empty());
    request.headers_mut().insert(header::ACCEPT, "text/csv".parse().unwrap());
    assert_eq!(house.send(request).await.body, csv.body);
    house.get(&format!("{TIMELINE}?format=xml")).await.fault(422, "format");
}

#[tokio::test]
async fn what_lies_ahead_is_a_forecast_and_its_source_is_no_formula() {
    let house = sprung().await;
    house.set_clock("2013-05-10T12:00:00Z");
    log(&house, json!(counts())).await;
    // The feed is named `=Sky`.
    let hours =
        (1..=48).map(|hour| model::series::Reading::instant(house.now().plus(hour * 3_600), -2.5)).collect();
    let forecast = model::series::Forecast { issued_at: house.now(), hours };
    house.store.store_fetch("sky", &[], Some(&forecast), house.now()).await.unwrap();
    let timeline = house.get(TIMELINE).await.expect(200);
    let (past, ahead): (Vec<&Value>, Vec<&Value>) =
        rows(&timeline).iter().partition(|row| time(row) <= house.now());
    assert_eq!(ahead.len(), 48);
    assert!(
        ahead
            .iter()
            .all(|row| row["kind"] == "forecast" && row["quality"] == "forecast" && row["source"] == "=Sky")
    );
    assert!(past.iter().all(|row| row["kind"] == "station"));
    let csv = house.get(&format!("{TIMELINE}?format=csv")).await.expect(200);
    let last = csv.as_str().unwrap().lines().last().unwrap().to_owned();
    assert!(last.contains(",-2.5,forecast,'=Sky,"), "{last}");
}

#[tokio::test]
async fn a_gap_is_unknown_and_the_reading_after_it_is_seen() {
    let house = House::planted().await;
    let mut hours = mapping();
    hours["unit"] = json!("celsius");
    hours["temperature_column"] = json!("t");
    house.patch("sites/ridge/sources/mast", json!({"mapping": hours})).await.expect(200);
    let file = "origin,t,time_hour\nEWR,10,2013-05-01T00:00:00Z\nEWR,11,2013-05-01T01:00:00Z\nEWR,12,2013-05-01T08:00:00Z\n";
    house.upload("mast", file).await.expect(200);
    log(&house, json!([{"id": "s", "kind": "bloom-start", "at": "2013-05-01T00:00:00Z"}])).await;
    let timeline = house.get(TIMELINE).await.expect(200);
    let after = rows(&timeline).last().unwrap();
    assert_eq!((&after["time_utc"], &after["quality"]), (&json!("2013-05-01T08:00:00Z"), &json!("unknown")));
    assert_eq!((&after["temperature_c"], &after["kind"]), (&json!(12.0), &json!("station")));
    assert!(after["progress_low"].as_f64() < after["progress_high"].as_f64());
}

#[tokio::test]
async fn without_a_season_there_is_no_timeline() {
    let house = House::planted().await;
    house.get(TIMELINE).await.problem(404);
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    assert_eq!(house.get(TIMELINE).await.expect(200)["rows"], json!([]));
}
