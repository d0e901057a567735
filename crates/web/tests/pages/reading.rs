//! The season report, a block's seasons side by side, and a year's blocks.

use model::series::Reading;
use model::time::Instant;
use model::words;
use serde_json::json;
use store::Role;

use crate::house::House;

#[tokio::test]
async fn the_report_holds_the_whole_season() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Consultant).await;
    let report = house.page("/blocks/bench/seasons/2013/report", &cookie).await;
    for part in [
        "115 fruit a tree, as entered.",
        "Last year’s crop: 96 fruit a tree, as entered.",
        "309 flower buds a tree",
        "41 of 50 kings examined are alive",
        "Decided Fri 26 Apr 2013, 08:00 EDT by Ines: thin;",
        "Matching row",
        "<svg role=\"img\"",
        "not before 0.60",
        "not after 0.60",
        "it covered 50 % of the block",
        "a draft without a finish; it resets nothing",
        "live flowers a tree have tubes at the foot of the style",
        "Hours fit for bees",
        "were read here (100 %)",
        "The checks found nothing wrong",
        "Sprayed trees: 130 fruit a tree",
        "16 a tree are left for later thinning",
        "Return bloom is not known yet.",
        "6 hives in",
        "&#60;b&#62;drift&#60;/b&#62;",
        words::UNCONFIRMED,
    ] {
        assert!(report.contains(part), "{part}: {report}");
    }
    assert_eq!(report.matches(words::UNCONFIRMED).count(), 1);
    assert!(report.contains("href=\"/blocks/bench/seasons/2013/sprays/a07/notice\""));
}

#[tokio::test]
async fn a_spray_says_on_which_side_of_its_mark_it_went_on() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Consultant).await;
    let report = house.page("/blocks/bench/seasons/2013/report", &cookie).await;
    assert!(report.contains("10 hours after the mark") && !report.contains("before the mark"), "{report}");
    let sooner = json!({"id": "b01", "kind": "correction", "at": "2013-05-07T12:00:00Z", "of": "a09", "entry": {
        "kind": "spray", "at": "2013-05-02T19:00:00Z", "finished_at": "2013-05-02T20:00:00Z",
        "material": "ammonium-thiosulfate"}});
    house.write("bench", &[sooner]).await;
    house.reckon().await;
    let report = house.page("/blocks/bench/seasons/2013/report", &cookie).await;
    assert!(report.contains("; before the mark"), "{report}");
}

#[tokio::test]
async fn cold_nights_are_told_in_both_units() {
    let house = House::planted().await;
    let night = ["2013-04-03T08:00:00Z", "2013-04-03T09:00:00Z", "2013-04-03T10:00:00Z"];
    let cold = night.map(|at| Reading::instant(Instant::parse(at).unwrap(), -3.0));
    house.store.store_readings("mast", &cold, house.now()).await.unwrap();
    let stage = json!({"id": "a01", "kind": "stage", "at": "2013-04-01T12:00:00Z", "stage": "full-bloom"});
    house.write("bench", &[stage]).await;
    house.reckon().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let report = house.page("/blocks/bench/seasons/2013/report", &cookie).await;
    // 10 % of open flowers are dead after 30 minutes at 28 °F (published).
    assert!(report.contains("−2.2 °C (28.0 °F)"), "{report}");
    assert!(report.contains("−3.0 °C (26.6 °F)"), "{report}");
    assert!(report.contains("Nobody has counted damage since the night of 2 April"), "{report}");
}

#[tokio::test]
async fn a_season_that_is_not_reckoned_yet_says_so() {
    let house = House::planted().await;
    house.store.set_plan("bench", 2013, 0, &crate::orchard::plan(), house.now()).await.unwrap();
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let report = house.get("/blocks/bench/seasons/2013/report", Some(&cookie)).await;
    assert!(report.body.contains("has not been reckoned yet"), "{}", report.body);
    assert!(house.page("/blocks/bench", &cookie).await.contains("not reckoned yet"));
    assert!(house.page("/outcomes/2013", &cookie).await.contains("not reckoned yet"));
}

#[tokio::test]
async fn a_block_has_its_seasons_side_by_side_the_latest_first() {
    let house = House::in_season().await;
    house.store.set_plan("bench", 2014, 0, &crate::orchard::plan(), house.now()).await.unwrap();
    house.reckon().await;
    let cookie = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/blocks/bench", &cookie).await;
    let (later, earlier) =
        (page.find("seasons/2014/report").unwrap(), page.find("seasons/2013/report").unwrap());
    assert!(later < earlier);
    for part in [
        "<td>115</td>",
        "mark 0.60, sprayed at",
        "season over",
        "<td>thin</td>",
        "130 (116 to 145)",
        "job?spray=2",
        "a09/notice",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let empty = house.person("otto", "elder", Role::Grower).await;
    assert!(house.page("/blocks/bend", &empty).await.contains("No season yet"));
}

#[tokio::test]
async fn a_year_has_the_blocks_of_every_farm_that_one_sees() {
    let house = House::in_season().await;
    house.store.set_plan("bend", 2013, 0, &crate::orchard::plan(), house.now()).await.unwrap();
    house.reckon().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/outcomes/2013", &ines).await;
    for part in [
        "North &#60;Bench&#62;",
        "Alder &#60;Ridge&#62;",
        "130 (116 to 145)",
        "<td>283</td>",
        "<td>54 %</td>",
        "<td>16</td>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("River Bend"));
    let both = house.person("ines", "elder", Role::Advisor).await;
    let page = house.page("/outcomes/2013", &both).await;
    assert!(page.contains("River Bend") && page.contains("North &#60;Bench&#62;"));
    assert!(house.page("/outcomes/2011", &ines).await.contains("No block that you see has a season in 2011"));
}
