//! What is printed.

use black_box::browser::{Browser, Size, sheets};

use crate::orchard::{ADVISOR, BENCH, PAST, orchard};

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
