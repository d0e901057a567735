//! Files uploaded and readings typed in.

use axum::body::{Body, Bytes};
use axum::http::Method;
use model::time::Instant;
use serde_json::{Value, json};

use crate::house::{ALL_ROWS, House, NEWARK_ROWS, SPRING, at, mapping, short_file};

async fn stored(house: &House) -> usize {
    let readings = house.store.readings("ridge", Instant::MIN, Instant::MAX).await.unwrap();
    readings.iter().map(|(_, readings)| readings.len()).sum()
}

#[tokio::test]
async fn a_file_goes_in_once_and_again_changes_nothing() {
    let house = House::furnished().await;
    let first = house.upload("mast", SPRING).await.expect(200);
    assert_eq!(first["rows"], ALL_ROWS);
    assert_eq!(first["stored"], NEWARK_ROWS);
    assert_eq!(first["filtered"], ALL_ROWS - NEWARK_ROWS);
    assert_eq!(first["refused"], 0);
    assert_eq!(first["first"], "2013-03-31T00:00:00Z");
    assert_eq!(house.pokes(), 1);
    let version = house.store.site("ridge").await.unwrap().unwrap().version;

    let again = house.upload("mast", SPRING).await.expect(200);
    assert_eq!(
        (&again["stored"], &again["unchanged"], &again["corrected"]),
        (&json!(0), &json!(NEWARK_ROWS), &json!(0))
    );
    assert_eq!(house.pokes(), 0, "nothing changed, so nobody is woken");
    assert_eq!(house.store.site("ridge").await.unwrap().unwrap().version, version);
    assert_eq!(stored(&house).await as u64, NEWARK_ROWS);
}

#[tokio::test]
async fn a_file_in_small_pieces_is_the_same_file() {
    let house = House::furnished().await;
    let pieces: Vec<Result<Bytes, std::io::Error>> =
        SPRING.as_bytes().chunks(37).map(|piece| Ok(Bytes::from_static(piece))).collect();
    let answer = house.upload("mast", Body::from_stream(futures::stream::iter(pieces))).await.expect(200);
    assert_eq!(answer["stored"], NEWARK_ROWS);
    assert_eq!(house.upload("mast", SPRING).await.body["unchanged"], NEWARK_ROWS);
}

#[tokio::test]
async fn corrections_refusals_and_blanks_are_counted() {
    let house = House::furnished().await;
    house.upload("mast", short_file(&["50", "51", "52"])).await.expect(200);
    let answer = house.upload("mast", short_file(&["50", "51.5", "NA", "warm", "53"])).await.expect(200);
    for (field, count) in
        [("stored", 1), ("unchanged", 1), ("corrected", 1), ("missing", 1), ("refused", 1), ("rows", 5)]
    {
        assert_eq!(answer[field], count, "{field}: {answer}");
    }
    assert_eq!(answer["refused_rows"][0]["line"], 5, "the header is line 1");
    assert!(answer["refused_rows"][0]["reason"].as_str().unwrap().contains("warm"));
    assert_eq!(house.pokes(), 2);
    // The later upload holds.
    let readings = house.get("sites/ridge/readings").await.expect(200);
    assert_eq!(readings["items"][1]["celsius"], (51.5 - 32.0) * 5.0 / 9.0);
}

#[tokio::test]
async fn a_file_that_breaks_off_leaves_nothing() {
    let house = House::furnished().await;
    let (half, _) = SPRING.split_at(SPRING.len() / 2);
    let pieces =
        vec![Ok(Bytes::from_static(half.as_bytes())), Err(std::io::Error::other("the line went dead"))];
    let answer = house.upload("mast", Body::from_stream(futures::stream::iter(pieces))).await;
    answer.problem(400);
    assert_eq!(stored(&house).await, 0);
    assert_eq!(house.pokes(), 0);
}

#[tokio::test]
async fn uploads_go_only_where_they_may() {
    let house = House::furnished().await;
    house.upload("book", SPRING).await.problem(409);
    house.upload("sky", SPRING).await.problem(409);
    house.upload("nobody", SPRING).await.fault(422, "source");
    let post = |path: &'static str, content_type| {
        house.send(house.request(Method::POST, path, content_type, SPRING))
    };
    post("sites/ridge/readings", Some("text/csv")).await.fault(422, "source");
    post("sites/nowhere/readings?source=mast", Some("text/csv")).await.problem(404);
    post("sites/ridge/readings?source=mast", Some("text/html")).await.problem(415);
    post("sites/ridge/readings?source=mast", None).await.problem(415);
    let answer = post("sites/county/readings?source=mast", Some("text/csv")).await;
    answer.problem(409);
    assert!(answer.body["detail"].as_str().unwrap().contains("feeds only"));

    house.post("sites/ridge/sources", json!({"id": "bare", "name": "Bare", "way": "file"})).await.expect(201);
    let answer = house.upload("bare", SPRING).await;
    answer.problem(422);
    assert!(
        answer.body["errors"].to_string().contains("/mapping/where"),
        "two stations in one: {}",
        answer.body
    );
    assert_eq!(stored(&house).await, 0);
}

#[tokio::test]
async fn a_file_of_forecast_is_kept_as_a_forecast() {
    let house = House::furnished().await;
    let mut foretold = mapping();
    foretold["role"] = json!("forecast");
    foretold["issued_at"] = json!("2013-06-03T06:00:00Z");
    house.patch("sites/ridge/sources/mast", json!({"mapping": foretold})).await.expect(200);
    let file = "origin,temp,time_hour\nEWR,60,2013-06-03T18:00:00Z\nEWR,59,2013-06-03T19:00:00Z\n";
    let answer = house.upload("mast", file).await.expect(200);
    assert_eq!(answer["forecast"], json!({"issued_at": "2013-06-03T06:00:00Z", "hours": 2}));
    assert_eq!(stored(&house).await, 0);
    let (source, forecast) = house.store.latest_forecast("ridge").await.unwrap().unwrap();
    assert_eq!((source.as_str(), forecast.hours.len()), ("mast", 2));
    assert_eq!(house.pokes(), 1);

    foretold["issued_at"] = json!("2013-06-04T06:00:00Z");
    house.patch("sites/ridge/sources/mast", json!({"mapping": foretold})).await.expect(200);
    house.upload("mast", file).await.fault(422, "/mapping/issued_at");
}

