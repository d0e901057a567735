//! The second wall, with the first one taken down: what Postgres itself keeps
//! from a person of another farm.

use std::sync::Arc;

use black_box::postgres::Postgres;
use model::series::Reading;
use model::time::Instant;
use model::units::Units;
use serde_json::json;

use crate::postgres::{
    Pools, blocks, credentials, farms, hook_calls, hooks, logs, notes, people, plans, readings, seasons,
    sites, sources,
};
use crate::rows::*;
use crate::{Result, Store};

const AT: Instant = Instant(1_366_848_000);

async fn farm(store: &Store, id: &str, person: &str) {
    let farm = Farm { id: id.into(), name: id.into(), alert_emails: vec![], created_at: AT, closed_at: None };
    store.add_farm(&farm).await.unwrap();
    let site = Site {
        id: format!("{id}-site"),
        farm_id: Some(id.into()),
        name: "Hill".into(),
        latitude: 40.7,
        longitude: -74.2,
        elevation_m: None,
        time_zone: "UTC".into(),
        version: 1,
        created_at: AT,
    };
    store.add_site(&site).await.unwrap();
    let source = Source {
        id: format!("{id}-source"),
        site_id: site.id.clone(),
        name: "Book".into(),
        way: Way::Hand,
        provider: None,
        cell: None,
        kind: model::series::Kind::Hand,
        trust: 1,
        mapping: None,
        created_at: AT,
    };
    store.add_source(&source).await.unwrap();
    store.store_readings(&source.id, &[Reading::instant(AT, 9.5)], AT).await.unwrap();
    store.add_block(&block(id)).await.unwrap();
    store.set_plan(&format!("{id}-block"), 2013, 0, &json!([]), AT).await.unwrap();
    store.append_entries(&format!("{id}-block"), 2013, &[entry("first")]).await.unwrap();
    let hook = Hook {
        id: format!("{id}-hook"),
        farm_id: id.into(),
        name: "Desk".into(),
        url: "https://desk.example/".into(),
        kinds: None,
        secrets: vec![HookSecret { secret: format!("whsec_{id}"), made_at: AT, until: None }],
        created_at: AT,
        off_at: None,
        off_because: None,
        version: 1,
    };
    store.add_hook(&hook).await.unwrap();
    store.add_test_call(&format!("{id}-call"), &hook.id, AT).await.unwrap();
    let link = Link {
        id: format!("{id}-link"),
        kind: LinkKind::Invitation,
        hash: format!("{id}-hash"),
        email: Some(format!("{person}@x.example")),
        farm_id: Some(id.into()),
        role: Some(Role::Advisor),
        made_by: None,
        created_at: AT,
        expires_at: AT.plus(60),
        used_at: None,
    };
    store.add_link(&link).await.unwrap();
    let person = Person {
        id: person.into(),
        email: String::new(),
        name: person.into(),
        password: Some("secret".into()),
        operator: false,
        created_at: AT,
        units: Units::Both,
    };
    store.redeem(&link.hash, &person, AT).await.unwrap().unwrap();
}

fn block(farm: &str) -> Block {
    Block {
        id: format!("{farm}-block"),
        farm_id: farm.into(),
        site_id: format!("{farm}-site"),
        name: "Bench".into(),
        details: json!({}),
        geometry: None,
        version: 1,
        created_at: AT,
        archived_at: None,
    }
}

fn entry(id: &str) -> LogEntry {
    LogEntry {
        id: id.into(),
        at: AT,
        kind: "spray".into(),
        doc: json!({"id": id, "kind": "spray"}),
        received_at: AT,
    }
}

/// The database, with the first wall down for `person`.
async fn opened(cluster: &Postgres, person: &str) -> (Store, Pools) {
    let database = cluster.database();
    Store::migrate(&database.owner).await.unwrap();
    let store = Store::open(&database.service).await.unwrap();
    farm(&store, "alder", "ada").await;
    farm(&store, "birch", "bo").await;
    let behalf = Behalf {
        viewer: Some(person.into()),
        person_id: Some(person.into()),
        credential_id: None,
        request_id: "request".into(),
        at: AT,
    };
    let pools = Pools::connect(&database.service).await.unwrap();
    (store, pools.on_behalf(Arc::new(behalf)).without_first_wall())
}

