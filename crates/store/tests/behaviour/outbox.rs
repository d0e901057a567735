//! Composing and sending.

use model::time::{Instant, MINUTE};
use store::{
    AlertRow, AlertStatus, AlertWrite, LeasedMessage, Message, MessageState, StoreError, Uncomposed,
};

use crate::rows::{self, Orchard, SPRING, alert, hours, message, new_alert, reckoned};
use crate::suite::{Suite, call};

const TO: &str = "ines@larkmoor.example";

/// Tells one alert to each of the recipients and gives its items.
async fn told(suite: &Suite, orchard: &Orchard, kind: &str, to: &[&str]) -> Vec<Uncomposed> {
    let block = orchard.block();
    call!(suite, append_entries(block, rows::YEAR, &[rows::entry(kind, SPRING, kind)])).unwrap();
    let stale = orchard.stale(suite, SPRING).await;
    let one = alert(block, kind, AlertStatus::Told);
    let write = reckoned(&stale[0], vec![new_alert(&one, to)]);
    assert_eq!(call!(suite, commit_reckoned(&[write], SPRING)).unwrap(), 1);
    let all = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
    all.into_iter().filter(|item| item.alert.id == one.id).collect()
}

/// A message that carries one alert.
async fn composed(suite: &Suite, at: Instant) -> (Message, String) {
    let orchard = Orchard::planted(suite, 1).await;
    let items = told(suite, &orchard, "due", &[TO]).await;
    let message = message(TO, at);
    let mails = [(message.clone(), vec![items[0].item.id.clone()])];
    assert_eq!(call!(suite, add_messages(&mails)).unwrap(), 1);
    (message, items[0].alert.id.clone())
}

async fn lease(suite: &Suite, id: &str, now: Instant) -> Option<LeasedMessage> {
    let leased = call!(suite, lease_messages(now, now.plus(10 * MINUTE), 10_000, false)).unwrap();
    assert!(leased.is_sorted_by_key(|leased| leased.message.composed_at), "the oldest first");
    leased.into_iter().find(|leased| leased.message.id == id)
}

async fn held(suite: &Suite, alert_id: &str) -> Message {
    call!(suite, messages_of(alert_id)).unwrap().remove(0)
}

pub async fn composing(suite: &Suite) {
    let orchard = Orchard::planted(suite, 1).await;
    let items = told(suite, &orchard, "started", &[TO, "ole@larkmoor.example"]).await;
    assert_eq!(items.len(), 2);
    assert_eq!((&items[0].farm, &items[0].site), (&orchard.farm, &orchard.site));
    assert_eq!((&items[0].block, items[0].item.recipient.as_str()), (&orchard.blocks[0], TO));
    let due = told(suite, &orchard, "due", &[TO]).await;
    let oldest = call!(suite, oldest_unsent()).unwrap().unwrap();
    assert!(oldest <= SPRING, "what is not composed waits too");

    // One mail carries two alerts; a second mail with one of them is left out.
    let (first, second) = (message(TO, hours(1)), message(TO, hours(1)));
    let carried = vec![items[0].item.id.clone(), due[0].item.id.clone()];
    let mails = [(first.clone(), carried.clone()), (second.clone(), vec![carried[1].clone()])];
    assert_eq!(call!(suite, add_messages(&mails)).unwrap(), 1);
    assert_eq!(call!(suite, messages_of(&due[0].alert.id)).unwrap(), std::slice::from_ref(&first));
    assert_eq!(call!(suite, add_messages(&mails)).unwrap(), 0);
    let unknown_item = [(second.clone(), vec!["none".to_owned()])];
    assert_eq!(call!(suite, add_messages(&unknown_item)).unwrap(), 0);

    let empty = [(second.clone(), vec![])];
    assert!(matches!(call!(suite, add_messages(&empty)), Err(StoreError::Refused(_))));
    let same_header = Message { header_id: first.header_id.clone(), ..second.clone() };
    let mails = [(same_header, vec![items[1].item.id.clone()])];
    assert!(matches!(call!(suite, add_messages(&mails)), Err(StoreError::Conflict { .. })));
    let left = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
    let left: Vec<_> = left.iter().filter(|item| item.farm.id == orchard.farm.id).collect();
    assert_eq!(left, [&items[1]], "all of a mail or nothing of it");
}

