//! What a person's surroundings and settings do to a page: no signal, a page enlarged, a
//! system's own colours, no motion, keys alone.

use serde_json::{Value, json};
use thirtyfour::Key;

use super::window::{BREATH, PATIENCE};
use super::{Size, Window};

/// A page enlarged to 200 % has half the CSS pixels, and the media queries see that, as
/// with a browser's own zoom; the scale of a pinch only moves what is seen of it.
const ENLARGED: u32 = 2;

impl Window {
    /// Cuts pages and service workers off from the network, or joins them again.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn offline(&self, offline: bool) {
        let network =
            json!({"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
        self.devtools("Network.enable", json!({})).await;
        self.devtools("Network.emulateNetworkConditions", network.clone()).await;
        for session in self.workers().await {
            let command = json!({"id": 1, "method": "Network.emulateNetworkConditions", "params": network});
            let enable = json!({"id": 0, "method": "Network.enable", "params": {}});
            for message in [enable, command] {
                let sent = json!({"sessionId": session, "message": message.to_string()});
                self.devtools("Target.sendMessageToTarget", sent).await;
            }
        }
    }

    /// Starts the service worker of the server, which else waits for the first page.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn wake_worker(&self) {
        self.devtools("ServiceWorker.enable", json!({})).await;
        self.devtools("ServiceWorker.startWorker", json!({"scopeURL": format!("{}/", self.server())})).await;
        let begin = std::time::Instant::now();
        while self.workers().await.is_empty() {
            assert!(begin.elapsed() < PATIENCE, "no worker of {} starts", self.server());
            tokio::time::sleep(BREATH).await;
        }
    }

    /// The sync that a browser fires once it holds that there is a network again.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn sync(&self, tag: &str) {
        self.devtools("ServiceWorker.enable", json!({})).await;
        // A profile counts its workers from 0, and the server has one.
        let sync = json!({"origin": self.server(), "registrationId": "0", "tag": tag, "lastChance": false});
        self.devtools("ServiceWorker.dispatchSyncEvent", sync).await;
    }

    /// A session with each service worker that runs.
    async fn workers(&self) -> Vec<Value> {
        let targets = self.devtools("Target.getTargets", json!({})).await;
        let targets = targets["targetInfos"].as_array().cloned().unwrap_or_default();
        let running = targets.into_iter().filter(|target| target["type"] == "service_worker");
        let mut sessions = Vec::new();
        for target in running.map(|target| target["targetId"].clone()) {
            let known = self
                .workers
                .lock()
                .expect("nobody stops with it")
                .iter()
                .find(|(id, _)| *id == target)
                .cloned();
            let session = match known {
                Some((_, session)) => session,
                None => {
                    let attach = json!({"targetId": target, "flatten": false});
                    let session = self.devtools("Target.attachToTarget", attach).await["sessionId"].clone();
                    self.workers.lock().expect("nobody stops with it").push((target, session.clone()));
                    session
                }
            };
            sessions.push(session);
        }
        sessions
    }

    /// The page at 200 %, as a browser's zoom makes it; gives its CSS pixels.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn enlarged(&self) -> (u32, u32) {
        let (width, height) = self.size().pixels();
        let (width, height) = (width / ENLARGED, height / ENLARGED);
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": ENLARGED,
            "mobile": self.size() == Size::Phone});
        self.devtools("Emulation.setDeviceMetricsOverride", metrics).await;
        (width, height)
    }

    /// The page as large as it was.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn as_it_was(&self) {
        let (width, height) = self.size().pixels();
        match self.size() {
            Size::Desk => self.devtools("Emulation.clearDeviceMetricsOverride", json!({})).await,
            // The driver's own, which clearing would take away.
            Size::Phone => {
                let metrics =
                    json!({"width": width, "height": height, "deviceScaleFactor": 2, "mobile": true});
                self.devtools("Emulation.setDeviceMetricsOverride", metrics).await
            }
        };
    }

    /// Settings of the system that a page can ask for, such as `forced-colors`.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn prefers(&self, settings: &[(&str, &str)]) {
        let features: Vec<Value> =
            settings.iter().map(|(name, value)| json!({"name": name, "value": value})).collect();
        self.devtools("Emulation.setEmulatedMedia", json!({"features": features})).await;
    }

    /// Pages without scripts of ours from the next one on, as where these do not arrive
    /// or do not run; or with them. (The driver needs the browser's own to run on.)
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn scripts(&self, run: bool) {
        self.devtools("Network.enable", json!({})).await;
        let urls: &[&str] = if run { &[] } else { &["*.js"] };
        self.devtools("Network.setBlockedURLs", json!({"urls": urls})).await;
    }

    /// What a browser says it is.
    ///
    /// # Panics
    /// When the browser refuses.
    pub async fn calls_itself(&self, name: &str, platform: &str) {
        self.devtools("Emulation.setUserAgentOverride", json!({"userAgent": name, "platform": platform}))
            .await;
    }

    /// Presses a key where the focus is.
    ///
    /// # Panics
    /// When nothing takes it.
    pub async fn key(&self, key: Key) {
        self.types(&char::from(key).to_string()).await;
    }

    /// Types where the focus is.
    ///
    /// # Panics
    /// When nothing takes it.
    pub async fn types(&self, text: &str) {
        let keys = self.driver.action_chain().send_keys(text);
        keys.perform().await.unwrap_or_else(|error| panic!("{text:?}: {error}"));
    }
}
