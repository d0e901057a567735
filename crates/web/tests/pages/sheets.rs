//! Spray records, the notice for the block's edge and the job sheet.

use model::words;
use serde_json::json;
use store::{Confirmed, Role};

use crate::house::House;

#[tokio::test]
async fn a_record_stands_as_it_was_corrected_with_every_field_as_typed() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/farms/alder/sprays/2013", &cookie).await;
    assert!(
        page.contains("Wed 1 May 2013, 19:00 EDT")
            && !page.contains("18:00 EDT")
            && !page.contains("wrong one")
    );
    assert!(page.contains("&#60;b&#62;drift&#60;/b&#62;"), "{page}");
    assert!(page.contains("10 L (2.64 US gal)") && page.contains("Tom Ash") && page.contains("50 %"));
    assert!(page.contains("Corrected by Tom, received Mon 3 Jun 2013"));
    assert!(page.contains("Nobody works in the block before Thu 2 May 2013, 20:20 EDT"));
    // The second has no interval, the third no finish.
    assert!(page.contains(words::NO_REENTRY));
    assert_eq!(page.matches("Draft: no finish recorded").count(), 1);
    assert!(page.contains("/api/v1/farms/alder/sprays?year=2013"));
    assert!(!page.to_lowercase().contains("complian"));
    let none = house.page("/farms/alder/sprays/2012", &cookie).await;
    assert!(none.contains("No spray is recorded in 2012"));
}

#[tokio::test]
async fn what_a_profile_names_and_is_not_there_is_told_by_the_profile_chosen() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let general = house.page("/farms/alder/sprays/2013", &cookie).await;
    assert!(general.contains("profile “General” names, these are not there yet:"));
    let federal = house.page("/farms/alder/sprays/2013?profile=us-federal", &cookie).await;
    assert!(federal.contains("7 CFR 110") && federal.contains("<option value=\"us-federal\" selected>"));
    let unknown = house.page("/farms/alder/sprays/2013?profile=nothing", &cookie).await;
    assert!(unknown.contains("no such list of fields"));
}

#[tokio::test]
async fn a_withdrawn_spray_is_no_record_and_has_no_notice() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let gone = json!({"id": "b01", "kind": "withdrawal", "at": "2013-05-06T12:00:00Z", "of": "a10"});
    // A correction that is withdrawn leaves what was there before.
    let back = json!({"id": "b02", "kind": "withdrawal", "at": "2013-05-06T12:00:00Z", "of": "a08"});
    house.write("bench", &[gone, back]).await;
    let page = house.page("/farms/alder/sprays/2013", &cookie).await;
    assert!(
        !page.contains("Streptomycin") && page.contains("wrong one") && page.contains("18:00 EDT"),
        "{page}"
    );
    let notice = house.get("/blocks/bench/seasons/2013/sprays/a10/notice", Some(&cookie)).await;
    assert_eq!(notice.status, 404);
}

#[tokio::test]
async fn the_notice_says_until_when_to_keep_out_or_that_the_label_does() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let notice = house.page("/blocks/bench/seasons/2013/sprays/a07/notice", &cookie).await;
    assert!(notice.contains("<strong>Thu 2 May 2013, 20:20 EDT</strong>"), "{notice}");
    assert!(notice.contains("Ammonium thiosulfate") && notice.contains("Tom Ash"));
    let notice = house.page("/blocks/bench/seasons/2013/sprays/a09/notice", &cookie).await;
    assert!(
        notice.contains("<strong>not recorded: go by the label</strong>")
            && notice.contains(words::NO_REENTRY)
    );
    assert_eq!(notice.matches(words::CAUTION).count(), 1, "once, at the foot");
}

#[tokio::test]
async fn the_job_sheet_works_out_the_tanks_that_are_asked_for() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let bare = house.page("/blocks/bench/seasons/2013/job", &cookie).await;
    assert!(bare.contains("Ammonium thiosulfate") && bare.contains("0.60 of the style"));
    assert!(
        bare.contains(words::UNCONFIRMED)
            && bare.contains("not before the mark")
            && !bare.contains("role=\"alert\"")
    );
    // 1.5 ha at 900 L/ha are 1,350 L: one tank of 1,000 L with 25 L at 2.5 %, and 350 L
    // with 8.75 L (derived).
    let query = "spray=2&volume=900&volume_unit=L%2Fha&tank=1000&tank_unit=L&area=&area_unit=ha";
    let mixed = house.page(&format!("/blocks/bench/seasons/2013/job?{query}"), &cookie).await;
    assert!(mixed.contains("25 L") && mixed.contains("8.75 L"), "{mixed}");
    assert!(mixed.contains("not after the mark") && mixed.contains("value=\"900\""));
    let wrong = "volume=much&volume_unit=L%2Fha&tank=&tank_unit=L";
    let wrong = house.page(&format!("/blocks/bench/seasons/2013/job?{wrong}"), &cookie).await;
    assert!(wrong.contains("Finished spray on an area: ") && wrong.contains("Tank: is missing"), "{wrong}");
    assert!(wrong.contains("value=\"much\""), "what was typed is kept");
}

#[tokio::test]
async fn a_confirmed_material_names_who_confirmed_it() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let doc = json!({"material": "ammonium-thiosulfate", "jurisdiction": "New Jersey", "by": "Ines Kahl",
        "on": "2013-04-02", "registered": true, "bloom_use": true});
    let confirmed = Confirmed {
        id: "0190".into(),
        farm_id: "alder".into(),
        material: "ammonium-thiosulfate".into(),
        doc,
        at: house.now(),
        taken_back_at: None,
    };
    house.store.confirm(&confirmed).await.unwrap();
    let page = house.page("/blocks/bench/seasons/2013/job", &cookie).await;
    assert!(page.contains("Ines Kahl confirmed on 2013-04-02") && !page.contains(words::UNCONFIRMED));
    let report = house.page("/blocks/bench/seasons/2013/report", &cookie).await;
    assert!(
        report.contains("Something has changed since") && !report.contains(words::UNCONFIRMED),
        "{report}"
    );
    house.store.take_confirmation_back("alder", "0190", house.now()).await.unwrap();
    assert!(house.page("/blocks/bench/seasons/2013/job", &cookie).await.contains(words::UNCONFIRMED));
}