pub async fn sending(suite: &Suite) {
    let (mail, alert_id) = composed(suite, hours(2)).await;
    let id = mail.id.as_str();
    assert!(lease(suite, id, hours(2).plus(-1)).await.is_none(), "not due before");
    let leased = lease(suite, id, hours(2)).await.unwrap();
    assert_eq!((&leased.message, leased.unknown_before), (&mail, false));
    assert!(lease(suite, id, hours(2).plus(60)).await.is_none(), "leased to another");
    let token = leased.token;
    assert!(!call!(suite, mark_offered(id, token + 1)).unwrap());
    assert!(call!(suite, mark_offered(id, token)).unwrap());
    assert_eq!(held(suite, &alert_id).await.state, MessageState::Offered);
    let later = hours(2).plus(5 * MINUTE);
    assert!(call!(suite, mark_later(id, token, later, "451 greylisted", false)).unwrap());
    assert!(!call!(suite, mark_sent(id, token, later)).unwrap(), "the lease has ended");
    let waiting = held(suite, &alert_id).await;
    assert_eq!((waiting.state, waiting.attempts), (MessageState::Ready, 1));
    assert_eq!(waiting.last_error.as_deref(), Some("451 greylisted"));

    assert!(lease(suite, id, later.plus(-1)).await.is_none());
    let leased = lease(suite, id, later).await.unwrap();
    assert!(leased.token > token && !leased.unknown_before);
    assert!(call!(suite, mark_offered(id, leased.token)).unwrap());
    assert!(call!(suite, mark_sent(id, leased.token, later)).unwrap());
    let sent = held(suite, &alert_id).await;
    assert_eq!((sent.state, sent.sent_at), (MessageState::Sent, Some(later)));
    assert_eq!((sent.attempts, sent.next_try_at), (2, None));
    assert_eq!((sent.body, sent.header_id), (mail.body, mail.header_id), "the bytes stay");
    assert!(lease(suite, id, hours(999)).await.is_none());

    let (mail, alert_id) = composed(suite, hours(2)).await;
    let leased = lease(suite, &mail.id, hours(1_000)).await.unwrap();
    assert!(call!(suite, mark_failed(&mail.id, leased.token, "550 no such user")).unwrap());
    let failed = held(suite, &alert_id).await;
    assert_eq!((failed.state, failed.next_try_at), (MessageState::Failed, None));
    assert!(lease(suite, &mail.id, hours(9_999)).await.is_none());
}

pub async fn gone(suite: &Suite) {
    let (mail, alert_id) = composed(suite, hours(3)).await;
    let id = mail.id.as_str();
    // Gone before it offered anything: nothing is unknown.
    let now = hours(10_000);
    let first = lease(suite, id, now).await.unwrap();
    let now = now.plus(10 * MINUTE);
    let second = lease(suite, id, now).await.unwrap();
    assert!(!second.unknown_before && second.token > first.token);
    assert!(!call!(suite, mark_offered(id, first.token)).unwrap(), "the lease is another's");
    // Gone after it offered: the recipient may have a copy.
    assert!(call!(suite, mark_offered(id, second.token)).unwrap());
    assert!(lease(suite, id, now.plus(60)).await.is_none());
    let now = now.plus(10 * MINUTE);
    let third = lease(suite, id, now).await.unwrap();
    assert!(third.unknown_before);
    assert_eq!(third.message.state, MessageState::Unknown);
    assert!(third.message.last_error.is_some());
    assert!(!call!(suite, mark_sent(id, second.token, now)).unwrap(), "a late result is refused");
    assert!(call!(suite, mark_offered(id, third.token)).unwrap());
    let next = now.plus(MINUTE);
    assert!(call!(suite, mark_unknown(id, third.token, next, "cut after the dot")).unwrap());
    assert_eq!(held(suite, &alert_id).await.state, MessageState::Unknown);
    assert!(lease(suite, id, next.plus(-1)).await.is_none());
    assert!(lease(suite, id, next).await.unwrap().unknown_before);
}

/// What becomes of an alert, and of its mails, when it is taken back, closed or
/// re-timed while `sent` of its two mails is out.
struct Waiting {
    orchard: Orchard,
    alert_id: String,
    mails: Vec<Message>,
}

impl Waiting {
    async fn new(suite: &Suite) -> Waiting {
        let orchard = Orchard::planted(suite, 1).await;
        let items = told(suite, &orchard, "due", &[TO, "ole@larkmoor.example"]).await;
        let mails: Vec<(Message, Vec<String>)> = items
            .iter()
            .map(|item| (message(&item.item.recipient, hours(2)), vec![item.item.id.clone()]))
            .collect();
        assert_eq!(call!(suite, add_messages(&mails)).unwrap(), 2);
        let mails = mails.into_iter().map(|(mail, _)| mail).collect();
        Waiting { orchard, alert_id: items[0].alert.id.clone(), mails }
    }

