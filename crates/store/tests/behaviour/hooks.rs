//! Hooks and their calls.

use model::time::{HOUR, Instant, MINUTE};
use store::{
    AlertRow, AlertStatus, AlertWrite, CallEnd, CallState, Hook, HookCall, HookSecret, LeasedCall, Role,
    StoreError,
};

use crate::rows::{self, Orchard, SPRING, alert, hours, new_alert, reckoned};
use crate::suite::{Suite, call};
use crate::walls::{member, on_behalf};

fn hook(orchard: &Orchard, kinds: Option<&[&str]>) -> Hook {
    Hook {
        id: rows::id("hook"),
        farm_id: orchard.farm.id.clone(),
        name: "Packing shed".into(),
        url: "https://calls.larkmoor.example/".into(),
        kinds: kinds.map(|kinds| kinds.iter().map(|&kind| kind.to_owned()).collect()),
        secrets: vec![HookSecret { secret: "whsec_c2VjcmV0".into(), made_at: SPRING, until: None }],
        created_at: SPRING,
        off_at: None,
        off_because: None,
        version: 1,
    }
}

async fn hooked(suite: &Suite, kinds: Option<&[&str]>) -> (Orchard, Hook) {
    let orchard = Orchard::planted(suite, 1).await;
    let hook = hook(&orchard, kinds);
    call!(suite, add_hook(&hook)).unwrap();
    (orchard, hook)
}

/// Writes what is done to the alerts of an orchard's season.
async fn write(suite: &Suite, orchard: &Orchard, alerts: Vec<AlertWrite>) {
    let entry = rows::entry(&rows::id("entry"), SPRING, "seen");
    call!(suite, append_entries(orchard.block(), rows::YEAR, &[entry])).unwrap();
    let stale = orchard.stale(suite, SPRING).await;
    assert_eq!(call!(suite, commit_reckoned(&[reckoned(&stale[0], alerts)], SPRING)).unwrap(), 1);
}

/// An alert told to nobody but the hooks.
async fn told(suite: &Suite, orchard: &Orchard, kind: &str) -> AlertRow {
    let one = alert(orchard.block(), kind, AlertStatus::Told);
    write(suite, orchard, vec![new_alert(&one, &[])]).await;
    one
}

async fn calls(suite: &Suite, hook: &Hook) -> Vec<HookCall> {
    call!(suite, hook_calls(&hook.id, None, 100)).unwrap()
}

/// The call of a hook that is leased next.
async fn lease(suite: &Suite, hook: &Hook, now: Instant) -> Option<LeasedCall> {
    let leased = call!(suite, lease_calls(now, now.plus(MINUTE), 1_000)).unwrap();
    let mut mine = leased.into_iter().filter(|leased| leased.hook.id == hook.id);
    let one = mine.next();
    assert!(mine.next().is_none(), "of each hook one at a time");
    one
}

fn later(at: Instant) -> CallEnd {
    CallEnd::Later { at, status: Some(503), error: "busy".into() }
}

pub async fn set_up(suite: &Suite) {
    let (orchard, first) = hooked(suite, Some(&["due"])).await;
    assert!(matches!(call!(suite, add_hook(&first)), Err(StoreError::Conflict { .. })));
    let nowhere = Hook { id: rows::id("hook"), farm_id: "none".into(), ..first.clone() };
    assert!(matches!(call!(suite, add_hook(&nowhere)), Err(StoreError::NotFound { .. })));
    assert_eq!(call!(suite, hook(&first.id)).unwrap().as_ref(), Some(&first));
    assert_eq!(call!(suite, hooks_of(&orchard.farm.id)).unwrap(), std::slice::from_ref(&first));

    let mut to = Hook { name: "Desk".into(), kinds: None, ..first.clone() };
    to.secrets[0].until = Some(hours(24));
    to.secrets.push(HookSecret { secret: "whsec_bmV3".into(), made_at: hours(1), until: None });
    assert_eq!(call!(suite, change_hook(&first, &to)).unwrap(), 2);
    let held = Hook { version: 2, ..to };
    assert_eq!(call!(suite, hook(&first.id)).unwrap().as_ref(), Some(&held));
    assert!(!format!("{held:?}").contains("whsec_"), "a secret is in no log");
    assert!(matches!(call!(suite, change_hook(&first, &held)), Err(StoreError::Changed { .. })));
    assert!(matches!(call!(suite, remove_hook(&first)), Err(StoreError::Changed { .. })));
    call!(suite, add_test_call(&rows::id("call"), &held.id, hours(1))).unwrap();
    call!(suite, remove_hook(&held)).unwrap();
    assert_eq!(call!(suite, hook(&first.id)).unwrap(), None);
    assert_eq!(calls(suite, &held).await, []);
    assert!(matches!(call!(suite, remove_hook(&held)), Err(StoreError::NotFound { .. })));
}

