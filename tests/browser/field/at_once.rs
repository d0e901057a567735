//! How soon a kept page can be used where there is no network: the server away, the
//! browser cut off, a server that takes the call and says nothing. The figures are put on
//! record in `target/screenshots/without-network.txt`; what is demanded is far more, since
//! machines that run tests are busy.

use std::net::TcpListener;
use std::time::Duration;

use black_box::browser::{Browser, Size, Window, noted};
use black_box::program::eventually;
use serde_json::json;

use super::plot::{Plot, ready};

/// Longest time until a page can be used, ms.
const MOST: f64 = 10_000.0;

/// Notes when the first block's sentence stands there, and when the first count can be
/// tapped: from the begin of the navigation on.
const WATCH: &str = "
    const marks = {sentence: '.today .lead', plus: 'html[data-ready] .counter .steps .step:last-child'};
    const look = () => {
        for (const [name, css] of Object.entries(marks)) {
            const one = document.querySelector(css);
            if (one?.checkVisibility() && one.getClientRects().length && !performance.getEntriesByName(name).length) performance.mark(name);
        }
        requestAnimationFrame(look);
    };
    look();";

/// Opens both pages in a window that was just opened; gives how soon the sentence is to be
/// read and the plus button works, ms.
async fn soon(window: &Window) -> (f64, f64) {
    window.devtools("Page.addScriptToEvaluateOnNewDocument", json!({"source": WATCH})).await;
    let mark = async |name: &str| {
        let script = format!("return performance.getEntriesByName({name:?})[0]?.startTime ?? null");
        eventually(name, async || window.run(&script).await.as_f64()).await
    };
    window.goto("/today").await;
    let sentence = mark("sentence").await;
    assert!(!window.find(".today .lead").await.text().await.unwrap().is_empty());
    window.goto("/log?block=terrace&what=open-count").await;
    let plus = mark("plus").await;
    let pad = async || {
        let value = window.run("return document.querySelector('#form-open-count .pad').value").await;
        value.as_str().and_then(|value| value.parse::<u32>().ok()).unwrap_or(0)
    };
    let before = pad().await;
    window.press("#form-open-count .counter .step:last-child").await;
    assert_eq!(pad().await, before + 1, "a tap counts");
    (sentence, plus)
}

#[tokio::test(flavor = "multi_thread")]
async fn kept_pages_can_be_used_at_once_without_a_network() {
    let (mut plot, browser) = (Plot::planted().await, Browser::start());
    let season = format!("blocks/terrace/seasons/{}", plot.year);
    let spray = json!({"material": "ammonium-thiosulfate", "mark": 0.60});
    plot.api.put(&format!("{season}/plan"), json!({"sprays": [spray]})).await;
    eventually("the season reckoned", async || {
        let season = plot.api.find(&season).await?;
        (season["stale"] == false).then_some(())
    })
    .await;
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    window.find(".today .lead").await;
    let mut record = Vec::new();

    // With signal, beside which the others are to be read.
    let window = browser.reopen(window).await;
    record.push(("with signal", soon(&window).await));

    let window = browser.reopen(window).await;
    window.wake_worker().await;
    window.offline(true).await;
    // What the server would say by now is another name.
    plot.rename("Renamed Since").await;
    record.push(("browser cut off", soon(&window).await));
    window.goto("/today").await;
    let shown = window.text("Mill Terrace").await;
    assert!(!shown.contains("Renamed Since"), "this came over the network: {shown}");

    plot.stop();
    let window = browser.reopen(window).await;
    record.push(("server away", soon(&window).await));

    // It takes the call and never answers, as at the edge of an orchard's signal.
    let address = plot.server.trim_start_matches("http://").to_owned();
    let silent = eventually("the port is free", async || TcpListener::bind(&address).ok()).await;
    let window = browser.reopen(window).await;
    record.push(("server silent", soon(&window).await));
    drop(silent);
    // Whoever waits for an answer of the silent one is let go.
    tokio::time::sleep(Duration::from_millis(50)).await;

    let lines: Vec<String> = record
        .iter()
        .map(|(how, (sentence, plus))| {
            format!("{how}: first sentence of /today {sentence:.0} ms, plus button of /log {plus:.0} ms")
        })
        .collect();
    noted("without-network.txt", &lines);
    for (how, (sentence, plus)) in record {
        assert!(sentence < MOST && plus < MOST, "{how}: {lines:?}");
    }
}
