//! The reckon pass: what is stale is reckoned again, and season and alerts are
//! written together.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use alerts::about::{About, AlertKind};
use alerts::decide::{Decision, decide};
use model::catalogue::Catalogue;
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season::{self, MODEL_VERSION};
use model::series::{Reading, Series};
use model::time::{DAY, Instant, zone};
use serde_json::{Value, json};
use store::{AlertRow, AlertStatus, AlertWrite, Reckoned, SiteWeather, Stale};
use uuid::{ContextV7, Timestamp, Uuid};

use crate::{Engine, PassError, catalogue};

/// Seasons in one transaction: fewer cost a sync each, more hold the writer.
const AT_ONCE: u32 = 200;

/// Readings are taken from so long before the first entry of a season: the
/// range for unknown hours looks ten days back, the comparison of two sources
/// seven.
const RUN_UP: i64 = 17 * DAY;

/// Reckons all that is stale and gives how many seasons were written.
///
/// # Errors
/// When the database fails; what was written before stays.
pub async fn pass(engine: &Engine) -> Result<u64, PassError> {
    let now = engine.clock.now();
    let mut catalogue = None;
    let mut written = 0;
    let mut after = None;
    loop {
        let stale = engine.store.stale_seasons(now, MODEL_VERSION, after.as_ref(), AT_ONCE).await?;
        let Some(last) = stale.last() else {
            break;
        };
        after = Some(last.key());
        let page = stale.len();
        let catalogue = match &catalogue {
            Some(catalogue) => catalogue,
            None => catalogue.insert(catalogue::whole(&engine.catalogue, &engine.store).await?),
        };
        let reckoned = reckon_page(engine, stale, catalogue.clone(), now).await?;
        written += engine.store.commit_reckoned(&reckoned, now).await?;
        if page < AT_ONCE as usize {
            break;
        }
    }
    Ok(written)
}

async fn reckon_page(
    engine: &Engine,
    stale: Vec<Stale>,
    catalogue: Catalogue,
    now: Instant,
) -> Result<Vec<Reckoned>, PassError> {
    let mut sites: Vec<(SiteWeather, Vec<Stale>)> = Vec::new();
    for group in by_site(stale) {
        let begin =
            group.iter().flat_map(|stale| stale.log.iter()).map(|entry| entry.at).min().unwrap_or(now);
        let weather = engine.store.site_weather(&group[0].site.id, begin.plus(-RUN_UP), Instant::MAX).await?;
        sites.push((weather, group));
    }
    // Reckoning is arithmetic: it runs off the async threads.
    let reckoned = tokio::task::spawn_blocking(move || {
        sites.into_iter().flat_map(|(weather, group)| reckon_site(&weather, group, &catalogue, now)).collect()
    });
    Ok(reckoned.await?)
}

fn by_site(stale: Vec<Stale>) -> Vec<Vec<Stale>> {
    let mut groups: Vec<Vec<Stale>> = Vec::new();
    for one in stale {
        match groups.last_mut() {
            Some(group) if group[0].site.id == one.site.id => group.push(one),
            _ => groups.push(vec![one]),
        }
    }
    groups
}

/// Reckons the seasons of one site: growth is summed once for each curve.
fn reckon_site(
    weather: &SiteWeather,
    group: Vec<Stale>,
    catalogue: &Catalogue,
    now: Instant,
) -> Vec<Reckoned> {
    let readings: Vec<Vec<Reading>> = weather.sources.iter().map(|(_, readings)| readings.clone()).collect();
    let course = Arc::new(Course::new(Series::join(&readings, weather.forecast.as_ref(), now)));
    let sources: Vec<String> = weather
        .sources
        .iter()
        .filter(|(_, readings)| !readings.is_empty())
        .map(|(source, _)| format!("{} ({})", source.name, source.kind.word()))
        .collect();
    let mut growths: HashMap<String, Growth> = HashMap::new();
    group
        .into_iter()
        .map(|stale| {
            let mut versions = stale.versions;
            versions.site = weather.site.version;
            let outcome = read(&stale, catalogue).map(|(plan, log)| {
                let growth = growth(&mut growths, &course, &plan.block.curve);
                reckon_one(&stale, &plan, &log, &growth, &sources, now)
            });
            let (state, doc, look_again_at, alerts) = outcome.unwrap_or_else(|fault| {
                tracing::error!(block = %stale.block.id, year = stale.year, %fault, "a season cannot be read");
                ("unreadable".to_owned(), json!({ "fault": fault }), None, Vec::new())
            });
            Reckoned {
                block_id: stale.block.id,
                year: stale.year,
                versions,
                look_again_at,
                state,
                doc,
                alerts,
            }
        })
        .collect()
}