/// What is told makes its calls in the same transaction.
pub async fn told_to(suite: &Suite) {
    let (orchard, all) = hooked(suite, None).await;
    let due = hook(&orchard, Some(&["due", "heads-up"]));
    let off = Hook { off_at: Some(SPRING), off_because: Some("away".into()), ..hook(&orchard, None) };
    let (_, other) = hooked(suite, None).await;
    for one in [&due, &off] {
        call!(suite, add_hook(one)).unwrap();
    }
    let skipped = alert(orchard.block(), "started", AlertStatus::Skipped);
    write(suite, &orchard, vec![new_alert(&skipped, &[])]).await;
    assert_eq!(calls(suite, &all).await, [], "what is told to nobody is told to no hook");
    let tell = AlertWrite::Tell {
        alert_id: skipped.id.clone(),
        about: skipped.about.clone(),
        useful_until: hours(100_000),
        reason: "for tests".into(),
        to: vec![],
    };
    write(suite, &orchard, vec![tell]).await;
    let heads_up = told(suite, &orchard, "heads-up").await;
    let kinds = async |hook: &Hook| {
        calls(suite, hook)
            .await
            .iter()
            .map(|call| (call.kind.clone(), call.alert_id.clone()))
            .collect::<Vec<_>>()
    };
    let expected = ("alert.heads_up".to_owned(), Some(heads_up.id.clone()));
    assert_eq!(kinds(&due).await, std::slice::from_ref(&expected));
    assert_eq!(kinds(&all).await, [expected, ("alert.started".to_owned(), Some(skipped.id.clone()))]);
    assert_eq!((kinds(&off).await, kinds(&other).await), (vec![], vec![]));

    let page = call!(suite, hook_calls(&all.id, None, 1)).unwrap();
    let next = call!(suite, hook_calls(&all.id, Some(&page[0].id), 9)).unwrap();
    assert_eq!([page[0].clone(), next[0].clone()].as_slice(), calls(suite, &all).await);
    assert_eq!(call!(suite, hook_call(&page[0].id)).unwrap().as_ref(), Some(&page[0]));
}

