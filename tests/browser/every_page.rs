//! Every page of the router: nothing on it shuts anyone out, however they have set their
//! system, and nothing fails in it.

use black_box::browser::{Browser, Size};

use crate::axe::Axe;
use crate::orchard::{ADVISOR, OPERATOR, orchard};
use crate::paths::{filled, is_the_operators};
use crate::settings;

/// Words of a path as the name of a file.
fn name(path: &str) -> String {
    let words: Vec<&str> = path.split(['/', '{', '}']).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "home".to_owned() } else { words.join("-") }
}

async fn is_well(size: Size) {
    let (orchard, browser, axe) = (orchard().await, Browser::start(), Axe::fetched());
    let window = browser.open(size, &orchard.server).await;
    window.sign_in(ADVISOR.email, ADVISOR.password).await;
    let operators = browser.open(size, &orchard.server).await;
    operators.sign_in(OPERATOR.email, OPERATOR.password).await;
    let (advisors, mut wrong) = (window, Vec::new());
    for path in web::pages() {
        let window = if is_the_operators(path) { &operators } else { &advisors };
        for (number, url) in filled(&orchard, path).await.iter().enumerate() {
            window.driver.goto(url).await.unwrap();
            let title = window.driver.title().await.unwrap();
            assert!(title.ends_with(" - bloomtide") && !title.starts_with("Not done"), "{url}: {title}");
            assert_eq!(window.driver.current_url().await.unwrap().as_str(), url, "{path} leads elsewhere");
            let picture = if number == 0 { name(path) } else { format!("{}-{number}", name(path)) };
            window.picture(&picture).await;
            match window.overhang().await {
                0 => {}
                pixels => wrong.push(format!("{path}: {pixels} wider than the window")),
            }
            let errors = window.console_errors().await;
            wrong.extend(errors.into_iter().map(|error| format!("{path}: console: {error}")));
            for fault in axe.faults(window).await.into_iter().chain(settings::faults(window).await) {
                wrong.push(format!("{path}: {fault}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{size:?}:\n{}", wrong.join("\n"));
}

#[tokio::test(flavor = "multi_thread")]
async fn is_well_on_a_phone() {
    is_well(Size::Phone).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn is_well_on_a_desk() {
    is_well(Size::Desk).await;
}
