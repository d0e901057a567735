//! Who gets alerts, what is said beside them, and what a restore may not repeat.

use model::time::{Instant, MINUTE};
use serde_json::json;
use store::*;

use crate::rows::{self, Orchard, SPRING, YEAR, alert, hours, message, new_alert, reckoned};
use crate::suite::{Suite, call};

fn contact(farm_id: &str, email: &str) -> Contact {
    Contact {
        id: rows::id("contact"),
        farm_id: farm_id.into(),
        name: "Ines Kolbe".into(),
        email: email.into(),
        pending_email: None,
        asked_at: SPRING,
        confirmed_at: None,
        wishes: json!({"kinds": ["due"]}),
        version: 1,
        created_at: SPRING,
    }
}

fn notice(farm_id: &str, to: &str) -> Notice {
    Word::AddressRemoved { farm: "Larkmoor".into() }.notice(farm_id, to, &rows::id("seed"), SPRING)
}

/// Tells one alert of an orchard's first block, and gives its id.
async fn told(suite: &Suite, orchard: &Orchard, kind: &str, to: &[&str]) -> String {
    let block = orchard.block();
    let stale = orchard.stale(suite, SPRING).await;
    let one = alert(block, kind, AlertStatus::Told);
    let write = reckoned(&stale[0], vec![new_alert(&one, to)]);
    assert_eq!(call!(suite, commit_reckoned(&[write], SPRING)).unwrap(), 1);
    one.id
}

