//! What one farm's people see of another's, and what is noted of their deeds.

use model::time::Instant;
use model::units::Units;
use serde_json::json;
use store::{
    Answer, Asked, AuditPart, Behalf, ChangeKey, Credential, CredentialKind, Link, LinkKind, LogEntry,
    Person, Role, Scope, Store, StoreError,
};

use crate::rows::{self, Orchard, SPRING, YEAR, hours};
use crate::suite::{Suite, call};

/// A person of their own with a role on a farm.
pub async fn member(suite: &Suite, farm_id: &str, role: Role) -> Person {
    let name = rows::id("person");
    let person = Person {
        id: name.clone(),
        email: format!("{name}@larkmoor.example"),
        name,
        password: None,
        operator: false,
        created_at: SPRING,
        units: Units::Both,
    };
    let link = Link {
        id: rows::id("link"),
        kind: LinkKind::Invitation,
        hash: rows::id("hash"),
        email: Some(person.email.clone()),
        farm_id: Some(farm_id.into()),
        role: Some(role),
        made_by: None,
        created_at: SPRING,
        expires_at: hours(24),
        used_at: None,
    };
    call!(suite, add_link(&link)).unwrap();
    call!(suite, redeem(&link.hash, &person, hours(1))).unwrap().unwrap()
}

fn behalf(person: &Person, at: Instant) -> Behalf {
    Behalf {
        viewer: Some(person.id.clone()),
        person_id: Some(person.id.clone()),
        credential_id: Some("token-1".into()),
        request_id: rows::id("request"),
        at,
    }
}

pub fn on_behalf(suite: &Suite, person: &Person, at: Instant) -> Store {
    suite.called("on_behalf");
    suite.store().on_behalf(behalf(person, at))
}

fn absent<T: std::fmt::Debug>(answer: store::Result<T>) {
    assert!(matches!(answer, Err(StoreError::NotFound { .. })), "{answer:?}");
}

