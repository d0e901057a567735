//! What is measured of a page, and what is kept of it to be looked at.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use super::Window;

/// Most CSS pixels that a picture is high: a page of a hundred screens takes long.
const TALLEST: f64 = 4_000.0;

impl Window {
    /// Bytes that came over the network for the page as it is loaded: the document
    /// and all that it fetched, with their headers.
    ///
    /// # Panics
    /// When the window is gone.
    pub async fn transferred(&self) -> u64 {
        let sum =
            "return performance.getEntries().reduce((sum, entry) => sum + (entry.transferSize ?? 0), 0)";
        self.run(sum).await.as_u64().unwrap_or_default()
    }

    /// CSS pixels by which the page is wider than its window.
    ///
    /// # Panics
    /// When the window is gone.
    pub async fn overhang(&self) -> u64 {
        let wide = self.run("return document.documentElement.scrollWidth").await;
        wide.as_u64().unwrap_or_default().saturating_sub(self.size().pixels().0.into())
    }

    /// Errors that the console has shown since this was last asked: scripts that
    /// failed, what the content security policy refused, what was not found.
    ///
    /// # Panics
    /// When the window is gone.
    pub async fn console_errors(&self) -> Vec<String> {
        let log = self.driver.browser_log().await.expect("the console's log");
        log.into_iter().filter(|entry| entry.level == "SEVERE").map(|entry| entry.message).collect()
    }

    /// A picture of the page in `target/screenshots/NAME-SIZE.png`, to look at: all of
    /// it, but for what lies very far down.
    ///
    /// # Panics
    /// When it cannot be taken or written.
    pub async fn picture(&self, name: &str) -> PathBuf {
        let metrics = self.devtools("Page.getLayoutMetrics", json!({})).await;
        let height = metrics["cssContentSize"]["height"].as_f64().unwrap_or(TALLEST).min(TALLEST);
        let clip = json!({"x": 0, "y": 0, "width": self.size().pixels().0, "height": height, "scale": 1});
        let asked = json!({"format": "png", "captureBeyondViewport": true, "clip": clip});
        let picture = self.devtools("Page.captureScreenshot", asked).await;
        let path = output("screenshots").join(format!("{name}-{}.png", self.size().word()));
        std::fs::write(&path, bytes_in(&picture)).expect("a picture can be written");
        path
    }

    /// The page printed on A4, as `target/screenshots/NAME.pdf`.
    ///
    /// # Panics
    /// When it cannot be printed or written.
    pub async fn printed(&self, name: &str) -> PathBuf {
        let a4 = json!({"paperWidth": 8.27, "paperHeight": 11.69, "preferCSSPageSize": true, "printBackground": true});
        let pdf = self.devtools("Page.printToPDF", a4).await;
        let path = output("screenshots").join(format!("{name}.pdf"));
        std::fs::write(&path, bytes_in(&pdf)).expect("a PDF can be written");
        path
    }
}

/// Sheets of a PDF, counted by `pdfinfo`.
///
/// # Panics
/// When it is not installed or cannot read the file.
pub fn sheets(pdf: &Path) -> u32 {
    let read = Command::new("pdfinfo").arg(pdf).output();
    let read = read.unwrap_or_else(|error| panic!("pdfinfo: {error}; tests/run installs poppler-utils"));
    let said = String::from_utf8_lossy(&read.stdout).into_owned();
    let count = said.lines().find_map(|line| line.strip_prefix("Pages:"));
    count.and_then(|count| count.trim().parse().ok()).unwrap_or_else(|| panic!("{}: {read:?}", pdf.display()))
}

/// Figures put on record: shown with the test, and in `target/screenshots/NAME`.
///
/// # Panics
/// When they cannot be written.
#[expect(clippy::print_stdout, reason = "the test runner shows it where it is asked to")]
pub fn noted(name: &str, lines: &[String]) {
    lines.iter().for_each(|line| println!("{line}"));
    std::fs::write(output("screenshots").join(name), lines.join("\n") + "\n")
        .expect("figures can be written");
}

/// The bytes in an answer of the DevTools.
fn bytes_in(answer: &Value) -> Vec<u8> {
    use base64::Engine;
    let text = answer["data"].as_str().expect("the answer has data");
    base64::engine::general_purpose::STANDARD.decode(text).expect("the data is base64")
}

/// A folder of what tests leave to be looked at, in the build's own.
fn output(name: &str) -> PathBuf {
    let folder = build().join(name);
    std::fs::create_dir_all(&folder).expect("the build's folder can be written");
    folder
}

/// The build's folder, `target` unless it lies elsewhere.
pub fn build() -> PathBuf {
    let here = std::env::current_exe().expect("a test knows where it lies");
    here.ancestors().nth(3).expect("tests lie in target/PROFILE/deps").to_owned()
}