pub async fn contacts(suite: &Suite) {
    let orchard = Orchard::planted(suite, 1).await;
    let (farm, block) = (orchard.farm.id.as_str(), orchard.block());
    let ines = contact(farm, "ines.kolbe@larkmoor.example");
    let asking = notice(farm, &ines.email);
    call!(suite, add_contact(&ines, std::slice::from_ref(&asking))).unwrap();
    let twice = Contact { id: rows::id("contact"), ..ines.clone() };
    assert!(matches!(call!(suite, add_contact(&twice, &[])), Err(StoreError::Conflict { .. })));
    assert_eq!(call!(suite, contact(&ines.id)).unwrap().as_ref(), Some(&ines));
    assert_eq!(call!(suite, contacts_of(farm)).unwrap(), std::slice::from_ref(&ines));
    let waiting = call!(suite, uncomposed_notices(10_000)).unwrap();
    assert!(waiting.contains(&asking), "the owner is asked in the same transaction");
    let confirmed = async || {
        let all = call!(suite, all_contacts()).unwrap();
        all.into_iter().any(|contact| contact.id == ines.id)
    };
    assert!(!confirmed().await, "nothing goes out before");

    let wrong = "other@larkmoor.example";
    assert!(!call!(suite, confirm_contact(&ines.id, wrong, hours(1))).unwrap());
    assert!(call!(suite, confirm_contact(&ines.id, &ines.email, hours(1))).unwrap());
    assert!(call!(suite, confirm_contact(&ines.id, &ines.email, hours(9))).unwrap(), "again does no harm");
    assert!(confirmed().await);
    let held = call!(suite, contact(&ines.id)).unwrap().unwrap();
    assert_eq!((held.confirmed_at, held.version), (Some(hours(1)), 2));

    // Another address waits beside the one that stands, until it is confirmed.
    let anew =
        Contact { pending_email: Some("kolbe@larkmoor.example".into()), asked_at: hours(2), ..held.clone() };
    call!(suite, change_contact(&held, &anew, &[])).unwrap();
    assert!(matches!(call!(suite, change_contact(&held, &anew, &[])), Err(StoreError::Changed { .. })));
    assert!(confirmed().await, "the old one gets alerts meanwhile");
    assert!(call!(suite, confirm_contact(&ines.id, "kolbe@larkmoor.example", hours(3))).unwrap());
    let held = call!(suite, contact(&ines.id)).unwrap().unwrap();
    assert_eq!((held.email.as_str(), held.pending_email.as_deref()), ("kolbe@larkmoor.example", None));

    // Of an address that is silenced, nobody is mailed; confirming lifts it.
    let silenced = Silenced {
        farm_id: farm.into(),
        email: held.email.clone(),
        because: Silence::Bounced,
        detail: Some("550 no such box".into()),
        at: hours(4),
    };
    assert!(call!(suite, silence(&silenced, &[])).unwrap());
    assert!(!call!(suite, silence(&silenced, &[])).unwrap(), "once");
    assert_eq!(call!(suite, silenced_of(farm)).unwrap(), std::slice::from_ref(&silenced));
    assert!(!confirmed().await);
    assert!(!call!(suite, caretakers(farm, "")).unwrap().contains(&held.email));
    let anew = Contact { pending_email: Some("back@larkmoor.example".into()), ..held.clone() };
    call!(suite, change_contact(&held, &anew, &[])).unwrap();
    assert!(call!(suite, confirm_contact(&ines.id, "back@larkmoor.example", hours(5))).unwrap());
    assert!(confirmed().await);
    // Whoever stopped mail and agrees to the same address again gets it again.
    let stopped = Silenced { because: Silence::Stopped, email: "back@larkmoor.example".into(), ..silenced };
    assert!(call!(suite, silence(&stopped, &[])).unwrap() && !confirmed().await);
    assert!(call!(suite, confirm_contact(&ines.id, "back@larkmoor.example", hours(6))).unwrap());
    assert!(confirmed().await);
    let care = call!(suite, caretakers(farm, "ole@larkmoor.example")).unwrap();
    assert_eq!(care, ["back@larkmoor.example", "ines@larkmoor.example"], "all but one, each once");

    let mute = Mute {
        contact_id: ines.id.clone(),
        block_id: block.into(),
        year: YEAR,
        state: "growing".into(),
        at: hours(6),
    };
    call!(suite, mute(&mute)).unwrap();
    call!(suite, mute(&Mute { at: hours(7), ..mute.clone() })).unwrap();
    assert_eq!(
        call!(suite, mutes_of(&ines.id)).unwrap(),
        std::slice::from_ref(&mute),
        "the first time holds"
    );
    let entry = rows::entry("mutes", SPRING, "note");
    call!(suite, append_entries(block, YEAR, &[entry])).unwrap();
    let stale = orchard.stale(suite, SPRING).await;
    assert_eq!((stale[0].mutes.as_slice(), stale[0].contacts.len()), ([mute].as_slice(), 1));
    assert!(call!(suite, unmute(&ines.id, block, YEAR)).unwrap());
    assert!(!call!(suite, unmute(&ines.id, block, YEAR)).unwrap());

    let held = call!(suite, contact(&ines.id)).unwrap().unwrap();
    call!(suite, remove_contact(&held, &[])).unwrap();
    assert_eq!(call!(suite, contact(&ines.id)).unwrap(), None);
    let key = call!(suite, house_key("for tests", "first")).unwrap();
    assert_eq!(
        (key.as_str(), call!(suite, house_key("for tests", "second")).unwrap()),
        ("first", key.clone())
    );
    let seal = call!(suite, seal()).unwrap();
    assert!(call!(suite, seal()).unwrap().is_of_mail("m", &seal.of_mail("m")), "one key for all");
}

