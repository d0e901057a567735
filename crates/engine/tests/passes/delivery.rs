//! What goes out beside the alerts, when it waits, and which other way it takes.

use model::time::MINUTE;
use store::{AlertRow, Contact, ItemShown};

use super::*;

const INES: &str = "ines@quernstone.example";

/// A confirmed contact of the farm.
async fn contact(house: &House, id: &str, email: &str, wishes: serde_json::Value) {
    let contact = Contact {
        id: id.into(),
        farm_id: "farm".into(),
        name: id.into(),
        email: email.into(),
        pending_email: None,
        asked_at: BEGIN,
        confirmed_at: Some(BEGIN),
        wishes,
        version: 1,
        created_at: BEGIN,
    };
    house.engine.store.add_contact(&contact, &[]).await.unwrap();
}

async fn alert(house: &House, kind: &str) -> Option<AlertRow> {
    let alerts = house.engine.store.alerts_of("bench", 2013).await.unwrap();
    alerts.into_iter().find(|alert| alert.kind == kind)
}

async fn item(house: &House, kind: &str, recipient: &str) -> ItemShown {
    let alert = alert(house, kind).await.unwrap_or_else(|| panic!("{kind} was not told"));
    let items = house.engine.store.items_of(&alert.id).await.unwrap();
    items.into_iter().find(|item| item.recipient == recipient).unwrap()
}

/// Whether a mail to Ines is of a kind, by its header.
fn notices(house: &House, kind: &str) -> usize {
    let folder = house.folder.path().join("mail");
    let Ok(files) = std::fs::read_dir(folder) else { return 0 };
    let texts = files.map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap());
    texts
        .filter(|text| {
            text.contains(&format!("To: {INES}\r\n"))
                && text.contains(&format!("X-Bloomtide-Notice: {kind}\r\n"))
        })
        .count()
}

async fn passes(house: &House) {
    fetch::pass(&house.engine).await.unwrap();
    reckon::pass(&house.engine).await.unwrap();
    deliver::pass(&house.engine).await.unwrap();
}

/// Told at the first pass after three hours without a reading, by a service that has
/// been at work all the time.
#[tokio::test]
async fn a_site_that_is_not_heard_is_told_once() {
    let house = House::new(vec![Steady::new("steady", false)]).await;
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    house.set(1);
    passes(&house).await;
    let as_of = house.season("bench").await["as_of"].as_str().unwrap().parse::<Instant>().unwrap();
    let mut told_at = None;
    for step in 1..40 {
        house.clock.0.store(BEGIN.plus(HOUR + step * 6 * MINUTE).0, Ordering::SeqCst);
        reckon::pass(&house.engine).await.unwrap();
        if told_at.is_none() && alert(&house, "blind").await.is_some() {
            told_at = Some(house.clock.now());
        }
    }
    let told = alert(&house, "blind").await.unwrap();
    assert_eq!(told.subject, as_of.to_string(), "the last reading before it");
    let late = told_at.unwrap().since(as_of.plus(3 * HOUR));
    assert!((1..=6 * MINUTE).contains(&late), "the first pass after it: {late}");
    let all = house.engine.store.alerts_of("bench", 2013).await.unwrap();
    assert_eq!(all.iter().filter(|alert| alert.kind == "blind").count(), 1);
}

/// A service that was stopped for hours asks the feeds before it calls a site silent.
#[tokio::test]
async fn a_long_stop_calls_no_site_silent() {
    let house = House::new(vec![Steady::new("steady", false)]).await;
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    house.set(1);
    passes(&house).await;
    house.set(20);
    reckon::pass(&house.engine).await.unwrap();
    passes(&house).await;
    house.clock.0.fetch_add(6 * MINUTE, Ordering::SeqCst);
    passes(&house).await;
    assert_eq!(alert(&house, "blind").await, None);
}

/// What can wait waits for the end of quiet hours; what cannot does not, and the
/// evening before says that it may come. In the morning there is a digest.
#[tokio::test]
async fn quiet_hours_hold_and_tell_before() {
    let house = House::new(vec![Steady::new("steady", false)]).await;
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    let wishes = json!({"quiet": {"from": "21:00", "to": "06:00"}, "digest_at": "06:15", "time_zone": "America/New_York"});
    contact(&house, "ines", INES, wishes).await;
    // 20:00 in New York; the mark comes after 28.8 hours, at 00:48 of the night after.
    house.set(0);
    passes(&house).await;
    assert!(item(&house, "started", INES).await.message_id.is_some());
    house.set(5);
    passes(&house).await;
    let held = item(&house, "heads-up", INES).await;
    assert_eq!((held.message_id, held.hold_until), (None, Some(BEGIN.plus(10 * HOUR))), "until 06:00");
    assert!(item(&house, "heads-up", "grower@quernstone.example").await.message_id.is_some());
    house.set(10);
    passes(&house).await;
    assert!(item(&house, "heads-up", INES).await.message_id.is_some());
    assert_eq!(notices(&house, "digest"), 0);
    for minutes in [20, 40, 60] {
        house.clock.0.store(BEGIN.plus(10 * HOUR + minutes * MINUTE).0, Ordering::SeqCst);
        passes(&house).await;
    }
    assert_eq!(notices(&house, "digest"), 1, "once a morning");
    house.set(22);
    passes(&house).await;
    assert_eq!(notices(&house, "evening"), 0);
    for hours in [23, 24] {
        house.set(hours);
        passes(&house).await;
    }
    assert_eq!(notices(&house, "evening"), 1, "two hours before they begin");
    house.set(29);
    passes(&house).await;
    assert!(item(&house, "due", INES).await.message_id.is_some(), "in the midst of quiet hours");
}

/// What has not arrived after half an hour goes to those who stand in.
#[tokio::test]
async fn someone_stands_in_for_what_does_not_arrive() {
    let mut house = House::new(vec![Steady::new("steady", false)]).await;
    // A file where the folder of mails should be: nothing can be put there.
    std::fs::write(house.folder.path().join("mail"), "").unwrap();
    house.site("site", 200.0, Some("steady")).await;
    house.block("bench", "site").await;
    contact(&house, "ines", INES, json!({"kinds": [], "stand_in": true})).await;
    house.set(0);
    passes(&house).await;
    assert!(item(&house, "started", INES).await.unsent_because.is_some(), "she wants none of her own");
    let ole = "ole@quernstone.example";
    contact(&house, "ole", ole, json!({"kinds": ["decide"], "stand_in": true})).await;
    house.clock.0.store(BEGIN.plus(29 * MINUTE).0, Ordering::SeqCst);
    passes(&house).await;
    let stood_in = house.engine.store.items_of(&alert(&house, "started").await.unwrap().id).await.unwrap();
    assert!(stood_in.iter().all(|item| item.recipient != ole), "not before half an hour");
    house.clock.0.store(BEGIN.plus(31 * MINUTE).0, Ordering::SeqCst);
    passes(&house).await;
    let stands_in = item(&house, "started", ole).await;
    assert!(stands_in.because.unwrap().contains("has not reached grower@quernstone.example"));
    std::fs::remove_file(house.folder.path().join("mail")).unwrap();
    house.engine.outlet = Outlet::Folder(house.folder.path().join("mail"));
    house.set(2);
    passes(&house).await;
    assert_eq!(house.mails(), 3, "to the grower and to both who stand in, whatever they want of their own");
}
