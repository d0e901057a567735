//! Earlier entries put right where there is no signal, though their page was never opened.

use black_box::browser::{Browser, Size, Window};
use black_box::program::eventually;
use serde_json::{Value, json};

use super::plot::{Plot, ready, save};

/// A plot with a second block, each with a count that the server knows, and its reckoned
/// seasons.
async fn counted() -> Plot {
    let plot = Plot::planted().await;
    let block = json!({"id": "hill", "farm_id": crate::orchard::FARM, "site_id": "ridge", "name": "Quarry Hill",
        "cultivar": "Gala", "curve": "reference", "style_length_mm": 8.8, "flowers_per_cluster": 5,
        "target_fruit_per_tree": 115});
    let made = plot.api.post("blocks", block).await;
    for (block, trees) in [("terrace", [41, 66]), ("hill", [50, 52])] {
        let entry = json!({"id": format!("count-{block}"), "kind": "open-count", "at": made["created_at"],
            "open_per_tree": trees, "by": "Nils Orme"});
        let season = format!("blocks/{block}/seasons/{}", plot.year);
        plot.api.post(&format!("{season}/log"), json!({"entries": [entry]})).await;
        eventually("the season reckoned", async || {
            let season = plot.api.find(&season).await?;
            (season["stale"] == false).then_some(())
        })
        .await;
    }
    plot
}

/// Opens an entry of a block to put it right or take it back, by what the page offers.
async fn opened(window: &Window, block: &str, what: &str) {
    window.goto("/log").await;
    window.find("html[data-ready]").await;
    window.press(&format!("#block option[value={block}]")).await;
    window.press(&format!("#earlier a[href*='of=count-{block}'][href*='what={what}']")).await;
    window.find(&format!("html[data-ready] #form-{what}")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_is_corrected_and_one_taken_back_without_signal() {
    let (mut plot, browser) = (counted().await, Browser::start());
    let window = browser.open(Size::Phone, &plot.server).await;
    ready(&window).await;
    plot.stop();
    // Of the block that the page shows by itself, and of one that it does not.
    for (block, before) in [("terrace", "mean 53.5: 41, 66"), ("hill", "mean 51.0: 50, 52")] {
        opened(&window, block, "open-count").await;
        window.text("This corrects an earlier entry").await;
        window.text(&format!("2 counted, {before}")).await;
        window.fill("#form-open-count .pad", "58").await;
        save(&window, "open-count").await;
    }
    opened(&window, "hill", "withdrawal").await;
    let about = window.run("return document.querySelector('#form-withdrawal [data-as=entry]').value").await;
    assert_eq!(about, "count-hill");
    // Back and forth between the blocks, each has its own to choose from.
    window.goto("/log?block=terrace&what=withdrawal").await;
    window.find("html[data-ready] #form-withdrawal").await;
    for (block, about) in [("terrace", "count-terrace"), ("hill", "count-hill"), ("terrace", "count-terrace")]
    {
        window.press(&format!("#block option[value={block}]")).await;
        eventually("what can be taken back", async || {
            let all = "return [...document.querySelectorAll('#form-withdrawal [data-as=entry] option')].map(one => one.value)";
            (window.run(all).await == json!([about])).then_some(())
        })
        .await;
    }
    opened(&window, "hill", "withdrawal").await;
    save(&window, "withdrawal").await;
    window.text("3 entries wait").await;

    // Another block is another form: nothing of what was corrected goes along.
    opened(&window, "terrace", "open-count").await;
    window.press("#block option[value=hill]").await;
    window.text("Nothing counted yet").await;
    let kept = window.run("return document.querySelectorAll('.entry-form input[name=of]').length").await;
    assert_eq!(kept, 0);

    plot.start().await;
    window.goto("/today").await;
    let terrace = plot.log(2).await;
    let correction = terrace.iter().find(|entry| entry["kind"] == "correction").unwrap();
    assert_eq!(
        (&correction["of"], &correction["entry"]["open_per_tree"]),
        (&json!("count-terrace"), &json!([41, 66, 58]))
    );
    let first = terrace.iter().find(|entry| entry["id"] == "count-terrace").unwrap();
    assert_eq!(
        correction["entry"]["at"].as_str().map(|at| &at[..16]),
        first["at"].as_str().map(|at| &at[..16])
    );
    let hill = eventually("three entries of the hill", async || {
        let log = plot.api.find(&format!("blocks/hill/seasons/{}/log", plot.year)).await?;
        let items = log["items"].as_array().unwrap().clone();
        (items.len() == 3).then_some(items)
    })
    .await;
    let of = |kind: &str| hill.iter().find(|entry| entry["kind"] == kind).map(|entry| entry["of"].clone());
    let told = Some(Value::from("count-hill"));
    assert_eq!((of("correction"), of("withdrawal")), (told.clone(), told));
}
