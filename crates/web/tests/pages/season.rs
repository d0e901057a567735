//! The page of a season: what it says, its log, its odds, its slots.

use serde_json::json;
use store::Role;

use crate::house::House;

#[tokio::test]
async fn a_running_season_says_what_to_do_when_and_why() {
    let house = House::growing().await;
    let cookie = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/blocks/bench/seasons/2013", &cookie).await;
    for part in [
        "North &#60;Bench&#62;, season 2013",
        "State: tubes growing.",
        "The newest reading is 0 min old.",
        "What to do next",
        "Leg 1, from its mark on, within the limits set: Wed 1 May, 18:00 to Thu 2 May, 00:00 (6 h). Limits set: ",
        "Leg 1: 0.60 of the style",
        // 18 h lie between early and late: told to three hours.
        "Early (1 in 10) Wed 1 May, 09:00; likely (even odds) Wed 1 May, 18:00; late (1 in 10) Thu 2 May, 03:00.",
        "20 dots on a time axis, each for one case in 20.",
        "<svg role=\"img\"",
        "In 8 of 10 cases like this between",
        "<th scope=\"col\">When</th><th scope=\"col\">What</th><th scope=\"col\">Detail</th>",
        "Matching row",
        "What would change it:",
        "Marks and sprays",
        "Counted",
        "were read here (100 %)",
        "Mast: files of a station.",
        "/blocks/bench/seasons/2013/report\"",
        "/blocks/bench/seasons/2013/job?spray=2\"",
        "/farms/alder/sprays/2013\"",
        "/blocks/bench/seasons/2013/slots\"",
        "value=\"2013-05-01T18:00\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("<b>drift"), "{page}");
}

#[tokio::test]
async fn the_chance_by_an_hour_is_told_and_a_wrong_hour_stays_in_the_form() {
    let house = House::growing().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let path = "/blocks/bench/seasons/2013?by=";
    let page = house.page(&format!("{path}2013-05-01T18:00"), &cookie).await;
    assert!(page.contains("By Wed 1 May, 18:00: in 50 of 100 cases like this.</strong>"), "{page}");
    let before = house.page(&format!("{path}2013-04-30T12:00"), &cookie).await;
    assert!(before.contains("in 0 of 100 cases"), "{before}");
    // The forecast of the test ends 120 h after the likely time.
    let beyond = house.page(&format!("{path}2013-06-01T12:00"), &cookie).await;
    assert!(
        beyond.contains("in 100 of 100 cases") && beyond.contains("The forecast ends Mon 6 May, 18:00"),
        "{beyond}"
    );
    let wrong = house.get(&format!("{path}soon%22%3E"), Some(&cookie)).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.body.contains("“soon&#34;&#62;” is no day and hour"), "{}", wrong.body);
    assert!(wrong.body.contains("value=\"soon&#34;&#62;\" aria-invalid=\"true\""), "{}", wrong.body);
}

#[tokio::test]
async fn the_log_keeps_what_was_corrected_and_withdrawn() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let more = [
        json!({"id": "b01", "kind": "withdrawal", "at": "2013-05-06T12:00:00Z", "of": "a10", "reason": "wrong block"}),
        json!({"id": "b02", "kind": "correction", "at": "2013-05-06T13:00:00Z", "of": "a05", "entry": {
            "kind": "open-count", "at": "2013-04-28T15:00:00Z", "open_per_tree": [40, 60]}}),
        json!({"id": "b03", "kind": "correction", "at": "2013-05-06T14:00:00Z", "of": "a05", "entry": {
            "kind": "open-count", "at": "2013-04-28T16:00:00Z", "open_per_tree": [42, 68]}}),
        json!({"id": "b04", "kind": "withdrawal", "at": "2013-05-06T15:00:00Z", "of": "b03"}),
    ];
    house.write("bench", &more).await;
    let page = house.page("/blocks/bench/seasons/2013", &cookie).await;
    let log = &page[page.find("<table class=\"log\">").unwrap()..];
    for part in [
        "<del>Sprayed streptomycin (a draft: no finish yet).</del><br>Withdrawn Mon 6 May, 08:00: wrong block",
        "<del>Sprayed ammonium-thiosulfate.</del><br>Corrected Thu 2 May, 08:00 by Tom, now Wed 1 May, 19:00: Sprayed",
        "<del>Open flowers: 57 a tree on 5 trees.</del><br>Corrected Mon 6 May, 09:00, now Sun 28 Apr, 11:00: Open flowers: 50 a tree on 2 trees.<br>\
         <del>Corrected Mon 6 May, 10:00, now Sun 28 Apr, 12:00: Open flowers: 55 a tree on 2 trees.</del> \
         (does not hold any more)<br>Withdrawn Mon 6 May, 11:00",
        "<td>Open flowers: 119 a tree on 5 trees.</td>",
        "&#60;b&#62;drift&#60;/b&#62;",
    ] {
        assert!(log.contains(part), "{part}: {log}");
    }
    assert!(!page.contains("<b>drift"));
    assert!(page.contains("Something has changed since; it is reckoned anew soon."));
}

#[tokio::test]
async fn hours_to_spray_in_are_told_one_by_one() {
    let house = House::growing().await;
    let limits =
        json!({"limits": [{"what": "wind", "at": 4.5, "source": "what our sprayer bears", "status": "own"}]});
    house.store.set_farm_rule("alder", "slot-limits", Some(&limits), house.now()).await.unwrap();
    let cookie = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/blocks/bench/seasons/2013/slots", &cookie).await;
    for part in
        ["Leg 1", "As of Tue 30 Apr, 12:00, times of America/New_York.", "/blocks/bench/seasons/2013\""]
    {
        assert!(page.contains(part), "{part}: {page}");
    }
    let dale = house.page("/blocks/dale/seasons/2013/slots", &cookie).await;
    assert!(dale.contains("No mark lies ahead"), "{dale}");
}

#[tokio::test]
async fn a_season_without_a_reckoning_shows_its_log() {
    let house = House::planted().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let note = json!({"id": "b01", "kind": "note", "at": "2013-05-01T12:00:00Z", "text": "hail"});
    house.write("bench", &[note]).await;
    let page = house.page("/blocks/bench/seasons/2013", &cookie).await;
    assert!(page.contains("has not been reckoned yet") && page.contains("Note: hail."), "{page}");
}

#[tokio::test]
async fn a_mark_that_passed_is_told_first() {
    let house = House::planted().await;
    house.set_clock("2013-05-02T22:00:00Z");
    house.store.set_plan("bench", 2013, 0, &crate::orchard::plan(), house.now()).await.unwrap();
    let counts: Vec<_> =
        crate::orchard::log().into_iter().filter(|entry| entry["kind"] == "open-count").collect();
    house.write("bench", &counts).await;
    house.reckon().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/blocks/bench/seasons/2013", &cookie).await;
    let urgent = page.find("class=\"urgent\"").unwrap();
    assert!(
        page[urgent..].contains("Leg 1 reached its mark of 0.60")
            && urgent < page.find("What to do next").unwrap()
    );
    assert!(page.contains("No odds are reckoned for this season."), "{page}");
}
