//! A farm with the way to all that is kept of it.

use axum::http::StatusCode;
use store::Role;

use crate::house::House;

#[tokio::test]
async fn a_farm_shows_its_blocks_by_state_its_weather_and_its_people() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/farms/alder", &ines).await;
    for part in [
        "<h3>season over (1)</h3>",
        "<a href=\"/blocks/bench\">North &#60;Bench&#62;</a>, Gala",
        "/blocks/bench/seasons/2013/report",
        "<a href=\"/sites/ridge\">Ridge</a>, the server’s own",
        "<li>ines: grower</li>",
        "/farms/alder/sprays/2013",
        "/farms/alder/sprays/2012",
        "/farms/alder/verification",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("River Bend"), "{page}");
    assert!(
        house.page("/", &ines).await.contains("<a href=\"/farms/alder\">Alder &#60;Ridge&#62;: grower</a>")
    );
}

#[tokio::test]
async fn what_is_most_pressing_stands_first_and_archived_blocks_last() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let mut other = house.store.block("bench").await.unwrap().unwrap();
    for id in ["low", "old"] {
        (other.id, other.name) = (id.to_owned(), id.to_owned());
        house.store.add_block(&other).await.unwrap();
    }
    let old = house.store.block("old").await.unwrap().unwrap();
    house.store.archive_block(&old, Some(house.now())).await.unwrap();
    let page = house.page("/farms/alder", &ines).await;
    let place = |head: &str| page.find(head).unwrap_or_else(|| panic!("{head}: {page}"));
    let places = ["season over (1)", "no season this year (1)", "archived (1)"].map(place);
    assert!(places.is_sorted(), "{page}");
    house
        .store
        .close_farm(&house.store.farm("alder").await.unwrap().unwrap(), Some(house.now()))
        .await
        .unwrap();
    assert!(house.page("/farms/alder", &ines).await.contains("This farm was closed on"));
}

#[tokio::test]
async fn how_good_the_odds_were_is_said_in_sentences() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/farms/alder/verification", &ines).await;
    assert!(page.contains("Nothing that was expected has come yet: too few to judge, n = 0."), "{page}");
    assert!(page.contains("truth is not known yet: 0.") && page.contains("the smaller the better"), "{page}");
    assert!(page.contains("Alder &#60;Ridge&#62;: how good the odds were"));
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for path in ["/farms/alder", "/farms/alder/verification"] {
        let answer = house.get(path, Some(&otto)).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        assert!(!answer.body.contains("Alder"), "{}", answer.body);
    }
}
