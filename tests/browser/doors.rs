//! Coming in.

use black_box::browser::{Browser, Size};

use crate::orchard::{ADVISOR, GROWER, orchard};

#[tokio::test(flavor = "multi_thread")]
async fn whoever_has_a_password_comes_in_and_nobody_else() {
    let (orchard, browser) = (orchard().await, Browser::start());
    for size in Size::BOTH {
        let window = browser.open(size, &orchard.server).await;
        let (width, _) = size.pixels();
        window.goto("/").await;
        assert_eq!(window.path().await, "/sign-in", "a stranger is asked who it is");
        assert_eq!(window.run("return innerWidth").await, width, "the page is laid out for the {size:?}");

        window.try_sign_in(GROWER.email, "cherries after plums").await;
        window.text("Address and password do not fit.").await;
        assert_eq!(window.path().await, "/sign-in");
        window.goto("/").await;
        assert_eq!(window.path().await, "/sign-in", "still a stranger");

        window.sign_in(ADVISOR.email, ADVISOR.password).await;
        assert_eq!(window.path().await, "/");
        window.text("Larkmoor Orchard: advisor").await;
    }
}

/// A telephone is put away and taken out again; the browser was closed in between.
#[tokio::test(flavor = "multi_thread")]
async fn who_is_signed_in_is_so_after_the_browser_was_closed() {
    let (orchard, browser) = (orchard().await, Browser::start());
    let window = browser.open(Size::Phone, &orchard.server).await;
    window.sign_in(GROWER.email, GROWER.password).await;
    assert_eq!(window.path().await, "/today", "who only logs begins with the day");
    let window = browser.reopen(window).await;
    window.goto("/").await;
    window.text("Signed in as Nils Orme").await;
    window.press("form[action='/sign-out'] button").await;
    window.text("Lost the password?").await;
    let window = browser.reopen(window).await;
    window.goto("/").await;
    assert_eq!(window.path().await, "/sign-in", "signed out for good");
}
