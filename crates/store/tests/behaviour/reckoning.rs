//! What is stale, and how what was reckoned is written.

use model::time::Instant;
use serde_json::json;
use store::{AlertStatus, AlertWrite, Expectation, Reckoned, Stale, Versions};

use crate::rows::{self, Orchard, PROGRAM, SPRING, YEAR, alert, hours, new_alert, reckoned};
use crate::suite::{Suite, call};

async fn one_stale(suite: &Suite, orchard: &Orchard) -> Stale {
    let mut stale = orchard.stale(suite, SPRING).await;
    assert_eq!(stale.len(), 1);
    stale.remove(0)
}

async fn commit(suite: &Suite, reckoned: Reckoned) -> u64 {
    call!(suite, commit_reckoned(&[reckoned], SPRING)).unwrap()
}

/// What is expected is kept as it was first said, once in six hours of issues.
pub async fn expected(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let block = orchard.block();
    let begin = Instant(hours(6).0.div_euclid(6 * 3_600) * 6 * 3_600);
    let expect = |at: Instant, likely: i64| Expectation {
        subject: "start".into(),
        issued_at: at,
        odds: json!({ "likely": likely }),
    };
    let second = Expectation { subject: "leg/start".into(), ..expect(begin, 3) };
    for (n, expected) in [
        vec![expect(begin, 1)],
        vec![expect(begin.plus(3_600), 2), second.clone()],
        vec![expect(begin.plus(6 * 3_600), 4)],
    ]
    .into_iter()
    .enumerate()
    {
        let note = rows::entry(&format!("note-{n}"), hours(1), "still closed");
        call!(suite, append_entries(block, YEAR, std::slice::from_ref(&note))).unwrap();
        let done = Reckoned { expected, ..reckoned(&one_stale(suite, &orchard).await, vec![]) };
        assert_eq!(commit(suite, done).await, 1);
    }
    let told = async |from: Instant, limit: u32| {
        let held = call!(suite, expected_of(block, from, limit)).unwrap();
        assert!(held.iter().all(|one| (one.block_id.as_str(), one.year) == (block, YEAR)));
        held.into_iter().map(|one| one.expectation).collect::<Vec<_>>()
    };
    let all = [second, expect(begin, 1), expect(begin.plus(6 * 3_600), 4)];
    assert_eq!(told(begin, 9).await, all);
    assert_eq!(told(begin.plus(1), 9).await, all[2..]);
    assert_eq!(told(begin, 1).await, all[..1]);
}

pub async fn stale(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let block = orchard.block();
    let note = rows::entry("count-1", hours(1), "forty open");
    call!(suite, append_entries(block, YEAR, std::slice::from_ref(&note))).unwrap();
    let stale = one_stale(suite, &orchard).await;
    let catalogue = stale.versions.catalogue;
    let versions = Versions { site: 1, block: 1, log: 1, plan: 1, catalogue, program: PROGRAM };
    assert_eq!(stale.versions, versions);
    assert_eq!((&stale.farm, &stale.site), (&orchard.farm, &orchard.site));
    assert_eq!(stale.block, orchard.blocks[0]);
    assert_eq!(stale.plan, Some(json!([{ "mark": 0.6 }])));
    assert_eq!((stale.log.as_slice(), stale.alerts.as_slice()), ([note].as_slice(), [].as_slice()));

    let mut done = reckoned(&stale, vec![]);
    done.look_again_at = Some(hours(5));
    assert_eq!(commit(suite, done.clone()).await, 1);
    let season = call!(suite, season(block, YEAR)).unwrap().unwrap();
    let held = season.reckoned.unwrap();
    assert_eq!((held.versions, held.look_again_at), (done.versions, done.look_again_at));
    assert_eq!((held.state, held.doc, held.reckoned_at), (done.state, done.doc.clone(), SPRING));
    assert!(held.versions.same_input(&season.versions_now));

    // Fresh until something changes, or its time comes.
    assert!(orchard.stale(suite, hours(5).plus(-1)).await.is_empty());
    assert_eq!(orchard.stale(suite, hours(5)).await.len(), 1);
    let other_program = call!(suite, stale_seasons(SPRING, PROGRAM + 1, None, 10_000)).unwrap();
    assert!(other_program.iter().any(|stale| stale.block.id == block));

    let day = rows::readings(0, 24);
    call!(suite, store_readings(&orchard.station.id, &day, SPRING)).unwrap();
    let stale = one_stale(suite, &orchard).await;
    assert_eq!((stale.versions.site, stale.site.version), (2, 2));
    commit(suite, reckoned(&stale, vec![])).await;
    assert!(orchard.stale(suite, hours(99)).await.is_empty());

    call!(suite, change_block(&orchard.blocks[0], "Renamed", &json!({}), None)).unwrap();
    let stale = one_stale(suite, &orchard).await;
    commit(suite, reckoned(&stale, vec![])).await;
    call!(suite, set_plan(block, YEAR, 1, &json!([]), hours(1))).unwrap();
    let stale = one_stale(suite, &orchard).await;
    assert_eq!((stale.versions.plan, stale.plan.as_ref()), (2, Some(&json!([]))));
    commit(suite, reckoned(&stale, vec![])).await;
    call!(suite, append_entries(block, YEAR, &[rows::entry("n", hours(2), "x")])).unwrap();
    assert_eq!(one_stale(suite, &orchard).await.log.len(), 2);
}

