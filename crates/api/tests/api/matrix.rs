//! Every operation, on every id, for every caller: across the wall nothing is
//! read or written, and what is not there answers as what is not one's own.

use std::collections::BTreeMap;

use axum::http::{StatusCode, header};
use serde_json::{Value, json};
use store::{Role, Scope};

use crate::alerts::alert;
use crate::house::{Answer, House, NOW, at, mapping};
use crate::season::reckon;
use crate::story::{self, Step, member, request, token_of};

const FARMS: [&str; 3] = ["alder", "birch", "cedar"];
/// An id under which nothing stands.
const ABSENT: &str = "absent";

/// How a caller stands to the farm `alder`.
struct Caller {
    name: &'static str,
    secret: String,
    /// Whether they see it.
    sees: bool,
    /// Whether they come in at all.
    comes_in: bool,
    /// Whether they may write there at all.
    writes: bool,
}

/// A farm with everything that ids may name, all of them after the farm's own.
async fn furnish(house: &House, farm: &str) {
    let id = |what: &str| format!("{farm}-{what}");
    house.post("farms", json!({"id": farm, "name": format!("Farm {farm}")})).await.expect(201);
    let site = json!({"id": id("site"), "farm_id": farm, "name": "Hill", "latitude": 40.7, "longitude": -74.2,
        "time_zone": "America/New_York"});
    house.post("sites", site).await.expect(201);
    let source = json!({"id": id("source"), "name": "Mast", "way": "file", "mapping": mapping()});
    house.post(&format!("sites/{}/sources", id("site")), source).await.expect(201);
    let readings =
        json!({"source": id("source"), "readings": [{"at": "2013-05-01T06:00:00Z", "celsius": 9.5}]});
    house.post(&format!("sites/{}/readings", id("site")), readings).await.expect(200);
    let block = json!({"id": id("block"), "farm_id": farm, "site_id": id("site"), "name": "Bench", "cultivar": "Gala",
        "curve": "reference", "target_fruit_per_tree": 110});
    house.post("blocks", block).await.expect(201);
    let season = format!("blocks/{}/seasons/2013", id("block"));
    house.put(&format!("{season}/plan"), json!({"sprays": []})).await.expect(201);
    let entry = json!({"id": id("entry"), "kind": "note", "at": "2013-05-01T06:00:00Z", "text": "mown"});
    house.post(&format!("{season}/log"), entry).await.expect(201);
    let confirmation = json!({"id": id("confirmation"), "material": "captan", "jurisdiction": "New Jersey", "by": "Ines",
        "on": "2013-04-22", "registered": true, "bloom_use": true});
    house.post(&format!("farms/{farm}/confirmations"), confirmation).await.expect(201);
    let hook = json!({"id": id("hook"), "name": "Desk", "url": "https://desk.example/"});
    house.post(&format!("farms/{farm}/hooks"), hook).await.expect(201);
    house.store.add_test_call(&id("delivery"), &id("hook"), at(NOW)).await.unwrap();
    let mut told = alert(&id("alert"), "started", at(NOW));
    if let store::AlertWrite::New { alert, .. } = &mut told {
        alert.block_id = id("block");
    }
    reckon(house, &[told]).await;
    let contact = json!({"id": id("contact"), "name": "Ole", "email": "ole@farm.example"});
    house.post(&format!("farms/{farm}/contacts"), contact).await.expect(201);
    let mute = json!({"block_id": id("block"), "year": 2013});
    house.post(&format!("contacts/{}/mutes", id("contact")), mute).await.expect(201);
    member(house, &id("member"), farm, Role::Grower).await;
    story::invitation(house, &id("invitation"), farm).await;
    story::calendar(house, &id("calendar"), farm).await;
}

