//! The invented farm of a trial, and what is expected of it.

use serde_json::{Value, json};

use crate::air::{Air, DAY, HOUR};
use crate::api::{Api, Lost};
use crate::dice::Dice;
use crate::rig::{BEGIN, Rig};

/// Of the style, at which leg 1's spray is due.
pub(crate) const MARK: f64 = 0.6;

/// How much sooner the likely time by the odds may lie than that of the forecast alone.
const ODDS: i64 = 3 * HOUR;

/// Where the alerts go.
pub(crate) const GROWER: &str = "grower@quernstone.example";

/// A block whose bloom starts at a known moment.
#[derive(Debug, Clone)]
pub(crate) struct Block {
    pub(crate) id: String,
    site: String,
    /// Seconds since 1970.
    pub(crate) start: i64,
    /// When its mark is reached.
    pub(crate) crossing: i64,
    /// When its start was first given to the service.
    pub(crate) logged: Option<i64>,
    /// Whether the service has said that it is kept.
    kept: bool,
}

/// A farm with sites in cells of their own, all fed.
pub(crate) struct Orchard {
    pub(crate) blocks: Vec<Block>,
}

impl Orchard {
    /// Sets up `sites` sites and `blocks` blocks that start within `spread` seconds
    /// from an hour after [`BEGIN`].
    pub(crate) async fn plant(api: &Api, seed: u64, sites: usize, blocks: usize, spread: i64) -> Orchard {
        let mut dice = Dice::new(seed ^ 0xB10C);
        api.post("farms", json!({"id": "farm", "name": "Quernstone", "alert_emails": [GROWER]})).await;
        let mut airs = Vec::new();
        for number in 0..sites {
            let (latitude, longitude) = (40.0 + number as f64 * 0.2, -74.2);
            airs.push(Air::of(seed, latitude, longitude));
            let id = format!("site-{number}");
            let place = json!({
                "id": id, "farm_id": "farm", "name": id, "latitude": latitude, "longitude": longitude,
                "time_zone": "America/New_York",
            });
            api.post("sites", place).await;
            let source = json!({"id": format!("{id}-source"), "name": "model", "way": "feed", "provider": "open-meteo"});
            api.post(&format!("sites/{id}/sources"), source).await;
        }
        let mut planted = Vec::new();
        for number in 0..blocks {
            let (id, site) = (format!("block-{number:04}"), number % sites);
            let start = BEGIN + HOUR + dice.between(0, spread);
            let crossing = airs[site].crossing(start, MARK);
            let block =
                Block { id, site: format!("site-{site}"), start, crossing, logged: None, kept: false };
            block.plant(api).await;
            planted.push(block);
        }
        Orchard { blocks: planted }
    }

    /// The last crossing of all.
    pub(crate) fn last(&self) -> i64 {
        self.blocks.iter().map(|block| block.crossing).max().unwrap_or(BEGIN)
    }

    /// Moves the clock on, logs what starts, and moves it on by a second, so that what
    /// was posted is seen when all rest.
    pub(crate) async fn step(&mut self, rig: &mut Rig, seconds: i64) {
        rig.set(rig.now + seconds);
        let (api, now) = (rig.api(), rig.now);
        self.log_starts(&api, now).await;
        rig.set(now + 1);
    }

    /// The phones send again what the service may have lost.
    pub(crate) fn forget(&mut self) {
        self.blocks.iter_mut().for_each(|block| block.kept = false);
    }

    /// All alerts that are called for.
    pub(crate) fn expected(&self) -> Vec<Expected> {
        self.blocks.iter().flat_map(Block::expected).collect()
    }

    /// Logs each start that has come; those that the service did not take wait for
    /// the next time. Gives whether it answered.
    pub(crate) async fn log_starts(&mut self, api: &Api, now: i64) -> bool {
        for block in self.blocks.iter_mut().filter(|block| !block.kept && block.start <= now) {
            block.logged.get_or_insert(now);
            match api.try_post(&format!("blocks/{}/seasons/2026/log", block.id), &block.starts()).await {
                Ok(_) => block.kept = true,
                Err(Lost::Gone | Lost::Failed) => return false,
            }
        }
        true
    }
}

impl Block {
    async fn plant(&self, api: &Api) {
        let document = json!({
            "id": self.id, "farm_id": "farm", "site_id": self.site, "name": self.id, "cultivar": "Gala",
            "curve": "reference", "target_fruit_per_tree": 100,
        });
        api.post("blocks", document).await;
        let plan = json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": MARK}]});
        api.put(&format!("blocks/{}/seasons/2026/plan", self.id), plan).await;
    }

    /// The decision, and the start; the same however often they are sent.
    fn starts(&self) -> Value {
        let at = at(self.start);
        json!({"entries": [
            {"id": format!("{}-a", self.id), "kind": "decision", "at": at, "thin": true, "reason": "a full set"},
            {"id": format!("{}-b", self.id), "kind": "bloom-start", "at": at},
        ]})
    }

    /// The alerts that are called for, each with the time that it tells and the
    /// earliest at which it can be known.
    pub(crate) fn expected(&self) -> Vec<Expected> {
        let Some(logged) = self.logged else { return Vec::new() };
        let next_reading = (self.crossing + HOUR - 1).div_euclid(HOUR) * HOUR;
        let one =
            |kind, tells, called| Expected { block: self.id.clone(), kind, tells, from: called, called };
        let ahead = one("heads-up", self.crossing, logged.max(self.crossing - DAY));
        vec![
            one("started", self.start, logged),
            // By its odds the mark may be likely somewhat sooner than by the forecast alone.
            Expected { from: logged.max(self.crossing - DAY - ODDS), ..ahead },
            one("due", self.crossing, next_reading.max(logged)),
        ]
    }
}

/// An alert that is called for.
#[derive(Debug, Clone)]
pub(crate) struct Expected {
    pub(crate) block: String,
    pub(crate) kind: &'static str,
    /// The moment that the mail names.
    pub(crate) tells: i64,
    /// It cannot be known before.
    pub(crate) from: i64,
    /// From then on it is called for.
    pub(crate) called: i64,
}

/// RFC 3339.
pub(crate) fn at(seconds: i64) -> String {
    model::time::Instant(seconds).to_string()
}