pub async fn walls(suite: &Suite) {
    let (ours, theirs) = (Orchard::in_bloom(suite).await, Orchard::in_bloom(suite).await);
    let public = rows::site(None);
    call!(suite, add_site(&public)).unwrap();
    let advisor = member(suite, &ours.farm.id, Role::Advisor).await;
    let store = on_behalf(suite, &advisor, hours(2));

    // Their own farm works as it does for the house.
    assert_eq!(store.farms(None, 100).await.unwrap(), std::slice::from_ref(&ours.farm));
    assert_eq!(store.farm(&ours.farm.id).await.unwrap(), Some(ours.farm.clone()));
    assert_eq!(store.block(ours.block()).await.unwrap(), Some(ours.blocks[0].clone()));
    assert_eq!(
        store.site(&public.id).await.unwrap(),
        Some(public.clone()),
        "the server's site is all people's"
    );
    let entry = rows::entry("seen", hours(2), "mown");
    assert_eq!(store.append_entries(ours.block(), YEAR, std::slice::from_ref(&entry)).await.unwrap().new, 1);
    assert_eq!(store.log(ours.block(), YEAR).await.unwrap(), std::slice::from_ref(&entry));
    assert!(store.season(ours.block(), YEAR).await.unwrap().is_some());
    assert_eq!(store.sources_of(&ours.site.id).await.unwrap().len(), 1);
    store.store_readings(&ours.station.id, &rows::readings(0, 3), hours(2)).await.unwrap();
    store.set_plan(ours.block(), YEAR, 1, &json!([]), hours(2)).await.unwrap();
    store.change_block(&ours.blocks[0], "Renamed", &json!({}), None).await.unwrap();
    store.change_farm(&ours.farm, "Our own", &[], &[]).await.unwrap();
    store.set_mapping(&ours.station, &json!({"unit": "celsius"})).await.unwrap();
    let new = rows::site(Some(&ours.farm.id));
    store.add_site(&new).await.unwrap();
    store.add_source(&rows::feed(&new.id, &rows::id("cell"))).await.unwrap();
    store.add_block(&rows::block(&ours.farm.id, &public.id)).await.unwrap();
    assert_eq!(store.members_of(&ours.farm.id).await.unwrap().len(), 1);
    let grower = member(suite, &ours.farm.id, Role::Grower).await;
    store.set_role(&grower.id, &ours.farm.id, Some(Role::Grower), Role::Consultant, hours(3)).await.unwrap();
    store.end_role(&store.memberships_of(&grower.id).await.unwrap()[0]).await.unwrap();
    store.change_person(&advisor, "Ada", Units::Both).await.unwrap();
    let credential = Credential {
        id: rows::id("credential"),
        kind: CredentialKind::Token,
        person_id: Some(advisor.id.clone()),
        name: "probe".into(),
        hash: rows::id("hash"),
        scope: Scope::Read,
        created_at: SPRING,
        expires_at: None,
        last_used_at: None,
        revoked_at: None,
    };
    store.add_credential(&credential).await.unwrap();
    assert_eq!(store.credentials_of(&advisor.id).await.unwrap(), std::slice::from_ref(&credential));
    assert!(store.revoke(&credential.id, hours(4)).await.unwrap());
    store.add_material(&rows::id("material"), &json!({}), hours(4)).await.unwrap();
    store.add_curve(&rows::id("curve"), &json!({}), hours(4)).await.unwrap();

    // Another's is not there, neither to see nor to change.
    let (block, site, source) = (theirs.block(), &theirs.site.id, &theirs.station.id);
    let spray = LogEntry { kind: "spray".into(), ..rows::entry("sprayed", hours(2), "ats") };
    for block in [ours.block(), block] {
        call!(suite, append_entries(block, YEAR, std::slice::from_ref(&spray))).unwrap();
    }
    let both = [ours.block().to_owned(), block.to_owned()];
    assert_eq!(store.spray_logs(&both, YEAR).await.unwrap(), [(both[0].clone(), spray)]);
    call!(suite, append_entries(block, YEAR, &[entry])).unwrap();
    call!(suite, store_readings(source, &rows::readings(0, 3), hours(2))).unwrap();
    assert_eq!(store.farm(&theirs.farm.id).await.unwrap(), None);
    assert_eq!(store.site(site).await.unwrap(), None);
    assert_eq!(store.source(source).await.unwrap(), None);
    assert_eq!(store.block(block).await.unwrap(), None);
    assert_eq!(store.plan(block, YEAR).await.unwrap(), None);
    assert_eq!(store.plans(block, YEAR).await.unwrap(), []);
    assert_eq!(store.log(block, YEAR).await.unwrap(), []);
    assert_eq!(store.season(block, YEAR).await.unwrap(), None);
    assert_eq!(store.seasons_of(block).await.unwrap(), Vec::<i32>::new());
    assert_eq!(store.alerts_of(block, YEAR).await.unwrap(), []);
    assert_eq!(store.alerts(None, Some(block), None, 100).await.unwrap(), []);
    assert_eq!(store.members_of(&theirs.farm.id).await.unwrap(), []);
    assert_eq!(store.sources_of(site).await.unwrap(), []);
    assert_eq!(store.readings(site, SPRING, hours(9)).await.unwrap(), []);
    assert_eq!(store.readings_page(site, SPRING, hours(9), None, 9).await.unwrap(), []);
    assert_eq!(store.earlier_readings(source, SPRING, hours(9)).await.unwrap(), []);
    assert_eq!(store.latest_forecast(site).await.unwrap(), None);
    assert_eq!(store.issues(source, SPRING, hours(9), None, 9).await.unwrap(), []);
    assert_eq!(store.latest_members(site).await.unwrap(), None);
    assert_eq!(store.forecasts_every(source, SPRING, hours(9), 60).await.unwrap(), []);
    assert_eq!(store.expected_of(block, Instant(0), 9).await.unwrap(), []);
    assert_eq!(store.taken_files(source).await.unwrap(), []);
    let members = store::Members { issued_at: SPRING, hours: vec![] };
    absent(store.store_members(source, &members, SPRING).await);
    absent(store.site_weather(site, SPRING, hours(9)).await);
    let blocks = store.blocks(None, None, 1_000).await.unwrap();
    assert!(blocks.iter().all(|block| block.farm_id == ours.farm.id), "{blocks:?}");
    assert!(store.blocks(Some(&theirs.farm.id), None, 1_000).await.unwrap().is_empty());
    absent(store.append_entries(block, YEAR, &[rows::entry("no", SPRING, "x")]).await);
    absent(store.set_plan(block, YEAR, 1, &json!([{}]), SPRING).await);
    absent(store.change_block(&theirs.blocks[0], "Mine", &json!({}), None).await);
    absent(store.store_readings(source, &rows::readings(3, 4), SPRING).await);
    absent(store.add_block(&rows::block(&theirs.farm.id, &public.id)).await);
    absent(store.add_source(&rows::feed(site, &rows::id("cell"))).await);
    absent(store.set_mapping(&theirs.station, &json!({})).await);
    absent(store.set_role(&advisor.id, &theirs.farm.id, None, Role::Advisor, SPRING).await);
    let now = call!(suite, log(block, YEAR)).unwrap();
    assert_eq!(now.len(), 2, "what was written for the house, and nothing else");
    assert_eq!(call!(suite, block(block)).unwrap().unwrap().version, 1);

    // A role that ended ends the view at once.
    store.end_role(&store.memberships_of(&advisor.id).await.unwrap()[0]).await.unwrap();
    assert_eq!(store.farms(None, 100).await.unwrap(), []);
    assert_eq!(store.log(ours.block(), YEAR).await.unwrap(), []);
}