pub async fn notices(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let farm = orchard.farm.id.as_str();
    let (one, other) = (notice(farm, "ines@larkmoor.example"), notice(farm, "ole@larkmoor.example"));
    call!(suite, add_notices(&[one.clone(), other.clone()])).unwrap();
    call!(suite, add_notices(std::slice::from_ref(&one))).unwrap();
    let mail = Message { purpose: Purpose::Notice, ..message(&one.recipient, SPRING) };
    assert!(call!(suite, carry_notice(&one.id, &mail)).unwrap());
    let copy = Message { purpose: Purpose::Notice, ..message(&one.recipient, SPRING) };
    assert!(!call!(suite, carry_notice(&one.id, &copy)).unwrap(), "one message each");
    assert_eq!(call!(suite, message(&copy.id)).unwrap(), None);
    assert_eq!(call!(suite, message(&mail.id)).unwrap().as_ref(), Some(&mail));
    call!(suite, give_up_notice(&other.id, "for tests")).unwrap();
    let left = call!(suite, uncomposed_notices(10_000)).unwrap();
    assert!(!left.iter().any(|notice| notice.id == one.id || notice.id == other.id));

    let heartbeat = Message {
        purpose: Purpose::Heartbeat,
        useful_until: Some(hours(1)),
        ..message("ops@larkmoor.example", SPRING)
    };
    assert!(call!(suite, add_once(&heartbeat)).unwrap() && !call!(suite, add_once(&heartbeat)).unwrap());
    call!(suite, give_up_outdated(SPRING)).unwrap();
    let waits = call!(suite, message(&heartbeat.id)).unwrap().unwrap();
    assert_eq!(waits.next_try_at, Some(SPRING), "of use until its hour is over");
    call!(suite, give_up_outdated(hours(1))).unwrap();
    assert_eq!(call!(suite, message(&heartbeat.id)).unwrap().unwrap().state, MessageState::Failed);

    // A mail that came back: told once, whoever carried it.
    let alert_id = told(suite, &orchard, "due", &["ines@larkmoor.example"]).await;
    let item = call!(suite, uncomposed(hours(1), 10_000)).unwrap();
    let item = item.into_iter().find(|item| item.alert.id == alert_id).unwrap();
    let carried = message("ines@larkmoor.example", SPRING);
    call!(suite, add_messages(&[(carried.clone(), vec![item.item.id.clone()])])).unwrap();
    assert_eq!(call!(suite, farms_of_mail(&carried.id)).unwrap(), [farm]);
    assert_eq!(call!(suite, alerts_in(&carried.id)).unwrap()[0].id, alert_id);
    assert_eq!(call!(suite, items_of(&alert_id)).unwrap()[0].because.as_deref(), Some("for tests"));
    assert!(!call!(suite, note_bounce(&carried.header_id, "550", hours(1))).unwrap(), "it never went out");
    let leased = call!(suite, lease_messages(hours(1), hours(2), 10_000, false)).unwrap();
    let leased = leased.into_iter().find(|leased| leased.message.id == carried.id).unwrap();
    assert_eq!(leased.carries[0].kind, "due");
    assert!(call!(suite, mark_offered(&carried.id, leased.token)).unwrap());
    assert!(call!(suite, mark_sent(&carried.id, leased.token, hours(1))).unwrap());
    assert!(call!(suite, message_by_header(&carried.header_id)).unwrap().is_some());
    assert!(call!(suite, note_bounce(&carried.header_id, "550 no such box", hours(2))).unwrap());
    assert!(!call!(suite, note_bounce(&carried.header_id, "550", hours(3))).unwrap(), "once");
    let failed = async || {
        let all = call!(suite, failed_untold(10_000)).unwrap();
        all.into_iter().find(|failed| failed.message.id == carried.id)
    };
    let untold = failed().await.unwrap();
    assert!(untold.bounced && untold.of[0].0.id == farm && untold.of[0].2 == "due", "{untold:?}");
    let tell = notice(farm, "ole@larkmoor.example");
    call!(suite, tell_failure(&carried.id, std::slice::from_ref(&tell), hours(3))).unwrap();
    assert_eq!(failed().await, None);
    assert!(call!(suite, uncomposed_notices(10_000)).unwrap().contains(&tell));
}

