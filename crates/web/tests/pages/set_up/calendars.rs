use axum::http::StatusCode;
use store::Role;

use super::{led_to, refused};
use crate::house::{House, whole};

#[tokio::test]
async fn the_address_of_a_calendar_is_shown_once_and_is_revoked() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/calendars";
    assert!(house.page("/farms/alder", &ines).await.contains(&format!("href=\"{path}\"")));
    assert!(house.page(path, &ines).await.contains("never the alert"));
    refused(&house.fill(path, &[("name", " ")], &ines).await, &["id=\"name-wrong\"", "is missing"]);
    let made = house.fill(path, &[("name", "Nils’ <phone>")], &ines).await;
    assert_eq!(made.status, StatusCode::OK, "{}", made.body);
    whole(&made);
    let secret =
        made.body.split("https://bloom.example/calendar/").nth(1).unwrap().split(".ics").next().unwrap();
    let page = house.page(path, &ines).await;
    assert!(!page.contains(secret) && page.contains("Nils’ &#60;phone&#62;"), "{page}");
    assert!(page.contains("nobody has fetched it yet"), "{page}");
    let kept = house.store.calendars_of("alder").await.unwrap().remove(0);
    let revoke = format!("{path}/{}/revoked", kept.id);

    let nils = house.person("nils", "alder", Role::Grower).await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for (who, status) in [(&nils, StatusCode::FORBIDDEN), (&otto, StatusCode::NOT_FOUND)] {
        assert_eq!(house.get(path, Some(who)).await.status, status);
        for path in [path, &revoke] {
            assert_eq!(house.fill(path, &[("name", "x")], who).await.status, status, "{path}");
        }
    }
    let elders = format!("/farms/elder/calendars/{}/revoked", kept.id);
    assert_eq!(house.fill(&elders, &[], &otto).await.status, StatusCode::NOT_FOUND);
    assert_eq!(led_to(&house.fill(&revoke, &[], &ines).await), path);
    assert!(house.store.calendars_of("alder").await.unwrap().is_empty());
}