pub async fn calling(suite: &Suite) {
    let (orchard, hook) = hooked(suite, None).await;
    let (first, second) = (told(suite, &orchard, "due").await, told(suite, &orchard, "overrun").await);
    assert!(lease(suite, &hook, SPRING.plus(-1)).await.is_none(), "not due before");
    let leased = lease(suite, &hook, hours(1)).await.unwrap();
    let (id, token) = (leased.call.id.clone(), leased.token);
    assert_eq!((leased.call.attempts, leased.call.tries, &leased.call.body), (1, 1, &None));
    assert_eq!(leased.hook, hook);
    assert_eq!(leased.alert, Some((first.clone(), orchard.blocks[0].clone())));
    assert!(lease(suite, &hook, hours(1)).await.is_none(), "one at a time");
    assert!(!call!(suite, replay_call(&id, hours(1))).unwrap(), "it is under way");
    assert!(!call!(suite, keep_call_body(&id, token + 1, "{}")).unwrap());
    assert!(call!(suite, keep_call_body(&id, token, "{\"a\":1}")).unwrap());
    assert!(!call!(suite, keep_call_body(&id, token, "{}")).unwrap(), "the bytes stay");
    assert!(!call!(suite, end_call(&id, token + 1, &later(hours(3)), hours(1))).unwrap());
    assert!(call!(suite, end_call(&id, token, &later(hours(3)), hours(1))).unwrap());
    assert!(!call!(suite, end_call(&id, token, &CallEnd::Delivered { status: 200 }, hours(1))).unwrap());
    let held = call!(suite, hook_call(&id)).unwrap().unwrap();
    assert_eq!((held.state, held.next_try_at, held.done_at), (CallState::Waiting, Some(hours(3)), None));
    assert_eq!((held.last_status, held.last_error.as_deref()), (Some(503), Some("busy")));

    // While the first waits, the second goes; whoever holds it goes away.
    let leased = lease(suite, &hook, hours(2)).await.unwrap();
    assert_eq!(leased.call.alert_id.as_ref(), Some(&second.id));
    let again = lease(suite, &hook, hours(2).plus(MINUTE)).await.unwrap();
    assert_eq!((&again.call.id, again.call.attempts), (&leased.call.id, 2));
    let delivered = CallEnd::Delivered { status: 204 };
    assert!(!call!(suite, end_call(&again.call.id, leased.token, &delivered, hours(2))).unwrap());
    assert!(call!(suite, end_call(&again.call.id, again.token, &delivered, hours(2))).unwrap());
    let held = call!(suite, hook_call(&again.call.id)).unwrap().unwrap();
    assert_eq!((held.state, held.last_status, held.last_error), (CallState::Delivered, Some(204), None));
    assert_eq!((held.next_try_at, held.done_at), (None, Some(hours(2))));

    // The bytes and the id are those of the first time, replayed too.
    let leased = lease(suite, &hook, hours(3)).await.unwrap();
    assert_eq!((&leased.call.id, leased.call.body.as_deref()), (&id, Some("{\"a\":1}")));
    let failed = CallEnd::Failed { status: None, error: "nobody there".into() };
    assert!(call!(suite, end_call(&id, leased.token, &failed, hours(3))).unwrap());
    assert!(lease(suite, &hook, hours(999)).await.is_none());
    assert!(call!(suite, replay_call(&id, hours(4))).unwrap());
    let leased = lease(suite, &hook, hours(4)).await.unwrap();
    assert_eq!((leased.call.attempts, leased.call.tries), (3, 1), "its tries begin anew");
    assert_eq!((leased.call.body.as_deref(), leased.call.replayed_at), (Some("{\"a\":1}"), Some(hours(4))));
    assert!(call!(suite, end_call(&id, leased.token, &delivered, hours(4))).unwrap());
    let none = call!(suite, replay_call("none", hours(4)));
    assert!(matches!(none, Err(StoreError::NotFound { .. })));
}

