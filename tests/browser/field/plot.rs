//! A small farm whose server is stopped and started again.

use black_box::browser::Window;
use black_box::program::{Program, eventually};
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::orchard::api::Api;
use crate::orchard::{FARM, GROWER, OPERATOR, invited, path_of, serve, served};

const NAME: &str = "plot";

/// The farm.
pub(crate) struct Plot {
    pub(crate) server: String,
    pub(crate) api: Api,
    /// The bloom year.
    pub(crate) year: String,
    folder: TempDir,
    program: Option<Program>,
}

impl Plot {
    /// With one block, `terrace`, and its grower.
    pub(crate) async fn planted() -> Plot {
        let folder = tempfile::tempdir().unwrap();
        let (program, server, own, token) = served(&folder, NAME, &[]);
        let api = Api::new(&server, &token);
        let operator = [("name", OPERATOR.name), ("email", OPERATOR.email), ("password", OPERATOR.password)];
        api.send(&path_of(&own, &server), &operator).await;
        let farm = api.post("farms", json!({"id": FARM, "name": "Plot", "alert_emails": []})).await;
        let year = farm["created_at"].as_str().unwrap()[..4].to_owned();
        let page = invited(&api, GROWER.email, "grower").await;
        api.send(&page, &[("name", GROWER.name), ("password", GROWER.password)]).await;
        let site = json!({"id": "ridge", "farm_id": FARM, "name": "Ridge", "latitude": 40.7, "longitude": -74.2,
            "time_zone": "America/New_York"});
        api.post("sites", site).await;
        let block = json!({"id": "terrace", "farm_id": FARM, "site_id": "ridge", "name": "Mill Terrace",
            "cultivar": "Fuji", "curve": "reference", "style_length_mm": 8.8, "flowers_per_cluster": 5,
            "target_fruit_per_tree": 115});
        api.post("blocks", block).await;
        Plot { server, api, year, folder, program: Some(program) }
    }

    /// Gives the block another name.
    pub(crate) async fn rename(&self, name: &str) {
        self.api.change("blocks/terrace", json!({"name": name})).await;
    }

    /// The server goes away.
    pub(crate) fn stop(&mut self) {
        self.program.take().unwrap().kill();
    }

    /// It comes back.
    pub(crate) async fn start(&mut self) {
        self.program = Some(serve(&self.folder, NAME, &self.server, &[]));
        eventually("the server answers", async || {
            std::net::TcpStream::connect(self.server.trim_start_matches("http://")).ok()
        })
        .await;
    }

    /// What the block's log of the year holds by now.
    pub(crate) async fn entries(&self) -> Vec<Value> {
        let log = self.api.find(&format!("blocks/terrace/seasons/{}/log", self.year)).await;
        log.and_then(|log| log["items"].as_array().cloned()).unwrap_or_default()
    }

    /// The block's log of the year, once it has so many entries.
    pub(crate) async fn log(&self, entries: usize) -> Vec<Value> {
        self.log_of(self.year.parse().unwrap(), entries).await
    }

    /// The same of another year.
    pub(crate) async fn log_of(&self, year: i32, entries: usize) -> Vec<Value> {
        eventually(&format!("{entries} entries in the log"), async || {
            let log = self.api.find(&format!("blocks/terrace/seasons/{year}/log")).await?;
            let items = log["items"].as_array().unwrap().clone();
            (items.len() == entries).then_some(items)
        })
        .await
    }
}

/// Signs the grower in and waits until all is kept for where there is no signal.
pub(crate) async fn ready(window: &Window) {
    window.sign_in(GROWER.email, GROWER.password).await;
    window.goto("/today").await;
    window.text("Ready without signal").await;
}

/// Opens a form and waits until it can be filled.
pub(crate) async fn form(window: &Window, what: &str) {
    window.goto(&format!("/log?block=terrace&what={what}")).await;
    window.find(&format!("html[data-ready] #form-{what}")).await;
}

/// Types a count tree by tree and leaves the last one in the pad.
pub(crate) async fn count(window: &Window, trees: &[u32]) {
    for (n, tree) in trees.iter().enumerate() {
        if n > 0 {
            window.press("#form-open-count .next").await;
        }
        window.fill("#form-open-count .pad", &tree.to_string()).await;
    }
}

/// Saves the form and waits until it is in the outbox.
pub(crate) async fn save(window: &Window, what: &str) {
    window.press(&format!("#form-{what} > button")).await;
    window.text("Written down on this phone").await;
}
