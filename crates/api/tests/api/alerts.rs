//! Alerts.

use model::time::Instant;
use serde_json::{Value, json};
use store::{Addressed, AlertRow, AlertStatus, AlertWrite, Message, MessageState, Purpose};

use crate::house::{House, NOW, counts};
use crate::season::reckon;

pub fn alert(id: &str, kind: &str, raised_at: Instant) -> AlertWrite {
    AlertWrite::New {
        alert: AlertRow {
            id: id.to_owned(),
            block_id: "bench".to_owned(),
            year: 2013,
            kind: kind.to_owned(),
            subject: "start".to_owned(),
            generation: 1,
            status: AlertStatus::Told,
            reason: None,
            about: json!({"mark": 0.6}),
            raised_at,
            useful_until: raised_at.plus(72 * 3_600),
            withdrawn_at: None,
            acknowledged_at: None,
            mailed: false,
        },
        to: vec![Addressed::sent("crew@alder-ridge.example", "for tests")],
    }
}

async fn house_with_alerts() -> House {
    let house = House::planted().await;
    house.post("blocks/bench/seasons/2013/log", json!({"entries": counts()})).await.expect(201);
    let now = house.now();
    reckon(&house, &[alert("a-1", "started", now), alert("a-2", "due", now)]).await;
    house
}

fn ids(list: &Value) -> Vec<&str> {
    list["items"].as_array().unwrap().iter().map(|item| item["id"].as_str().unwrap()).collect()
}

#[tokio::test]
async fn alerts_are_listed_by_block_and_farm() {
    let house = house_with_alerts().await;
    for path in
        ["alerts", "alerts?block_id=bench", "alerts?farm_id=alder", "alerts?farm_id=alder&block_id=bench"]
    {
        assert_eq!(ids(&house.get(path).await.expect(200)), ["a-1", "a-2"], "{path}");
    }
    assert_eq!(ids(&house.get("alerts?farm_id=other").await.expect(200)), [""; 0]);
    let first = house.get("alerts?limit=1").await.expect(200);
    assert_eq!(ids(&first), ["a-1"]);
    let next = format!("alerts?limit=1&after={}", first["next"].as_str().unwrap());
    assert_eq!(ids(&house.get(&next).await.expect(200)), ["a-2"]);
}

#[tokio::test]
async fn an_alert_shows_the_mails_that_carry_it() {
    let house = house_with_alerts().await;
    assert_eq!(house.get("alerts/a-2").await.expect(200)["messages"], json!([]));
    let items = house.store.uncomposed(Instant::MAX, 10).await.unwrap();
    let item = items.iter().find(|item| item.alert.id == "a-2").unwrap().item.id.clone();
    let message = Message {
        purpose: Purpose::Alerts,
        useful_until: None,
        id: "m".into(),
        header_id: "m@bloomtide.example".into(),
        recipient: "crew@alder-ridge.example".into(),
        body: "Subject: due\r\n\r\n".into(),
        composed_at: house.now(),
        state: MessageState::Ready,
        attempts: 0,
        next_try_at: Some(house.now()),
        last_error: None,
        sent_at: None,
    };
    house.store.add_messages(&[(message, vec![item])]).await.unwrap();
    let shown = house.get("alerts/a-2").await.expect(200);
    assert_eq!((&shown["kind"], &shown["about"]), (&json!("due"), &json!({"mark": 0.6})));
    let mail = &shown["messages"][0];
    assert_eq!(mail["header_id"], "m@bloomtide.example");
    assert_eq!(mail["recipient"], "crew@alder-ridge.example");
    assert_eq!((&mail["state"], &mail["sent_at"]), (&json!("ready"), &Value::Null));
    assert_eq!(mail.get("body"), None);
}

#[tokio::test]
async fn the_first_to_take_note_holds() {
    let house = house_with_alerts().await;
    let path = "alerts/a-1/acknowledgement";
    assert_eq!(house.post(path, json!({})).await.expect(200)["acknowledged_at"], NOW);
    house.set_clock("2013-06-03T13:00:00Z");
    assert_eq!(house.post(path, json!({})).await.expect(200)["acknowledged_at"], NOW);
    assert_eq!(house.get("alerts/a-1").await.expect(200)["acknowledged_at"], NOW);
    house.get("alerts/none").await.problem(404);
    house.post("alerts/none/acknowledgement", json!({})).await.problem(404);
}