    async fn write(&self, suite: &Suite, write: AlertWrite) {
        let note = rows::id("note");
        call!(suite, append_entries(self.orchard.block(), rows::YEAR, &[rows::entry(&note, SPRING, "")]))
            .unwrap();
        let stale = self.orchard.stale(suite, SPRING).await;
        assert_eq!(call!(suite, commit_reckoned(&[reckoned(&stale[0], vec![write])], SPRING)).unwrap(), 1);
    }

    async fn withdraw(&self, suite: &Suite) -> AlertRow {
        let notice = AlertRow {
            subject: self.alert_id.clone(),
            raised_at: hours(4),
            ..alert(self.orchard.block(), "withdrawn", AlertStatus::Told)
        };
        self.write(suite, AlertWrite::Withdraw { alert_id: self.alert_id.clone(), notice: notice.clone() })
            .await;
        notice
    }

    async fn tell_again(&self, suite: &Suite) {
        let tell = AlertWrite::Tell {
            alert_id: self.alert_id.clone(),
            about: rows::alert("x", "due", AlertStatus::Told).about,
            useful_until: hours(100_000),
            reason: "for tests".into(),
            to: rows::addressed(&[TO, "ole@larkmoor.example"]),
        };
        self.write(suite, tell).await;
    }

    async fn alert(&self, suite: &Suite) -> AlertRow {
        call!(suite, alert(&self.alert_id)).unwrap().unwrap()
    }

    /// Recipients for whom something waits to be composed, by alert.
    async fn uncomposed(&self, suite: &Suite) -> Vec<(String, String)> {
        let all = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
        let mine = all.into_iter().filter(|item| item.farm.id == self.orchard.farm.id);
        mine.map(|item| (item.alert.id, item.item.recipient)).collect()
    }
}

pub async fn taken_back(suite: &Suite) {
    // Before any server was offered a mail, not even by a sender at work:
    // nobody was told, so nothing is withdrawn.
    let waiting = Waiting::new(suite).await;
    let leased = lease(suite, &waiting.mails[0].id, hours(3)).await.unwrap();
    let notice = waiting.withdraw(suite).await;
    assert!(!call!(suite, mark_offered(&waiting.mails[0].id, leased.token)).unwrap());
    let alert = waiting.alert(suite).await;
    assert_eq!((alert.status, alert.withdrawn_at), (AlertStatus::Skipped, None));
    assert!(alert.reason.unwrap().contains("taken back"));
    assert_eq!(call!(suite, alert(&notice.id)).unwrap(), None);
    assert_eq!(call!(suite, messages_of(&waiting.alert_id)).unwrap(), []);
    assert_eq!(waiting.uncomposed(suite).await, []);
    // It holds again: the same generation is told after all.
    waiting.tell_again(suite).await;
    assert_eq!(waiting.uncomposed(suite).await.len(), 2);

    // One mail may have arrived: who may have it gets the notice, the other
    // mail stays here.
    let waiting = Waiting::new(suite).await;
    let sent = &waiting.mails[0];
    let leased = lease(suite, &sent.id, hours(3)).await.unwrap();
    assert!(call!(suite, mark_offered(&sent.id, leased.token)).unwrap());
    let notice = waiting.withdraw(suite).await;
    let alert = waiting.alert(suite).await;
    assert_eq!((alert.status, alert.withdrawn_at), (AlertStatus::Told, Some(hours(4))));
    assert_eq!(call!(suite, alert(&notice.id)).unwrap().unwrap().status, AlertStatus::Told);
    assert_eq!(waiting.uncomposed(suite).await, [(notice.id, sent.recipient.clone())]);
    assert_eq!(call!(suite, messages_of(&waiting.alert_id)).unwrap().len(), 1);
    assert!(lease(suite, &waiting.mails[1].id, hours(9_000)).await.is_none());
    // The first time holds.
    waiting.withdraw(suite).await;
    assert_eq!(waiting.uncomposed(suite).await.len(), 1);
}

