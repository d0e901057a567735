use api::Stirred;
use axum::http::StatusCode;
use store::{Message, MessageState, Notice, Purpose, Role};

use super::led_to;
use crate::house::House;

/// Puts a notice into a message as the deliver loop does.
async fn carried(house: &House, notice: &Notice) -> String {
    let message = Message {
        id: notice.id.clone(),
        header_id: format!("{}@larkmoor.example", notice.id),
        purpose: Purpose::Notice,
        recipient: notice.recipient.clone(),
        body: "From: x\r\n\r\nx\r\n".into(),
        composed_at: house.now(),
        state: MessageState::Ready,
        attempts: 0,
        next_try_at: Some(house.now()),
        last_error: None,
        sent_at: None,
        useful_until: None,
    };
    assert!(house.store.carry_notice(&notice.id, &message).await.unwrap());
    message.id
}

#[tokio::test]
async fn a_mail_to_oneself_goes_the_way_of_alerts_and_says_what_became_of_it() {
    let house = House::new().await;
    // The server is taken over while nobody is there.
    let ole = super::operator(&house).await;
    let ines = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/mail-test", &ines).await;
    for part in ["ines@larkmoor.example", "No mail server is set", "None has been sent yet."] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("<code>"), "the server's disk is its operator's");
    assert!(house.page("/mail-test", &ole).await.contains("The folder: <code>mails</code>"));
    let next = led_to(&house.fill("/mail-test", &[], &ines).await);
    assert!(house.page(&next, &ines).await.contains("It is on its way."));
    assert_eq!(*house.stirred.lock().unwrap(), [Stirred::Deliveries]);
    // A second press before it is sent asks for no second mail.
    led_to(&house.fill("/mail-test", &[], &ines).await);
    let waiting = house.store.uncomposed_notices(10).await.unwrap();
    let told: Vec<_> = waiting.iter().map(|one| (one.kind.as_str(), one.recipient.as_str())).collect();
    assert_eq!(told, [("trial", "ines@larkmoor.example")]);

    carried(&house, &waiting[0]).await;
    assert!(house.page("/mail-test", &ines).await.contains("waits to be sent"));
    let now = house.now();
    let leased = house.store.lease_messages(now, now.plus(60), 10, true).await.unwrap().remove(0);
    assert!(house.store.mark_sent(&leased.message.id, leased.token, now).await.unwrap());
    assert!(house.page("/mail-test", &ines).await.contains("written into the folder, and sent to nobody"));
    // The next one is another mail, and someone else sees neither.
    led_to(&house.fill("/mail-test", &[], &ines).await);
    let second = house.store.uncomposed_notices(10).await.unwrap().remove(0);
    assert_ne!(second.id, waiting[0].id);
    let nils = house.person("nils", "alder", Role::Grower).await;
    assert!(house.page("/mail-test", &nils).await.contains("None has been sent yet."));
}

#[tokio::test]
async fn a_box_is_not_filled() {
    let house = House::new().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    for _ in 0..6 {
        led_to(&house.fill("/mail-test", &[], &ines).await);
    }
    let answer = house.fill("/mail-test", &[], &ines).await;
    assert_eq!(answer.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(answer.body.contains("Six mails an hour are the most."), "{}", answer.body);
}
