//! What holds for every operation of its kind: tags, conditions, repeats, limits.

use axum::body::Body;
use axum::http::{HeaderValue, Method, StatusCode, header};
use serde_json::{Value, json};

use crate::house::{House, NOW, plan};
use crate::story::{self, play, request, run_by_ola};

const KEY: &str = "idempotency-key";

/// Every operation that appends does what comes twice once. A new one is asked
/// here as the story asks it.
#[tokio::test]
async fn what_comes_twice_is_done_once() {
    let house = House::new().await;
    let secret = run_by_ola(&house).await;
    let (token, _) = story::token_of(&house, "ola", store::Scope::Read).await;
    let mut asked = Vec::new();
    for step in story::steps(&token) {
        let (method, _) = story::place(step.operation);
        match step.operation {
            "list-people" => story::member(&house, "greta", "larkmoor", store::Role::Grower).await,
            "list-alerts" => {
                let alert = crate::alerts::alert("alert-1", "started", house.now());
                crate::season::reckon(&house, &[alert]).await;
            }
            "list-hook-deliveries" => story::prepare(&house, step.operation).await,
            _ => {}
        }
        if method != "POST" {
            house.send(request(&step, &secret)).await;
            continue;
        }
        let with_key = |body: Option<Body>, key: &str| {
            let mut request = request(&step, &secret);
            request.headers_mut().insert(KEY, HeaderValue::from_str(key).unwrap());
            if let Some(body) = body {
                request.headers_mut().insert(header::CONTENT_TYPE, "application/json".parse().unwrap());
                *request.body_mut() = body;
            }
            request
        };
        let key = format!("key-of-{}", step.operation);
        let first = house.send(with_key(None, &key)).await;
        assert!(first.status.is_success(), "{}: {}", step.operation, first.body);
        let before = house.store.audit(None, store::AuditPart::After(0), 1_000).await.unwrap().len();
        let again = house.send(with_key(None, &key)).await;
        assert_eq!(again.status, first.status, "{}", step.operation);
        assert_eq!(again.headers.get(header::LOCATION), first.headers.get(header::LOCATION));
        let mut expected = first.body.clone();
        for secret in ["secret", "path"] {
            if expected.get(secret).is_some() {
                expected[secret] = Value::Null;
            }
        }
        assert_eq!(again.body, expected, "{}", step.operation);
        let other = house.send(with_key(Some(Body::from("{\"other\": 1}")), &key)).await;
        other.problem(422);
        assert_eq!(other.body["type"], "urn:bloomtide:problem:key-used", "{}", step.operation);
        assert_eq!(
            house.store.audit(None, store::AuditPart::After(0), 1_000).await.unwrap().len(),
            before,
            "{}",
            step.operation
        );
        asked.push(step.operation);
    }
    let posts = api::operations().into_iter().filter(|(method, ..)| method == "POST").count();
    assert_eq!(asked.len(), posts, "{asked:?}");
}

