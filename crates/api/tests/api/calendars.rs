//! A farm's calendar at its secret address.

use axum::body::Body;
use axum::http::{Method, Request, header};
use serde_json::{Value, json};
use store::{Role, Scope};

use crate::house::{Answer, House, SPRING, counts, plan, spray};
use crate::season::reckon;
use crate::story;

const LOG: &str = "blocks/bench/seasons/2013/log";

/// The farm's block after its second count, reckoned, and its calendar's address.
async fn house() -> (House, String, String) {
    let house = House::planted().await;
    house.put("blocks/bench/seasons/2013/plan", plan()).await.expect(201);
    house.upload("mast", SPRING).await.expect(200);
    house.set_clock("2013-05-02T12:00:00Z");
    house.post(LOG, json!({"entries": counts()})).await.expect(201);
    reckon(&house, &[]).await;
    let made = house.post("farms/alder/calendars", json!({"name": "Ines' telephone"})).await;
    let id = made.body["id"].as_str().unwrap().to_owned();
    assert_eq!(made.headers[header::LOCATION], format!("/api/v1/calendars/{id}"));
    let path = made.expect(201)["path"].as_str().unwrap().to_owned();
    (house, path, id)
}

/// Asks as such a program does: without signing in.
async fn fetch(house: &House, path: &str, held: Option<&str>) -> Answer {
    let mut request = Request::builder().method(Method::GET).uri(path);
    if let Some(tag) = held {
        request = request.header(header::IF_NONE_MATCH, tag);
    }
    house.send(request.body(Body::empty()).unwrap()).await
}

fn text(answer: &Answer) -> String {
    assert_eq!(answer.status, 200, "{}", answer.body);
    answer.body.as_str().unwrap().replace("\r\n ", "")
}

/// The value of a property of the entry with a UID.
fn value(text: &str, uid: &str, property: &str) -> Option<String> {
    let entry = text.split("BEGIN:VEVENT").find(|entry| entry.contains(&format!("UID:{uid}@")))?;
    let line = entry.lines().find_map(|line| line.strip_prefix(&format!("{property}:")))?;
    Some(line.to_owned())
}

#[tokio::test]
async fn it_is_read_without_signing_in_and_only_where_it_changed() {
    let (house, path, id) = house().await;
    assert!(path.starts_with("/calendar/bc_") && path.ends_with(".ics"), "{path}");
    let first = fetch(&house, &path, None).await;
    assert_eq!(first.headers[header::CONTENT_TYPE], "text/calendar; charset=utf-8");
    assert_eq!(first.headers[header::CACHE_CONTROL], "private, no-cache");
    assert_eq!(first.headers[header::REFERRER_POLICY], "no-referrer");
    let tag = first.headers[header::ETAG].to_str().unwrap().to_owned();
    let text = text(&first);
    assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"), "{text}");
    assert!(text.contains("X-WR-CALNAME:Alder Ridge Orchards: blossom thinning"), "{text}");
    assert!(text.contains("REFRESH-INTERVAL;VALUE=DURATION:PT1H"), "{text}");
    assert_eq!(value(&text, "bench.2013.start", "SUMMARY").unwrap(), "North Bench: bloom clock started");

    house.set_clock("2013-05-02T12:30:00Z");
    let same = fetch(&house, &path, Some(&tag)).await;
    assert_eq!(same.status, 304, "the moment of asking changes nothing");
    let listed = house.get("farms/alder/calendars").await.expect(200);
    assert_eq!(listed["items"][0]["last_read_at"], "2013-05-02T12:00:00Z", "to the hour");
    assert!(!listed.to_string().contains("bc_"), "{listed}");

    house.delete(&format!("calendars/{id}")).await.expect(204);
    fetch(&house, &path, Some(&tag)).await.problem(404);
    house.delete(&format!("calendars/{id}")).await.problem(404);
    assert_eq!(house.get("farms/alder/calendars").await.expect(200)["items"], json!([]));
}

#[tokio::test]
async fn one_thing_keeps_its_entry_while_its_sequence_rises() {
    let (house, path, _) = house().await;
    let uid = "bench.2013.mark.start";
    let before = text(&fetch(&house, &path, None).await);
    let sequence = |text: &str| value(text, uid, "SEQUENCE").unwrap().parse::<u32>().unwrap();
    // A correction within the same second: other counts, another start and mark.
    let entry =
        json!({"kind": "open-count", "at": "2013-04-29T10:00:00-04:00", "open_per_tree": [300, 310, 290]});
    let correction = json!({"id": "fix-1", "kind": "correction", "at": "2013-05-02T11:00:00Z", "of": "count-2", "entry": entry});
    house.post(LOG, correction).await.expect(201);
    assert_eq!(reckon(&house, &[]).await, 1);
    let after = text(&fetch(&house, &path, None).await);
    assert_ne!(value(&after, uid, "DTSTART"), value(&before, uid, "DTSTART"));
    assert!(sequence(&after) > sequence(&before));
    for text in [&before, &after] {
        assert_eq!(text.matches("BEGIN:VEVENT").count(), text.matches("DTSTAMP:20130502T120000Z").count());
    }

    // The spray ends the leg; what nobody waits for any more is told as such.
    house.set_clock("2013-05-03T12:00:00Z");
    house.post(LOG, spray()).await.expect(201);
    reckon(&house, &[]).await;
    let sprayed = text(&fetch(&house, &path, None).await);
    assert_eq!(value(&sprayed, uid, "SUMMARY").unwrap(), "North Bench: mark of spray 1 reached");
    let gone = json!({"id": "gone", "kind": "bloom-end", "at": "2013-05-03T11:00:00Z"});
    house.post(LOG, gone).await.expect(201);
    reckon(&house, &[]).await;
    assert_eq!(value(&text(&fetch(&house, &path, None).await), uid, "UID"), None, "the season is over");
}

