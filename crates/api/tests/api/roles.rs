//! Who may do what: every route, for people of this farm, of another and of
//! none.

use axum::body::Body;
use axum::http::{Method, header};
use serde_json::{Value, json};
use store::{Role, Scope};

use crate::house::{Answer, House, NOW, at, bench, counts, plan};
use crate::story::{member, token_of};

/// A person with a role on a farm, and the secret of a token of theirs.
async fn token(house: &House, name: &str, role: Option<(&str, Role)>, scope: Scope) -> String {
    if house.store.person(name).await.unwrap().is_none() {
        // A farm of its own makes a person with no other role.
        let farm = format!("of-{name}");
        house.post("farms", json!({"id": farm, "name": "Elsewhere"})).await.expect(201);
        member(house, name, &farm, Role::Consultant).await;
        let held = house.store.memberships_of(name).await.unwrap().remove(0);
        house.store.end_role(&held).await.unwrap();
    }
    if let Some((farm, role)) = role {
        house.store.set_role(name, farm, None, role, at(NOW)).await.unwrap();
    }
    token_of(house, name, scope).await.1
}

async fn send(house: &House, token: &str, method: &str, path: &str, body: &Value) -> Answer {
    let mut request = house.request(
        method.parse::<Method>().unwrap(),
        path,
        Some("application/json"),
        Body::from(body.to_string()),
    );
    let bearer = format!("Bearer {token}").parse().unwrap();
    request.headers_mut().insert(header::AUTHORIZATION, bearer);
    house.send(request).await
}

async fn house() -> House {
    let house = House::planted().await;
    house.put("blocks/bench/seasons/2013/plan", plan()).await.expect(201);
    house.post("blocks/bench/seasons/2013/log", json!({"entries": counts()})).await.expect(201);
    house
}

const READS: [&str; 23] = [
    "farms/alder",
    "farms/alder/people",
    "farms/alder/confirmations",
    "farms/alder/verdict-table",
    "farms/alder/slot-limits",
    "farms/alder/verification",
    "farms/alder/sprays",
    "sites/ridge",
    "sites/ridge/sources",
    "sites/ridge/sources/mast",
    "sites/ridge/readings",
    "blocks/bench",
    "blocks/bench/seasons",
    "blocks/bench/seasons/2013",
    "blocks/bench/seasons/2013/plan",
    "blocks/bench/seasons/2013/log",
    "blocks/bench/seasons/2013/timeline",
    "blocks/bench/seasons/2013/curves",
    "blocks/bench/seasons/2013/odds",
    "blocks/bench/seasons/2013/slots",
    "blocks/bench/seasons/2013/job",
    "curves",
    "materials",
];

/// Each write that stands on the farm `alder`, whether growers may do it, and
/// what it answers to those who may.
fn writes() -> Vec<(&'static str, &'static str, Value, bool, u16)> {
    let entry = json!({"id": "n-1", "kind": "note", "at": NOW, "text": "mown"});
    let reading = json!({"source": "book", "readings": [{"at": "2013-06-01T06:00:00Z", "celsius": 9.5}]});
    let block = json!({"id": "new", "farm_id": "alder", "site_id": "ridge", "name": "New", "cultivar": "Gala",
        "curve": "reference", "target_fruit_per_tree": 90});
    let site = json!({"id": "dell", "farm_id": "alder", "name": "Dell", "latitude": 40.7, "longitude": -74.1,
        "time_zone": "America/New_York"});
    let confirmed = json!({"id": "c-1", "material": "captan", "jurisdiction": "New Jersey", "by": "Greta",
        "on": "2013-04-22", "registered": true, "bloom_use": true});
    let table =
        json!({"row": [{"id": "else", "verdict": "your-call", "says": "Look.", "basis": "constructed"}]});
    let limits = json!({"limit": [{"what": "wind", "at": 4.5, "source": "our sprayer", "status": "own"}]});
    let sprayers = json!({"sprayers": [{"name": "the old one", "hectares_per_hour": 1.5}]});
    vec![
        ("POST", "farms/alder/confirmations", confirmed, true, 201),
        ("DELETE", "farms/alder/confirmations/c-1", json!(null), true, 200),
        ("PUT", "farms/alder/verdict-table", table, false, 200),
        ("DELETE", "farms/alder/verdict-table", json!(null), false, 200),
        ("PUT", "farms/alder/slot-limits", limits, false, 200),
        ("DELETE", "farms/alder/slot-limits", json!(null), false, 200),
        ("POST", "farms/alder/round", sprayers, true, 200),
        ("POST", "blocks/bench/seasons/2013/log", entry, true, 201),
        ("POST", "sites/ridge/readings", reading, true, 200),
        ("POST", "farms/alder/calendars", json!({"name": "Wall"}), false, 201),
        ("PATCH", "farms/alder", json!({"name": "Alder"}), false, 200),
        ("POST", "farms/alder/invitations", json!({"email": "bo@x.example", "role": "grower"}), false, 201),
        ("PUT", "farms/alder/people/carl", json!({"role": "consultant"}), false, 200),
        ("POST", "sites", site, false, 201),
        ("POST", "sites/ridge/sources", json!({"id": "pen", "name": "Pen", "way": "hand"}), false, 201),
        ("PATCH", "sites/ridge/sources/mast", json!({"mapping": crate::house::mapping()}), false, 200),
        ("POST", "blocks", block, false, 201),
        ("PATCH", "blocks/bench", json!({"name": "Bench"}), false, 200),
        ("PUT", "blocks/bench/seasons/2013/plan", plan(), false, 200),
    ]
}