pub async fn off(suite: &Suite) {
    let (orchard, hook) = hooked(suite, None).await;
    let tested = rows::id("call");
    call!(suite, add_test_call(&tested, &hook.id, SPRING.plus(-HOUR))).unwrap();
    let taken = call!(suite, add_test_call(&tested, &hook.id, SPRING));
    assert!(matches!(taken, Err(StoreError::Conflict { .. })));
    let due = told(suite, &orchard, "due").await;
    let leased = lease(suite, &hook, hours(1)).await.unwrap();
    assert_eq!((&leased.call.id, &leased.alert), (&tested, &None));
    let gone = CallEnd::Gone { status: 410, because: "it answered 410".into() };
    assert!(call!(suite, end_call(&tested, leased.token, &gone, hours(1))).unwrap());
    let held = call!(suite, hook(&hook.id)).unwrap().unwrap();
    assert_eq!((held.off_at, held.off_because.as_deref()), (Some(hours(1)), Some("it answered 410")));
    assert_eq!(held.version, 2);
    let waited = calls(suite, &hook).await.into_iter().find(|call| call.alert_id.as_ref() == Some(&due.id));
    let waited = waited.unwrap();
    assert_eq!((waited.state, waited.attempts), (CallState::Failed, 0), "what waits is given up");
    assert!(waited.last_error.unwrap().contains("switched off"));
    told(suite, &orchard, "overrun").await;
    assert_eq!(calls(suite, &hook).await.len(), 2, "no call while it is off");
    assert!(call!(suite, replay_call(&tested, hours(2))).unwrap());
    assert!(lease(suite, &hook, hours(2)).await.is_none());

    // On again it is called, and what someone asked for is not given up as too old.
    let on = Hook { off_at: None, off_because: None, ..held.clone() };
    call!(suite, change_hook(&held, &on)).unwrap();
    let late = told(suite, &orchard, "started").await;
    let (when, reason) = (hours(200_000), "of no use");
    assert!(call!(suite, give_up_calls(when)).unwrap() >= 1);
    let state = async |alert: &AlertRow| {
        let all = calls(suite, &hook).await;
        all.into_iter().find(|call| call.alert_id.as_ref() == Some(&alert.id)).unwrap()
    };
    let given_up = state(&late).await;
    assert_eq!((given_up.state, given_up.next_try_at), (CallState::Failed, None));
    assert!(given_up.last_error.unwrap().contains(reason));
    assert!(call!(suite, replay_call(&given_up.id, when)).unwrap());
    assert!(call!(suite, replay_call(&tested, when)).unwrap());
    call!(suite, give_up_calls(when)).unwrap();
    assert!(lease(suite, &hook, when).await.is_some());
}

/// What a receiver may know is taken back, and what none was told is not sent.
pub async fn taken_back(suite: &Suite) {
    let (orchard, hook) = hooked(suite, Some(&["due"])).await;
    let notice = |of: &AlertRow| AlertWrite::Withdraw {
        alert_id: of.id.clone(),
        notice: AlertRow {
            id: rows::id("alert"),
            kind: "withdrawn".into(),
            subject: of.id.clone(),
            ..alert(orchard.block(), "withdrawn", AlertStatus::Told)
        },
    };
    let untold = told(suite, &orchard, "due").await;
    write(suite, &orchard, vec![notice(&untold)]).await;
    let held = calls(suite, &hook).await;
    assert_eq!((held.len(), held[0].state, held[0].attempts), (1, CallState::Failed, 0));
    assert_eq!(call!(suite, alert(&untold.id)).unwrap().unwrap().status, AlertStatus::Skipped);
    // Told after all, it waits again.
    let tell = AlertWrite::Tell {
        alert_id: untold.id.clone(),
        about: untold.about.clone(),
        useful_until: hours(100_000),
        reason: "for tests".into(),
        to: vec![],
    };
    write(suite, &orchard, vec![tell]).await;
    let leased = lease(suite, &hook, hours(1)).await.unwrap();
    assert_eq!(leased.call.alert_id.as_ref(), Some(&untold.id));
    assert!(call!(suite, end_call(&leased.call.id, leased.token, &later(hours(9)), hours(1))).unwrap());

    write(suite, &orchard, vec![notice(&untold)]).await;
    assert!(call!(suite, alert(&untold.id)).unwrap().unwrap().withdrawn_at.is_some());
    let held = calls(suite, &hook).await;
    let (back, first): (Vec<_>, Vec<_>) = held.iter().partition(|call| call.kind == "alert.withdrawn");
    assert_eq!((back.len(), back[0].state), (1, CallState::Waiting), "though only `due` was wanted");
    assert_eq!((first.len(), first[0].state), (1, CallState::Failed), "it is not tried again");

    // A closed one that a receiver may know stays told.
    let (orchard, hook) = hooked(suite, None).await;
    let close =
        |of: &AlertRow| AlertWrite::Close { alert_id: of.id.clone(), at: hours(2), reason: "sprayed".into() };
    let due = told(suite, &orchard, "due").await;
    let leased = lease(suite, &hook, hours(1)).await.unwrap();
    let overrun = told(suite, &orchard, "overrun").await;
    write(suite, &orchard, vec![close(&due), close(&overrun)]).await;
    let status = async |of: &AlertRow| call!(suite, alert(&of.id)).unwrap().unwrap().status;
    assert_eq!((status(&due).await, status(&overrun).await), (AlertStatus::Told, AlertStatus::Skipped));
    let delivered = CallEnd::Delivered { status: 200 };
    assert!(call!(suite, end_call(&leased.call.id, leased.token, &delivered, hours(2))).unwrap());
    assert!(lease(suite, &hook, hours(3)).await.is_none());
}

