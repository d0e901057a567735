//! A story in which every operation of the API comes up once: what it is asked
//! and what it answers are the document's examples.

use access::Wanted;
use axum::body::Body;
use axum::http::{Request, header};
use model::series::{Forecast, Reading};
use model::time::HOUR;
use model::units::Units;
use serde_json::{Map, Value, json};
use store::{Calendar, Link, LinkKind, LogEntry, Person, Role, Scope};

use crate::alerts::alert;
use crate::house::{Answer, House, NOW, at, mapping};
use crate::season::reckon;

/// One operation as it is asked.
#[derive(Debug, Clone)]
pub struct Step {
    pub operation: &'static str,
    /// Parameters of path, query and header.
    pub parameters: Map<String, Value>,
    /// The body; null where there is none.
    pub request: Value,
}

fn step(operation: &'static str, parameters: Value, request: Value) -> Step {
    Step { operation, parameters: parameters.as_object().cloned().unwrap_or_default(), request }
}

/// A read, which has no body.
fn read(operation: &'static str, parameters: Value) -> Step {
    step(operation, parameters, Value::Null)
}

/// All steps, in an order in which each succeeds. `token` is one to be read and
/// revoked.
pub fn steps(token: &str) -> Vec<Step> {
    let farm = || json!({"id": "larkmoor"});
    let person = || json!({"id": "larkmoor", "person": "greta"});
    let site = || json!({"id": "ridge"});
    let mast = || json!({"id": "ridge", "source": "mast"});
    let block = || json!({"id": "bench"});
    let season = || json!({"id": "bench", "year": 2013});
    let confirmation = || json!({"id": "larkmoor", "confirmation": "confirmation-1"});
    let any = |mut parameters: Value| {
        parameters["If-Match"] = json!("*");
        parameters
    };
    vec![
        step(
            "add-farm",
            json!({"Idempotency-Key": "farm-larkmoor"}),
            json!({
            "id": "larkmoor", "name": "Larkmoor Orchards", "alert_emails": ["crew@larkmoor.example"]}),
        ),
        read("list-farms", json!({})),
        read("read-farm", farm()),
        step("change-farm", any(farm()), json!({"name": "Larkmoor Orchard"})),
        step(
            "confirm-material",
            farm(),
            json!({"id": "confirmation-1", "material": "ammonium-thiosulfate", "jurisdiction": "New Jersey", "by": "Ola Brandt",
            "on": "2013-04-22", "registered": true, "bloom_use": true, "note": "Label and state list of 2013"}),
        ),
        read("list-confirmations", farm()),
        read("read-confirmation", confirmation()),
        step("take-confirmation-back", any(confirmation()), Value::Null),
        step("make-calendar", farm(), json!({"name": "Ola's telephone"})),
        read("list-calendars", farm()),
        read("read-calendar", json!({"id": "calendar-1"})),
        step("revoke-calendar", any(json!({"id": "calendar-1"})), Value::Null),
        read("read-verdict-table", farm()),
        step(
            "set-verdict-table",
            any(farm()),
            json!({"row": [
            {"id": "few-flowers", "when": [{"figure": "live-flowers-per-fruit", "at_most": 3.0}], "verdict": "stand-down",
             "says": "So few flowers live that thinning would cost crop.", "basis": "our own springs since 1998"},
            {"id": "else", "verdict": "your-call", "says": "It is your call.", "basis": "constructed"}]}),
        ),
        step("remove-verdict-table", any(farm()), Value::Null),
        read("read-slot-limits", farm()),
        step(
            "set-slot-limits",
            any(farm()),
            json!({"limit": [
            {"what": "wind", "at": 4.5, "source": "what our sprayer bears", "status": "own"},
            {"what": "warmest", "at": 85, "unit": "fahrenheit", "materials": ["lime-sulfur"],
             "source": "Rutgers extension, 2012", "status": "published"},
            {"what": "bee-quiet", "source": "our beekeeper", "status": "own"}],
            "fact": [{"says": "The west rows stay wet longest.", "source": "our own springs", "status": "own"}]}),
        ),
        step("remove-slot-limits", any(farm()), Value::Null),
        step("invite", farm(), json!({"email": "greta@larkmoor.example", "role": "grower"})),
        read("list-invitations", farm()),
        read("read-invitation", json!({"id": "larkmoor", "invitation": "invitation-1"})),
        step(
            "take-invitation-back",
            any(json!({"id": "larkmoor", "invitation": "invitation-1"})),
            Value::Null,
        ),
        read("list-people", farm()),
        read("read-person", person()),
        step("change-role", any(person()), json!({"role": "advisor"})),
        read("read-me", json!({})),
        step("change-me", any(json!({})), json!({"name": "Ola Brandt"})),
        read("list-tokens", json!({})),
        step(
            "make-token",
            json!({}),
            json!({"name": "Weather wall", "scope": "read", "expires_at": "2013-12-01T00:00:00Z"}),
        ),
        read("read-token", json!({"id": token})),
        step("revoke-token", any(json!({"id": token})), Value::Null),
        step(
            "add-site",
            json!({}),
            json!({"id": "ridge", "farm_id": "larkmoor", "name": "Ridge", "latitude": 40.6925,
            "longitude": -74.1687, "elevation_m": 30, "time_zone": "America/New_York"}),
        ),
        read("list-sites", json!({"farm_id": "larkmoor"})),
        read("read-site", site()),
        step(
            "add-source",
            site(),
            json!({"id": "mast", "name": "Mast, 2 m", "way": "file", "reading_kind": "station"}),
        ),
        read("list-sources", site()),
        step("change-source", any(mast()), json!({"mapping": mapping()})),
        read("read-source", mast()),
        step(
            "store-readings",
            site(),
            json!({"source": "mast", "readings": [
            {"at": "2013-04-29T14:00:00Z", "celsius": 14.5}, {"at": "2013-04-29T15:00:00Z", "celsius": 15.1},
            {"at": "2013-04-29T16:00:00Z", "celsius": 16.0}, {"at": "2013-04-29T17:00:00Z", "value": 62.0, "unit": "fahrenheit"}]}),
        ),
        read("read-standing", site()),
        read("list-forecasts", json!({"id": "ridge", "source": "mast", "limit": 1})),
        read("list-readings", json!({"id": "ridge", "from": "2013-04-29T00:00:00Z", "limit": 2})),
        step(
            "add-block",
            json!({}),
            json!({"id": "bench", "farm_id": "larkmoor", "site_id": "ridge", "name": "North Bench",
            "cultivar": "Gala", "curve": "reference", "flowers_per_cluster": 5, "target_fruit_per_tree": 110}),
        ),
        read("list-blocks", json!({"farm_id": "larkmoor"})),
        read("read-block", block()),
        step("change-block", any(block()), json!({"target_fruit_per_tree": 115})),
        step(
            "import-blocks",
            json!({"id": "larkmoor", "dry_run": true}),
            json!({"type": "FeatureCollection", "features": [
            {"type": "Feature", "id": "south", "geometry": {"type": "Point", "coordinates": [-74.17, 40.69]},
             "properties": {"site_id": "ridge", "name": "South Bench", "cultivar": "Fuji", "curve": "reference", "target_fruit_per_tree": 95}}]}),
        ),
        step("set-plan", season(), json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}]})),
        read("read-plan", season()),
        read("list-plan-versions", season()),
        step(
            "append-entries",
            season(),
            json!({"entries": [
            {"id": "count-1", "kind": "open-count", "at": "2013-04-28T10:00:00-04:00", "open_per_tree": [41, 66, 58, 47, 73]},
            {"id": "count-2", "kind": "open-count", "at": "2013-04-29T10:00:00-04:00", "open_per_tree": [96, 131, 104, 122, 141]}]}),
        ),
        read("read-log", season()),
        read("list-seasons", block()),
        read("read-season", season()),
        read(
            "read-timeline",
            json!({"id": "bench", "year": 2013, "from": "2013-04-29T14:00:00Z", "to": "2013-04-29T16:00:00Z"}),
        ),
        read("compare-curves", season()),
        read("list-sprays", json!({"id": "larkmoor", "year": 2013})),
        read("read-notice", json!({"id": "bench", "year": 2013, "entry": "spray-1"})),
        read(
            "read-job",
            json!({"id": "bench", "year": 2013, "spray": 1, "volume_per_area": 1000, "volume_unit": "L/ha", "area": 2.5,
            "area_unit": "ha", "tank": 1000, "tank_unit": "L"}),
        ),
        read("read-board", json!({"year": 2013, "farm_id": "larkmoor"})),
        read("compare-seasons", block()),
        read("list-outcomes", json!({"year": 2013})),
        read("list-waiting", json!({"year": 2013})),
        step(
            "change-plans",
            json!({"dry_run": true}),
            json!({"year": 2013, "farm_id": "larkmoor", "spray": 1, "mark": 0.65}),
        ),
        step(
            "note-for-many",
            json!({}),
            json!({"year": 2013, "farm_id": "larkmoor", "text": "Hives come on Thursday night."}),
        ),
        read("read-news", json!({"since": "2013-04-28T18:00:00-04:00", "farm_id": "larkmoor"})),
        read("list-alerts", json!({"block_id": "bench"})),
        read("read-alert", json!({"id": "alert-1"})),
        step("acknowledge-alert", json!({"id": "alert-1"}), Value::Null),
        step(
            "add-contact",
            farm(),
            json!({"id": "ines", "name": "Ines Kolbe", "email": "Ines@larkmoor.example",
            "wishes": {"kinds": ["due", "overrun", "blind"], "quiet": {"from": "21:30", "to": "05:30"},
            "digest_at": "06:15", "time_zone": "America/New_York"}}),
        ),
        read("list-contacts", farm()),
        read("read-contact", json!({"id": "ines"})),
        step("change-contact", any(json!({"id": "ines"})), json!({"email": "kolbe@larkmoor.example"})),
        step("ask-for-confirmation", json!({"id": "ines"}), Value::Null),
        step("mute-block", json!({"id": "ines"}), json!({"block_id": "bench", "year": 2013})),
        read("list-mutes", json!({"id": "ines"})),
        step("unmute-block", any(json!({"id": "ines", "block": "bench", "year": 2013})), Value::Null),
        step("remove-contact", any(json!({"id": "ines"})), Value::Null),
        step(
            "add-hook",
            farm(),
            json!({"id": "desk", "name": "Packing shed", "url": "https://calls.larkmoor.example/bloom",
            "kinds": ["due", "overrun", "withdrawn"]}),
        ),
        read("list-hooks", farm()),
        read("read-hook", json!({"id": "desk"})),
        step("change-hook", any(json!({"id": "desk"})), json!({"kinds": null})),
        step("change-hook-secret", json!({"id": "desk"}), Value::Null),
        step("test-hook", json!({"id": "desk"}), Value::Null),
        read("list-hook-deliveries", json!({"id": "desk", "limit": 1})),
        read("read-hook-delivery", json!({"id": "delivery-1"})),
        step("replay-hook-delivery", json!({"id": "delivery-1"}), Value::Null),
        step("remove-hook", any(json!({"id": "desk"})), Value::Null),
        step(
            "add-curve",
            json!({}),
            json!({"id": "ridge-gala", "form": "nodes", "unit": "mm-per-hour",
            "nodes": [[5, 0.02], [15, 0.15], [25, 0.30], [40, 0]], "source": "Larkmoor's own trees, 2012", "status": "measured"}),
        ),
        read("list-curves", json!({})),
        read("read-curve", json!({"id": "ridge-gala"})),
        step("add-material", json!({}), json!({"id": "soap", "name": "Soap", "role": "other"})),
        read("list-materials", json!({})),
        read("read-material", json!({"id": "soap"})),
        read("list-cultivars", json!({})),
        read("read-cultivar", json!({"name": "Gala"})),
        step(
            "reckon-mix",
            json!({}),
            json!({"material": "ammonium-thiosulfate", "volume_per_area": 1000, "volume_unit": "L/ha", "area": 2.5,
            "area_unit": "ha", "tank": 1000, "tank_unit": "L"}),
        ),
        step(
            "fit-curve",
            json!({}),
            json!({"form": "nodes", "unit": "mm-per-hour", "source": "Larkmoor's own trees, 2012", "zero_below": 4,
            "zero_above": 40, "observations": [
            {"celsius": 13, "hours": 24, "length_mm": 1.9}, {"celsius": 13, "hours": 48, "length_mm": 4.1},
            {"celsius": 24, "hours": 12, "length_mm": 3.4}, {"celsius": 24, "hours": 24, "length_mm": 6.9}]}),
        ),
        read("read-odds", json!({"id": "bench", "year": 2013, "by": "2013-05-02T12:00:00Z"})),
        read("read-slots", season()),
        read("verify", farm()),
        read(
            "hindcast",
            json!({"id": "ridge", "start": "04-29T10:00", "marks": "0.60,1.00", "from": 2013, "to": 2013}),
        ),
        step(
            "plan-round",
            farm(),
            json!({"sprayers": [{"name": "the old one", "hectares_per_hour": 1.5, "tank_litres": 1000,
            "fill_minutes": 15}], "litres_per_hectare": 800, "works_from": "05:00", "works_until": "21:00"}),
        ),
        read("list-changes", json!({"limit": 3})),
        read("read-farm-audit", json!({"id": "larkmoor", "limit": 3})),
        read("read-audit", json!({"limit": 2})),
        step("open-season", json!({"id": "bench", "year": 2014}), json!({"from": 2013})),
        read("read-site-of-block", block()),
        step("move-block", any(block()), json!({"site_id": "valley", "since": "2013-05-01T00:00:00-04:00"})),
        step("archive-block", block(), Value::Null),
        step("take-block-up-again", any(block()), Value::Null),
        read("export-farm", farm()),
        step("close-farm", farm(), Value::Null),
        step("open-farm-again", any(farm()), Value::Null),
        step("end-role", any(person()), Value::Null),
        read("export-me", json!({})),
        step("remove-me", any(json!({})), Value::Null),
    ]
}