#[tokio::test]
async fn each_role_may_do_its_own() {
    let house = house().await;
    let grower = token(&house, "greta", Some(("alder", Role::Grower)), Scope::Write).await;
    let consultant = token(&house, "carl", Some(("alder", Role::Consultant)), Scope::Write).await;
    let advisor = token(&house, "ada", Some(("alder", Role::Advisor)), Scope::Write).await;
    let reader = token(&house, "ada", None, Scope::Read).await;
    for path in READS {
        for token in [&grower, &consultant, &advisor, &reader] {
            send(&house, token, "GET", path, &json!(null)).await.expect(200);
        }
    }
    for (method, path, body, growers, status) in writes() {
        for token in [&consultant, &reader] {
            let refused = send(&house, token, method, path, &body).await;
            refused.problem(403);
        }
        if growers {
            send(&house, &grower, method, path, &body).await.expect(status);
        } else {
            let refused = send(&house, &grower, method, path, &body).await;
            refused.problem(403);
            assert!(refused.body["detail"].as_str().unwrap().contains("advisor"), "{}", refused.body);
            send(&house, &advisor, method, path, &body).await.expect(status);
        }
    }
    // What belongs to no one farm.
    let county = json!({"name": "Second county", "latitude": 40.7, "longitude": -74.2, "time_zone": "America/New_York"});
    let curve = json!({"id": "own", "form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [20, 1]],
        "source": "our trees", "status": "measured"});
    send(&house, &advisor, "POST", "farms", &json!({"name": "Mine too"})).await.problem(403);
    send(&house, &advisor, "POST", "sites", &county).await.problem(403);
    send(&house, &grower, "POST", "curves", &curve).await.problem(403);
    send(&house, &reader, "POST", "curves", &curve).await.problem(403);
    send(&house, &advisor, "POST", "curves", &curve).await.expect(201);
}

/// What is another farm's is answered as what is not there, to the word.
#[tokio::test]
async fn another_farm_is_not_there() {
    let house = house().await;
    house.post("farms", json!({"id": "birch", "name": "Birch"})).await.expect(201);
    let stranger = token(&house, "stan", Some(("birch", Role::Advisor)), Scope::Write).await;
    let nobody = token(&house, "nora", None, Scope::Write).await;
    let as_absent =
        |path: &str| path.replace("alder", "absent").replace("ridge", "absent").replace("bench", "absent");
    let told = |answer: &Answer, path: &str| {
        let text = answer.body["detail"].as_str().unwrap_or_default().to_owned();
        let id = path.split('/').nth(1).unwrap_or_default();
        (answer.status, text.replace(id, "?"))
    };
    let owned = READS.iter().filter(|path| path.contains('/')).map(|path| ("GET", *path, json!(null)));
    let written = writes().into_iter().map(|(method, path, body, ..)| (method, path, body));
    for (method, path, body) in owned.chain(written).filter(|(_, path, _)| path.contains('/')) {
        for token in [&stranger, &nobody] {
            let theirs = send(&house, token, method, path, &body).await;
            let absent = as_absent(path);
            let nothing = send(&house, token, method, &absent, &body).await;
            theirs.problem(404);
            assert_eq!(told(&theirs, path), told(&nothing, &absent), "{method} {path}");
        }
    }
    // Lists hold nothing of it, asked for or not.
    for path in [
        "farms",
        "sites",
        "blocks",
        "alerts",
        "sites?farm_id=alder",
        "blocks?farm_id=alder",
        "alerts?block_id=bench",
    ] {
        let listed = send(&house, &stranger, "GET", path, &json!(null)).await.expect(200).to_string();
        for id in ["alder", "ridge", "bench"] {
            assert!(!listed.contains(&format!("\"{id}\"")), "{path}: {listed}");
        }
    }
    // Nor can anything be hung on it.
    let hung = send(&house, &stranger, "POST", "blocks", &json!({"name": "x"})).await;
    hung.problem(422);
    let mut block = bench();
    block["id"] = json!("theirs");
    for (farm, site, place) in
        [("alder", "ridge", "/farm_id"), ("birch", "ridge", "/site_id"), ("birch", "absent", "/site_id")]
    {
        block["farm_id"] = json!(farm);
        block["site_id"] = json!(site);
        send(&house, &stranger, "POST", "blocks", &block).await.fault(422, place);
    }
    block["site_id"] = json!("county");
    send(&house, &stranger, "POST", "blocks", &block).await.expect(201);
}

