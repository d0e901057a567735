//! The page that a mail leads to says what becomes of the mail.

use axum::http::StatusCode;
use model::time::DAY;
use serde_json::json;
use store::{Addressed, AlertStatus, AlertWrite, Contact, Message, MessageState, Purpose};

use crate::house::{House, whole};
use crate::orchard::{log, plan};
use crate::told::alert;

const ON_LIST: &str = "office@larkmoor.example";
const CONTACT: &str = "runa@larkmoor.example";

/// North Bench with an alert that was mailed to an address of the farm's own list and to
/// a contact; gives the pages of the two mails.
async fn mailed() -> (House, [String; 2]) {
    let house = House::planted().await;
    let now = house.now();
    let contact = Contact {
        id: "c-1".into(),
        farm_id: "alder".into(),
        name: "Runa".into(),
        email: CONTACT.into(),
        pending_email: None,
        asked_at: now,
        confirmed_at: Some(now),
        wishes: json!({}),
        version: 1,
        created_at: now,
    };
    house.store.add_contact(&contact, &[]).await.unwrap();
    house.store.set_plan("bench", 2013, 0, &plan(), now).await.unwrap();
    house.write("bench", &log()).await;
    let to = [ON_LIST, CONTACT].map(|email| Addressed::sent(email, "wanted")).to_vec();
    let due = AlertWrite::New { alert: alert(&house, "due-1", "due", AlertStatus::Told), to };
    house.reckon_telling(&[due]).await;
    let waiting = house.store.uncomposed(now, 10).await.unwrap();
    assert_eq!(waiting.len(), 2);
    let mut pages = [String::new(), String::new()];
    for one in waiting {
        let id = format!("m-{}", one.item.id);
        let message = Message {
            id: id.clone(),
            header_id: format!("{id}@bloom.example"),
            purpose: Purpose::Alerts,
            recipient: one.item.recipient.clone(),
            body: "Spray due".into(),
            composed_at: now,
            state: MessageState::Ready,
            attempts: 0,
            next_try_at: Some(now.plus(DAY)),
            last_error: None,
            sent_at: None,
            useful_until: None,
        };
        let carried = house.store.add_messages(&[(message, vec![one.item.id])]).await.unwrap();
        assert_eq!(carried, 1);
        let mark = house.store.seal().await.unwrap().of_mail(&id);
        pages[usize::from(one.item.recipient == CONTACT)] = format!("/mail/{id}/{mark}");
    }
    (house, pages)
}

#[tokio::test]
async fn only_who_hears_no_more_is_told_so() {
    let (house, [on_list, contact]) = mailed().await;
    for what in ["note", "mute"] {
        let answer = house.post(&on_list, &format!("do={what}&alert=due-1")).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.body);
        whole(&answer);
        assert!(answer.body.contains("Mail about this block goes on"), "{what}: {}", answer.body);
        assert!(answer.body.contains("An advisor of the farm can take"), "{what}: {}", answer.body);
        assert!(!answer.body.contains("You hear no more"), "{what}: {}", answer.body);
        assert!(house.store.mutes_of("c-1").await.unwrap().is_empty());
    }
    let alerts = house
        .page("/farms/alder/alerts?year=2013", &house.person("tom", "alder", store::Role::Grower).await)
        .await;
    assert!(!alerts.contains("/due-1/noted"), "it is on record all the same: {alerts}");
    // Noted by another before: the block is muted for this one still, and that is said.
    let answer = house.post(&contact, "do=note&alert=due-1").await;
    let says = "That was noted already. You hear no more of this block until its state changes.";
    assert!(answer.body.contains(says), "{}", answer.body);
    assert_eq!(house.store.mutes_of("c-1").await.unwrap().len(), 1);
}
