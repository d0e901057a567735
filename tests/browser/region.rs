//! The board and the page of a season.

use black_box::browser::{Browser, Size, Window};
use black_box::program::eventually;
use model::time::{HOUR, Instant, zone};
use serde_json::json;

use crate::orchard::{ADVISOR, FARM, GROWER, Orchard, orchard};

/// A block whose clock starts by its own counts.
async fn planted(orchard: &Orchard, id: &str, name: &str) -> Instant {
    let block = json!({"id": id, "farm_id": FARM, "site_id": "ridge", "name": name, "cultivar": "Gala",
        "curve": "reference", "style_length_mm": 8.8, "flowers_per_cluster": 5, "target_fruit_per_tree": 115});
    let made = orchard.api.post("blocks", block).await;
    let now: Instant = made["created_at"].as_str().unwrap().parse().unwrap();
    let season = format!("blocks/{id}/seasons/{}", orchard.year);
    let sprays = json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.60}]});
    orchard.api.put(&format!("{season}/plan"), sprays).await;
    let count = |id: &str, hours: i64, open: [i64; 3]| json!({"id": id, "kind": "open-count", "at": now.plus(-hours * HOUR), "open_per_tree": open});
    let entries = [count("open-1", 40, [41, 66, 58]), count("open-2", 20, [130, 151, 144])];
    orchard.api.post(&format!("{season}/log"), json!({"entries": entries})).await;
    started(orchard, id).await;
    now
}

/// When a block's clock started, once everything written is in it.
async fn started(orchard: &Orchard, id: &str) -> Instant {
    let path = format!("blocks/{id}/seasons/{}", orchard.year);
    eventually(&format!("{id} reckoned"), async || {
        let season = orchard.api.get(&path).await;
        (season["stale"] == false).then(|| season["start"]["at"].as_str()?.parse().ok())?
    })
    .await
}

/// Names of the board's blocks from above.
async fn names(window: &Window) -> Vec<String> {
    let names =
        window.run("return [...document.querySelectorAll('tbody th')].map(name => name.innerText)").await;
    names.as_array().unwrap().iter().map(|name| name.as_str().unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_heading_of_the_board_sorts_it_and_turns_it_round() {
    let (orchard, browser) = (orchard().await, Browser::start());
    planted(&orchard, "ash-hollow", "Ash Hollow").await;
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.sign_in(ADVISOR.email, ADVISOR.password).await;
        window.goto("/board").await;
        window.press("th a[href*='sort=block']").await;
        window.find("th[aria-sort=ascending] a[href*='sort=block']").await;
        let rising = names(&window).await;
        let place = |names: &[String], name: &str| names.iter().position(|one| one == name).unwrap();
        assert!(place(&rising, "Ash Hollow") < place(&rising, "Mill Terrace"), "{rising:?}");
        window.press("th a[href*='sort=block']").await;
        window.find("th[aria-sort=descending] a[href*='sort=block']").await;
        let falling = names(&window).await;
        assert!(place(&falling, "Mill Terrace") < place(&falling, "Ash Hollow"), "{falling:?}");
        window.press("tbody th a").await;
        window.text("What to do next").await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_correction_stands_in_the_log_and_moves_the_clock() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let now = planted(&orchard, "quarry-side", "Quarry Side").await;
    let before = started(&orchard, "quarry-side").await;
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.sign_in(GROWER.email, GROWER.password).await;
    let path = format!("/blocks/quarry-side/seasons/{}", orchard.year);
    let spoken = |at: Instant| at.spoken(zone("America/New_York").unwrap());
    window.goto(&path).await;
    window.text(&spoken(before)).await;
    assert_eq!(window.run("return document.querySelectorAll('.log del').length").await, 0);

    let entry = json!({"kind": "open-count", "at": now.plus(-10 * HOUR), "open_per_tree": [120, 128, 124]});
    let fix =
        json!({"id": "open-3", "kind": "correction", "at": now.plus(-HOUR), "of": "open-2", "entry": entry});
    orchard.api.post(&format!("{}/log", path.trim_start_matches('/')), json!({"entries": [fix]})).await;
    let after = started(&orchard, "quarry-side").await;
    assert!(after > before, "the count that reached the wanted number came later");
    window.goto(&path).await;
    let shown = window.text(&spoken(after)).await;
    assert!(
        shown.contains("Open flowers: 142 a tree on 3 trees.") && shown.contains("124 a tree on 3 trees."),
        "{shown}"
    );
    assert!(!shown.contains(&spoken(before)), "{shown}");
    assert_eq!(
        window.run("return document.querySelector('.log del').innerText").await,
        "Open flowers: 142 a tree on 3 trees."
    );
}
