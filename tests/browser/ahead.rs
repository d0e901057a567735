//! What lies ahead, as it is seen: odds in words, the fan, twenty dots, hours to spray in,
//! and a planned round.

use black_box::browser::{Browser, Size, Window};
use serde_json::{Value, json};

use crate::orchard::{ADVISOR, FARM, TERRACE, orchard};

/// Width and height of the first element, as it is drawn.
async fn size_of(window: &Window, css: &str) -> (f64, f64) {
    let script = format!(
        "const at = document.querySelector({css:?})?.getBoundingClientRect(); return at ? [at.width, at.height] : [0, 0]"
    );
    let size = window.run(&script).await;
    (size[0].as_f64().unwrap(), size[1].as_f64().unwrap())
}

/// Texts of all elements.
async fn texts(window: &Window, css: &str) -> Vec<String> {
    let script = format!(
        "return [...document.querySelectorAll({css:?})].map(one => one.innerText ?? one.textContent)"
    );
    let texts = window.run(&script).await;
    texts.as_array().unwrap().iter().map(|text| text.as_str().unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_odds_of_a_spray_stand_in_words_and_are_drawn() {
    let (orchard, browser) = (orchard().await, Browser::start());
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.sign_in(ADVISOR.email, ADVISOR.password).await;
        let season = format!("/blocks/{TERRACE}/seasons/{}", orchard.year);
        window.goto(&season).await;
        window.text("Early (1 in 10)").await;
        let shown = window.text("likely (even odds)").await;
        assert!(shown.contains("late (1 in 10)"), "{shown}");
        let drawn = texts(&window, ".drawn svg desc, .drawn svg text").await.join("\n");
        assert!(
            drawn.contains("fan: in 8 of 10 cases like this") || drawn.contains("fan: in 9 of 10"),
            "{drawn}"
        );
        let (wide, high) = size_of(&window, ".drawn svg").await;
        assert!(wide >= 900.0 && high > 300.0, "{wide} by {high}");

        // The dots are for narrow screens; a wide one has the fan.
        let dots = window.run("return document.querySelectorAll('.dots svg circle').length").await;
        assert_eq!(dots, json!(20));
        let (wide, _) = size_of(&window, ".dots svg").await;
        assert_eq!(wide > 250.0, size == Size::Phone, "{size:?}: dots {wide} wide");

        window.prefers(&[("forced-colors", "active"), ("prefers-color-scheme", "dark")]).await;
        window.picture("season-forced-colours").await;
        window.prefers(&[]).await;

        // The likely hour stands in the field already.
        window.press(".by button").await;
        window.text("of 100 cases like this").await;

        window.goto(&format!("{season}/slots")).await;
        window.text("what our sprayer bears").await;
        let rows = texts(&window, "main tbody tr").await;
        assert!(rows.len() > 24, "{} hours", rows.len());
        let windy = rows.iter().filter(|row| row.contains("ind")).count();
        assert!(0 < windy && windy < rows.len(), "some hours are too windy, others are not: {rows:#?}");

        window.goto("/board").await;
        let row = format!("//tr[th/a[contains(@href, '/blocks/{TERRACE}/')]]");
        let fan = format!(
            "const row = document.evaluate({row:?}, document, null, 9).singleNodeValue; const fan = row.querySelector('svg'); \
             return [row.innerText, fan.getBoundingClientRect().width, fan.querySelectorAll('polygon, path, line').length]"
        );
        let fan = window.run(&fan).await;
        assert!(fan[1].as_f64().unwrap() > 200.0 && fan[2].as_u64().unwrap() > 3, "{fan}");
        assert!(fan[0].as_str().unwrap().contains("Mill Terrace"), "{fan}");

        window.goto("/today").await;
        window.text("Early (1 in 10)").await;
        window.goto("/").await;
        window.text("Mill Terrace").await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_round_is_planned_and_has_its_rows() {
    let (orchard, browser) = (orchard().await, Browser::start());
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.sign_in(ADVISOR.email, ADVISOR.password).await;
        window.goto(&format!("/farms/{FARM}/round")).await;
        window.fill("#name-0", "the old one").await;
        window.fill("#area-0", "2").await;
        window.fill("#tank-0", "600").await;
        window.fill("#fill-0", "15").await;
        window.fill("#spray", "300").await;
        window.press("main form button").await;
        window.find("#planned").await;
        window.picture("round-planned").await;
        let shown = window.text("Mill Terrace").await;
        let rows = texts(&window, "section[aria-labelledby=planned] tbody tr").await;
        assert!(
            rows.iter().any(|row| row.contains("Mill Terrace") && row.contains("the old one")),
            "{rows:#?}\n{shown}"
        );
        let (wide, high) = size_of(&window, "section[aria-labelledby=planned] svg").await;
        assert!(wide > 600.0 && high > 60.0, "{wide} by {high}");
        assert_eq!(window.overhang().await, 0);
        assert_eq!(window.run("return document.querySelector('#tank-0').value").await, Value::from("600"));
    }
}
