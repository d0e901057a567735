//! What happens beside the straight way: the page was closed, someone else took the phone,
//! a thumb slipped, there is hardly any room left.

use black_box::browser::{Browser, Size};
use black_box::program::eventually;
use serde_json::json;

use super::plot::{Plot, count, form, ready, save};
use crate::orchard::{ADVISOR, invited};

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_goes_out_once_by_itself_when_no_page_is_open() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "bloom-end").await;
    save(&window, "bloom-end").await;
    window.text("1 entry waits").await;
    let asked = "navigator.serviceWorker.ready.then(it => it.sync.getTags()).then(arguments[0])";
    eventually("the browser is asked to send later", async || {
        (window.run_to_its_call(asked).await == json!(["entries"])).then_some(())
    })
    .await;
    window.driver.goto("about:blank").await.unwrap();
    plot.start().await;
    assert!(plot.entries().await.is_empty());
    window.sync("entries").await;
    assert_eq!(plot.log(1).await[0]["kind"], "bloom-end");
    window.sync("entries").await;
    window.goto("/today").await;
    window.text("Ready without signal").await;
    let shown = window.text("Today").await;
    assert!(!shown.contains("waits on this phone"), "{shown}");
    plot.log(1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_someone_else_wrote_goes_under_ones_own_name_only_when_told_to() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let page = invited(&plot.api, ADVISOR.email, "advisor").await;
    plot.api.send(&page, &[("name", ADVISOR.name), ("password", ADVISOR.password)]).await;
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "bloom-start").await;
    save(&window, "bloom-start").await;
    window.text("1 entry waits").await;
    plot.start().await;
    window.driver.delete_all_cookies().await.unwrap();
    window.sign_in(ADVISOR.email, ADVISOR.password).await;
    window.goto("/today").await;
    window.text("Some were written by someone else").await;
    window.picture("written-by-someone-else").await;
    assert!(plot.entries().await.is_empty());
    // The first button sends what is one's own; the other stands in the sentence.
    window.press("#bar p button").await;
    let entry = plot.log(1).await.remove(0);
    // Who saw it is not who sent it: both are on record.
    assert_eq!(entry["by"], "Nils Orme");
    window.goto(&format!("/farms/{}/audit", crate::orchard::FARM)).await;
    let shown = window.text("Hedda Brook").await;
    assert!(shown.contains("Hedda Brook"), "{shown}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_way_back_amid_a_count_loses_no_tree() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    count(&window, &[41, 66, 58]).await;
    window.driver.back().await.unwrap();
    assert_eq!(window.path().await, "/today");
    window.driver.forward().await.unwrap();
    window.find("html[data-ready] #form-open-count").await;
    window.text("3 counted, mean 55.0: 41, 66, 58").await;
    save(&window, "open-count").await;
    assert_eq!(plot.log(1).await[0]["open_per_tree"], json!([41, 66, 58]));
    // The way back once more after saving: what was saved is not offered again.
    window.driver.back().await.unwrap();
    window.driver.forward().await.unwrap();
    window.find("html[data-ready]").await;
    let shown = window.text("Open flowers").await;
    assert!(!shown.contains("41, 66, 58"), "{shown}");
    assert_eq!(plot.entries().await.len(), 1);
}

/// A phone whose scripts did not arrive: the form's own id makes one entry of two taps.
#[tokio::test(flavor = "multi_thread")]
async fn two_taps_on_save_are_one_entry_without_scripts_too() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    window.sign_in(crate::orchard::GROWER.email, crate::orchard::GROWER.password).await;
    window.scripts(false).await;
    window.goto("/log?block=terrace&what=note").await;
    window.fill("#form-note [name=text]", "wet grass").await;
    let button = window.find("#form-note > button").await;
    window.driver.action_chain().double_click_element(&button).perform().await.unwrap();
    window.text("wet grass").await;
    plot.log(1).await;
    window.goto("/log?block=terrace&what=note").await;
    window.text("wet grass").await;
    assert_eq!(plot.entries().await.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_with_hardly_any_room_says_so_before_it_is_full() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    assert_eq!(window.run("return document.getElementById('room')").await, json!(null));
    // Chromium tells every page of the same ample room, whatever the disk has; other
    // browsers tell what there is.
    let scarce = "StorageManager.prototype.estimate = async () => ({quota: 6_300_000, usage: 200_000})";
    let told = window.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": scarce})).await;
    window.goto("/log?block=terrace&what=open-count").await;
    window.text("This phone has hardly any room left, 6 MB").await;
    window.picture("hardly-any-room").await;
    window.devtools("Page.removeScriptToEvaluateOnNewDocument", told).await;
    form(&window, "open-count").await;
    count(&window, &[41]).await;
    save(&window, "open-count").await;
    plot.log(1).await;
    assert_eq!(window.run("return document.getElementById('room')").await, json!(null));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_that_forgets_says_why_the_page_belongs_on_the_home_screen() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    let shown = window.text("Today").await;
    assert!(!shown.contains("home screen"), "{shown}");
    let safari = "Mozilla/5.0 (iPhone; CPU iPhone OS 19_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) \
        Version/19.0 Mobile/15E148 Safari/604.1";
    window.calls_itself(safari, "iPhone").await;
    window.goto("/today").await;
    window.text("Ready without signal").await;
    window.text("Put this page on the home screen").await;
    window.text("forgets after some days").await;
    window.picture("home-screen").await;
    // Opened from there it says no more of it.
    let standing = "Object.defineProperty(Navigator.prototype, 'standalone', {get: () => true})";
    window.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": standing})).await;
    window.goto("/today").await;
    let shown = window.text("Ready without signal").await;
    assert!(!shown.contains("home screen"), "{shown}");
}
