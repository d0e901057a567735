//! Bytes that travel for a page, as the browser counts them: many orchards have little
//! signal.

use black_box::browser::{Browser, Size, Window, noted};
use serde_json::json;

use crate::orchard::{GROWER, TERRACE, orchard};

/// Most for a page whose browser knows nothing, with all that it loads.
const FIRST: u64 = 100_000;
/// Most for the same again.
const AGAIN: u64 = 30_000;

/// Bytes of the page and all that it asked for by itself.
async fn bytes(window: &Window, path: &str) -> u64 {
    window.goto(path).await;
    window.find("html[data-ready]").await;
    window.transferred().await
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_are_small_the_first_time_and_smaller_after() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.sign_in(GROWER.email, GROWER.password).await;
    // What a worker hands out is not counted as travelled: here all of it goes by the
    // browser's own cache, as it does for whoever comes the first time.
    window.devtools("Network.enable", json!({})).await;
    window.devtools("Network.setBypassServiceWorker", json!({"bypass": true})).await;
    let mut record = Vec::new();
    let season = format!("/blocks/{TERRACE}/seasons/{}", orchard.year);
    for (name, path) in [("/today", "/today"), ("a season", season.as_str())] {
        window.devtools("Network.clearBrowserCache", json!({})).await;
        let first = bytes(&window, path).await;
        let again = bytes(&window, path).await;
        record.push((name, first, again));
    }
    let lines: Vec<String> = record
        .iter()
        .map(|(name, first, again)| format!("{name}: {first} bytes the first time, {again} again"))
        .collect();
    noted("bytes.txt", &lines);
    for (name, first, again) in record {
        assert!((1_000..=FIRST).contains(&first), "{name}: {first} bytes the first time");
        assert!((1..=AGAIN).contains(&again), "{name}: {again} bytes again");
    }
}