pub async fn given_up(suite: &Suite) {
    let (orchard, hook) = hooked(suite, None).await;
    told(suite, &orchard, "due").await;
    let leased = lease(suite, &hook, hours(1)).await.unwrap();
    assert!(call!(suite, give_up_unsent("the database was restored")).unwrap() >= 1);
    let held = calls(suite, &hook).await.remove(0);
    assert_eq!((held.state, held.next_try_at), (CallState::Failed, None));
    assert!(held.last_error.unwrap().contains("restored"));
    let delivered = CallEnd::Delivered { status: 200 };
    assert!(!call!(suite, end_call(&leased.call.id, leased.token, &delivered, hours(1))).unwrap());
    assert!(lease(suite, &hook, hours(2)).await.is_none());
}

/// Nobody sees or changes another farm's.
pub async fn walls(suite: &Suite) {
    let ((_, mine), (_, theirs)) = (hooked(suite, None).await, hooked(suite, None).await);
    let called = rows::id("call");
    call!(suite, add_test_call(&called, &theirs.id, SPRING)).unwrap();
    let advisor = member(suite, &mine.farm_id, Role::Advisor).await;
    let store = on_behalf(suite, &advisor, SPRING);
    assert_eq!(store.hooks_of(&mine.farm_id).await.unwrap(), std::slice::from_ref(&mine));
    assert_eq!(store.hook(&theirs.id).await.unwrap(), None);
    assert_eq!(store.hooks_of(&theirs.farm_id).await.unwrap(), []);
    assert_eq!(store.hook_calls(&theirs.id, None, 9).await.unwrap(), []);
    assert_eq!(store.hook_call(&called).await.unwrap(), None);
    let new = Hook { id: rows::id("hook"), ..theirs.clone() };
    assert!(store.add_hook(&new).await.is_err());
    assert!(store.change_hook(&theirs, &Hook { name: "Mine".into(), ..theirs.clone() }).await.is_err());
    assert!(store.remove_hook(&theirs).await.is_err());
    assert!(store.add_test_call(&rows::id("call"), &theirs.id, SPRING).await.is_err());
    assert!(store.replay_call(&called, SPRING).await.is_err());
    assert_eq!(call!(suite, hook(&theirs.id)).unwrap(), Some(theirs.clone()));
    assert_eq!(calls(suite, &theirs).await.len(), 1);
    // One's own is changed and removed, and it is noted who did.
    let version = store.change_hook(&mine, &Hook { name: "Desk".into(), ..mine.clone() }).await.unwrap();
    store.add_test_call(&rows::id("call"), &mine.id, SPRING).await.unwrap();
    store.remove_hook(&Hook { version, ..mine.clone() }).await.unwrap();
    let deeds = call!(suite, audit(Some(&mine.farm_id), store::AuditPart::After(0), 100)).unwrap();
    let deeds: Vec<&str> =
        deeds.iter().filter(|deed| deed.kind == "hook").map(|deed| deed.deed.as_str()).collect();
    assert_eq!(deeds, ["changed", "tested", "removed"]);
}
