use axum::http::StatusCode;
use store::Role;

use super::{led_to, operator};
use crate::house::House;

/// What stands behind each step's name, from the first to the last.
fn stands(page: &str) -> Vec<String> {
    let words = page.split("<span class=\"stands\">").skip(1);
    words.map(|rest| rest.split('<').next().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn from_the_claim_to_the_first_block_each_step_leads_to_the_next() {
    let house = House::bare().await;
    let ole = operator(&house).await;
    assert!(house.page("/", &ole).await.contains("href=\"/begin\""), "home leads to the steps");
    let page = house.page("/begin", &ole).await;
    assert_eq!(stands(&page), ["next", "then", "then", "then", "then"]);
    assert!(
        page.contains("class=\"button\" href=\"/farms/new\"") && page.contains("bloomtide demo"),
        "{page}"
    );

    let fields =
        [("name", "Alder <Ridge>"), ("alert_emails", "ines@larkmoor.example\r\n\r\nole@larkmoor.example")];
    let next = led_to(&house.fill("/farms/new", &fields, &ole).await);
    let page = house.page(&next, &ole).await;
    assert_eq!(stands(&page), ["done", "next", "then", "then", "then"]);
    let farm = house.store.farms(None, 10).await.unwrap().remove(0);
    assert_eq!(next, format!("/begin?farm={}", farm.id));
    assert_eq!(farm.alert_emails, ["ines@larkmoor.example", "ole@larkmoor.example"]);

    let new_site = format!("/farms/{}/sites/new", farm.id);
    assert!(page.contains(&format!("class=\"button\" href=\"{new_site}\"")), "{page}");
    let place = [
        ("name", "Ridge"),
        ("latitude", "40° 41.55' N"),
        ("longitude", "74,1687 W"),
        ("time_zone", "America/New_York"),
        ("elevation_m", "12"),
        ("source", "feed:sky"),
    ];
    let next = led_to(&house.fill(&new_site, &place, &ole).await);
    let site = house.store.sites(Some(&farm.id), None, 10).await.unwrap().remove(0);
    assert_eq!(next, format!("/sites/{}/feed-test", site.id));
    assert_eq!((site.latitude, site.longitude, site.elevation_m), (40.6925, -74.1687, Some(12.0)));
    let source = house.store.sources_of(&site.id).await.unwrap().remove(0);
    assert_eq!((source.provider.as_deref(), source.cell.as_deref()), (Some("sky"), Some("40.7,-74.2")));
    assert_eq!(stands(&house.page("/begin", &ole).await), ["done", "done", "next", "then", "then"]);

    let reading = [model::series::Reading::instant(house.now().plus(-600), 9.5)];
    house.store.store_readings(&source.id, &reading, house.now()).await.unwrap();
    let page = house.page("/begin", &ole).await;
    assert_eq!(stands(&page), ["done", "done", "done", "next", "then"]);

    let block = [
        ("name", "North <Bench>"),
        ("cultivar", "Gala"),
        ("site_id", &site.id),
        ("curve", "reference"),
        ("target_fruit_per_tree", "115"),
    ];
    let next = led_to(&house.fill(&format!("/farms/{}/blocks/new", farm.id), &block, &ole).await);
    let page = house.page(&next, &ole).await;
    assert!(page.contains("The block is there.") && page.contains("115 fruit a tree, as entered."), "{page}");
    assert!(!page.contains("<Bench>"));
    // Mail can be tried later: a block is a block.
    assert_eq!(stands(&house.page("/begin", &ole).await), ["done", "done", "done", "next", "done"]);
    assert!(!house.page("/", &ole).await.contains("href=\"/begin\""), "a block is there");
    house.post("/sign-out", "").await;
    let again = house
        .post("/sign-in", &format!("email=ole%40larkmoor.example&password={}", crate::house::PASSWORD))
        .await;
    assert_eq!(led_to(&again), "/");
}

#[tokio::test]
async fn the_steps_are_for_who_sets_up() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/begin", &ines).await;
    assert!(page.contains("/blocks/bench/change") && page.contains("/farms/alder/change"), "{page}");
    assert!(!page.contains("/farms/new") && !page.contains("Elder"), "{page}");
    assert_eq!(house.get("/begin?farm=elder", Some(&ines)).await.status, StatusCode::NOT_FOUND);
    for role in [Role::Grower, Role::Consultant] {
        let cookie = house.person(role.word(), "alder", role).await;
        for path in [
            "/begin",
            "/farms/new",
            "/farms/alder/change",
            "/farms/alder/sites/new",
            "/farms/alder/blocks/new",
            "/blocks/bench/change",
            "/blocks/bench/seasons/2013/plan",
        ] {
            let answer = house.get(path, Some(&cookie)).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}: {}", answer.body);
        }
        assert!(!house.page("/", &cookie).await.contains("/begin"));
    }
}

/// Every form: not another farm's, and not without a role that may.
#[tokio::test]
async fn nothing_is_changed_by_who_may_not() {
    let house = House::planted().await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    let before = (house.store.farm("alder").await.unwrap(), house.store.block("bench").await.unwrap());
    for path in [
        "/farms/alder/change",
        "/farms/alder/sites/new",
        "/farms/alder/blocks/new",
        "/blocks/bench/change",
        "/blocks/bench/seasons/2013/plan",
    ] {
        let fields = [("name", "Mine"), ("cultivar", "Gala"), ("tag", "*")];
        assert_eq!(house.get(path, Some(&otto)).await.status, StatusCode::NOT_FOUND, "{path}");
        let answer = house.fill(path, &fields, &otto).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        assert!(!answer.body.contains("Alder") && !answer.body.contains("Bench"), "{path}: {}", answer.body);
        assert_eq!(house.fill(path, &fields, &nils).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    assert_eq!(house.fill("/farms/new", &[("name", "Mine")], &otto).await.status, StatusCode::FORBIDDEN);
    assert_eq!((house.store.farm("alder").await.unwrap(), house.store.block("bench").await.unwrap()), before);
    assert_eq!(house.store.plan("bench", 2013).await.unwrap(), None);
    // What another site's page sends is refused before anything is looked at.
    let elsewhere = crate::house::From {
        peer: "127.0.0.1:40000",
        headers: &[("host", "localhost:8420"), ("sec-fetch-site", "cross-site")],
    };
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let answer = house.send("POST", "/farms/alder/change", "name=Mine", &elsewhere, Some(&ines)).await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
}