/// A request as a step has it, with some of its parameters in another way.
pub fn request(step: &Step, secret: &str) -> Request<Body> {
    let (method, path) = place(step.operation);
    let mut address = path;
    let mut query = Vec::new();
    let mut builder = Request::builder();
    for (name, value) in &step.parameters {
        let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        let hole = format!("{{{name}}}");
        if address.contains(&hole) {
            address = address.replace(&hole, &text);
        } else if ["If-Match", "If-None-Match", "Idempotency-Key"].contains(&name.as_str()) {
            builder = builder.header(name, text);
        } else {
            query.push(format!("{name}={}", text.replace('+', "%2B")));
        }
    }
    if !query.is_empty() {
        address = format!("{address}?{}", query.join("&"));
    }
    builder = builder.method(method.as_str()).uri(address);
    if !secret.is_empty() {
        builder = builder.header(header::AUTHORIZATION, format!("Bearer {secret}"));
    }
    if step.request.is_null() {
        return builder.body(Body::empty()).unwrap();
    }
    builder
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from(step.request.to_string()))
        .unwrap()
}

/// Method and path of an operation.
pub fn place(operation: &str) -> (String, String) {
    let all = api::operations();
    let found = all.into_iter().find(|(_, _, id)| id == operation);
    let (method, path, _) = found.unwrap_or_else(|| panic!("the router has no operation `{operation}`"));
    (method, path)
}

