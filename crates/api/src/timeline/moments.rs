//! The moments of a season, each with the reading that it rests on.

use model::growth::Growth;
use model::season;
use model::series::{Flag, Quality, Reading};
use model::sun::Sun;
use model::time::Instant;
use model::timeline::Moment;
use serde::Serialize;
use weather::checks::Fault;

use super::Request;
use crate::ground::Ground;

/// One line of a timeline.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Row {
    pub(super) time_utc: Instant,
    pub(super) time_local: String,
    pub(super) temperature_c: Option<f64>,
    /// Kind of the source (`station`, `model-analysis`, `hand`), `forecast`, or
    /// `unknown` where there is no reading.
    pub(super) kind: &'static str,
    pub(super) source: Option<String>,
    pub(super) flag: Option<Flag>,
    /// Why the flag is what it is, where checking found something; in JSON only.
    pub(super) found: Vec<Fault>,
    /// Where the stretch that ends here comes from; in JSON only.
    pub(super) quality: Quality,
    pub(super) rate_per_day: Option<f64>,
    pub(super) leg: Option<usize>,
    pub(super) progress: Option<f64>,
    pub(super) progress_low: Option<f64>,
    pub(super) progress_high: Option<f64>,
}

pub(super) fn rows(request: &Request) -> Vec<Row> {
    let Request { ground, shown, .. } = request;
    let Ground { plan, log, now, .. } = ground;
    let growth = Growth::new(ground.course(), plan.block.curve.clone());
    let season = season::reckon(plan, log, &growth, *now);
    model::timeline::timeline(plan, log, &growth, &season, shown.0, shown.1)
        .into_iter()
        .map(|moment| row(request, &growth, moment))
        .collect()
}

fn row(request: &Request, growth: &Growth, moment: Moment) -> Row {
    let behind = behind(request, &moment);
    // At the end of an unknown stretch there is a reading again.
    let read = behind.reading.filter(|reading| reading.at == moment.at && reading.span == 0);
    let temperature_c = moment.celsius.or_else(|| read.map(|reading| at_block(request, &reading)));
    Row {
        time_utc: moment.at,
        time_local: moment.at.rfc3339_in(request.ground.plan.zone),
        temperature_c,
        kind: behind.kind,
        source: behind.source,
        flag: behind.reading.map(|reading| reading.flag),
        found: behind.found,
        quality: moment.quality,
        rate_per_day: temperature_c.map(|celsius| growth.curve().rate_per_day(celsius)),
        leg: moment.leg,
        progress: moment.progress_low,
        progress_low: moment.progress_low,
        progress_high: moment.progress_high,
    }
}

/// A reading as the block has it.
fn at_block(request: &Request, reading: &Reading) -> f64 {
    let site = &request.ground.weather.site;
    let own = request
        .ground
        .plan
        .block
        .offset
        .as_ref()
        .map_or(0.0, |offset| offset.celsius(Sun::at(site.latitude, site.longitude).is_up(reading.at)));
    reading.celsius + own
}

/// What a moment's temperature rests on.
struct Behind {
    kind: &'static str,
    source: Option<String>,
    reading: Option<Reading>,
    found: Vec<Fault>,
}

fn behind(request: &Request, moment: &Moment) -> Behind {
    let sources = &request.ground.weather.sources;
    if moment.quality == Quality::Forecast {
        let id = request.forecast_source.as_deref();
        let source = sources.iter().map(|(source, _)| source).find(|source| Some(source.id.as_str()) == id);
        let hours = request
            .ground
            .weather
            .forecast
            .as_ref()
            .map(|forecast| forecast.hours.as_slice())
            .unwrap_or_default();
        return Behind {
            kind: "forecast",
            source: source.map(|source| source.name.clone()),
            reading: hours.iter().find(|hour| hour.at == moment.at).copied(),
            found: Vec::new(),
        };
    }
    let numbered = || sources.iter().enumerate();
    let exact = numbered().find_map(|(n, (_, readings))| Some((n, ends_at(readings, moment.at)?)));
    let covering = || numbered().find_map(|(n, (_, readings))| Some((n, covers(readings, moment.at)?)));
    let behind: Option<(usize, Reading)> = match moment.celsius {
        Some(_) => exact.or_else(covering),
        None => exact,
    };
    Behind {
        kind: behind.map_or("unknown", |(n, _)| sources[n].0.kind.word()),
        source: behind.map(|(n, _)| sources[n].0.name.clone()),
        reading: behind.map(|(_, reading)| reading),
        found: behind.map_or_else(Vec::new, |(n, reading)| request.found.faults(n, reading.at).to_vec()),
    }
}

/// The usable reading that ends at a moment; readings are in order of time.
fn ends_at(readings: &[Reading], at: Instant) -> Option<Reading> {
    let place = readings.binary_search_by_key(&at, |reading| reading.at).ok()?;
    Some(readings[place]).filter(|reading| reading.flag.usable())
}

/// The usable mean within which a moment lies.
fn covers(readings: &[Reading], at: Instant) -> Option<Reading> {
    let place = readings.partition_point(|reading| reading.at < at);
    readings.get(place).filter(|reading| reading.from() <= at && reading.flag.usable()).copied()
}

/// The word for a flag, as JSON has it.
pub(super) fn flag_word(flag: Flag) -> &'static str {
    match flag {
        Flag::Pass => "pass",
        Flag::NotEvaluated => "not-evaluated",
        Flag::Suspect => "suspect",
        Flag::Fail => "fail",
        Flag::Missing => "missing",
    }
}
