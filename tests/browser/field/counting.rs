//! Counting with the thumb.

use std::time::{Duration, Instant};

use black_box::browser::{Browser, Size};
use serde_json::json;

use super::plot::{Plot, count, form, ready, save};

/// A tap every half second.
const TAP: Duration = Duration::from_millis(500);

#[tokio::test(flavor = "multi_thread")]
async fn a_count_is_kept_at_each_tap_and_saved_once() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    count(&window, &[41, 66, 58]).await;
    window.press("#form-open-count .step:last-child").await;
    window.goto("/today").await;
    let window = browser.reopen(window).await;
    form(&window, "open-count").await;
    window.text("3 counted, mean 55.3: 41, 66, 59").await;
    window.press("#form-open-count .counter > .plain").await;
    window.text("3 counted, mean 55.0").await;
    // Two taps at once.
    window
        .run("const save = document.querySelector('#form-open-count > button'); save.click(); save.click()")
        .await;
    window.text("Written down on this phone").await;
    let log = plot.log(1).await;
    assert_eq!(log[0]["open_per_tree"], json!([41, 66, 58]));
    assert_eq!(log[0]["by"], "Nils Orme");
    tokio::time::sleep(TAP).await;
    plot.log(1).await;
    assert_eq!(window.console_errors().await, Vec::<String>::new());
}

/// Twenty trees of three digits at two taps a second, from opening to saved.
#[tokio::test(flavor = "multi_thread")]
async fn twenty_trees_take_no_longer_than_45_seconds() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    let begin = Instant::now();
    let mut next = begin;
    let mut tap = async || {
        next += TAP;
        tokio::time::sleep_until(next.into()).await;
    };
    form(&window, "open-count").await;
    let trees: Vec<u32> = (0..20).map(|tree| 101 + 37 * tree % 800).collect();
    tap().await;
    window.press("#form-open-count .pad").await;
    for (n, tree) in trees.iter().enumerate() {
        for digit in tree.to_string().chars() {
            tap().await;
            window.driver.active_element().await.unwrap().send_keys(digit.to_string()).await.unwrap();
        }
        if n + 1 < trees.len() {
            tap().await;
            window.press("#form-open-count .next").await;
        }
    }
    tap().await;
    save(&window, "open-count").await;
    let took = begin.elapsed();
    assert!(took <= Duration::from_secs(45), "{took:?}");
    assert_eq!(plot.log(1).await[0]["open_per_tree"], json!(trees));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_earlier_count_is_corrected_and_stays_on_record() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    count(&window, &[41, 66]).await;
    save(&window, "open-count").await;
    let first = plot.log(1).await.remove(0);
    form(&window, "note").await;
    window.press("#earlier a").await;
    window.text("This corrects an earlier entry").await;
    window.text("2 counted, mean 53.5: 41, 66").await;
    window.fill("#form-open-count .pad", "58").await;
    save(&window, "open-count").await;
    let log = plot.log(2).await;
    let correction = log.iter().find(|entry| entry["kind"] == "correction").unwrap();
    assert_eq!((&correction["of"], &correction["entry"]["at"]), (&first["id"], &first["at"]));
    assert_eq!(correction["entry"]["open_per_tree"], json!([41, 66, 58]));
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_full_phone_the_entry_stays_on_the_screen() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    let full = "IDBObjectStore.prototype.stored = IDBObjectStore.prototype.put; \
        IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError') }";
    window.run(full).await;
    count(&window, &[41, 66]).await;
    window.text("no room to keep what you type").await;
    window.press("#form-open-count > button").await;
    window.text("no room to keep the entry, so it is not saved").await;
    window.text("2 counted, mean 53.5").await;
    window.run("IDBObjectStore.prototype.put = IDBObjectStore.prototype.stored").await;
    save(&window, "open-count").await;
    assert_eq!(plot.log(1).await[0]["open_per_tree"], json!([41, 66]));
}