pub async fn stale_pages(suite: &Suite) {
    let orchard = Orchard::planted(suite, 5).await;
    for block in &orchard.blocks {
        call!(suite, append_entries(&block.id, YEAR, &[rows::entry("n", SPRING, &block.id)])).unwrap();
        call!(suite, append_entries(&block.id, 2012, &[rows::entry("n", SPRING, "last year")])).unwrap();
    }
    let mut keys = Vec::new();
    let mut after = None;
    loop {
        let page = call!(suite, stale_seasons(SPRING, PROGRAM, after.as_ref(), 3)).unwrap();
        let Some(last) = page.last() else { break };
        after = Some(last.key());
        for stale in page.iter().filter(|stale| stale.farm.id == orchard.farm.id) {
            let said = &stale.log[0].doc["text"];
            assert!(said == "last year" || *said == *stale.block.id, "its own log: {said}");
        }
        keys.extend(page.iter().map(Stale::key));
    }
    let mine = keys.iter().filter(|key| key.site_id == orchard.site.id).count();
    assert_eq!(mine, 10, "a pass goes through all of them, reckoned or not");
    let order = |key: &store::StaleKey| (key.site_id.clone(), key.block_id.clone(), key.year);
    assert!(keys.is_sorted_by(|a, b| order(a) < order(b)), "sites come together");
}

pub async fn guard(suite: &Suite) {
    let (moved, still) = (Orchard::in_bloom(suite).await, Orchard::in_bloom(suite).await);
    let write = |stale: &Stale| {
        let due = alert(&stale.block.id, "due", AlertStatus::Told);
        reckoned(stale, vec![new_alert(&due, &["ines@larkmoor.example"])])
    };
    let stale = [one_stale(suite, &moved).await, one_stale(suite, &still).await];
    let both = stale.each_ref().map(write);
    // A reading comes in between reading and writing.
    call!(suite, store_readings(&moved.station.id, &rows::readings(0, 1), SPRING)).unwrap();
    assert_eq!(call!(suite, commit_reckoned(&both, SPRING)).unwrap(), 1);
    assert_eq!(call!(suite, season(moved.block(), YEAR)).unwrap().unwrap().reckoned, None);
    assert_eq!(call!(suite, alerts_of(moved.block(), YEAR)).unwrap(), []);
    assert_eq!(call!(suite, alerts_of(still.block(), YEAR)).unwrap().len(), 1);

    for change in ["block", "plan", "log", "catalogue"] {
        let stale = one_stale(suite, &moved).await;
        match change {
            "block" => {
                let details = json!({ "cultivar": "Fuji" });
                call!(suite, change_block(&moved.blocks[0], "North", &details, None)).map(drop)
            }
            "plan" => call!(suite, set_plan(moved.block(), YEAR, 1, &json!([]), SPRING)).map(drop),
            "catalogue" => call!(suite, add_material(&rows::id("material"), &json!({}), SPRING)),
            _ => {
                let entry = [rows::entry("n", SPRING, "")];
                call!(suite, append_entries(moved.block(), YEAR, &entry)).map(drop)
            }
        }
        .unwrap();
        assert_eq!(commit(suite, write(&stale)).await, 0, "{change}");
    }
    let stale = one_stale(suite, &moved).await;
    assert_eq!(commit(suite, write(&stale)).await, 1);
    assert_eq!(call!(suite, commit_reckoned(&[], SPRING)).unwrap(), 0);
}

