//! Pages that say no: nothing on them shuts anyone out either, and what was typed stands
//! in the form.

use black_box::browser::{Browser, Size, Window};
use serde_json::json;

use crate::axe::Axe;
use crate::orchard::{ADVISOR, FARM, GROWER, Orchard, TERRACE, orchard};
use crate::settings;

/// A farm of which nobody here is told.
const ELSEWHERE: &str = "elsewhere";

/// The page that is shown, held against its status and words and looked at.
async fn looked_at(window: &Window, axe: &Axe, name: &str, status: u64, words: &str) -> Vec<String> {
    window.text(words).await;
    let given = window.run("return performance.getEntriesByType('navigation')[0].responseStatus").await;
    assert_eq!(given, status, "{name}");
    window.picture(&format!("refused-{name}")).await;
    let mut wrong = axe.faults(window).await;
    wrong.extend(settings::faults(window).await);
    match window.overhang().await {
        0 => {}
        pixels => wrong.push(format!("{pixels} wider than the window")),
    }
    let policy = window.console_errors().await.into_iter().filter(|error| error.contains("Content Security"));
    wrong.extend(policy);
    wrong.into_iter().map(|fault| format!("{:?} {name}: {fault}", window.size())).collect()
}

/// A link that was followed to its end.
async fn used_up(orchard: &Orchard, size: Size) -> String {
    let page = orchard.invitation(&format!("once-{}@larkmoor.example", size.word())).await;
    orchard.api.send(&page, &[("name", "Una Once"), ("password", "one link, one use")]).await;
    page
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_says_no_can_be_read_and_left() {
    let (orchard, browser, axe) = (orchard().await, Browser::start(), Axe::fetched());
    if orchard.api.find(&format!("farms/{ELSEWHERE}")).await.is_none() {
        orchard.api.post("farms", json!({"id": ELSEWHERE, "name": "Elsewhere", "alert_emails": []})).await;
    }
    let mut wrong = Vec::new();
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.goto(&used_up(&orchard, size).await).await;
        wrong.extend(looked_at(&window, &axe, "link-used", 404, "link").await);
        window.try_sign_in(ADVISOR.email, "cherries after plums").await;
        wrong.extend(looked_at(&window, &axe, "sign-in", 422, "Address and password do not fit.").await);
        let typed = window.run("return document.querySelector('input[name=email]').value").await;
        assert_eq!(typed, ADVISOR.email);
        window.sign_in(GROWER.email, GROWER.password).await;
        for (name, path, status, words) in [
            ("no-page", "/nowhere".to_owned(), 404, "no such page"),
            ("no-block", "/blocks/none".to_owned(), 404, "no such block"),
            ("anothers-farm", format!("/farms/{ELSEWHERE}"), 404, "no such farm"),
            ("no-year", format!("/blocks/{TERRACE}/seasons/19"), 404, "no bloom year"),
            ("not-theirs-to-do", format!("/farms/{FARM}/change"), 403, "Not done"),
            (
                "by-when",
                format!("/blocks/{TERRACE}/seasons/{}?by=soon", orchard.year),
                422,
                "is no day and hour",
            ),
        ] {
            window.goto(&path).await;
            wrong.extend(looked_at(&window, &axe, name, status, words).await);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What stands in a field of the page.
async fn value(window: &Window, css: &str) -> String {
    let value = window.run(&format!("return document.querySelector({css:?}).value")).await;
    value.as_str().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_form_says_where_and_keeps_what_was_typed() {
    let (orchard, browser, axe) = (orchard().await, Browser::start(), Axe::fetched());
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("orchard.jpg");
    std::fs::write(&photo, b"\xFF\xD8\xFF\xE0\0\x10JFIF").unwrap();
    let mut wrong = Vec::new();
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.sign_in(ADVISOR.email, ADVISOR.password).await;

        window.goto(&format!("/farms/{FARM}/blocks/new")).await;
        window.fill("#name", "Far Corner").await;
        window.fill("#target_fruit_per_tree", "many").await;
        window.press("#typed > button").await;
        wrong.extend(looked_at(&window, &axe, "block", 422, "Nothing was stored").await);
        assert_eq!(value(&window, "#name").await, "Far Corner");
        assert_eq!(value(&window, "#target_fruit_per_tree").await, "many");
        // The list of faults leads to the field.
        window.press("[role=alert] a[href='#target_fruit_per_tree']").await;
        let field = window.find("#target_fruit_per_tree").await;
        assert_eq!(field.attr("aria-invalid").await.unwrap().as_deref(), Some("true"));

        window.goto("/sites/ridge/import").await;
        window.find("#file").await.send_keys(photo.display().to_string()).await.unwrap();
        window.press("#typed > button").await;
        wrong.extend(looked_at(&window, &axe, "photo", 422, "picture (JPEG)").await);

        window.goto(&format!("/farms/{FARM}/round")).await;
        window.fill("#name-0", "the old one").await;
        window.fill("#area-0", "wide").await;
        window.press("main form button").await;
        wrong.extend(looked_at(&window, &axe, "round", 422, "Nothing was planned").await);
        assert_eq!(value(&window, "#area-0").await, "wide");

        // With its script the page tells of a slip before it is sent; here the server does.
        window.scripts(false).await;
        window.goto(&format!("/log?block={TERRACE}&what=open-count")).await;
        assert!(window.run("return document.documentElement.dataset.ready ?? null").await.is_null());
        window.fill("#form-open-count [name=open_per_tree]", "41 sixty 58").await;
        window.press("#form-open-count > button").await;
        window.scripts(true).await;
        wrong.extend(looked_at(&window, &axe, "log", 422, "sixty").await);
        assert_eq!(value(&window, "#form-open-count [name=open_per_tree]").await, "41 sixty 58");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
