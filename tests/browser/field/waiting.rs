//! What waits on a phone: without signal, signed out, refused, with a clock that is off.

use black_box::browser::{Browser, Size};
use model::time::Instant;
use serde_json::json;

use super::plot::{Plot, count, form, ready, save};
use crate::orchard::{GROWER, OPERATOR};

#[tokio::test(flavor = "multi_thread")]
async fn a_count_and_a_spray_without_signal_arrive_once_also_when_the_page_was_closed() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "open-count").await;
    count(&window, &[96, 131]).await;
    save(&window, "open-count").await;
    window.text("1 entry waits").await;
    form(&window, "spray").await;
    window.fill("#form-spray [name=material]", "ammonium-thiosulfate").await;
    window.fill("#form-spray [name=reentry_hours]", "24").await;
    save(&window, "spray").await;
    window.text("2 entries wait").await;
    form(&window, "spray-rest").await;
    window.fill("#form-spray-rest [name=share_of_block]", "50").await;
    save(&window, "spray-rest").await;
    window.text("3 entries wait").await;
    window.picture("waiting").await;

    let window = browser.reopen(window).await;
    window.goto("/today").await;
    window.text("3 entries wait").await;
    plot.start().await;
    window.goto("/today").await;
    let log = plot.log(3).await;
    let kinds: Vec<&str> = log.iter().map(|entry| entry["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["open-count", "spray", "correction"]);
    assert_eq!(log[0]["open_per_tree"], json!([96, 131]));
    assert_eq!(log[2]["of"], log[1]["id"]);
    assert_eq!(log[2]["entry"]["material"], "ammonium-thiosulfate");
    assert_eq!(
        (&log[2]["entry"]["reentry_hours"], &log[2]["entry"]["share_of_block"]),
        (&json!(24), &json!(0.5))
    );
    window.goto("/log").await;
    let shown = window.text("Open flowers").await;
    assert!(!shown.contains("on this phone"), "{shown}");
    plot.log(3).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_entry_stays_with_its_sentence_and_holds_nothing_up() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "note").await;
    window.fill("#form-note [name=text]", "wet grass").await;
    window
        .run(
            "const at = document.querySelector('#form-note [name=at]'); at.value = at.value.replace(/^..../, year => Number(year) + 1); \
             at.dispatchEvent(new Event('input', {bubbles: true}))",
        )
        .await;
    save(&window, "note").await;
    window.text("more than 10 minutes ahead").await;
    form(&window, "open-count").await;
    count(&window, &[50]).await;
    save(&window, "open-count").await;
    assert_eq!(plot.log(1).await[0]["kind"], "open-count");
    window.text("1 entry waits").await;
    window.press("#bar a[href*=mend]").await;
    window.find("html[data-ready] #form-note").await;
    window
        .run(
            "const at = document.querySelector('#form-note [name=at]'); at.value = '2020-05-01T10:00'; \
             at.dispatchEvent(new Event('input', {bubbles: true}))",
        )
        .await;
    save(&window, "note").await;
    let log = plot.log(2).await;
    let note = log.iter().find(|entry| entry["kind"] == "note").unwrap();
    assert_eq!(
        (note["text"].as_str(), note["at"].as_str()),
        (Some("wet grass"), Some("2020-05-01T14:00:00Z"))
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn signed_out_they_wait_and_go_after_signing_in() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "bloom-end").await;
    save(&window, "bloom-end").await;
    window.text("1 entry waits").await;
    plot.start().await;
    window.driver.delete_all_cookies().await.unwrap();
    window.goto("/sign-in").await;
    window.text("They stay here until you are signed in.").await;
    window.sign_in(GROWER.email, GROWER.password).await;
    assert_eq!(plot.log(1).await[0]["kind"], "bloom-end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_an_hour_ahead_is_told_and_its_times_put_right() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    let ahead = "const Right = Date; globalThis.Date = class extends Right { \
        constructor(...at) { if (at.length) super(...at); else super(Right.now() + 3_600_000); } \
        static now() { return Right.now() + 3_600_000; } };";
    window.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": ahead})).await;
    ready(&window).await;
    form(&window, "open-count").await;
    count(&window, &[50, 60]).await;
    save(&window, "open-count").await;
    let entry = plot.log(1).await.remove(0);
    let moment = |name: &str| entry[name].as_str().unwrap().parse::<Instant>().unwrap();
    let apart = moment("received_at").since(moment("at"));
    assert!((0..60).contains(&apart), "seen {apart} s before it came");
    window.text("clock is 60 min ahead").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_someone_wrote_does_not_go_under_anothers_name() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "bloom-start").await;
    save(&window, "bloom-start").await;
    plot.start().await;
    window.driver.delete_all_cookies().await.unwrap();
    window.sign_in(OPERATOR.email, OPERATOR.password).await;
    window.goto("/today").await;
    window.text("written by someone else").await;
    window.goto("/").await;
    window.press("form[action='/sign-out'] button").await;
    window.text("They stay here until you are signed in.").await;
    let kept =
        "caches.keys().then(names => arguments[0](names.filter(name => name.startsWith('pages-')).length))";
    assert_eq!(window.run_to_its_call(kept).await, json!(0), "whoever signs out leaves no pages");
    window.sign_in(GROWER.email, GROWER.password).await;
    assert_eq!(plot.log(1).await[0]["by"], "Nils Orme");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waits_can_be_carried_in_a_file_and_is_sent_once() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    form(&window, "note").await;
    window.fill("#form-note [name=text]", "wet grass").await;
    save(&window, "note").await;
    let written = "const file = document.querySelector('script[src]').src.replace('orchard.js', 'file.js'); \
        import(file).then(file => file.written()).then(arguments[0])";
    let file = window.run_to_its_call(written).await;
    plot.start().await;
    window.goto("/log").await;
    plot.log(1).await;
    window.find("html[data-ready]").await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("waiting.json");
    std::fs::write(&path, file.as_str().unwrap()).unwrap();
    window.press("main > details:last-of-type > summary").await;
    let field = window.find("input[type=file]").await;
    field.send_keys(path.display().to_string()).await.unwrap();
    window.text("New entries taken from the file: 1.").await;
    let empty = "const open = indexedDB.open('bloomtide'); open.onsuccess = () => { const asked = \
        open.result.transaction('outbox').objectStore('outbox').count(); asked.onsuccess = () => arguments[0](asked.result); }";
    black_box::program::eventually("the outbox is empty", async || {
        (window.run_to_its_call(empty).await == json!(0)).then_some(())
    })
    .await;
    plot.log(1).await;
}