async fn callers(house: &House) -> Vec<Caller> {
    let mut callers = Vec::new();
    let people = [
        ("ada", "alder", Role::Advisor),
        ("gus", "alder", Role::Grower),
        ("con", "alder", Role::Consultant),
        ("bea", "birch", Role::Advisor),
        ("ben", "birch", Role::Grower),
        ("nora", "cedar", Role::Advisor),
    ];
    for (name, farm, role) in people {
        member(house, name, farm, role).await;
        let sees = farm == "alder";
        let writes = sees && role != Role::Consultant;
        let (_, secret) = token_of(house, name, Scope::Write).await;
        callers.push(Caller { name, secret, sees, comes_in: true, writes });
    }
    // Nora has no farm any more.
    let held = house.store.memberships_of("nora").await.unwrap().remove(0);
    house.store.end_role(&held).await.unwrap();
    let (_, read_only) = token_of(house, "ada", Scope::Read).await;
    callers.push(Caller { name: "read-only", secret: read_only, sees: true, comes_in: true, writes: false });
    let (revoked, secret) = token_of(house, "ada", Scope::Write).await;
    house.store.revoke(&revoked, at(NOW)).await.unwrap();
    callers.push(Caller { name: "revoked", secret, sees: false, comes_in: false, writes: false });
    let wanted = access::Wanted {
        person_id: Some("ada"),
        name: "old",
        scope: Scope::Write,
        expires_at: Some(at(NOW).plus(-1)),
    };
    let (_, secret) = access::new_token(&house.store, wanted, at(NOW)).await.unwrap();
    callers.push(Caller { name: "expired", secret, sees: false, comes_in: false, writes: false });
    callers.push(Caller { name: "none", secret: String::new(), sees: false, comes_in: false, writes: false });
    callers
}

/// What an id in a path names, by the path up to it.
fn kind(path: &str, parameter: &str) -> &'static str {
    match (path.split('/').nth(3).unwrap_or_default(), parameter) {
        (_, "source") => "source",
        (_, "person") => "member",
        (_, "invitation") => "invitation",
        (_, "confirmation") => "confirmation",
        (_, "entry") => "entry",
        ("farms", "id") => "",
        ("sites", "id") => "site",
        ("blocks", "id") => "block",
        ("alerts", "id") => "alert",
        ("contacts", "id") => "contact",
        ("contacts", "block") => "block",
        ("hooks", "id") => "hook",
        ("hook-deliveries", "id") => "delivery",
        ("calendars", "id") => "calendar",
        ("me", "id") => "credential",
        ("curves" | "materials", "id") | ("cultivars", "name") => "shared",
        (part, name) => panic!("say here what `{name}` of `{part}` names"),
    }
}

/// The step with the ids of its path in the way that `ids` gives them.
fn with_ids(step: &Step, path: &str, ids: &BTreeMap<String, String>) -> Step {
    let mut step = step.clone();
    for (name, id) in ids {
        if path.contains(&format!("{{{name}}}")) {
            step.parameters.insert(name.clone(), json!(id));
        }
    }
    step
}

/// Ids in a body that point to what belongs to a farm.
fn in_body(step: &Step, farm: &str) -> Step {
    let mut step = step.clone();
    for (field, id) in [("farm_id", farm.to_owned()), ("site_id", format!("{farm}-site"))] {
        if step.request.get(field).is_some() {
            step.request[field] = json!(id);
        }
    }
    if step.request.get("readings").is_some() {
        step.request["source"] = json!(format!("{farm}-source"));
    }
    step
}

/// An answer without what is each request's own, and with the ids it was asked
/// about in one way.
fn told(answer: &Answer, ids: &BTreeMap<String, String>) -> (StatusCode, String) {
    let mut body = answer.body.clone();
    body["request_id"] = Value::Null;
    let mut text = body.to_string();
    // The longest first, since one may stand within another.
    let mut all: Vec<&String> = ids.values().collect();
    all.sort_by_key(|id| std::cmp::Reverse(id.len()));
    for id in all {
        text = text.replace(id.as_str(), "?");
    }
    (answer.status, text)
}