#[tokio::test]
async fn people_make_and_take_back_tokens_of_their_own() {
    let house = house().await;
    let ada = token(&house, "ada", Some(("alder", Role::Advisor)), Scope::Write).await;
    let greta = token(&house, "greta", Some(("alder", Role::Grower)), Scope::Write).await;
    let me = send(&house, &ada, "GET", "me", &json!(null)).await.expect(200);
    assert_eq!((&me["person"]["id"], &me["operator"]), (&json!("ada"), &json!(false)));
    assert_eq!(me["roles"][0]["role"], "advisor");

    let wanted = json!({"name": "weather tower", "scope": "read", "expires_at": "2013-06-04T00:00:00Z"});
    let made = send(&house, &ada, "POST", "me/tokens", &wanted).await.expect(201);
    let secret = made["secret"].as_str().unwrap();
    send(&house, secret, "GET", "blocks/bench", &json!(null)).await.expect(200);
    send(&house, secret, "POST", "me/tokens", &wanted).await.problem(403);
    let listed = send(&house, &ada, "GET", "me/tokens", &json!(null)).await.expect(200);
    assert!(!listed.to_string().contains(secret) && !listed.to_string().contains("hash"), "{listed}");
    let place = |id: &Value| format!("me/tokens/{}", id.as_str().unwrap());
    let others = send(&house, &ada, "GET", "me/tokens", &json!(null)).await.expect(200);
    let other = others["items"].as_array().unwrap().iter().find(|one| one["id"] != made["id"]).unwrap();
    send(&house, secret, "DELETE", &place(&other["id"]), &json!(null)).await.problem(403);
    send(&house, secret, "DELETE", "farms/alder/people/ada", &json!(null)).await.problem(403);
    // Nobody takes back another's.
    send(&house, &greta, "DELETE", &place(&made["id"]), &json!(null)).await.problem(404);
    let past = json!({"name": "x", "scope": "all", "expires_at": "2013-06-01T00:00:00Z"});
    let refused = send(&house, &ada, "POST", "me/tokens", &past).await;
    refused.fault(422, "/scope");
    refused.fault(422, "/expires_at");
    house.set_clock("2013-06-04T00:00:00Z");
    send(&house, secret, "GET", "blocks/bench", &json!(null)).await.problem(401);
    house.set_clock(NOW);
    send(&house, secret, "GET", "blocks/bench", &json!(null)).await.expect(200);
    assert_eq!(send(&house, &ada, "DELETE", &place(&made["id"]), &json!(null)).await.status, 204);
    send(&house, secret, "GET", "blocks/bench", &json!(null)).await.problem(401);

    send(&house, &ada, "PATCH", "me", &json!({"name": "Ada B."})).await.expect(200);
    let us = send(&house, &ada, "PATCH", "me", &json!({"units": "us"})).await.expect(200);
    assert_eq!((&us["person"]["units"], &us["person"]["name"]), (&json!("us"), &json!("Ada B.")));
    send(&house, &ada, "PATCH", "me", &json!({"units": "cubits"})).await.fault(422, "/units");
    let people = send(&house, &greta, "GET", "farms/alder/people", &json!(null)).await.expect(200);
    let names: Vec<&Value> = people["items"].as_array().unwrap().iter().map(|one| &one["name"]).collect();
    assert_eq!(names, ["Ada B.", "greta"]);
    // The operator's first token is nobody's.
    house.get("me").await.expect(200);
    house.get("me/tokens").await.problem(409);
}

#[tokio::test]
async fn a_role_that_ends_ends_at_once() {
    let house = house().await;
    let ada = token(&house, "ada", Some(("alder", Role::Advisor)), Scope::Write).await;
    let greta = token(&house, "greta", Some(("alder", Role::Grower)), Scope::Write).await;
    send(&house, &greta, "DELETE", "farms/alder/people/ada", &json!(null)).await.problem(403);
    send(&house, &ada, "PUT", "farms/alder/people/greta", &json!({"role": "consultant"})).await.expect(200);
    let note = json!({"id": "n-9", "kind": "note", "at": NOW, "text": "mown"});
    send(&house, &greta, "POST", "blocks/bench/seasons/2013/log", &note).await.problem(403);
    send(&house, &ada, "PUT", "farms/alder/people/nobody", &json!({"role": "grower"})).await.problem(404);
    send(&house, &ada, "PUT", "farms/alder/people/greta", &json!({"role": "king"})).await.fault(422, "/role");
    assert_eq!(send(&house, &ada, "DELETE", "farms/alder/people/greta", &json!(null)).await.status, 204);
    send(&house, &greta, "GET", "blocks/bench", &json!(null)).await.problem(404);
    // Who leaves of their own accord needs no one's leave.
    assert_eq!(send(&house, &ada, "DELETE", "farms/alder/people/ada", &json!(null)).await.status, 204);
    send(&house, &ada, "GET", "farms/alder", &json!(null)).await.problem(404);
    let invited = json!({"email": "no address", "role": "grower"});
    house.post("farms/alder/invitations", invited).await.fault(422, "/email");
}