/// A house with the person `ola`, who runs it, and a token of theirs.
pub async fn run_by_ola(house: &House) -> String {
    let now = at(NOW);
    let link = Link {
        id: "claim".into(),
        kind: LinkKind::Claim,
        hash: "claim".into(),
        email: None,
        farm_id: None,
        role: None,
        made_by: None,
        created_at: now,
        expires_at: now.plus(60),
        used_at: None,
    };
    house.store.add_link(&link).await.unwrap();
    let ola = Person {
        id: "ola".into(),
        email: "ola@larkmoor.example".into(),
        name: "Ola".into(),
        password: None,
        operator: true,
        created_at: now,
        units: Units::Both,
    };
    house.store.redeem("claim", &ola, now).await.unwrap().unwrap();
    token_of(house, "ola", Scope::Write).await.1
}

/// Someone else who may run the house when Ola leaves.
pub async fn make_second_operator(house: &House) {
    house.execute("INSERT INTO person (id, email, name, operator, created_at) VALUES ('una', 'una@larkmoor.example', 'Una', 1, 0)").await;
}

/// A token of a person: its id and secret.
pub async fn token_of(house: &House, person: &str, scope: Scope) -> (String, String) {
    // Each some seconds after the one before, so that lists have one order.
    let held = house.store.credentials_of(person).await.unwrap().len() as i64;
    let wanted = Wanted { person_id: Some(person), name: "Kitchen wall", scope, expires_at: None };
    access::new_token(&house.store, wanted, at(NOW).plus(held - 60)).await.unwrap()
}

