//! Two small sheets as rows, so that a page, a print and the API show the same.

use chrono_tz::Tz;
use serde::Serialize;

use super::{BlockFacts, Confirmation, Profile, Record, words_for};
use crate::materials::{Material, Rate, figure};
use crate::mixing::Mix;
use crate::plan::MarkBound;
use crate::time::{Instant, MINUTE};
use crate::words;

/// What stands where nothing was recorded.
const NOT_RECORDED: &str = "not recorded";
/// What stands where no re-entry time was recorded.
const BY_THE_LABEL: &str = "not recorded: go by the label";
/// The row of a notice that is read first.
pub const KEEP_OUT_UNTIL: &str = "Keep out until";
/// Metres a second in a mile an hour, exact by definition.
const M_S_PER_MPH: f64 = 0.447_04;

/// A line of a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Row {
    /// What it is.
    pub label: &'static str,
    /// What it says.
    pub value: String,
}

/// A sheet: its rows from top to bottom, and below them what goes with it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sheet {
    /// What stands at its head.
    pub title: String,
    /// Its rows.
    pub rows: Vec<Row>,
    /// Sentences below, cautions among them.
    pub below: Vec<String>,
}

impl Sheet {
    /// What the row of that label says.
    pub fn row(&self, label: &str) -> Option<&str> {
        self.rows.iter().find(|row| row.label == label).map(|row| row.value.as_str())
    }

    fn say(&mut self, label: &'static str, value: impl Into<String>) {
        self.rows.push(Row { label, value: value.into() });
    }
}

/// What a notice at the block's edge says after a spray.
pub fn notice(record: &Record, material: Option<&Material>, block: &BlockFacts<'_>, zone: Tz) -> Sheet {
    let mut sheet =
        Sheet { title: format!("{} has been sprayed", block.name), rows: Vec::new(), below: Vec::new() };
    let or_not = |text: Option<&str>| text.unwrap_or(NOT_RECORDED).to_owned();
    sheet.say("Block", block.name);
    if let Some(farm) = block.farm {
        sheet.say("Farm", farm);
    }
    let name = material.map(|material| material.name.as_str()).or(record.material.as_deref());
    sheet.say("Material", or_not(name));
    sheet.say("Product", or_not(record.text("product")));
    sheet.say("Registration number", or_not(record.text("registration_number")));
    sheet.say("Active ingredient", or_not(record.text("active_ingredient")));
    let sprayed = match (record.at, record.finished_at) {
        (Some(at), Some(finish)) if at < finish => format!("{} to {}", wall(at, zone), wall(finish, zone)),
        (_, Some(finish)) => format!("finished {}", wall(finish, zone)),
        (Some(at), None) => format!("begun {}, not finished yet", wall(at, zone)),
        (None, None) => NOT_RECORDED.to_owned(),
    };
    sheet.say("Sprayed", sprayed);
    let typed = record.reentry_typed.join(", ");
    let until = match (record.reentry_at(), record.reentry_seconds()) {
        (Some(at), _) => wall(at, zone),
        (None, Some(_)) => format!("{} after the spray is finished", hours(record)),
        (None, None) if typed.is_empty() => BY_THE_LABEL.to_owned(),
        (None, None) => format!("{BY_THE_LABEL} (what was written, `{typed}`, could not be read)"),
    };
    if until.starts_with(BY_THE_LABEL) {
        sheet.below.push(words::NO_REENTRY.to_owned());
    }
    sheet.say(KEEP_OUT_UNTIL, until);
    sheet.say("Applicator", or_not(record.text("applicator")));
    sheet.below.push(words::CAUTION.to_owned());
    sheet
}

/// What goes onto a sheet for whoever is to spray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job<'a> {
    /// The block.
    pub block: BlockFacts<'a>,
    /// The material.
    pub material: &'a Material,
    /// Rate to put on; that of the mix where there is one.
    pub rate: Option<Rate>,
    /// Tanks as they were reckoned.
    pub mix: Option<&'a Mix>,
    /// Mark of the leg, as a share of the style.
    pub mark: Option<f64>,
    /// Side of the mark to stay on.
    pub bound: Option<MarkBound>,
    /// Likely time with its range, in the words that the season has for it.
    pub likely: Option<&'a str>,
    /// The word of whoever confirmed the material for this block.
    pub confirmed: Option<&'a Confirmation>,
    /// What has to be known before anyone sprays.
    pub before: &'a [String],
    /// What has to be written down; without one the sheet names the usual.
    pub profile: Option<&'a Profile>,
}