pub async fn another_way(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let (ines, ole) = ("ines@larkmoor.example", "ole@larkmoor.example");
    let alert_id = told(suite, &orchard, "due", &[ines]).await;
    let late = async |since: Instant, now: Instant| {
        let all = call!(suite, undelivered(since, now, 10_000)).unwrap();
        all.into_iter().find(|one| one.item.alert_id == alert_id)
    };
    assert_eq!(late(SPRING.plus(-1), hours(1)).await, None, "not yet");
    let one = late(SPRING, hours(1)).await.unwrap();
    assert_eq!((one.item.recipient.as_str(), one.kind.as_str(), &one.farm), (ines, "due", &orchard.farm));
    assert_eq!(late(SPRING, hours(200_000)).await, None, "of no use any more");
    let to = rows::addressed(&[ole]);
    assert!(call!(suite, try_another_way(&one.item.id, &alert_id, &to, hours(1))).unwrap());
    assert!(!call!(suite, try_another_way(&one.item.id, &alert_id, &to, hours(2))).unwrap(), "once");
    assert_eq!(late(SPRING, hours(1)).await.unwrap().item.recipient, ole, "the stand-in's own waits too");
    let items = call!(suite, items_of(&alert_id)).unwrap();
    assert_eq!(items.iter().map(|item| item.second_at).collect::<Vec<_>>(), [Some(hours(1)), None]);

    // What failed before the server heard of it goes out at once when it is back.
    let waiting = message(ines, SPRING);
    call!(suite, add_messages(&[(waiting.clone(), vec![one.item.id.clone()])])).unwrap();
    let lease = async |now: Instant, whenever: bool| {
        let all = call!(suite, lease_messages(now, now.plus(MINUTE), 10_000, whenever)).unwrap();
        all.into_iter().find(|leased| leased.message.id == waiting.id)
    };
    let leased = lease(hours(1), false).await.unwrap();
    assert!(call!(suite, mark_later(&waiting.id, leased.token, hours(9), "refused", true)).unwrap());
    assert!(lease(hours(2), false).await.is_none());
    let leased = lease(hours(2), true).await.expect("whenever it is due");
    assert!(call!(suite, mark_later(&waiting.id, leased.token, hours(9), "refused", true)).unwrap());
    assert!(call!(suite, hasten(hours(3))).unwrap() >= 1);
    let leased = lease(hours(3), false).await.unwrap();
    assert!(call!(suite, mark_later(&waiting.id, leased.token, hours(9), "451 greylisted", false)).unwrap());
    call!(suite, hasten(hours(4))).unwrap();
    assert!(lease(hours(4), false).await.is_none(), "what the server put off stays put off");
}

pub async fn journals(suite: &Suite) {
    let orchard = Orchard::in_bloom(suite).await;
    let (ines, ole) = ("ines@larkmoor.example", "ole@larkmoor.example");
    call!(suite, note_instance("north", SPRING)).unwrap();
    call!(suite, note_instance("north", hours(1))).unwrap();
    assert!(call!(suite, unread_journals()).unwrap().is_empty());
    assert_eq!(call!(suite, hold_for_journals("unknown", hours(1))).unwrap(), 1);
    assert_eq!(call!(suite, unread_journals()).unwrap(), ["north"]);

    // The journal knows of a mail that the restored database does not.
    let key = |recipient: &str, subject: &str, taken: bool| Journaled {
        header_id: format!("{recipient}@x"),
        recipient: recipient.into(),
        carries: vec![Carried {
            block_id: orchard.block().into(),
            year: YEAR,
            kind: "due".into(),
            subject: subject.into(),
            generation: 1,
        }],
        taken,
        at: hours(1),
    };
    let subject = alert(orchard.block(), "due", AlertStatus::Told).subject;
    assert_eq!(call!(suite, take_journal("north", &[key(ines, &subject, true)])).unwrap(), 0);
    assert!(call!(suite, unread_journals()).unwrap().is_empty());
    let alert_id = told(suite, &orchard, "due", &[ines, ole]).await;
    let waits: Vec<String> = call!(suite, uncomposed(hours(1), 10_000))
        .unwrap()
        .into_iter()
        .filter(|item| item.alert.id == alert_id)
        .map(|item| item.item.recipient)
        .collect();
    assert_eq!(waits, [ole], "nobody gets it again");

    // What is here and waits is settled by what the journal says of it.
    let item = call!(suite, items_of(&alert_id)).unwrap();
    assert!(item[0].unsent_because.as_deref().is_some_and(|why| why.contains("restored")), "{item:?}");
    let waiting = call!(suite, uncomposed(hours(1), 10_000)).unwrap();
    let waiting = waiting.into_iter().find(|item| item.alert.id == alert_id).unwrap();
    let mail = message(ole, SPRING);
    call!(suite, add_messages(&[(mail.clone(), vec![waiting.item.id])])).unwrap();
    let told = Journaled { header_id: mail.header_id.clone(), ..key(ole, &subject, false) };
    assert_eq!(call!(suite, take_journal("north", &[told])).unwrap(), 1);
    let settled = call!(suite, message(&mail.id)).unwrap().unwrap();
    assert_eq!((settled.state, settled.next_try_at), (MessageState::Failed, None), "it may have gone out");
    call!(suite, hold_for_journals("unknown", hours(2))).unwrap();
    assert_eq!(call!(suite, release()).unwrap(), ["north"]);
    assert!(call!(suite, release()).unwrap().is_empty());
}