/// Growth of this site on a curve; curves written into a block are its own.
fn growth(growths: &mut HashMap<String, Growth>, course: &Arc<Course>, curve: &Arc<Curve>) -> Growth {
    match growths.get(&curve.id) {
        Some(growth) if growth.curve() == curve.as_ref() => growth.clone(),
        _ => {
            let growth = Growth::new(course.clone(), curve.clone());
            growths.insert(curve.id.clone(), growth.clone());
            growth
        }
    }
}

/// Plan and field log of a stale season, as they were checked when they came.
fn read(stale: &Stale, catalogue: &Catalogue) -> Result<(Plan, FieldLog), String> {
    let zone = zone(&stale.site.time_zone).map_err(|error| error.to_string())?;
    let plan = Plan::assemble(Some(stale.year), zone, &stale.block.details, stale.plan.as_ref(), catalogue)
        .map_err(|faults| faults.to_string())?;
    let entries: Result<Vec<Entry>, String> = stale
        .log
        .iter()
        .map(|entry| {
            Entry::read(&entry.doc, Some(&entry.id)).map_err(|faults| format!("entry {}: {faults}", entry.id))
        })
        .collect();
    let log = FieldLog::by_id(entries?).map_err(|error| error.to_string())?;
    Ok((plan, log))
}

type Outcome = (String, Value, Option<Instant>, Vec<AlertWrite>);

fn reckon_one(
    stale: &Stale,
    plan: &Plan,
    log: &FieldLog,
    growth: &Growth,
    sources: &[String],
    now: Instant,
) -> Outcome {
    let season = season::reckon(plan, log, growth, now);
    let status = serde_json::to_value(growth.curve().status).unwrap_or_default();
    let curve = format!("{} ({})", growth.curve().id, status.as_str().unwrap_or_default());
    let writes = decide(&season, plan, &curve, &stale.alerts, now)
        .into_iter()
        .flat_map(|decision| writes(stale, decision, sources, now))
        .collect();
    let doc = serde_json::to_value(&season).unwrap_or_default();
    (season.state.word().to_owned(), doc, season.look_again_at, writes)
}

fn writes(stale: &Stale, decision: Decision, sources: &[String], now: Instant) -> Vec<AlertWrite> {
    let recipients = || stale.farm.alert_emails.clone();
    let facts = |mut about: About| {
        about.temperatures = sources.to_vec();
        serde_json::to_value(about).unwrap_or_default()
    };
    let row = |kind: AlertKind, subject: String, generation, reason: Option<&str>, about| AlertRow {
        id: new_id(now),
        block_id: stale.block.id.clone(),
        year: stale.year,
        kind: kind.word().to_owned(),
        subject,
        generation,
        status: if reason.is_some() { AlertStatus::Skipped } else { AlertStatus::Told },
        reason: reason.map(str::to_owned),
        about,
        raised_at: now,
        withdrawn_at: None,
        acknowledged_at: None,
    };
    match decision {
        Decision::Tell { skipped_before: Some(alert_id), about, .. } => {
            vec![AlertWrite::Tell { alert_id, about: facts(about), recipients: recipients() }]
        }
        Decision::Tell { subject, generation, about, .. } => {
            let alert = row(about.kind, subject, generation, None, facts(about));
            vec![AlertWrite::New { alert, recipients: recipients() }]
        }
        Decision::Skip { subject, generation, reason, about } => {
            let alert = row(about.kind, subject, generation, Some(reason), facts(about));
            vec![AlertWrite::New { alert, recipients: Vec::new() }]
        }
        Decision::Retime { alert_id, about } => vec![AlertWrite::Retime { alert_id, about: facts(about) }],
        Decision::Withdraw { alert_id, about } => {
            let alert = row(AlertKind::Withdrawn, alert_id.clone(), 1, None, facts(about));
            vec![
                AlertWrite::Withdraw { alert_id, at: now },
                AlertWrite::New { alert, recipients: recipients() },
            ]
        }
    }
}

/// Ids rise with the clock that the engine was given, and within one of its
/// seconds with each alert: whoever reads on after the last one misses none.
fn new_id(now: Instant) -> String {
    static ORDER: Mutex<ContextV7> = Mutex::new(ContextV7::new());
    let seconds = u64::try_from(now.0).unwrap_or_default();
    let order = ORDER.lock().unwrap_or_else(|broken| broken.into_inner());
    Uuid::new_v7(Timestamp::from_unix(&*order, seconds, 0)).to_string()
}