#[tokio::test]
async fn readings_are_typed_in() {
    let house = House::furnished().await;
    let typed = json!({"source": "book", "readings": [
        {"at": "2013-05-01T08:00:00-04:00", "celsius": 11.5},
        {"at": "2013-05-01T09:00:00-04:00", "value": 54.5, "unit": "fahrenheit", "minutes": 60},
    ]});
    let answer = house.post("sites/ridge/readings", typed.clone()).await.expect(200);
    assert_eq!(answer["stored"], 2);
    assert_eq!(house.post("sites/ridge/readings", typed).await.expect(200)["unchanged"], 2);
    let listed = house.get("sites/ridge/readings").await.expect(200);
    assert_eq!(
        listed["items"],
        json!([
            {"at": "2013-05-01T12:00:00Z", "source": "book", "celsius": 11.5, "minutes": null, "flag": "not-evaluated", "found": []},
            {"at": "2013-05-01T13:00:00Z", "source": "book", "celsius": 12.5, "minutes": 60.0, "flag": "not-evaluated", "found": []},
        ])
    );
    let to_feed = json!({"source": "sky", "readings": [{"at": "2013-05-01T08:00:00Z", "celsius": 1}]});
    house.post("sites/ridge/readings", to_feed).await.problem(409);
}

#[tokio::test]
async fn one_wrong_reading_typed_in_keeps_all_out() {
    let house = House::furnished().await;
    let good = json!({"at": "2013-05-01T08:00:00-04:00", "celsius": 11.5});
    let cases = [
        (json!({"at": "2013-06-03T12:10:01Z", "celsius": 11.5}), "at", "10 minutes ahead"),
        (json!({"at": "yesterday", "celsius": 11.5}), "at", "yesterday"),
        (json!({"celsius": 11.5}), "at", "missing"),
        (json!({"at": "2013-05-01T08:00:00Z", "celsius": 70}), "celsius", "-60 to 60"),
        (json!({"at": "2013-05-01T08:00:00Z"}), "celsius", "missing"),
        (json!({"at": "2013-05-01T08:00:00Z", "value": 15, "unit": "kelvin"}), "value", "-258.1"),
        (json!({"at": "2013-05-01T08:00:00Z", "value": 15}), "unit", "missing"),
        (json!({"at": "2013-05-01T08:00:00Z", "value": 15, "unit": "reaumur"}), "unit", "reaumur"),
        (json!({"at": "2013-05-01T08:00:00Z", "celsius": 15, "unit": "celsius"}), "unit", "value"),
        (json!({"at": "2013-05-01T08:00:00Z", "celsius": 15, "minutes": 0}), "minutes", "1 to 1440"),
        (json!({"at": "2013-05-01T08:00:00Z", "celsius": 15, "humidity": 50}), "humidity", "not a field"),
    ];
    for (wrong, field, word) in cases {
        let body = json!({"source": "book", "readings": [good, wrong]});
        let said = house.post("sites/ridge/readings", body).await.fault(422, &format!("/readings/1/{field}"));
        assert!(said.contains(word), "{wrong}: {said}");
    }
    for (body, place) in [
        (json!({"readings": [good]}), "/source"),
        (json!({"source": "nobody", "readings": [good]}), "/source"),
        (json!({"source": "book"}), "/readings"),
        (json!({"source": "book", "readings": []}), "/readings"),
    ] {
        house.post("sites/ridge/readings", body).await.fault(422, place);
    }
    assert_eq!(stored(&house).await, 0);
    let at_the_edge = json!({"source": "book", "readings": [{"at": "2013-06-03T12:10:00Z", "celsius": 15}]});
    house.post("sites/ridge/readings", at_the_edge).await.expect(200);
}

#[tokio::test]
async fn readings_are_listed_page_by_page() {
    let house = House::furnished().await;
    house.upload("mast", SPRING).await.expect(200);
    let typed = json!({"source": "book", "readings": [{"at": "2013-05-01T02:00:00Z", "celsius": 15}]});
    house.post("sites/ridge/readings", typed).await.expect(200);

    let range = "from=2013-05-01T00:00:00Z&to=2013-05-01T04:00:00Z";
    let whole = house.get(&format!("sites/ridge/readings?{range}")).await.expect(200);
    let whole = whole["items"].as_array().unwrap();
    assert_eq!(whole.len(), 6, "five by the hour and one typed in");
    let mut collected: Vec<Value> = Vec::new();
    let mut after = String::new();
    for _ in 0..whole.len() {
        let page = house.get(&format!("sites/ridge/readings?{range}&limit=1{after}")).await.expect(200);
        collected.extend(page["items"].as_array().unwrap().clone());
        match page["next"].as_str() {
            Some(next) => after = format!("&after={next}"),
            None => break,
        }
    }
    assert_eq!(&collected, whole);
    assert!(at(whole[0]["at"].as_str().unwrap()) == at("2013-05-01T00:00:00Z"));
    house.get("sites/ridge/readings?after=x").await.fault(422, "after");
    let said = house.get("sites/ridge/readings?from=2013-05-01T00:00:00+02:00").await.fault(422, "from");
    assert!(said.contains("%2B"), "{said}");
}