/// An invitation that nobody has used.
pub async fn invitation(house: &House, id: &str, farm: &str) {
    let link = Link {
        id: id.into(),
        kind: LinkKind::Invitation,
        hash: format!("hash of {id}"),
        email: Some("nell@larkmoor.example".into()),
        farm_id: Some(farm.into()),
        role: Some(Role::Consultant),
        made_by: None,
        created_at: at(NOW),
        expires_at: at(NOW).plus(access::link::INVITATION),
        used_at: None,
    };
    house.store.add_link(&link).await.unwrap();
}

/// A calendar that holds.
pub async fn calendar(house: &House, id: &str, farm: &str) {
    let calendar = Calendar {
        id: id.into(),
        farm_id: farm.into(),
        name: "Kitchen wall".into(),
        hash: format!("hash of {id}"),
        made_by: None,
        created_at: at(NOW),
        last_read_at: Some(at(NOW)),
        revoked_at: None,
    };
    house.store.add_calendar(&calendar).await.unwrap();
}

/// A person with a role on a farm.
pub async fn member(house: &House, name: &str, farm: &str, role: Role) {
    let now = at(NOW);
    let link = Link {
        id: format!("link-{name}"),
        kind: LinkKind::Invitation,
        hash: format!("hash-{name}"),
        email: Some(format!("{name}@{farm}.example")),
        farm_id: Some(farm.into()),
        role: Some(role),
        made_by: None,
        created_at: now,
        expires_at: now.plus(60),
        used_at: None,
    };
    house.store.add_link(&link).await.unwrap();
    let person = Person {
        id: name.into(),
        email: String::new(),
        name: name.into(),
        password: None,
        operator: false,
        created_at: now,
        units: Units::Both,
    };
    house.store.redeem(&link.hash, &person, now).await.unwrap().unwrap();
}

