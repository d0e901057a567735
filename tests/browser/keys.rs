//! Pages by keys alone: every control is reached in the order in which it stands, where
//! one is can be seen, and nothing holds one.

use black_box::browser::{Browser, Key, Size, Window};
use serde_json::Value;

use crate::field::plot::{Plot, form, ready};
use crate::orchard::{ADVISOR, FARM, GROWER, TERRACE, orchard};

/// Parts of a field for a day with its hour that take the focus each by themselves.
const PARTS: usize = 8;

/// Numbers all that keys should reach, from above; gives what each is.
const NUMBERED: &str = "
    const all = [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex=\"0\"]')]
        .filter(one => !one.disabled && one.type !== 'hidden' && one.checkVisibility({visibilityProperty: true}) && one.getClientRects().length);
    all.forEach((one, n) => { one.dataset.n = n; });
    document.activeElement?.blur();
    getSelection().removeAllRanges();
    scrollTo(0, 0);
    return all.map(one => one.outerHTML.slice(0, 120))";

/// Where the focus is: its number, and what is wrong with how it is shown.
const HERE: &str = "
    const one = document.activeElement;
    if (!one || one === document.body || one === document.documentElement) return null;
    const style = getComputedStyle(one), at = one.getBoundingClientRect(), wrong = [];
    if (style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 2) wrong.push('no outline');
    if (at.bottom <= 0 || at.top >= innerHeight || at.right <= 0 || at.left >= innerWidth) wrong.push('out of sight');
    return [Number(one.dataset.n ?? -1), wrong.join(', '), one.outerHTML.slice(0, 120)]";

/// Goes through the page that is shown with the tab key; gives what is wrong.
async fn walked(window: &Window) -> Vec<String> {
    let all = window.run(NUMBERED).await;
    let all: Vec<&str> = all.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(all.len() > 5, "{all:?}");
    let (mut wrong, mut reached, mut last, mut same) = (Vec::new(), Vec::new(), None, 0);
    for _ in 0..all.len() * 2 + PARTS * 10 {
        window.key(Key::Tab).await;
        let here = window.run(HERE).await;
        // Behind the last control the browser's own come.
        let Some(number) = here[0].as_i64() else { break };
        same = if last == Some(number) { same + 1 } else { 0 };
        if same > PARTS {
            wrong.push(format!("held at {}", here[2]));
            break;
        }
        if last != Some(number) && number >= 0 {
            reached.push(number);
        }
        if here[1] != "" {
            wrong.push(format!("{}: {}", here[1], here[2]));
        }
        last = Some(number);
    }
    let in_order: Vec<i64> = (0..).take(all.len()).collect();
    if reached != in_order {
        let missed = in_order.iter().filter(|n| !reached.contains(n));
        wrong.extend(missed.map(|n| format!("not reached: {}", all[usize::try_from(*n).unwrap()])));
        wrong.push(format!("in another order: {reached:?}"));
    }
    wrong
}

#[tokio::test(flavor = "multi_thread")]
async fn every_control_is_reached_in_order_and_seen() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let mut wrong = Vec::new();
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.sign_in(ADVISOR.email, ADVISOR.password).await;
        for path in [
            "/today".to_owned(),
            format!("/log?block={TERRACE}&what=open-count"),
            "/board".to_owned(),
            format!("/farms/{FARM}/blocks/new"),
            format!("/blocks/{TERRACE}/seasons/{}", orchard.year),
            format!("/farms/{FARM}/round"),
        ] {
            window.goto(&path).await;
            window.find("html[data-ready]").await;
            if path == "/today" {
                // It comes once all is kept, and would come amid the way.
                window.text("Ready without signal").await;
            }
            let faults = walked(&window).await;
            wrong.extend(faults.into_iter().map(|fault| format!("{size:?} {path}: {fault}")));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_key_leads_past_the_ways() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Desk, &orchard.server).await;
    window.sign_in(GROWER.email, GROWER.password).await;
    window.goto("/board").await;
    window.find("html[data-ready]").await;
    window.key(Key::Tab).await;
    let skip = window.run("const one = document.activeElement, at = one.getBoundingClientRect(); return [one.className, at.left >= 0, at.height >= 48]").await;
    assert_eq!(skip, serde_json::json!(["skip", true, true]), "the way past is seen once it has the focus");
    window.key(Key::Enter).await;
    window.key(Key::Tab).await;
    let inside = window.run("return document.querySelector('main').contains(document.activeElement)").await;
    assert_eq!(inside, true, "the next key is on the page itself");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_count_is_made_and_saved_by_keys_alone() {
    let (plot, browser) = (Plot::planted().await, Browser::start());
    let window = browser.open(Size::Desk, &plot.server).await;
    ready(&window).await;
    form(&window, "open-count").await;
    let focused = async |css: &str| {
        for _ in 0..40 {
            let there = format!("return document.activeElement?.matches({css:?}) ?? false");
            if window.run(&there).await == true {
                return;
            }
            window.key(Key::Tab).await;
        }
        panic!("{css} is not reached");
    };
    focused("#form-open-count .pad").await;
    for number in ["41", "66"] {
        window.types(number).await;
        window.key(Key::Enter).await;
    }
    // The step beside the pad counts from nothing, and what was one too many is undone.
    focused("#form-open-count .step:last-child").await;
    for key in [Key::Space, Key::Enter, Key::Space] {
        window.key(key).await;
    }
    window.text("3 counted, mean 36.7: 41, 66, 3").await;
    focused("#form-open-count .counter > .plain").await;
    window.key(Key::Enter).await;
    window.text("3 counted, mean 36.3: 41, 66, 2").await;
    focused("#form-open-count > button").await;
    window.key(Key::Enter).await;
    window.text("Written down on this phone").await;
    assert_eq!(plot.log(1).await[0]["open_per_tree"], serde_json::json!([41, 66, 2]));
    let told = window.run("return document.activeElement.id").await;
    assert_eq!(told, "done", "what became of it has the focus");
}
