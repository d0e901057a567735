//! Hooks: set up by advisors, with a secret that is shown once.

use axum::http::{Method, header};
use serde_json::{Value, json};
use store::{Role, Scope};

use crate::house::{House, NOW};
use crate::story::{member, token_of};

fn desk() -> Value {
    json!({"id": "desk", "name": "Packing shed", "url": "https://calls.larkmoor.example/", "kinds": ["due"]})
}

async fn house_with_hook() -> (House, String) {
    let house = House::furnished().await;
    let made = house.post("farms/alder/hooks", desk()).await.expect(201);
    let secret = made["secret"].as_str().unwrap().to_owned();
    (house, secret)
}

#[tokio::test]
async fn a_secret_is_shown_once() {
    let house = House::furnished().await;
    let ask = || {
        let mut request =
            house.request(Method::POST, "farms/alder/hooks", Some("application/json"), desk().to_string());
        request.headers_mut().insert("Idempotency-Key", "hook-1".parse().unwrap());
        request
    };
    let made = house.send(ask()).await;
    assert_eq!(made.headers[header::LOCATION], "/api/v1/hooks/desk");
    let made = made.expect(201);
    let secret = made["secret"].as_str().unwrap().to_owned();
    assert!(secret.starts_with("whsec_"));
    assert_eq!(house.send(ask()).await.expect(201)["secret"], Value::Null, "not even to the same request");
    for path in ["hooks/desk", "farms/alder/hooks", "farms/alder/audit", "farms/alder/export", "changes"] {
        let shown = house.get(path).await.expect(200).to_string();
        assert!(!shown.contains(&secret), "{path}");
    }
    let stored = house.store.hook("desk").await.unwrap().unwrap();
    assert_eq!(stored.secrets[0].secret, secret);
    let shown = house.get("hooks/desk").await.expect(200);
    assert_eq!(
        (&shown["on"], &shown["kinds"], &shown["off_because"]),
        (&json!(true), &json!(["due"]), &Value::Null)
    );
    assert_eq!(shown["secrets"], json!([{"made_at": NOW, "until": null}]));
}

#[tokio::test]
async fn a_new_secret_lets_the_old_one_sign_for_a_day() {
    let (house, first) = house_with_hook().await;
    let rotated = house.post("hooks/desk/secret", json!({})).await.expect(200);
    assert_ne!(rotated["secret"], first.as_str());
    assert_eq!(rotated["secrets"][0]["until"], "2013-06-04T12:00:00Z");
    assert_eq!(rotated["secrets"][1]["until"], Value::Null);
    for _ in 0..3 {
        house.post("hooks/desk/secret", json!({})).await.expect(200);
    }
    house.post("hooks/desk/secret", json!({})).await.problem(409);
    house.set_clock("2013-06-04T12:00:00Z");
    let rotated = house.post("hooks/desk/secret", json!({})).await.expect(200);
    assert_eq!(rotated["secrets"].as_array().unwrap().len(), 2, "those that ended are gone");
}