pub async fn alerts(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let block = orchard.block();
    let stale = one_stale(suite, &orchard).await;
    let started = alert(block, "started", AlertStatus::Told);
    let due = alert(block, "due", AlertStatus::Skipped);
    let to = ["ines@larkmoor.example", "ole@larkmoor.example"];
    let write = async |alerts: Vec<AlertWrite>| commit(suite, reckoned(&stale, alerts)).await;
    let items = async || {
        let all = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
        all.into_iter().filter(|item| item.farm.id == orchard.farm.id).collect::<Vec<_>>()
    };

    assert_eq!(write(vec![new_alert(&started, &to), new_alert(&due, &to)]).await, 1);
    assert_eq!(items().await.len(), 2, "none for the skipped one");
    // The same key again, with another id: left untouched.
    let twice = store::AlertRow { id: rows::id("alert"), about: json!(0), ..started.clone() };
    write(vec![new_alert(&twice, &to), new_alert(&started, &to)]).await;
    assert_eq!(items().await.len(), 2);
    assert_eq!(call!(suite, alerts_of(block, YEAR)).unwrap(), [started.clone(), due.clone()]);

    let tell = AlertWrite::Tell {
        alert_id: due.id.clone(),
        about: json!({ "late": true }),
        useful_until: hours(90_000),
        reason: "for tests".into(),
        to: rows::addressed(&to[..1]),
    };
    write(vec![tell.clone()]).await;
    write(vec![tell]).await;
    assert_eq!(items().await.len(), 3);
    let told = call!(suite, alert(&due.id)).unwrap().unwrap();
    assert_eq!((told.status, told.reason), (AlertStatus::Told, Some("for tests".into())));
    assert_eq!((told.about, told.useful_until), (json!({ "late": true }), hours(90_000)));

    let about = json!({ "reached_at": "2013-05-01T18:00:00Z" });
    let useful_until = hours(80_000);
    let retime = AlertWrite::Retime { alert_id: started.id.clone(), about: about.clone(), useful_until };
    write(vec![retime]).await;
    let held = call!(suite, alert(&started.id)).unwrap().unwrap();
    assert_eq!((held.about, held.useful_until), (about, useful_until));
    assert_eq!(items().await.len(), 3, "nobody is told again");
    let second = store::AlertRow { generation: 2, id: rows::id("alert"), ..started.clone() };
    write(vec![new_alert(&second, &to)]).await;
    assert_eq!(items().await.len(), 5, "the next generation is another alert");

    assert!(call!(suite, acknowledge(&due.id, hours(6))).unwrap());
    assert!(!call!(suite, acknowledge(&due.id, hours(7))).unwrap());
    assert!(call!(suite, acknowledge("none", hours(7))).is_err());
    let held = call!(suite, alert(&due.id)).unwrap().unwrap();
    assert_eq!(held.acknowledged_at, Some(hours(6)));

    let farm = Some(orchard.farm.id.as_str());
    let listed = call!(suite, alerts(farm, None, None, 100)).unwrap();
    assert_eq!(listed.len(), 3);
    assert_eq!(call!(suite, alerts(farm, Some(block), Some(&listed[0].id), 1)).unwrap(), listed[1..2]);
    assert_eq!(call!(suite, alerts(None, Some(block), None, 100)).unwrap(), listed);
    assert_eq!(call!(suite, alerts(farm, Some("none"), None, 100)).unwrap(), []);
    let mut since = call!(suite, alerts_since(listed[0].raised_at, farm, 100)).unwrap();
    since.reverse();
    assert_eq!(since, listed, "the latest first");
    let later = listed.iter().map(|alert| alert.raised_at).max().unwrap().plus(1);
    assert_eq!(call!(suite, alerts_since(later, farm, 100)).unwrap(), []);
}

pub async fn many(suite: &Suite) {
    let orchard = Orchard::planted(suite, 450).await;
    for block in &orchard.blocks {
        call!(suite, set_plan(&block.id, YEAR, 0, &json!([]), SPRING)).unwrap();
    }
    let stale = orchard.stale(suite, SPRING).await;
    assert_eq!(stale.len(), 450);
    let all: Vec<Reckoned> = stale
        .iter()
        .map(|stale| {
            let one = |kind| alert(&stale.block.id, kind, AlertStatus::Told);
            let write = |kind| new_alert(&one(kind), &["a@x.example", "b@x.example"]);
            reckoned(stale, vec![write("started"), write("due")])
        })
        .collect();
    assert_eq!(call!(suite, commit_reckoned(&all, SPRING)).unwrap(), 450);
    assert_eq!(call!(suite, commit_reckoned(&all, SPRING)).unwrap(), 450, "again: no more");
    assert!(orchard.stale(suite, SPRING).await.is_empty());
    let items = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
    let mine = items.iter().filter(|item| item.farm.id == orchard.farm.id).count();
    assert_eq!(mine, 450 * 2 * 2);

    // A newer model re-times them all in one go.
    let all: Vec<Reckoned> = all
        .into_iter()
        .map(|mut season| {
            let ids = season.alerts.iter().map(|write| match write {
                AlertWrite::New { alert, .. } => alert.id.clone(),
                _ => unreachable!("all are new"),
            });
            season.alerts = ids
                .map(|alert_id| AlertWrite::Retime {
                    about: json!({ "at": alert_id }),
                    alert_id,
                    useful_until: hours(80_000),
                })
                .collect();
            season
        })
        .collect();
    call!(suite, commit_reckoned(&all, hours(1))).unwrap();
    for alert in call!(suite, alerts(Some(&orchard.farm.id), None, None, 10_000)).unwrap() {
        assert_eq!(alert.about, json!({ "at": alert.id }));
    }
}

/// A season and its alerts are written together or not at all.
pub async fn all_or_nothing(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let stale = orchard.stale(suite, SPRING).await;
    // An alert of a block that is not there cannot be kept.
    let nowhere = alert("nowhere", "due", AlertStatus::Told);
    let write = reckoned(&stale[0], vec![new_alert(&nowhere, &["ines@larkmoor.example"])]);
    assert!(call!(suite, commit_reckoned(&[write], SPRING)).is_err());
    assert_eq!(
        orchard.stale(suite, SPRING).await.len(),
        stale.len(),
        "the season waits to be reckoned again"
    );
}