pub async fn too_late(suite: &Suite) {
    let over = |waiting: &Waiting| AlertWrite::Close {
        alert_id: waiting.alert_id.clone(),
        at: hours(5),
        reason: "the spray is logged".into(),
    };
    // The spray is logged before anyone could be told.
    let waiting = Waiting::new(suite).await;
    waiting.write(suite, over(&waiting)).await;
    let alert = waiting.alert(suite).await;
    assert_eq!((alert.status, alert.reason.as_deref()), (AlertStatus::Skipped, Some("the spray is logged")));
    assert!(lease(suite, &waiting.mails[0].id, hours(9_000)).await.is_none());
    // The spray is taken back: both are told after all.
    waiting.tell_again(suite).await;
    assert_eq!(waiting.uncomposed(suite).await.len(), 2);

    // One was told: the alert stays told, the other mail is kept back.
    let waiting = Waiting::new(suite).await;
    let leased = lease(suite, &waiting.mails[0].id, hours(3)).await.unwrap();
    assert!(call!(suite, mark_offered(&waiting.mails[0].id, leased.token)).unwrap());
    waiting.write(suite, over(&waiting)).await;
    let alert = waiting.alert(suite).await;
    assert_eq!((alert.status, alert.useful_until), (AlertStatus::Told, hours(5)));
    assert_eq!(call!(suite, messages_of(&waiting.alert_id)).unwrap().len(), 1);
    // What may have arrived is not tried again once it is of no use.
    let next = hours(6);
    assert!(call!(suite, mark_unknown(&waiting.mails[0].id, leased.token, next, "cut")).unwrap());
    assert!(call!(suite, give_up_outdated(hours(6))).unwrap() >= 1);
    let unknown = held(suite, &waiting.alert_id).await;
    assert_eq!((unknown.state, unknown.next_try_at), (MessageState::Failed, None));
    assert!(unknown.last_error.unwrap().starts_with("cut; "));

    // Time alone makes a mail and an item outdated.
    let waiting = Waiting::new(suite).await;
    let second = told(suite, &waiting.orchard, "started", &[TO]).await;
    call!(suite, give_up_outdated(hours(99_999))).unwrap();
    assert_eq!(waiting.uncomposed(suite).await.len(), 1);
    call!(suite, give_up_outdated(hours(100_000))).unwrap();
    assert_eq!(waiting.uncomposed(suite).await, []);
    assert_eq!(held(suite, &waiting.alert_id).await.state, MessageState::Failed);
    assert_eq!(call!(suite, give_up_outdated(hours(100_000))).unwrap(), 0);
    assert_eq!(call!(suite, messages_of(&second[0].alert.id)).unwrap(), []);

    // An item that cannot be put into words waits no longer.
    let waiting = Waiting::new(suite).await;
    let second = told(suite, &waiting.orchard, "started", &[TO]).await;
    call!(suite, give_up_item(&second[0].item.id, "no words")).unwrap();
    assert_eq!(waiting.uncomposed(suite).await, []);
    let mails = [(message(TO, hours(1)), vec![second[0].item.id.clone()])];
    assert_eq!(call!(suite, add_messages(&mails)).unwrap(), 0);
}

/// The last of what is done to the outbox: nothing in it waits afterwards.
pub async fn given_up(suite: &Suite) {
    let waiting = Waiting::new(suite).await;
    let second = told(suite, &waiting.orchard, "started", &[TO]).await;
    let unsent = call!(suite, figures(SPRING)).unwrap().unsent;
    assert!(unsent >= 2, "{unsent}");
    assert_eq!(call!(suite, give_up_unsent("the operator said so")).unwrap(), unsent);
    let left = call!(suite, figures(SPRING)).unwrap();
    assert_eq!(left.unsent, 0);
    assert!(left.failed >= 1 && left.farms >= 1 && left.blocks >= 1 && left.seasons >= 1 && left.alerts >= 2);
    assert_eq!(call!(suite, oldest_unsent()).unwrap(), None);
    let mail = held(suite, &waiting.alert_id).await;
    assert_eq!(mail.state, MessageState::Failed);
    assert!(mail.last_error.unwrap().ends_with("the operator said so"));
    assert_eq!(call!(suite, messages_of(&second[0].alert.id)).unwrap(), []);
}

pub async fn retimed(suite: &Suite) {
    let waiting = Waiting::new(suite).await;
    let leased = lease(suite, &waiting.mails[0].id, hours(3)).await.unwrap();
    assert!(call!(suite, mark_offered(&waiting.mails[0].id, leased.token)).unwrap());
    let retime = AlertWrite::Retime {
        alert_id: waiting.alert_id.clone(),
        about: rows::alert("x", "due", AlertStatus::Told).about,
        useful_until: hours(100_000),
    };
    waiting.write(suite, retime).await;
    // The mail on its way stays as it is; the other is composed anew.
    let other = waiting.mails[1].recipient.clone();
    assert_eq!(waiting.uncomposed(suite).await, [(waiting.alert_id.clone(), other)]);
    assert_eq!(held(suite, &waiting.alert_id).await.id, waiting.mails[0].id);
}