pub async fn notes(suite: &Suite) {
    let (ours, theirs) = (Orchard::planted(suite, 1).await, Orchard::planted(suite, 1).await);
    let advisor = member(suite, &ours.farm.id, Role::Advisor).await;
    let store = on_behalf(suite, &advisor, hours(5));
    let mut before = None;
    while let Some(last) = call!(suite, changes(before.as_ref(), 10_000)).unwrap().pop() {
        before = Some(last.key);
    }
    suite.called("generation");
    let generation = store.generation();
    store.block(ours.block()).await.unwrap();
    store.set_plan(ours.block(), YEAR, 0, &json!([]), hours(5)).await.unwrap();
    assert!(suite.store().generation() > generation, "every handle knows of a write");
    suite.called("people_generation");
    let (all, people) = (store.generation(), store.people_generation());
    store.append_entries(ours.block(), YEAR, &[rows::entry("n-1", hours(5), "x")]).await.unwrap();
    assert!(store.generation() > all && store.people_generation() == people, "a count changes no roles");
    call!(suite, change_person(&advisor, &advisor.name, Units::Both)).unwrap();
    assert!(store.people_generation() > people);
    call!(suite, append_entries(theirs.block(), YEAR, &[rows::entry("n-1", hours(5), "x")])).unwrap();

    // Of each thing the latest change is there once, in order.
    let ours_only: Vec<ChangeKey> =
        store.changes(before.as_ref(), 100).await.unwrap().into_iter().map(|change| change.key).collect();
    assert_eq!(ours_only.len(), 1, "{ours_only:?}");
    assert_eq!((ours_only[0].kind.as_str(), ours_only[0].subject.as_str()), ("season", ours.block()));
    let all = call!(suite, changes(before.as_ref(), 100)).unwrap();
    assert_eq!(all.len(), 2);
    assert!(all[0].key.number < all[1].key.number);
    assert_eq!(all[1].farm_id.as_deref(), Some(theirs.farm.id.as_str()));
    assert_eq!(call!(suite, changes(Some(&all[1].key), 100)).unwrap(), []);

    // What the loops reckon is listed as changed, and nobody did it.
    let stale = ours.stale(suite, hours(6)).await.remove(0);
    let reckoned = store::Reckoned {
        block_id: stale.block.id.clone(),
        year: stale.year,
        versions: stale.versions,
        look_again_at: None,
        state: "watching".into(),
        doc: json!({}),
        alerts: vec![],
        expected: Vec::new(),
    };
    call!(suite, commit_reckoned(&[reckoned], hours(6))).unwrap();
    let after = store.changes(Some(&ours_only[0]), 100).await.unwrap();
    assert_eq!((after.len(), after[0].key.subject.as_str()), (1, ours.block()));

    let board = call!(suite, board(YEAR, Some(&ours.farm.id), 10)).unwrap();
    assert_eq!((board.len(), board[0].state.as_deref()), (1, Some("watching")));
    assert_eq!(store.board(YEAR, None, 10).await.unwrap(), board);
    assert_eq!(store.board(YEAR, Some(&theirs.farm.id), 10).await.unwrap(), []);
    assert_eq!(store.board(1999, None, 10).await.unwrap(), []);

    let deeds = store.audit(Some(&ours.farm.id), AuditPart::After(0), 100).await.unwrap();
    let told: Vec<&str> = deeds.iter().map(|deed| deed.deed.as_str()).collect();
    assert_eq!(told, ["used", "plan set", "logged"]);
    let logged = &deeds[2];
    assert_eq!((logged.at, logged.year, logged.subject.as_str()), (hours(5), Some(YEAR), ours.block()));
    assert_eq!(logged.person.as_deref(), Some(advisor.name.as_str()));
    assert_eq!(logged.detail, Some(json!({"entries": ["n-1"]})));
    assert_eq!(store.audit(None, AuditPart::After(logged.number), 100).await.unwrap(), []);
    assert_eq!(store.audit(Some(&theirs.farm.id), AuditPart::After(0), 100).await.unwrap(), []);
    assert!(call!(suite, audit(None, AuditPart::After(0), 1_000)).unwrap().len() >= 3);
    let back =
        async |farm: &str, before: i64| store.audit(Some(farm), AuditPart::Before(before), 2).await.unwrap();
    let latest = back(&ours.farm.id, i64::MAX).await;
    assert_eq!(latest, [deeds[2].clone(), deeds[1].clone()]);
    assert_eq!(back(&ours.farm.id, latest[1].number).await, deeds[..1]);
    assert_eq!(back(&theirs.farm.id, i64::MAX).await, []);
    // Across all farms that they see, and no other.
    assert_eq!(store.audit(None, AuditPart::Before(i64::MAX), 2).await.unwrap(), latest);
    let since =
        async |farm: Option<&str>, at: Instant| store.audit(farm, AuditPart::Since(at), 100).await.unwrap();
    assert_eq!(since(Some(&ours.farm.id), hours(5)).await, latest);
    assert_eq!(since(None, hours(5)).await, latest);
    assert_eq!(since(Some(&ours.farm.id), hours(5).plus(1)).await, []);
    assert_eq!(since(Some(&theirs.farm.id), SPRING).await, []);
}

