//! A real browser: Chromium, led by its own driver.

mod conditions;
mod measures;
mod window;

use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};
use tempfile::TempDir;
use thirtyfour::{ChromiumLikeCapabilities, DesiredCapabilities, LoggingPrefsLogLevel, WebDriver};

pub use measures::{build, noted, sheets};
pub use thirtyfour::{By, Key, WebElement};
pub use window::Window;

/// How large the window is and what holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// A telephone of 360 by 740, held upright and touched.
    Phone,
    /// A desk's screen of 1280 by 800.
    Desk,
}

impl Size {
    /// Both, for what must be so on each.
    pub const BOTH: [Size; 2] = [Size::Phone, Size::Desk];

    /// Its word, in names of files.
    pub fn word(self) -> &'static str {
        match self {
            Size::Phone => "phone",
            Size::Desk => "desk",
        }
    }

    /// Width and height in CSS pixels.
    pub fn pixels(self) -> (u32, u32) {
        match self {
            Size::Phone => (360, 740),
            Size::Desk => (1280, 800),
        }
    }
}

/// A running `chromedriver` with a process group of its own. Dropping it ends it
/// and all that it started.
#[derive(Debug)]
pub struct Browser {
    driver: Child,
    address: String,
    /// Folders of the windows' profiles.
    home: TempDir,
}

impl Browser {
    /// Starts the driver on a free port.
    ///
    /// # Panics
    /// When Chromium or its driver is not installed, or the driver does not start.
    pub fn start() -> Browser {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let mut command = Command::new("chromedriver");
        command.args(["--port=0"]).process_group(0).stdin(Stdio::null()).stdout(Stdio::piped());
        let mut driver = command
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("chromedriver: {error}; tests/run installs chromium-driver"));
        let mut lines = BufReader::new(driver.stdout.take().expect("stdout is piped")).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, port) = line.split_once("started successfully on port ")?;
            port.trim_end_matches('.').parse::<u16>().ok()
        });
        let port = port.expect("chromedriver says its port when it has started");
        // Read on though nobody listens: a full pipe would stop the driver.
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(drop));
        let home = tempfile::tempdir().expect("a folder for the browser");
        Browser { driver, address: format!("http://127.0.0.1:{port}"), home }
    }

    /// Opens a window that knows nothing yet. Paths that it goes to lie on `server`.
    ///
    /// # Panics
    /// When Chromium does not start.
    pub async fn open(&self, size: Size, server: &str) -> Window {
        let profile = tempfile::Builder::new().prefix("profile-").tempdir_in(self.home.path());
        // The home takes it away at the end.
        let profile = profile.expect("a folder for a profile").keep();
        let driver = self.session(size, &profile).await;
        Window::new(driver, size, server.trim_end_matches('/'), profile)
    }

    /// Closes a window and opens another that knows all that the first had kept, as
    /// when a person comes back later.
    ///
    /// # Panics
    /// When Chromium does not end or start.
    pub async fn reopen(&self, window: Window) -> Window {
        let (size, server, profile) = window.close().await;
        let driver = self.session(size, &profile).await;
        Window::new(driver, size, &server, profile)
    }

    async fn session(&self, size: Size, profile: &Path) -> WebDriver {
        let (width, height) = size.pixels();
        let mut asked = DesiredCapabilities::chrome();
        let mut arguments = vec![
            "--headless=new".to_owned(),
            // Tests run as root, too, and in small containers.
            "--no-sandbox".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--no-proxy-server".to_owned(),
            "--lang=en-GB".to_owned(),
            format!("--user-data-dir={}", profile.display()),
        ];
        if size == Size::Phone {
            let metrics =
                json!({"width": width, "height": height, "pixelRatio": 2.0, "mobile": true, "touch": true});
            let phone: Value = json!({"deviceMetrics": metrics});
            asked.add_experimental_option("mobileEmulation", phone).expect("a setting of the driver");
        } else {
            arguments.push(format!("--window-size={width},{height}"));
        }
        for argument in &arguments {
            asked.add_arg(argument).expect("an argument of Chromium");
        }
        asked.set_browser_log_level(LoggingPrefsLogLevel::All).expect("a setting of the driver");
        let client = reqwest::Client::builder().no_proxy().build().expect("a client of the driver");
        let driver = WebDriver::builder(&self.address, asked).client(client).await;
        driver.unwrap_or_else(|error| panic!("Chromium does not start; tests/run installs it: {error}"))
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The whole group: Chromium, where a test stopped before it closed its window.
        let group = format!("-{}", self.driver.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
        let _ = self.driver.wait();
    }
}
