//! Every page of the router: nothing on it shuts anyone out, and nothing fails in it.

use black_box::browser::{Browser, Size, Window, build};
use black_box::program::bytes;

use crate::orchard::{ADVISOR, OPERATOR, orchard};
use crate::paths::{filled, is_the_operators};

/// The script of axe-core, the checker of accessibility.
fn axe() -> String {
    let path = build().join("axe/package/axe.min.js");
    assert!(path.exists(), "{} is missing: tests/run fetches axe-core", path.display());
    String::from_utf8(bytes(&path)).unwrap()
}

/// What axe holds to be serious or critical on the page that is shown.
async fn faults(window: &Window, axe: &str) -> Vec<String> {
    window.run(axe).await;
    let found = window
        .run_to_its_call(
            "axe.run().then(found => arguments[0](found.violations
                .filter(fault => ['serious', 'critical'].includes(fault.impact))
                .flatMap(fault => fault.nodes.map(node =>
                    `${fault.impact}: ${fault.help} (${fault.id}): ${node.html} ${node.failureSummary}`))),
            failed => arguments[0]([String(failed)]))",
        )
        .await;
    found.as_array().unwrap().iter().map(|fault| fault.as_str().unwrap().to_owned()).collect()
}

/// Words of a path as the name of a file.
fn name(path: &str) -> String {
    let words: Vec<&str> = path.split(['/', '{', '}']).filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "home".to_owned() } else { words.join("-") }
}

async fn is_well(size: Size) {
    let (orchard, browser, axe) = (orchard().await, Browser::start(), axe());
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
            wrong.extend(faults(window, &axe).await.into_iter().map(|fault| format!("{path}: {fault}")));
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
