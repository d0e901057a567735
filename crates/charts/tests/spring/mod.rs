//! The spring of 2013 at Newark on an invented block: what pictures are tried
//! on, here and by the example.

#![allow(dead_code, reason = "each of its users takes a part")]

use std::sync::Arc;

use anyhow::{Context, Result};
use model::catalogue::Catalogue;
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::odds::{Errors, Foretold, Line, Outlook, SeasonOdds};
use model::plan::Plan;
use model::season::{self, Season};
use model::series::{Forecast, Reading, Series};
use model::time::Instant;
use serde_json::{Value, json};

const READINGS: &str = include_str!("../../../../tests/data/spring-2013.csv");
const CURVES: &str = include_str!("../../../../config/curves.toml");
const MATERIALS: &str = include_str!("../../../../config/materials.toml");

/// A moment of these tests.
pub fn at(text: &str) -> Instant {
    Instant::parse(text).expect("tests write their times in RFC 3339")
}

/// What ships.
pub fn catalogue() -> Result<Catalogue> {
    let (curves, materials): (Value, Value) = (toml::from_str(CURVES)?, toml::from_str(MATERIALS)?);
    Ok(Catalogue::read(&curves, &materials)?)
}

/// The hourly readings of one station, °C.
pub fn readings(station: &str) -> Result<Vec<Reading>> {
    let mut file = csv::Reader::from_reader(READINGS.as_bytes());
    let heads = file.headers()?.clone();
    let column = |name: &str| heads.iter().position(|head| head == name).context(format!("no column {name}"));
    let (origin, temp, time) = (column("origin")?, column("temp")?, column("time_hour")?);
    let mut readings = Vec::new();
    for row in file.records() {
        let row = row?;
        if &row[origin] == station && &row[temp] != "NA" {
            let fahrenheit: f64 = row[temp].parse()?;
            readings.push(Reading::instant(Instant::parse(&row[time])?, (fahrenheit - 32.0) / 1.8));
        }
    }
    Ok(readings)
}

/// Names that may be anything.
pub struct Names<'a> {
    pub block: &'a str,
    pub cultivar: &'a str,
    pub material: &'a str,
}

/// The names of an invented block.
pub const NORTH_BENCH: Names<'static> =
    Names { block: "North Bench", cultivar: "Gala", material: "ammonium-thiosulfate" };

/// Two sprays at 60 % of the style, 115 fruit a tree.
pub fn plan(names: &Names<'_>) -> Result<Plan> {
    let block = json!({
        "name": names.block, "cultivar": names.cultivar, "curve": "reference",
        "flowers_per_cluster": 5, "target_fruit_per_tree": 115,
    });
    let spray = json!({"material": names.material, "mark": 0.60});
    let sprays = json!({"sprays": [spray, spray]});
    Ok(Plan::assemble(None, chrono_tz::America::New_York, &block, Some(&sprays), &catalogue()?)?)
}

/// Five counts in three days, and the two sprays.
pub fn log(material: &str) -> Result<FieldLog> {
    let count = |day: &str, open: [i64; 5]| json!({"id": format!("count-{day}"), "kind": "open-count", "at": day, "open_per_tree": open});
    let spray = |id: &str, at: &str, finish: &str| json!({"id": id, "kind": "spray", "material": material, "at": at, "finished_at": finish});
    entries(&[
        count("2013-04-27T09:30:00-04:00", [11, 20, 14, 9, 16]),
        count("2013-04-27T18:00:00-04:00", [24, 38, 30, 22, 33]),
        count("2013-04-28T10:00:00-04:00", [41, 66, 58, 47, 73]),
        count("2013-04-29T10:00:00-04:00", [96, 131, 104, 122, 141]),
        count("2013-04-29T18:30:00-04:00", [150, 188, 171, 160, 204]),
        spray("spray-1", "2013-05-01T17:10:00-04:00", "2013-05-01T18:30:00-04:00"),
        spray("spray-2", "2013-05-05T07:00:00-04:00", "2013-05-05T09:15:00-04:00"),
    ])
}

/// A log of any entries.
pub fn entries(documents: &[Value]) -> Result<FieldLog> {
    let entries = documents.iter().map(|entry| Entry::read(entry, None)).collect::<Result<Vec<_>, _>>()?;
    Ok(FieldLog::in_order(entries)?)
}

/// Growth on one of the curves that ship, by what is known at `now`.
pub fn growth(
    curve: &str,
    readings: &[Reading],
    forecast: Option<&Forecast>,
    now: Instant,
) -> Result<Growth> {
    let curve: Arc<Curve> =
        catalogue()?.curves.into_iter().find(|known| known.id == curve).context("no such curve ships")?;
    let series = Series::join(&[readings.to_vec()], forecast, now);
    Ok(Growth::new(Arc::new(Course::new(series)), curve))
}

/// The odds of a season from a single forecast, with the errors that are taken before any
/// were learned.
pub fn odds(
    (plan, log, season): (&Plan, &FieldLog, &Season),
    growth: &Growth,
    forecast: &Forecast,
    now: Instant,
) -> Result<SeasonOdds> {
    let foretold = Foretold { issued_at: forecast.issued_at, members: std::slice::from_ref(&forecast.hours) };
    let outlook = Outlook::new(growth.course(), &foretold, &Errors::prior(), now)?;
    let curve = growth.curve();
    let own = catalogue()?.curves.into_iter().find(|known| known.id == curve.id).context("no such curve")?;
    let tubes = outlook.on(&own);
    let line = Line { growth, tubes: &tubes, weight: 1.0 };
    Ok(model::odds::of(plan, log, season, &outlook, &[line], now))
}

/// The season of plan and log.
pub fn season(plan: &Plan, log: &FieldLog, growth: &Growth, now: Instant) -> Season {
    season::reckon(plan, log, growth, now)
}
