//! Playing the spring: the clock goes from hour to hour and from deed to deed,
//! and the service's own passes run at each stop.

use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::time::Duration;

use anyhow::Context;
use engine::Engine;
use model::time::{HOUR, Instant};
use serde_json::{Value, json};

use super::clock::DemoClock;
use super::http::Api;
use super::orchard::{self, BLOCKS, Block, Doing, YEAR};
use super::people::Crew;
use super::report::Reporter;

/// What the play needs.
pub(super) struct Stage<'a> {
    /// The orchard's people, each with the API from outside.
    pub(super) crew: &'a Crew,
    /// The service's passes.
    pub(super) engine: &'a Engine,
    /// The clock that everything looks at.
    pub(super) clock: &'a DemoClock,
    /// Folder of the mails.
    pub(super) mail: &'a Path,
}

/// Plays from the first to the last hour in about `pace`; the spray named by
/// `leave_out` (block, number from 1) is never put on.
pub(super) async fn spring(
    stage: &Stage<'_>,
    pace: Duration,
    leave_out: Option<(&'static str, usize)>,
) -> anyhow::Result<()> {
    let (begin, end) = (orchard::begin(), orchard::end());
    set_up(&stage.crew.advisor).await?;
    let mut play = Play {
        stage,
        report: Reporter::new(begin, end),
        doings: BLOCKS.iter().flat_map(Block::entries).collect(),
        leave_out,
        sprayed: HashMap::new(),
        place: None,
        shown: BTreeSet::new(),
        seen: HashMap::new(),
        decided: BTreeSet::new(),
    };
    let step = pace / u32::try_from(end.since(begin) / HOUR).context("a spring has few hours")?;
    let mut now = begin;
    while now <= end {
        let woke = std::time::Instant::now();
        play.stop_at(now).await?;
        let hour = Instant((now.0.div_euclid(HOUR) + 1) * HOUR);
        now = play
            .doings
            .iter()
            .map(|doing| doing.at)
            .filter(|at| *at > now)
            .min()
            .map_or(hour, |at| at.min(hour));
        if now == hour {
            tokio::time::sleep(step.saturating_sub(woke.elapsed())).await;
        }
    }
    play.report.closing(&stage.crew.consultant).await
}

/// The operator makes the farm, before anyone can be invited to it.
pub(super) async fn place(operator: &Api) -> anyhow::Result<()> {
    operator.post("farms", &orchard::farm()).await?;
    Ok(())
}

/// The advisor sets up what is on it.
async fn set_up(api: &Api) -> anyhow::Result<()> {
    for (path, document) in orchard::places() {
        api.post(&path, &document).await?;
    }
    for block in &BLOCKS {
        api.post("blocks", &block.document()).await?;
        api.put(&format!("blocks/{}/seasons/{YEAR}/plan", block.id), &block.plan()).await?;
    }
    api.post(&format!("farms/{}/confirmations", orchard::FARM), &orchard::confirmation()).await?;
    Ok(())
}

struct Play<'a> {
    stage: &'a Stage<'a>,
    report: Reporter,
    /// What the orchard's people will still do.
    doings: Vec<Doing>,
    leave_out: Option<(&'static str, usize)>,
    /// Sprays put on or left out so far, for each block.
    sprayed: HashMap<&'static str, usize>,
    /// Where in the list of changes the play has come.
    place: Option<String>,
    /// Alerts that were shown.
    shown: BTreeSet<String>,
    /// Number of legs and state last shown, for each block.
    seen: HashMap<&'static str, (usize, String)>,
    /// Blocks whose decision was shown beside the verdict.
    decided: BTreeSet<&'static str>,
}

impl Play<'_> {
    async fn stop_at(&mut self, now: Instant) -> anyhow::Result<()> {
        self.stage.clock.set(now);
        self.report.at(now);
        let (due, later) = std::mem::take(&mut self.doings).into_iter().partition(|doing| doing.at <= now);
        self.doings = later;
        let due: Vec<Doing> = due;
        for doing in &due {
            self.log(doing).await?;
        }
        engine::fetch::pass(self.stage.engine).await?;
        engine::reckon::pass(self.stage.engine).await?;
        engine::deliver::pass(self.stage.engine).await?;
        self.read_alerts(now).await?;
        for block in &BLOCKS {
            self.read_season(block).await?;
        }
        Ok(())
    }

    /// Logs an entry and shows it as it came back.
    async fn log(&mut self, doing: &Doing) -> anyhow::Result<()> {
        let path = format!("blocks/{}/seasons/{YEAR}/log", doing.block);
        self.stage.crew.grower.post(&path, &doing.entry).await?;
        let log = self.stage.crew.consultant.get(&path).await?;
        let entry = items(&log).iter().find(|entry| entry["id"] == doing.entry["id"]);
        self.report.entry(doing.block, entry.context("an entry just logged is in the log")?);
        Ok(())
    }

    /// Shows the alerts that came since, and lets the grower act on them.
    async fn read_alerts(&mut self, now: Instant) -> anyhow::Result<()> {
        loop {
            let after = self.place.as_ref().map_or_else(String::new, |place| format!("?after={place}"));
            let page = self.stage.crew.grower.get(&format!("changes{after}")).await?;
            if let Some(place) = page["cursor"].as_str() {
                self.place = Some(place.to_owned());
            }
            for change in items(&page).iter().filter(|change| change["kind"] == "alert") {
                let id = change["id"].as_str().unwrap_or_default();
                // An alert that is re-timed or closed has changed too.
                if !self.shown.insert(id.to_owned()) {
                    continue;
                }
                let whole = self.stage.crew.grower.get(&format!("alerts/{id}")).await?;
                self.report.alert(&whole, self.stage.mail)?;
                if whole["kind"] == "due" && whole["status"] == "told" {
                    self.spray(&whole, now);
                }
            }
            if page["next"].is_null() {
                return Ok(());
            }
        }
    }

    /// The grower puts the next spray of the plan on, in the next slot.
    fn spray(&mut self, alert: &Value, now: Instant) {
        let Some(block) =
            BLOCKS.iter().find(|block| alert["block_id"] == block.id && block.follows.is_none())
        else {
            return;
        };
        let sprayed = self.sprayed.entry(block.id).or_default();
        let material = block.material(*sprayed);
        *sprayed += 1;
        if self.leave_out == Some((block.id, *sprayed)) {
            return;
        }
        let Some(material) = material else { return };
        let same_trees = BLOCKS.iter().filter(|other| other.follows == Some(block.id));
        for reached in std::iter::once(block).chain(same_trees) {
            self.doings.push(Doing::spray(reached.id, material, now));
        }
    }

    async fn read_season(&mut self, block: &Block) -> anyhow::Result<()> {
        let season = self.stage.crew.consultant.get(&format!("blocks/{}/seasons/{YEAR}", block.id)).await?;
        let legs = season["legs"].as_array().map_or(0, Vec::len);
        let state = season["state"].as_str().unwrap_or_default().to_owned();
        if season["decision"].is_object() && self.decided.insert(block.id) {
            self.report.verdict(block.name, &season["verdict"]);
        }
        let seen = self.seen.insert(block.id, (legs, state.clone()));
        let (legs_before, state_before) = seen.unwrap_or_default();
        if legs > legs_before && legs > 1 {
            self.report.reset(block.name, &season["legs"][legs - 1]);
        }
        if state != state_before && matches!(state.as_str(), "overrun" | "done") {
            self.report.state(block.name, &state, &season);
        }
        Ok(())
    }
}

fn items(page: &Value) -> &[Value] {
    page["items"].as_array().map_or(&[], Vec::as_slice)
}

/// The years' documents, for the closing table.
pub(super) async fn seasons(api: &Api) -> anyhow::Result<Vec<(&'static Block, Value)>> {
    let mut seasons = Vec::with_capacity(BLOCKS.len());
    for block in &BLOCKS {
        let season = api.get(&format!("blocks/{}/seasons/{YEAR}", block.id)).await.unwrap_or(json!(null));
        seasons.push((block, season));
    }
    Ok(seasons)
}
