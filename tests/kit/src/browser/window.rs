//! One window: going somewhere and waiting for what comes.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::Value;
use thirtyfour::prelude::*;

use super::Size;

/// Longest wait for something on a page.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);
/// Between two looks.
pub(super) const BREATH: Duration = Duration::from_millis(25);

/// A window with its own profile: cookies, storage, what works without a network.
#[derive(Debug)]
pub struct Window {
    /// All else that a driver can do.
    pub driver: WebDriver,
    size: Size,
    server: String,
    profile: PathBuf,
    /// Service workers that commands were sent to, each with the session for that: what
    /// is set in one is taken back in the same.
    pub(super) workers: std::sync::Mutex<Vec<(Value, Value)>>,
}

impl Window {
    pub(super) fn new(driver: WebDriver, size: Size, server: &str, profile: PathBuf) -> Window {
        let workers = std::sync::Mutex::default();
        Window { driver, size, server: server.to_owned(), profile, workers }
    }

    /// The server that its paths lie on.
    pub fn server(&self) -> &str {
        &self.server
    }

    /// Its size.
    pub fn size(&self) -> Size {
        self.size
    }

    /// Folder of what it keeps.
    pub fn profile(&self) -> &Path {
        &self.profile
    }

    /// Opens a path of the server and waits until it is loaded.
    ///
    /// # Panics
    /// When nothing answers.
    pub async fn goto(&self, path: &str) {
        let url = format!("{}{path}", self.server);
        self.driver.goto(&url).await.unwrap_or_else(|error| panic!("{url}: {error}"));
    }

    /// The path at which it is.
    ///
    /// # Panics
    /// When the window is gone.
    pub async fn path(&self) -> String {
        self.run("return location.pathname").await.as_str().unwrap_or_default().to_owned()
    }

    /// Signs in on the page for it and waits until the page behind it is there.
    ///
    /// # Panics
    /// When it is refused.
    pub async fn sign_in(&self, email: &str, password: &str) {
        self.try_sign_in(email, password).await;
        self.text("Sign out").await;
    }

    /// Fills in the page for signing in and sends it, whatever comes of it.
    ///
    /// # Panics
    /// When the page has no such form.
    pub async fn try_sign_in(&self, email: &str, password: &str) {
        self.goto("/sign-in").await;
        self.fill("input[name=email]", email).await;
        self.fill("input[name=password]", password).await;
        self.press("form[action='/sign-in'] button").await;
    }

    /// Writes into a field, in place of what stood there.
    ///
    /// # Panics
    /// When it does not come.
    pub async fn fill(&self, css: &str, text: &str) {
        let field = self.find(css).await;
        field.clear().await.unwrap_or_else(|error| panic!("{css}: {error}"));
        field.send_keys(text).await.unwrap_or_else(|error| panic!("{css}: {error}"));
    }

    /// Presses a button or follows a link.
    ///
    /// # Panics
    /// When it does not come, or something lies over it.
    pub async fn press(&self, css: &str) {
        self.find(css).await.click().await.unwrap_or_else(|error| panic!("{css}: {error}"));
    }

    /// The first element of a CSS selector that is shown.
    ///
    /// # Panics
    /// When none comes.
    pub async fn find(&self, css: &str) -> WebElement {
        let query = self.driver.query(By::Css(css)).wait(PATIENCE, BREATH).and_displayed();
        query.first().await.unwrap_or_else(|error| panic!("{css} on {}: {error}", self.server))
    }

    /// Waits until the page shows some words, and gives all that it shows.
    ///
    /// # Panics
    /// When they do not come.
    pub async fn text(&self, words: &str) -> String {
        let begin = std::time::Instant::now();
        loop {
            // Between two pages there is no body for a moment.
            let shown = self.driver.execute("return document.body?.innerText ?? ''", Vec::new()).await;
            let shown =
                shown.ok().and_then(|shown| shown.json().as_str().map(str::to_owned)).unwrap_or_default();
            if shown.contains(words) {
                return shown;
            }
            assert!(begin.elapsed() < PATIENCE, "“{words}” does not come; the page shows: {shown}");
            tokio::time::sleep(BREATH).await;
        }
    }

    /// What a script gives, run in the page.
    ///
    /// # Panics
    /// When it fails.
    pub async fn run(&self, script: &str) -> Value {
        let given = self.driver.execute(script, Vec::new()).await;
        given.unwrap_or_else(|error| panic!("{script}: {error}")).json().clone()
    }

    /// What a script hands to the function that is its last argument, `arguments[0]`.
    ///
    /// # Panics
    /// When it fails.
    pub async fn run_to_its_call(&self, script: &str) -> Value {
        let given = self.driver.execute_async(script, Vec::new()).await;
        given.unwrap_or_else(|error| panic!("{script}: {error}")).json().clone()
    }

    /// A command of the DevTools protocol.
    ///
    /// # Panics
    /// When it is refused.
    pub async fn devtools(&self, method: &str, parameters: Value) -> Value {
        let given = self.driver.cdp().send_raw(method, parameters).await;
        given.unwrap_or_else(|error| panic!("{method}: {error}"))
    }

    /// Closes it; gives what the next one needs.
    pub(super) async fn close(self) -> (Size, String, PathBuf) {
        self.driver.quit().await.expect("a window can be closed");
        (self.size, self.server, self.profile)
    }
}