#[tokio::test(flavor = "multi_thread")]
async fn it_holds_when_the_first_is_down() {
    let cluster = Postgres::start();
    let (store, db) = opened(&cluster, "ada").await;
    assert_eq!(db.person(), None, "the first wall is down");

    // What is theirs is there.
    assert_eq!(farms::farms(&db, None, 9).await.unwrap().len(), 1);
    assert_eq!(logs::log(&db, "alder-block", 2013).await.unwrap().len(), 1);
    assert_eq!(logs::append_entries(&db, "alder-block", 2013, &[entry("second")]).await.unwrap().new, 1);
    let seen = readings::readings(&db, "alder-site", AT, AT).await.unwrap();
    assert_eq!((seen.len(), seen[0].1.len()), (1, 1));

    // What is another's is not, by any query that asks for it.
    assert_eq!(farms::farm(&db, "birch").await.unwrap(), None);
    assert_eq!(sites::sites(&db, None, None, 9).await.unwrap().len(), 1);
    assert_eq!(sites::site(&db, "birch-site").await.unwrap(), None);
    assert_eq!(sources::source(&db, "birch-source").await.unwrap(), None);
    assert_eq!(sources::sources_of(&db, "birch-site").await.unwrap(), []);
    assert_eq!(readings::readings(&db, "birch-site", AT, AT).await.unwrap(), []);
    assert_eq!(readings::readings_page(&db, "birch-site", AT, AT, None, 9).await.unwrap(), []);
    assert_eq!(blocks::block(&db, "birch-block").await.unwrap(), None);
    assert_eq!(blocks::blocks(&db, None, None, 9).await.unwrap().len(), 1);
    assert_eq!(plans::plan(&db, "birch-block", 2013).await.unwrap(), None);
    assert_eq!(logs::log(&db, "birch-block", 2013).await.unwrap(), []);
    let both = ["alder-block", "birch-block"].map(str::to_owned);
    let sprays = logs::spray_logs(&db, &both, 2013).await.unwrap();
    let of: Vec<&str> = sprays.iter().map(|(block, _)| block.as_str()).collect();
    assert_eq!(of, ["alder-block"; 2]);
    assert_eq!(seasons::season(&db, "birch-block", 2013).await.unwrap(), None);
    assert_eq!(hooks::hooks_of(&db, "alder").await.unwrap().len(), 1);
    assert_eq!(hooks::hooks_of(&db, "birch").await.unwrap(), []);
    assert_eq!(hooks::hook(&db, "birch-hook").await.unwrap(), None);
    assert_eq!(hook_calls::hook_calls(&db, "alder-hook", None, 9).await.unwrap().len(), 1);
    assert_eq!(hook_calls::hook_call(&db, "birch-call").await.unwrap(), None);
    assert_eq!(people::members_of(&db, "birch").await.unwrap(), []);
    assert_eq!(people::person(&db, "bo").await.unwrap(), None);
    assert_eq!(people::person_by_email(&db, "bo@x.example").await.unwrap(), None);
    assert_eq!(credentials::credential_count(&db).await.unwrap(), 0);
    let changes = notes::changes(&db, None, 1_000).await.unwrap();
    assert!(changes.iter().all(|change| change.farm_id.as_deref() != Some("birch")), "{changes:?}");
    assert!(notes::audit(&db, Some("birch"), AuditPart::After(0), 9).await.unwrap().is_empty());

    // Nor can it be written to.
    let before = store.farm("birch").await.unwrap().unwrap();
    refused(farms::change_farm(&db, &before, "Mine", &[], &[]).await);
    refused(farms::add_farm(&db, &Farm { id: "cedar".into(), ..before.clone() }).await);
    refused(logs::append_entries(&db, "birch-block", 2013, &[entry("second")]).await);
    refused(logs::append_entries(&db, "birch-block", 2014, &[entry("second")]).await);
    refused(plans::set_plan(&db, "birch-block", 2013, 1, &json!([{}]), AT).await);
    refused(blocks::change_block(&db, &block("birch"), "Mine", &json!({}), None).await);
    refused(blocks::add_block(&db, &Block { id: "new".into(), ..block("birch") }).await);
    refused(readings::store_readings(&db, "birch-source", &[Reading::instant(AT, 1.0)], AT).await);
    let hook = store.hook("birch-hook").await.unwrap().unwrap();
    refused(hooks::add_hook(&db, &Hook { id: "new".into(), ..hook.clone() }).await);
    refused(
        hooks::change_hook(&db, &hook, &Hook { url: "https://mine.example/".into(), ..hook.clone() }).await,
    );
    refused(hooks::remove_hook(&db, &hook).await);
    refused(hook_calls::add_test_call(&db, "new", "birch-hook", AT).await);
    refused(hook_calls::replay_call(&db, "birch-call", AT).await);
    assert_eq!(store.hook("birch-hook").await.unwrap(), Some(hook));
    refused(people::set_role(&db, "ada", "birch", None, Role::Advisor, AT).await);
    assert_eq!(store.farm("birch").await.unwrap().unwrap(), before);
    assert_eq!(store.log("birch-block", 2013).await.unwrap().len(), 1);
    assert_eq!(store.plan("birch-block", 2013).await.unwrap().unwrap().version, 1);
    assert_eq!(store.readings("birch-site", AT, AT).await.unwrap()[0].1[0].celsius, 9.5);
    assert_eq!(store.members_of("birch").await.unwrap().len(), 1);
    assert_eq!(store.farms(None, 9).await.unwrap().len(), 2);
}

fn refused<T: std::fmt::Debug>(answer: Result<T>) {
    assert!(answer.is_err(), "{answer:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_has_no_role_sees_nothing_through_it() {
    let cluster = Postgres::start();
    let (_, db) = opened(&cluster, "nobody").await;
    assert_eq!(farms::farms(&db, None, 9).await.unwrap(), []);
    assert_eq!(blocks::blocks(&db, None, None, 9).await.unwrap(), []);
    assert_eq!(people::person(&db, "ada").await.unwrap(), None);
}