#[tokio::test]
async fn a_key_is_kept_ninety_days_and_only_for_what_was_done() {
    let house = House::new().await;
    let keyed = |key: &str, body: &'static str| {
        let mut request = house.request(Method::POST, "farms", Some("application/json"), body);
        request.headers_mut().insert(KEY, HeaderValue::from_str(key).unwrap());
        request
    };
    house.send(keyed("k", "{}")).await.fault(422, "/name");
    let made = house.send(keyed("k", r#"{"name": "Late"}"#)).await.expect(201);
    house.set_clock("2013-09-01T11:59:59Z");
    assert_eq!(house.send(keyed("k", r#"{"name": "Late"}"#)).await.expect(201), made);
    house.set_clock("2013-09-01T12:00:01Z");
    assert_ne!(house.send(keyed("k", r#"{"name": "Late"}"#)).await.expect(201)["id"], made["id"]);
    house.send(keyed(&"k".repeat(256), "{}")).await.problem(400);
    house.send(keyed("", "{}")).await.problem(400);
}

/// The ids of what was done before the server went away come again.
#[tokio::test]
async fn a_request_whose_server_went_away_does_nothing_twice() {
    let house = House::planted().await;
    let body = r#"{"kind": "note", "at": "2013-06-03T12:00:00Z", "text": "mown"}"#;
    let ask = || {
        let path = "blocks/bench/seasons/2013/log";
        let mut request = house.request(Method::POST, path, Some("application/json"), body);
        request.headers_mut().insert(KEY, HeaderValue::from_static("k"));
        request
    };
    let first = house.send(ask()).await.expect(201);
    // As if the answer had never been written down.
    let held = house.store.credential_count().await.unwrap();
    assert_eq!(held, 1);
    house.forget_answer_body("k").await;
    let early = house.send(ask()).await;
    early.problem(409);
    assert!(early.headers.contains_key(header::RETRY_AFTER));
    house.set_clock("2013-06-03T12:05:00Z");
    let second = house.send(ask()).await.expect(200);
    assert_eq!((&second["new"], &second["entries"]), (&json!(0), &first["entries"]));
}

/// Whoever has what is read is told so, and nothing is changed unseen.
#[tokio::test]
async fn tags_say_what_is_held() {
    let house = House::new().await;
    let mut tags = Vec::new();
    let mut reads = Vec::new();
    play(&house, |step, answer| {
        if story::place(step.operation).0 == "GET" {
            let tag = answer.headers[header::ETAG].to_str().unwrap().to_owned();
            assert!(tag.starts_with('"') && tag.ends_with('"'), "{}: {tag}", step.operation);
            assert_eq!(answer.headers[header::CACHE_CONTROL], "private, no-cache");
            reads.push(step.operation);
            tags.push(tag);
        }
    })
    .await;
    assert!(reads.len() > 20);

    let farm = house.get("farms/larkmoor").await;
    let tag = farm.headers[header::ETAG].clone();
    let ask = |name, value: &HeaderValue| {
        let mut request = house.request(Method::GET, "farms/larkmoor", None, Body::empty());
        request.headers_mut().insert(name, value.clone());
        request
    };
    let held = house.send(ask(header::IF_NONE_MATCH, &tag)).await;
    assert_eq!((held.status, &held.body), (StatusCode::NOT_MODIFIED, &json!("")));
    assert_eq!(held.headers[header::ETAG], tag);
    house.send(ask(header::IF_NONE_MATCH, &HeaderValue::from_static("\"x\""))).await.expect(200);

    let change = |condition: Option<&HeaderValue>, name: &str| {
        let body = json!({"name": name}).to_string();
        let mut request = house.request(Method::PATCH, "farms/larkmoor", Some("application/json"), body);
        request.headers_mut().remove(header::IF_MATCH);
        if let Some(tag) = condition {
            request.headers_mut().insert(header::IF_MATCH, tag.clone());
        }
        request
    };
    let without = house.send(change(None, "Unseen")).await;
    without.problem(428);
    assert!(without.body["detail"].as_str().unwrap().contains(tag.to_str().unwrap()));
    let changed = house.send(change(Some(&tag), "Larkmoor West")).await;
    let new_tag = changed.headers[header::ETAG].clone();
    assert_ne!(new_tag, tag);
    changed.expect(200);
    assert_eq!(house.get("farms/larkmoor").await.headers[header::ETAG], new_tag);
    house.send(change(Some(&tag), "Late")).await.problem(412);
    assert_eq!(house.get("farms/larkmoor").await.body["name"], "Larkmoor West");
}

/// Every change asks for a condition, whatever it changes.
#[tokio::test]
async fn no_change_goes_without_a_condition() {
    let house = House::new().await;
    let secret = run_by_ola(&house).await;
    let (token, _) = story::token_of(&house, "ola", store::Scope::Read).await;
    let mut changes = 0;
    for step in story::steps(&token) {
        let (method, _) = story::place(step.operation);
        story::prepare(&house, step.operation).await;
        if ["PUT", "PATCH", "DELETE"].contains(&method.as_str()) && step.operation != "set-plan" {
            let mut bare = step.clone();
            bare.parameters.remove("If-Match");
            house.send(request(&bare, &secret)).await.problem(428);
            bare.parameters.insert("If-Match".into(), json!("\"other\""));
            house.send(request(&bare, &secret)).await.problem(412);
            changes += 1;
        }
        house.send(request(&step, &secret)).await;
    }
    assert!(changes >= 7, "{changes}");
    // The first plan has nothing to match; the second one has.
    let mut second = house.request(
        Method::PUT,
        "blocks/bench/seasons/2013/plan",
        Some("application/json"),
        plan().to_string(),
    );
    second.headers_mut().remove(header::IF_MATCH);
    house.send(second).await.problem(428);
}

#[tokio::test]
async fn a_token_has_so_many_requests_a_minute() {
    let house = House::limited(3).await;
    for left in ["2", "1", "0"] {
        let answer = house.get("farms").await;
        assert_eq!(answer.headers["ratelimit-policy"], "\"token\";q=3;w=60");
        assert_eq!(answer.headers["ratelimit"].to_str().unwrap(), format!("\"token\";r={left};t=60"));
        answer.expect(200);
    }
    let over = house.get("farms").await;
    over.problem(429);
    assert_eq!(over.headers[header::RETRY_AFTER], "60");
    house.set_clock("2013-06-03T12:01:00Z");
    house.get("farms").await.expect(200);
    house.set_clock(NOW);
}

/// A copy that is kept ends with the write that makes it old, and on another
/// instance within a second; the clock of these tests stands still.
#[tokio::test]
async fn no_copy_outlives_what_it_was_made_from() {
    let house = House::planted().await;
    house.put("blocks/bench/seasons/2013/plan", plan()).await.expect(201);
    let other = house.second().await;
    let season = "blocks/bench/seasons/2013";
    let secret = run_by_ola(&house).await;
    let as_ola = |path: &str| {
        let mut request = house.request(Method::GET, path, None, Body::empty());
        let bearer = HeaderValue::from_str(&format!("Bearer {secret}")).unwrap();
        request.headers_mut().insert(header::AUTHORIZATION, bearer);
        request
    };
    for _ in 0..3 {
        house.send(as_ola(season)).await.expect(200);
        other.send(as_ola(season)).await.expect(200);
    }
    let before = house.get(season).await.expect(200);
    house.patch("blocks/bench", json!({"name": "South Bench"})).await.expect(200);
    let after = house.get(season).await.expect(200);
    assert_eq!(
        (&before["block"]["name"], &after["block"]["name"]),
        (&json!("North Bench"), &json!("South Bench"))
    );
    let token = house.store.credentials_of("ola").await.unwrap().remove(0);
    house.store.revoke(&token.id, house.now()).await.unwrap();
    house.send(as_ola(season)).await.problem(401);

    // A second passes for the copies, and no other time than that.
    tokio::time::pause();
    tokio::time::advance(std::time::Duration::from_secs(1)).await;
    tokio::time::resume();
    other.send(as_ola(season)).await.problem(401);
    assert_eq!(other.get(season).await.body["block"]["name"], "South Bench");
}