#[tokio::test]
async fn hooks_are_changed_switched_off_and_removed() {
    let (house, _) = house_with_hook().await;
    let changed = house.patch("hooks/desk", json!({"name": "Desk", "kinds": null})).await.expect(200);
    assert_eq!((&changed["name"], &changed["kinds"]), (&json!("Desk"), &Value::Null));
    assert_eq!(house.get("hooks/desk").await.expect(200), changed);
    let off = house.patch("hooks/desk", json!({"on": false})).await.expect(200);
    assert_eq!((&off["on"], &off["off_at"]), (&json!(false), &json!(NOW)));
    assert_eq!(off["off_because"], "switched off by hand");
    house.post("hooks/desk/test", json!({})).await.problem(409);
    let on = house.patch("hooks/desk", json!({"on": true})).await.expect(200);
    assert_eq!((&on["on"], &on["off_at"], &on["off_because"]), (&json!(true), &Value::Null, &Value::Null));
    // Another's change is not written over.
    let mut request =
        house.request(Method::PATCH, "hooks/desk", Some("application/json"), r#"{"name": "Shed"}"#);
    request.headers_mut().insert(header::IF_MATCH, "\"other\"".parse().unwrap());
    house.send(request).await.problem(412);
    assert_eq!(house.delete("hooks/desk").await.status, 204);
    house.get("hooks/desk").await.problem(404);
    assert_eq!(house.get("farms/alder/hooks").await.expect(200)["items"], json!([]));
}

#[tokio::test]
async fn a_test_waits_and_is_replayed() {
    let (house, _) = house_with_hook().await;
    house.pokes();
    let made = house.post("hooks/desk/test", json!({})).await;
    let place = made.headers[header::LOCATION].to_str().unwrap().replace("/api/v1/", "");
    let made = made.expect(201);
    assert_eq!(house.pokes(), 1, "it goes at once");
    assert_eq!(
        (&made["type"], &made["state"], &made["alert_id"]),
        (&json!("test"), &json!("waiting"), &Value::Null)
    );
    assert_eq!(house.get(&place).await.expect(200), made);
    house.post("hooks/desk/test", json!({})).await.expect(201);
    let page = house.get("hooks/desk/deliveries?limit=1").await.expect(200);
    let next = page["next"].as_str().unwrap();
    let last = house.get(&format!("hooks/desk/deliveries?limit=1&after={next}")).await.expect(200);
    assert_eq!((&last["items"][0]["id"], &last["next"]), (&made["id"], &Value::Null), "the latest first");

    let now = house.now();
    let leased = house.store.lease_calls(now, now.plus(60), 9).await.unwrap().remove(0);
    let replay = format!("hook-deliveries/{}/replay", leased.call.id);
    house.post(&replay, json!({})).await.problem(409);
    let failed = store::CallEnd::Failed { status: Some(500), error: "broken".into() };
    assert!(house.store.end_call(&leased.call.id, leased.token, &failed, now).await.unwrap());
    let shown = house.get(&format!("hook-deliveries/{}", leased.call.id)).await.expect(200);
    assert_eq!((&shown["state"], &shown["last_status"]), (&json!("failed"), &json!(500)));
    let replayed = house.post(&replay, json!({})).await.expect(200);
    assert_eq!((&replayed["state"], &replayed["replayed_at"]), (&json!("waiting"), &json!(NOW)));
}

#[tokio::test]
async fn only_advisors_see_where_alerts_go() {
    let (house, _) = house_with_hook().await;
    house.store.add_test_call("call-1", "desk", house.now()).await.unwrap();
    let reads = ["farms/alder/hooks", "hooks/desk", "hooks/desk/deliveries", "hook-deliveries/call-1"];
    for (name, role, status) in
        [("ada", Role::Advisor, 200), ("gus", Role::Grower, 403), ("con", Role::Consultant, 403)]
    {
        member(&house, name, "alder", role).await;
        let (_, secret) = token_of(&house, name, Scope::Write).await;
        for path in reads {
            let mut request = house.request(Method::GET, path, None, "");
            request.headers_mut().insert(header::AUTHORIZATION, format!("Bearer {secret}").parse().unwrap());
            assert_eq!(house.send(request).await.status.as_u16(), status, "{name} {path}");
        }
        if status == 403 {
            let writes = [
                ("farms/alder/hooks", desk()),
                ("hooks/desk/secret", json!({})),
                ("hooks/desk/test", json!({})),
                ("hook-deliveries/call-1/replay", json!({})),
            ];
            for (path, body) in writes {
                let mut request =
                    house.request(Method::POST, path, Some("application/json"), body.to_string());
                let bearer = format!("Bearer {secret}").parse().unwrap();
                request.headers_mut().insert(header::AUTHORIZATION, bearer);
                house.send(request).await.problem(403);
            }
        }
    }
}

#[tokio::test]
async fn a_farm_has_only_so_many() {
    let house = House::furnished().await;
    for n in 0..20 {
        let hook = json!({"name": format!("Desk {n}"), "url": "https://calls.example/"});
        house.post("farms/alder/hooks", hook).await.expect(201);
    }
    house.post("farms/alder/hooks", desk()).await.problem(409);
}