pub async fn asked_twice(suite: &Suite) {
    let bearer = rows::id("person");
    let ask =
        async |what: &str, at: Instant| call!(suite, ask(&bearer, "key", what, at, at.plus(-300))).unwrap();
    assert_eq!(ask("this", SPRING).await, Asked::First(SPRING));
    assert_eq!(ask("this", SPRING.plus(299)).await, Asked::UnderWay);
    assert_eq!(ask("that", SPRING.plus(299)).await, Asked::Other);
    assert_eq!(ask("this", SPRING.plus(300)).await, Asked::First(SPRING), "whoever began is gone");
    assert_eq!(ask("this", SPRING.plus(301)).await, Asked::UnderWay);
    let other = call!(suite, ask("someone else", "key", "that", SPRING, SPRING)).unwrap();
    assert_eq!(other, Asked::First(SPRING), "keys are each bearer's own");
    let answer = Answer { status: 201, location: Some("/there".into()), body: "{}".into() };
    call!(suite, keep_answer(&bearer, "key", &answer)).unwrap();
    call!(suite, unask(&bearer, "key")).unwrap();
    assert_eq!(ask("this", hours(9)).await, Asked::Answered(answer), "an answer stays");
    assert_eq!(ask("that", hours(9)).await, Asked::Other);
    call!(suite, unask("someone else", "key")).unwrap();
    assert_eq!(call!(suite, forget_answers(SPRING)).unwrap(), 0);
    assert_eq!(call!(suite, forget_answers(SPRING.plus(1))).unwrap(), 1);
    assert_eq!(ask("that", hours(9)).await, Asked::First(hours(9)));
}

