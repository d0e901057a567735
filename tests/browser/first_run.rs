//! The first run: from the link that a new server prints to the first block, by what a
//! person does with hands and eyes.

use std::cell::Cell;

use black_box::browser::{Browser, Size, Window};
use black_box::program::eventually;

use crate::orchard::{OPERATOR, unclaimed};

/// Seconds that a person takes for one press or one field, reading along (constructed).
const A_STEP: u32 = 8;
/// In so many the first block is to be there.
const AT_MOST: u32 = 5 * 60;

/// Degrees of a pixel at each of the map's three steps together: a click in the middle of
/// a picture that lies between two pixels may be off by one each time.
const A_PIXEL_EACH: f64 = 1.36;

/// A window whose presses and fields are counted.
struct Person<'a> {
    window: &'a Window,
    steps: Cell<u32>,
}

impl Person<'_> {
    async fn types(&self, css: &str, text: &str) {
        self.steps.set(self.steps.get() + 1);
        self.window.fill(css, text).await;
    }

    async fn presses(&self, css: &str) {
        self.steps.set(self.steps.get() + 1);
        self.window.press(css).await;
    }

    /// Waits until words are there; a person reads.
    async fn reads(&self, words: &str) {
        self.window.text(words).await;
    }
}

async fn runs(size: Size) {
    let (folder, browser) = (tempfile::tempdir().unwrap(), Browser::start());
    let (_program, server, claim) = unclaimed(&folder);
    let window = browser.open(size, &server).await;
    let person = Person { window: &window, steps: Cell::new(0) };
    window.goto(&claim).await;
    person.types("input[name=name]", OPERATOR.name).await;
    person.types("input[name=email]", OPERATOR.email).await;
    person.types("input[name=password]", OPERATOR.password).await;
    person.presses("main button").await;
    person.reads("Stay signed in").await;
    person.types("input[name=email]", OPERATOR.email).await;
    person.types("input[name=password]", OPERATOR.password).await;
    person.presses("main button").await;

    person.reads("To the first block").await;
    window.picture("first-run").await;
    person.presses("a.button").await;
    person.types("#name", "Larkmoor Orchard").await;
    person.types("#alert_emails", "nils@larkmoor.example").await;
    person.presses("#typed > button").await;

    person.reads("Site: next").await;
    person.presses("a.button").await;
    person.types("#name", "Ridge").await;
    person.types("#latitude", "40° 41.55' N").await;
    person.types("#longitude", "-74.1687").await;
    person.types("#time_zone", "America/New_York").await;
    person.presses("#source option[value=file]").await;
    person.presses("#typed > button").await;

    person.reads("Send readings of Ridge").await;
    person
        .types(
            "#rows",
            "Time (UTC),Air (°C)\n2013-05-01 06:00,8.5\n2013-05-01 07:00,9.5\n2013-05-01 08:00,10.0\n",
        )
        .await;
    person.presses("#typed > button").await;
    person.reads("Store this for Station").await;
    window.picture("file-looked-at").await;
    person.presses("main form button").await;
    person.reads("Stored: 3 new readings").await;
    person.presses("main a[href^='/begin']").await;

    person.reads("Mail: next").await;
    person.presses("a.button").await;
    person.presses("main form button").await;
    person.reads("It is on its way").await;
    eventually("the mail is written", async || {
        window.goto("/mail-test").await;
        let said = window.run("return document.querySelector('main').innerText").await;
        said.as_str()?.contains("written into the folder").then_some(())
    })
    .await;
    window.picture("mail-test-written").await;
    person.presses("main a[href='/begin']").await;

    person.reads("Block: next").await;
    person.presses("a.button").await;
    person.types("#name", "North Bench").await;
    person.types("#cultivar", "Gala").await;
    person.types("#target_fruit_per_tree", "115").await;
    person.presses("#typed > button").await;
    person.reads("115 fruit a tree, as entered.").await;
    window.picture("first-block").await;
    let steps = person.steps.get();
    assert!(steps * A_STEP <= AT_MOST, "{steps} steps of {A_STEP} s are more than {AT_MOST} s");
    window.goto("/").await;
    person.reads("North Bench").await;
    assert_eq!(window.console_errors().await, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_block_is_there_within_five_minutes_on_a_phone() {
    runs(Size::Phone).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_block_is_there_within_five_minutes_on_a_desk() {
    runs(Size::Desk).await;
}

/// A click on the map brings the place into the fields; a slip keeps what was typed.
#[tokio::test(flavor = "multi_thread")]
async fn the_map_can_be_pointed_at_three_times() {
    let (orchard, browser) = (crate::orchard::orchard().await, Browser::start());
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.sign_in(crate::orchard::ADVISOR.email, crate::orchard::ADVISOR.password).await;
    window.goto(&format!("/farms/{}/sites/new", crate::orchard::FARM)).await;
    window.fill("#name", "Valley").await;
    for _ in 0..3 {
        // The middle of the map, where WebDriver clicks: 0 north, 0 east.
        // What the click before said goes first, so that only the next page says it.
        window.run("document.querySelector('.done')?.remove()").await;
        window.press("input[type=image]").await;
        window.text("Nothing is stored yet").await;
    }
    window.picture("map-pointed").await;
    let kept = window
        .run("return ['name', 'latitude', 'longitude'].map(id => document.getElementById(id).value)")
        .await;
    let near =
        |value: &serde_json::Value| value.as_str().unwrap().parse::<f64>().unwrap().abs() <= A_PIXEL_EACH;
    assert!(kept[0] == "Valley" && near(&kept[1]) && near(&kept[2]), "{kept}");
    window.fill("#latitude", "on the hill").await;
    window.press("#typed > button").await;
    window.text("is not read as degrees").await;
    window.picture("site-refused").await;
    assert_eq!(window.overhang().await, 0);
}
