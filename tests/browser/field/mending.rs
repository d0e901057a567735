//! What goes wrong between the tap and the log, and that it comes out right.

use black_box::browser::{Browser, Size, Window};
use black_box::program::eventually;

use super::plot::{Plot, count, form, ready, save};

/// Sets the time of a form as if it had been typed.
async fn at(window: &Window, what: &str, wall: &str) {
    window
        .run(&format!(
            "const at = document.querySelector('#form-{what} [name=at]'); at.value = '{wall}'; \
             at.dispatchEvent(new Event('input', {{bubbles: true}}))"
        ))
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_correction_is_mended_as_the_correction_it_was() {
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
    window.fill("#form-open-count .pad", "58").await;
    let next: i32 = plot.year.parse::<i32>().unwrap() + 1;
    at(&window, "open-count", &format!("{next}-05-01T10:00")).await;
    save(&window, "open-count").await;
    window.text("more than 10 minutes ahead").await;

    // A note in between is another form: what was refused stays.
    window.press("#bar a[href*=mend]").await;
    window.find("html[data-ready] #form-open-count").await;
    window.run("const what = document.getElementById('what'); what.value = 'note'; what.dispatchEvent(new Event('change'))").await;
    window.fill("#form-note [name=text]", "hives moved").await;
    save(&window, "note").await;
    plot.log(2).await;
    window.text("1 entry waits").await;

    window.press("#bar a[href*=mend]").await;
    window.find("html[data-ready] #form-open-count").await;
    window.text("3 counted, mean 55.0: 41, 66, 58").await;
    let time = window.run("return document.querySelector('#form-open-count [name=at]').value").await;
    assert_eq!(time.as_str().unwrap(), format!("{next}-05-01T10:00"), "what was typed stands there");
    at(&window, "open-count", &format!("{}-01-01T10:00", plot.year)).await;
    save(&window, "open-count").await;
    let log = plot.log(3).await;
    let corrections: Vec<_> = log.iter().filter(|entry| entry["kind"] == "correction").collect();
    assert_eq!(corrections.len(), 1, "{log:?}");
    assert_eq!(corrections[0]["of"], first["id"]);
    assert_eq!(corrections[0]["entry"]["open_per_tree"], serde_json::json!([41, 66, 58]));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_written_of_another_season_goes_there() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    let past = plot.year.parse::<i32>().unwrap() - 3;
    window.goto(&format!("/log?block=terrace&what=note&year={past}")).await;
    window.find("html[data-ready] #form-note").await;
    let shown = window.run("const year = document.querySelector('#form-note [name=year]'); return year.checkVisibility() && year.value").await;
    assert_eq!(shown.as_str(), Some(past.to_string().as_str()), "which season it is stands in sight");
    window.fill("#form-note [name=text]", "hail in the upper rows").await;
    at(&window, "note", &format!("{past}-05-01T10:00")).await;
    save(&window, "note").await;
    let log = plot.log_of(past, 1).await;
    assert_eq!(log[0]["text"], "hail in the upper rows");
    assert!(plot.entries().await.is_empty(), "and nowhere else");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_block_sprayed_without_signal_asks_for_no_work_before_its_reentry() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    count(&window, &[41, 66]).await;
    save(&window, "open-count").await;
    plot.log(1).await;
    eventually("the season is reckoned", async || {
        let season = plot.api.find(&format!("blocks/terrace/seasons/{}", plot.year)).await?;
        season["reckoned_at"].is_string().then_some(())
    })
    .await;
    window.goto("/today").await;
    window.text("Ready without signal").await;
    let asks = "return [...document.querySelectorAll('section[data-block=terrace] [data-asks]')].filter(ask => ask.checkVisibility()).length";
    assert_ne!(window.run(asks).await, 0, "before it, something is asked for");
    plot.stop();
    form(&window, "spray").await;
    window.fill("#form-spray [name=material]", "lime-sulfur").await;
    window.fill("#form-spray [name=reentry_hours]", "48").await;
    save(&window, "spray").await;
    window.goto("/today").await;
    window.text("Nobody works in the block before").await;
    assert_eq!(window.run(asks).await, 0, "nothing is asked for in it");
    form(&window, "open-count").await;
    window.text("by a spray that was written down on this phone").await;
    plot.start().await;
    window.press("#bar button").await;
    plot.log(2).await;
}