#[tokio::test]
async fn another_name_is_shown_at_once_and_as_a_change() {
    let (house, path, _) = house().await;
    let uid = "bench.2013.start";
    let before = text(&fetch(&house, &path, None).await);
    house.patch("blocks/bench", json!({"name": "South, bench"})).await.expect(200);
    let after = text(&fetch(&house, &path, None).await);
    assert_eq!(value(&after, uid, "SUMMARY").unwrap(), r"South\, bench: bloom clock started");
    let sequence = |text: &str| value(text, uid, "SEQUENCE").unwrap().parse::<u32>().unwrap();
    assert!(sequence(&after) > sequence(&before));
}

#[tokio::test]
async fn nothing_stands_at_other_addresses() {
    let (house, path, _) = house().await;
    let other = format!("/calendar/bc_{}.ics", "0".repeat(64));
    let without_ending = path.trim_end_matches(".ics").to_owned();
    let mut said = Vec::new();
    for path in ["/calendar/x", "/calendar/.ics", "/calendar/bench.ics", &other, &without_ending] {
        let answer = fetch(&house, path, None).await;
        answer.problem(404);
        said.push(answer.body["detail"].clone());
    }
    assert!(said.iter().all(|one| *one == said[0]), "{said:?}");
    // No other method does anything there.
    for method in [Method::POST, Method::PUT, Method::DELETE] {
        let request = Request::builder().method(method).uri(path.as_str()).body(Body::empty()).unwrap();
        house.send(request).await.problem(405);
    }
    // Nor where the farm is closed.
    text(&fetch(&house, &path, None).await);
    let closing = house.request(Method::POST, "farms/alder/closing", None, Body::empty());
    house.send(closing).await.expect(200);
    fetch(&house, &path, None).await.problem(404);
}

#[tokio::test]
async fn a_program_that_comes_too_often_has_to_wait() {
    let house = House::limited(3).await;
    house.post("farms", json!({"id": "birch", "name": "Birch"})).await.expect(201);
    let made = house.post("farms/birch/calendars", json!({"name": "Wall"})).await.expect(201);
    let path = made["path"].as_str().unwrap();
    for _ in 0..3 {
        let empty = text(&fetch(&house, path, None).await);
        assert!(empty.contains("VCALENDAR") && !empty.contains("VEVENT"), "{empty}");
    }
    let refused = fetch(&house, path, None).await;
    refused.problem(429);
    assert!(refused.headers.contains_key(header::RETRY_AFTER));
}

/// Only a farm's advisors learn which addresses there are, and make and revoke them.
#[tokio::test]
async fn it_takes_an_advisor() {
    let (house, _, id) = house().await;
    story::member(&house, "greta", "alder", Role::Grower).await;
    story::member(&house, "ada", "alder", Role::Advisor).await;
    let (_, grower) = story::token_of(&house, "greta", Scope::Write).await;
    let (_, reader) = story::token_of(&house, "ada", Scope::Read).await;
    let (_, advisor) = story::token_of(&house, "ada", Scope::Write).await;
    let (list, one) = ("farms/alder/calendars".to_owned(), format!("calendars/{id}"));
    let ask = async |token: &str, method: Method, path: &str| {
        let body = if method == Method::POST { json!({"name": "Wall"}).to_string() } else { String::new() };
        let mut request = house.request(method, path, Some("application/json"), body);
        request.headers_mut().insert(header::AUTHORIZATION, format!("Bearer {token}").parse().unwrap());
        house.send(request).await
    };
    for path in [&list, &one] {
        ask(&grower, Method::GET, path).await.problem(403);
        ask(&reader, Method::GET, path).await.expect(200);
    }
    for token in [&grower, &reader] {
        ask(token, Method::POST, &list).await.problem(403);
        ask(token, Method::DELETE, &one).await.problem(403);
    }
    let made = ask(&advisor, Method::POST, &list).await.expect(201);
    let shown = house.get(&format!("calendars/{}", made["id"].as_str().unwrap())).await.expect(200);
    assert_eq!((&shown["made_by"], &shown["last_read_at"]), (&json!("ada"), &Value::Null));
    ask(&advisor, Method::DELETE, &one).await.expect(204);
}
