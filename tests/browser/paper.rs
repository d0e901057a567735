//! What is printed.

use black_box::browser::{Browser, Size, sheets};

use crate::orchard::spring::SPRAY;
use crate::orchard::{ADVISOR, BENCH, FARM, PAST, TERRACE, orchard};

#[tokio::test(flavor = "multi_thread")]
async fn a_whole_season_is_printed_on_two_sheets() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Desk, &orchard.server).await;
    window.sign_in(ADVISOR.email, ADVISOR.password).await;
    window.goto(&format!("/blocks/{BENCH}/seasons/{PAST}/report")).await;
    window.text("Hail for two minutes").await;
    let printed = sheets(&window.printed("season-report").await);
    assert!((1..=2).contains(&printed), "the report takes {printed} sheets; see target/screenshots");
}

/// Each on as few sheets as it needs, so that nobody prints a stack for one line.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_carried_on_paper_takes_few_sheets() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Desk, &orchard.server).await;
    window.sign_in(ADVISOR.email, ADVISOR.password).await;
    let under_way = format!("/blocks/{TERRACE}/seasons/{}", orchard.year);
    for (name, path, words, most) in [
        ("job", format!("{under_way}/job?volume=1000&tank=600"), "Mill Terrace", 1),
        ("sprays", format!("/farms/{FARM}/sprays/{PAST}"), "Thin-S", 2),
        ("board", "/board".to_owned(), "Mill Terrace", 2),
        ("board-past", format!("/board?year={PAST}"), "North Bench", 2),
        ("notice", format!("/blocks/{BENCH}/seasons/{PAST}/sprays/{SPRAY}/notice"), "Thin-S", 1),
        ("slots", format!("{under_way}/slots"), "what our sprayer bears", 12),
        ("season", under_way.clone(), "fan: in", 4),
        ("today", "/today".to_owned(), "Mill Terrace", 1),
    ] {
        window.goto(&path).await;
        window.text(words).await;
        let printed = sheets(&window.printed(&format!("paper-{name}")).await);
        assert!((1..=most).contains(&printed), "{name} takes {printed} sheets; see target/screenshots");
    }
    window.goto(&format!("/farms/{FARM}/round")).await;
    window.fill("#name-0", "the old one").await;
    window.fill("#area-0", "2").await;
    window.press("main form button").await;
    window.find("#planned").await;
    let printed = sheets(&window.printed("paper-round").await);
    assert_eq!(printed, 1, "the round; see target/screenshots");
}