/// All that stands in the database but what is noted of requests.
async fn state(house: &House) -> String {
    let store = &house.store;
    let mut all = format!(
        "{:?}{:?}",
        store.farms(None, 100).await.unwrap(),
        store.sites(None, None, 100).await.unwrap()
    );
    all += &format!("{:?}", store.blocks(None, None, 100).await.unwrap());
    for farm in FARMS {
        let block = format!("{farm}-block");
        all += &format!(
            "{:?}{:?}{:?}",
            store.calendars_of(farm).await.unwrap(),
            store.confirmations(farm).await.unwrap(),
            store.farm_rule(farm, model::plan::VERDICT_TABLE).await.unwrap()
        );
        all += &format!(
            "{:?}{:?}",
            store.hooks_of(farm).await.unwrap(),
            store.hook_calls(&format!("{farm}-hook"), None, 100).await.unwrap()
        );
        all += &format!(
            "{:?}{:?}{:?}{:?}{:?}{:?}",
            store.members_of(farm).await.unwrap().into_iter().map(|(_, role)| role).collect::<Vec<_>>(),
            store.sources_of(&format!("{farm}-site")).await.unwrap(),
            store
                .readings(&format!("{farm}-site"), model::time::Instant::MIN, model::time::Instant::MAX)
                .await
                .unwrap(),
            store.plan(&block, 2013).await.unwrap(),
            store.log(&block, 2013).await.unwrap(),
            store.alerts_of(&block, 2013).await.unwrap(),
        );
    }
    all
}

#[tokio::test(flavor = "multi_thread")]
async fn across_the_wall_nothing_is_read_or_written() {
    let house = House::new().await;
    for farm in FARMS {
        furnish(&house, farm).await;
    }
    let callers = callers(&house).await;
    let steps: BTreeMap<&str, Step> =
        story::steps("x").into_iter().map(|step| (step.operation, step)).collect();
    let before = state(&house).await;
    let (mut cases, mut read, mut written) = (0_u64, 0_u64, 0_u64);
    // Whoever removes themselves asks nothing any more.
    let operations = api::operations().into_iter().filter(|(.., id)| id != "remove-me");
    for (number, (method, path, operation)) in operations.enumerate() {
        let step = steps.get(operation.as_str()).unwrap_or_else(|| panic!("the story has no `{operation}`"));
        let names: Vec<&str> =
            path.split(['{', '}']).skip(1).step_by(2).filter(|name| *name != "year").collect();
        // What is shared, and one's own tokens, are behind no farm's wall.
        let walled = names.iter().any(|name| !["credential", "shared"].contains(&kind(&path, name)));
        for (nth, caller) in callers.iter().enumerate() {
            for variant in (0..VARIANTS).skip((number + nth) % 3).step_by(3) {
                let ids = |farm: &str| -> BTreeMap<String, String> {
                    let id = |name: &&str| match (kind(&path, name), farm) {
                        (_, ABSENT) => format!("{ABSENT}-{variant}"),
                        ("", farm) => farm.to_owned(),
                        (what, farm) => format!("{farm}-{what}"),
                    };
                    names.iter().map(|name| ((*name).to_owned(), id(name))).collect()
                };
                let ask = async |farm: &str, body: &str| {
                    let mut asked = with_ids(&in_body(step, body), &path, &ids(farm));
                    // Nothing but whose it is may decide.
                    vary(&mut asked, &method, variant);
                    house.send(request(&asked, &caller.secret)).await
                };
                for farm in FARMS {
                    let own = farm == "alder" && caller.sees
                        || farm == "birch" && ["bea", "ben"].contains(&caller.name);
                    if own && caller.comes_in {
                        // Those who may are tried elsewhere; here they must not be
                        // told what stands behind the wall.
                        continue;
                    }
                    cases += 1;
                    let answer = ask(farm, farm).await;
                    if !caller.comes_in {
                        assert_eq!(answer.status, 401, "{} {method} {path}", caller.name);
                        continue;
                    }
                    if walled {
                        let nothing = ask(ABSENT, farm).await;
                        let place = format!("{} {method} {path} of {farm}", caller.name);
                        assert_eq!(answer.status, 404, "{place}: {}", answer.body);
                        assert_eq!(told(&answer, &ids(farm)), told(&nothing, &ids(ABSENT)), "{place}");
                        cases += 1;
                    }
                    if answer.status.is_success() && reveals(&answer.body, farm) {
                        println!("{} {method} {path} reads of {farm}: {}", caller.name, answer.body);
                        read += 1;
                    }
                    if method != "GET" && names.is_empty() && step.request.get("farm_id").is_some() {
                        assert!(
                            answer.status.is_client_error(),
                            "{} {method} {path}: {}",
                            caller.name,
                            answer.body
                        );
                    }
                }
                // Those who see a farm and may not write leave it as it is.
                if caller.sees && !caller.writes && method != "GET" && walled {
                    cases += 1;
                    let answer = ask("alder", "alder").await;
                    assert_eq!(answer.status, 403, "{} {method} {path}: {}", caller.name, answer.body);
                }
            }
        }
    }
    if state(&house).await != before {
        written += 1;
    }
    let said = format!("matrix: {cases} cases, {read} reads and {written} writes across the wall\n");
    // `tests/run` prints it: what a passing test says is not shown.
    std::fs::write(std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("matrix"), said).unwrap();
    assert_eq!((read, written), (0, 0));
    assert!(cases >= 10_000, "{cases}");
}

