//! What is moved, archived, closed and taken over.

use axum::http::StatusCode;
use store::Role;

use super::{led_to, refused};
use crate::house::{House, tag};

impl House {
    /// With the site `hill` of the farm `alder`.
    async fn with_hill() -> House {
        let house = House::planted().await;
        let site = store::Site {
            id: "hill".into(),
            farm_id: Some("alder".into()),
            name: "The <Hill>".into(),
            time_zone: "America/Chicago".into(),
            ..house.store.site("ridge").await.unwrap().unwrap()
        };
        house.store.add_site(&site).await.unwrap();
        house
    }
}

#[tokio::test]
async fn a_block_moves_to_another_site_and_keeps_the_weather_it_had() {
    let house = House::with_hill().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/blocks/bench/site";
    assert!(house.page("/blocks/bench/change", &ines).await.contains(&format!("href=\"{path}\"")));
    let page = house.page(path, &ines).await;
    assert!(page.contains("Its temperature has always been that of Ridge."), "{page}");
    let read = tag(&page, "typed");
    let typed = |site: &'static str, day: &'static str, since: &'static str| {
        [("site_id", site), ("day", day), ("since", since), ("tag", read.as_str())]
    };
    for (site, day, since, field, says) in [
        ("hill", "", "06:00", "since", "“” is no day"),
        ("hill", "2013-06-01", "6 am", "since", "“6 am” is no time"),
        ("hill", "2013-03-10", "02:30", "since", "does not come on this day"),
        ("hill", "2013-06-05", "06:00", "since", "lies ahead"),
        ("meadow", "2013-06-01", "06:00", "site_id", "there is no site `meadow`"),
    ] {
        let answer = house.fill(path, &typed(site, day, since), &ines).await;
        refused(&answer, &[says, &format!("id=\"{field}-wrong\"")]);
    }
    assert_eq!(house.store.block("bench").await.unwrap().unwrap().site_id, "ridge");
    let page = house
        .page(&led_to(&house.fill(path, &typed("hill", "2013-06-01", "06:00"), &ines).await), &ines)
        .await;
    for part in [
        "Saved.",
        "Its temperature is that of The &#60;Hill&#62; since Sat 1 Jun 2013, 06:00 CDT.",
        "Before that it was that of Ridge, until Sat 1 Jun 2013, 06:00 CDT.",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let late = house.fill(path, &typed("hill", "2013-06-02", "06:00"), &ines).await;
    refused(&late, &["Someone else changed this", "value=\"2013-06-02\""]);
}

#[tokio::test]
async fn a_block_is_archived_and_taken_up_again() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/blocks/bench/change", &ines).await;
    assert!(page.contains("nothing is told of it any more") && !page.contains("/taken-up"), "{page}");
    assert_eq!(led_to(&house.fill("/blocks/bench/archived", &[], &ines).await), "/blocks/bench");
    assert!(house.page("/blocks/bench", &ines).await.contains("Archived: it is only read any more."));
    let page = house.page("/blocks/bench/change", &ines).await;
    let read = tag(&page, "take-up-typed");
    refused(
        &house.fill("/blocks/bench/taken-up", &[("tag", "\"other\"")], &ines).await,
        &["Someone else changed this"],
    );
    led_to(&house.fill("/blocks/bench/taken-up", &[("tag", &read)], &ines).await);
    assert_eq!(house.store.block("bench").await.unwrap().unwrap().archived_at, None);
}

#[tokio::test]
async fn a_farm_is_closed_and_opened_again() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    assert!(house.page("/farms/alder", &ines).await.contains("href=\"/farms/alder/change\""));
    assert!(house.page("/farms/alder/change", &ines).await.contains("no alert goes to anyone"));
    assert_eq!(led_to(&house.fill("/farms/alder/closed", &[], &ines).await), "/farms/alder");
    assert!(house.page("/farms/alder", &ines).await.contains("This farm was closed on"));
    let read = tag(&house.page("/farms/alder/change", &ines).await, "open-typed");
    refused(
        &house.fill("/farms/alder/opened", &[("tag", "\"other\"")], &ines).await,
        &["Someone else changed this"],
    );
    led_to(&house.fill("/farms/alder/opened", &[("tag", &read)], &ines).await);
    assert_eq!(house.store.farm("alder").await.unwrap().unwrap().closed_at, None);
}

#[tokio::test]
async fn a_season_opens_with_the_plan_of_the_year_before() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.store.set_plan("bench", 2011, 0, &crate::orchard::plan(), house.now()).await.unwrap();
    let path = "/blocks/bench/seasons/2013/plan";
    let page = house.page(path, &ines).await;
    assert!(
        page.contains("Take over the plan of 2011") && page.contains("name=\"from\" value=\"2011\""),
        "{page}"
    );
    let open = "/blocks/bench/seasons/2013/opened";
    refused(&house.fill(open, &[("from", "2010")], &ines).await, &["has no plan for 2010 to take over"]);
    let page = house.page(&led_to(&house.fill(open, &[("from", "2011")], &ines).await), &ines).await;
    assert!(page.contains("Saved.") && !page.contains("Take over the plan"), "{page}");
    assert_eq!(house.store.plan("bench", 2013).await.unwrap().unwrap().doc, crate::orchard::plan());
    refused(&house.fill(open, &[("from", "2011")], &ines).await, &["has a plan for 2013 already"]);
}

#[tokio::test]
async fn who_does_not_set_the_farm_up_does_none_of_it() {
    let house = House::with_hill().await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for path in [
        "/blocks/bench/site",
        "/blocks/bench/archived",
        "/blocks/bench/taken-up",
        "/farms/alder/closed",
        "/farms/alder/opened",
        "/blocks/bench/seasons/2013/opened",
    ] {
        let typed = [("site_id", "hill"), ("day", "2013-06-01"), ("since", "06:00"), ("tag", "*")];
        assert_eq!(house.fill(path, &typed, &nils).await.status, StatusCode::FORBIDDEN, "{path}");
        assert_eq!(house.fill(path, &typed, &otto).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    assert!(!house.page("/blocks/bench", &nils).await.contains("/blocks/bench/change"));
    let block = house.store.block("bench").await.unwrap().unwrap();
    assert_eq!((block.site_id.as_str(), block.archived_at), ("ridge", None));
}