/// What a sheet for a contractor says before a spray.
pub fn job(job: &Job<'_>) -> Sheet {
    let (block, material) = (&job.block, job.material);
    let mut sheet = Sheet { title: format!("Spray for {}", block.name), rows: Vec::new(), below: Vec::new() };
    sheet.say("Block", block.name);
    if !job.before.is_empty() {
        sheet.say("First", job.before.join(" "));
    }
    for (label, fact) in [("Farm", block.farm), ("Where", block.location), ("Cultivar", block.cultivar)] {
        if let Some(fact) = fact {
            sheet.say(label, fact);
        }
    }
    let area = job.mix.map(|mix| mix.area.to_string()).or(block.area.map(str::to_owned));
    sheet.say("Area", area.unwrap_or_else(|| "not given: ask".to_owned()));
    sheet.say("Material", material.name.as_str());
    let rate = job.mix.map(|mix| mix.asked.rate).or(job.rate);
    sheet.say("Rate", rate.map_or_else(|| "not given: ask".to_owned(), |rate| rate.spoken()));
    if let Some(mix) = job.mix {
        sheet.say("Finished spray", format!("{}, {} in all", mix.spray_per_area, mix.spray));
        sheet.say("Tanks", mix.tank_sentences().join(" "));
    }
    if let Some(basis) = &material.basis {
        sheet.say("Where the usual figures come from", basis.as_str());
    }
    if let Some(mark) = job.mark {
        sheet.say("Mark", format!("{mark:.2} of the style"));
    }
    match job.bound {
        Some(MarkBound::NotBefore) => {
            sheet.say("Which side", "not before the mark: earlier, it takes flowers that are wanted");
        }
        Some(MarkBound::NotAfter) => {
            sheet.say("Which side", "not after the mark: later, flowers that no one wants are through");
        }
        None => {}
    }
    sheet.say("Likely time", job.likely.unwrap_or("not known yet"));
    let limits = limits(material);
    if !limits.is_empty() {
        sheet.say("Limits set here", limits.join("; "));
    }
    let reentry = material.reentry_hours.map(|hours| {
        format!("{} h after the finish, as kept for this material; the label decides", figure(hours))
    });
    sheet.say("Re-entry", reentry.unwrap_or_else(|| BY_THE_LABEL.to_owned()));
    sheet.say("Write down", write_down(job.profile).join(", "));
    match job.confirmed.filter(|confirmed| confirmed.covers(&material.id)) {
        Some(confirmed) => sheet.say("Confirmed", confirmed.spoken()),
        None => sheet.below.push(words::UNCONFIRMED.to_owned()),
    }
    sheet.below.push(words::CAUTION.to_owned());
    sheet
}

/// What whoever sprays has to bring back: the fields of the profile that are
/// not known beforehand.
fn write_down(profile: Option<&Profile>) -> Vec<&'static str> {
    const USUAL: [&str; 10] = [
        "at",
        "finished_at",
        "product",
        "registration_number",
        "total_amount",
        "area",
        "applicator",
        "wind",
        "temperature",
        "reentry_interval",
    ];
    const KNOWN: [&str; 7] = ["block", "farm", "location", "crop", "cultivar", "time_zone", "material"];
    let fields = profile.map_or(&USUAL[..], |profile| &profile.fields);
    fields.iter().filter(|field| !KNOWN.contains(field)).filter_map(|field| words_for(field)).collect()
}

fn limits(material: &Material) -> Vec<String> {
    let wind = |speed: f64| format!("{} m/s ({} mph)", figure(speed), figure(speed / M_S_PER_MPH));
    let air = |celsius: f64| format!("{} °C ({} °F)", figure(celsius), figure(celsius * 1.8 + 32.0));
    [
        material.max_wind_m_s.map(|speed| format!("wind at most {}", wind(speed))),
        material.max_gust_m_s.map(|speed| format!("gusts at most {}", wind(speed))),
        material.min_celsius.map(|celsius| format!("air at least {}", air(celsius))),
        material.max_celsius.map(|celsius| format!("air at most {}", air(celsius))),
        material.rain_free_hours_after.map(|hours| format!("no rain for {} h after", figure(hours))),
        material.season_maximum.map(|most| format!("at most {most} in a season")),
        material.minimum_interval_hours.map(|hours| format!("at least {} h between two", figure(hours))),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn hours(record: &Record) -> String {
    format!("{} h", figure(record.reentry_seconds().unwrap_or_default() as f64 / 3_600.0))
}

/// A moment on the block's wall clock, with year and zone, rounded up to the
/// minute: nobody goes in early for a few seconds.
fn wall(at: Instant, zone: Tz) -> String {
    let minute = Instant((at.0 + MINUTE - 1).div_euclid(MINUTE) * MINUTE);
    minute.utc().with_timezone(&zone).format("%a %-d %b %Y, %H:%M %Z").to_string()
}