/// So many ways of asking; each operation and caller meets every third one of them,
/// which are over ten thousand in all.
const VARIANTS: usize = 8;

/// The same request with a condition, a key or a year in another way.
fn vary(step: &mut Step, method: &str, variant: usize) {
    match method {
        "GET" if variant % 2 == 1 => {
            step.parameters.insert("If-None-Match".into(), json!("\"x\""));
        }
        "POST" => {
            step.parameters
                .insert("Idempotency-Key".into(), json!(format!("k-{variant}-{}", step.operation)));
            if variant % 2 == 1 {
                step.parameters.remove("Idempotency-Key");
            }
        }
        "GET" => {}
        _ if variant % 3 == 1 => {
            step.parameters.insert("If-Match".into(), json!("\"x\""));
        }
        _ if variant % 3 == 2 => {
            step.parameters.remove("If-Match");
        }
        _ => {}
    }
    if step.parameters.contains_key("year") {
        step.parameters.insert("year".into(), json!(2013 + variant / 4));
    }
}

/// Whether an answer holds anything of a farm.
fn reveals(body: &Value, farm: &str) -> bool {
    let text = body.to_string();
    text.contains(&format!("{farm}-")) || text.contains(&format!("Farm {farm}"))
}

/// Lists that name another's farm or block are empty, and their cursors lead
/// nowhere else.
#[tokio::test]
async fn lists_hold_only_ones_own() {
    let house = House::new().await;
    for farm in FARMS {
        furnish(&house, farm).await;
    }
    let callers = callers(&house).await;
    let bea = callers.iter().find(|caller| caller.name == "bea").unwrap();
    let lists: Vec<String> = api::operations()
        .into_iter()
        .filter(|(method, path, _)| method == "GET" && !path.contains('{'))
        .map(|(_, path, _)| path)
        .collect();
    for list in lists {
        for query in ["", "?farm_id=alder", "?block_id=alder-block"] {
            let mut request = house.request(axum::http::Method::GET, "farms", None, "");
            *request.uri_mut() = format!("{list}{query}").parse().unwrap();
            let bearer = format!("Bearer {}", bea.secret).parse().unwrap();
            request.headers_mut().insert(header::AUTHORIZATION, bearer);
            let answer = house.send(request).await;
            assert!(
                !reveals(&answer.body, "alder") || answer.status.is_client_error(),
                "{list}{query}: {}",
                answer.body
            );
        }
    }
}