/// What happens before a step without anyone asking for it.
pub async fn prepare(house: &House, operation: &str) {
    match operation {
        "list-people" => member(house, "greta", "larkmoor", Role::Grower).await,
        "list-calendars" => calendar(house, "calendar-1", "larkmoor").await,
        "list-invitations" => invitation(house, "invitation-1", "larkmoor").await,
        "list-hook-deliveries" => {
            house.store.add_test_call("delivery-1", "desk", at(NOW)).await.unwrap();
        }
        "read-site-of-block" => {
            house.execute("INSERT INTO site (id, farm_id, name, latitude, longitude, time_zone, version, created_at) \
                VALUES ('valley', 'larkmoor', 'Valley', 40.68, -74.16, 'America/New_York', 1, 0)").await;
        }
        "list-forecasts" => {
            let ahead =
                (1..4).map(|hour| Reading::instant(at(NOW).plus(hour * HOUR), 11.5 + hour as f64 / 10.0));
            let forecast = Forecast { issued_at: at(NOW), hours: ahead.collect() };
            house.store.store_fetch("mast", &[], Some(&forecast), at(NOW)).await.unwrap();
        }
        "list-alerts" => {
            house.store.set_plan("bench", 2013, 1, &json!({"sprays": []}), at(NOW)).await.unwrap();
            reckon(house, &[alert("alert-1", "started", at(NOW))]).await;
        }
        "list-sprays" => {
            let doc = json!({"id": "spray-1", "kind": "spray", "material": "ammonium-thiosulfate",
                "at": "2013-05-01T17:10:00-04:00", "finished_at": "2013-05-01T18:30:00-04:00", "total_amount": "62.5 L",
                "rate": "2.5 %", "rate_basis": "volume", "applicator": "Greta Lind", "wind": "5 mph",
                "temperature": "61 °F", "reentry_interval": "24 h"});
            let began = at("2013-05-01T21:10:00Z");
            let entry =
                LogEntry { id: "spray-1".into(), at: began, kind: "spray".into(), doc, received_at: at(NOW) };
            house.store.append_entries("bench", 2013, &[entry]).await.unwrap();
        }
        "read-season" | "read-board" => {
            reckon(house, &[]).await;
        }
        _ => {}
    }
}

/// Plays the story to its end, what happens between the steps included, and
/// hands each step with its answer to `told`.
pub async fn play(house: &House, mut told: impl FnMut(&Step, Answer)) {
    let secret = run_by_ola(house).await;
    make_second_operator(house).await;
    let (token, _) = token_of(house, "ola", Scope::Read).await;
    for step in steps(&token) {
        prepare(house, step.operation).await;
        let answer = house.send(request(&step, &secret)).await;
        told(&step, answer);
    }
}
