//! Draws the spring of 2013 at Newark on an invented block, with both curves
//! that ship: `cargo run -p charts --example spring -- spring.svg [NOW [alone]]`.
//! With a time before the end of the season the last days' readings are repeated
//! as the forecast, and odds are drawn; with a third word without the other curve.

use anyhow::{Context, Result};
use charts::season::{SeasonPicture, picture};
use model::series::{Forecast, Reading};
use model::time::{DAY, Instant};

#[path = "../tests/spring/mod.rs"]
mod spring;

/// When the whole bloom is over.
const AFTERWARDS: &str = "2013-05-20T00:00:00-04:00";
/// Days of readings that stand in for the forecast.
const REPEATED: i64 = 6 * DAY;

fn main() -> Result<()> {
    let mut arguments = std::env::args().skip(1);
    let file = arguments.next().context("say where the picture goes: spring.svg")?;
    let now = Instant::parse(&arguments.next().unwrap_or_else(|| AFTERWARDS.to_owned()))?;
    let readings = spring::readings("EWR")?;
    let hours: Vec<Reading> = readings
        .iter()
        .filter(|reading| reading.at <= now && reading.at > now.plus(-REPEATED))
        .map(|reading| Reading { at: reading.at.plus(REPEATED), ..*reading })
        .collect();
    let forecast = Forecast { issued_at: now, hours };
    let plan = spring::plan(&spring::NORTH_BENCH)?;
    let log = spring::log("ammonium-thiosulfate")?;
    let growth = spring::growth("reference", &readings, Some(&forecast), now)?;
    let season = spring::season(&plan, &log, &growth, now);
    let other_growth = spring::growth("cardinal", &readings, Some(&forecast), now)?;
    let other = spring::season(&plan, &log, &other_growth, now);
    let mut shown = SeasonPicture::new(&plan, &log, &growth, &season, now);
    let odds = spring::odds((&plan, &log, &season), &growth, &forecast, now);
    if let Ok(odds) = &odds {
        shown = shown.with_odds(&log, &growth, odds);
    }
    if std::env::args().nth(3).is_none() {
        shown = shown.beside(&log, &other_growth, &other);
    }
    std::fs::write(&file, picture(&shown)).with_context(|| format!("{file} cannot be written"))
}