pub async fn closing(suite: &Suite) {
    let ours = Orchard::in_bloom(suite).await;
    let advisor = member(suite, &ours.farm.id, Role::Advisor).await;
    let store = on_behalf(suite, &advisor, hours(5));
    let closed =
        |answer: store::Result<()>| assert!(matches!(answer, Err(StoreError::Closed { .. })), "{answer:?}");
    let held = store.block(ours.block()).await.unwrap().unwrap();
    assert_eq!(ours.stale(suite, hours(6)).await.len(), 1);
    assert_eq!(call!(suite, archive_block(&held, Some(hours(6)))).unwrap(), 2);
    let archived = store.block(ours.block()).await.unwrap().unwrap();
    assert_eq!(archived.archived_at, Some(hours(6)));
    assert!(ours.stale(suite, hours(6)).await.is_empty(), "nothing is reckoned of it");
    assert_eq!(store.board(YEAR, None, 9).await.unwrap(), []);
    closed(store.append_entries(ours.block(), YEAR, &[rows::entry("n", SPRING, "x")]).await.map(drop));
    closed(store.set_plan(ours.block(), YEAR, 1, &json!([{}]), SPRING).await.map(drop));
    let late = store.archive_block(&held, None).await;
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    assert_eq!(store.archive_block(&archived, None).await.unwrap(), 3);
    store.append_entries(ours.block(), YEAR, &[rows::entry("n", SPRING, "x")]).await.unwrap();

    call!(suite, close_farm(&ours.farm, Some(hours(7)))).unwrap();
    let farm = store.farm(&ours.farm.id).await.unwrap().unwrap();
    assert_eq!(farm.closed_at, Some(hours(7)));
    assert!(ours.stale(suite, hours(8)).await.is_empty());
    closed(store.change_farm(&farm, "Late", &[], &[]).await);
    closed(store.add_block(&rows::block(&ours.farm.id, &ours.site.id)).await);
    closed(store.store_readings(&ours.station.id, &rows::readings(0, 1), SPRING).await.map(drop));
    assert_eq!(store.log(ours.block(), YEAR).await.unwrap().len(), 1, "it can be read");
    store.close_farm(&farm, None).await.unwrap();
    assert_eq!(ours.stale(suite, hours(8)).await.len(), 1);

    // Who is removed leaves what they did, under the role they had.
    assert!(call!(suite, deeds_of(&advisor.id, 100)).unwrap().len() > 3);
    let farm_id = Some(ours.farm.id.as_str());
    let since = call!(suite, audit(farm_id, AuditPart::Since(SPRING), 100)).unwrap();
    assert!(since.len() > 3 && since.is_sorted_by(|a, b| a.number > b.number), "the latest first");
    let last = since[0].at;
    let late = call!(suite, audit(farm_id, AuditPart::Since(last), 100)).unwrap();
    assert!(!late.is_empty() && late.iter().all(|deed| deed.at >= last));
    assert_eq!(call!(suite, audit(farm_id, AuditPart::Since(last.plus(1)), 100)).unwrap(), []);
    call!(suite, remove_person(&advisor, hours(9))).unwrap();
    let gone = call!(suite, person(&advisor.id)).unwrap().unwrap();
    assert_eq!((gone.name.as_str(), gone.password), ("a former advisor", None));
    assert_eq!(call!(suite, person_by_email(&advisor.email)).unwrap(), None);
    assert_eq!(call!(suite, memberships_of(&advisor.id)).unwrap(), []);
    let deeds = call!(suite, audit(Some(&ours.farm.id), AuditPart::After(0), 100)).unwrap();
    assert!(deeds.iter().all(|deed| deed.person.as_deref() != Some(advisor.name.as_str())));
    // So may they themselves, on whichever side of the wall.
    let grower = member(suite, &ours.farm.id, Role::Grower).await;
    let own = on_behalf(suite, &grower, hours(9));
    own.remove_person(&grower, hours(9)).await.unwrap();
    assert_eq!(call!(suite, person(&grower.id)).unwrap().unwrap().name, "a former grower");
    assert_eq!(own.farms(None, 9).await.unwrap(), []);
    let told = own.deeds_of(&grower.id, 9).await.unwrap();
    assert!(told.iter().any(|deed| deed.deed == "removed"), "{told:?}");
    let again = call!(suite, remove_person(&advisor, hours(9)));
    assert!(matches!(again, Err(StoreError::Changed { .. })), "{again:?}");
}
