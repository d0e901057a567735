//! The kit's instruments show what they are for; else all is well on every page.

use std::time::Duration;

use black_box::browser::{Browser, Size};

use crate::orchard::orchard;
use crate::settings;

#[tokio::test(flavor = "multi_thread")]
async fn the_console_tells_what_the_policy_refuses_and_what_fails() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.goto("/care").await;
    assert_eq!(window.console_errors().await, Vec::<String>::new());
    for (harm, told) in [
        (
            "let it = document.createElement('script'); it.textContent = '1'; document.body.append(it)",
            "Content Security Policy",
        ),
        (
            "let it = new Image(); it.src = '//127.0.0.1:9/x.png'; document.body.append(it)",
            "Content Security Policy",
        ),
        ("setTimeout(() => { throw Error('overripe') })", "overripe"),
    ] {
        window.run(harm).await;
        let mut errors = Vec::new();
        for _ in 0..100 {
            errors.extend(window.console_errors().await);
            if errors.iter().any(|error| error.contains(told)) {
                break;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        assert!(errors.iter().any(|error| error.contains(told)), "{harm}: {errors:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_network_no_page_comes() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.goto("/care").await;
    let bytes = window.transferred().await;
    assert!((1_000..100_000).contains(&bytes), "{bytes} bytes for one page");
    window.offline(true).await;
    assert_eq!(window.run("return navigator.onLine").await, false);
    let page = format!("{}/care", orchard.server);
    assert!(window.driver.goto(&page).await.is_err(), "a page came without a network");
    window.offline(false).await;
    window.goto("/care").await;
    assert_eq!(window.run("return navigator.onLine").await, true);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_is_too_wide_hangs_over() {
    let (orchard, browser) = (orchard().await, Browser::start());
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        window.goto("/care").await;
        assert_eq!(window.overhang().await, 0);
        window.run("document.querySelector('h1').style.width = '1400px'").await;
        assert!(window.overhang().await > 0, "{size:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_shuts_people_out_by_their_settings_is_told() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Desk, &orchard.server).await;
    for (harm, told) in [
        ("document.querySelector('h1').style.width = '900px'", "enlarged: 3"),
        ("document.querySelector('main button').style.marginLeft = '700px'", "outside of the window"),
        ("document.querySelector('main button').style.border = '0'", "no border"),
        (
            "document.querySelector('input').style.outline = 'none'; document.querySelector('a').remove()",
            "focus not seen",
        ),
        (
            "document.querySelector('main').insertAdjacentHTML('beforeend', '<svg><text>here</text></svg>')",
            "without its own ground",
        ),
        ("document.querySelector('h1').animate([{opacity: 0}, {opacity: 1}], 60000)", "motion: 1 run"),
        (
            "document.querySelector('h1').style.setProperty('transition', 'opacity 1s', 'important')",
            "motion: <h1",
        ),
    ] {
        window.goto("/sign-in").await;
        assert_eq!(settings::faults(&window).await, Vec::<String>::new());
        window.run(harm).await;
        let faults = settings::faults(&window).await;
        assert!(faults.iter().any(|fault| fault.contains(told)), "{harm}: {faults:?}");
    }
}

/// Processes of a profile, by their command lines.
fn of_profile(profile: &str) -> usize {
    let processes = std::fs::read_dir("/proc").unwrap().filter_map(Result::ok);
    let lines = processes.filter_map(|process| std::fs::read(process.path().join("cmdline")).ok());
    lines.filter(|line| String::from_utf8_lossy(line).contains(profile)).count()
}

/// A test that stops at a surprise closes no window.
#[tokio::test(flavor = "multi_thread")]
async fn nothing_runs_on_after_a_test_that_stopped() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Desk, &orchard.server).await;
    let profile = window.profile().display().to_string();
    assert!(of_profile(&profile) > 0, "Chromium runs with {profile}");
    // The driver first, as when the window's owner cannot let it go in order.
    drop(browser);
    for _ in 0..200 {
        if of_profile(&profile) == 0 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("Chromium runs on with {profile}");
}
