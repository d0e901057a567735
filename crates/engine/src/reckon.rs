//! The reckon pass: what is stale is reckoned again, and season and alerts are
//! written together.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use alerts::about::About;
use alerts::decide::{self, Beside, Decision, Recipients, decide, useful_until};
use model::ahead::Sky;
use model::air::Air;
use model::catalogue::Catalogue;
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::odds::{Odds, SeasonOdds};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::slot::Answer;
use model::time::{HOUR, Instant, zone};
use serde_json::{Value, json};
use store::{AlertRow, AlertStatus, AlertWrite, Expectation, LogEntry, Reckoned, SiteWeather, Stale, trial};
use uuid::{ContextV7, Timestamp, Uuid};
use weather::checks::{self, Findings, Thresholds};

use crate::ahead::{self, Ahead};
use crate::fetch::place;
use crate::grown::Grown;
use crate::{Awake, Engine, PassError, catalogue, lenders};

/// Seasons in one transaction: fewer cost a sync each, more hold the writer.
const AT_ONCE: u32 = 200;

/// Reckons all that is stale and gives how many seasons were written.
///
/// # Errors
/// When the database fails; what was written before stays.
pub async fn pass(engine: &Engine) -> Result<u64, PassError> {
    let now = engine.clock.now();
    let moment = Moment { now, awake_since: engine.awake.note(now).since };
    let edition = engine.catalogue.edition;
    let mut written = 0;
    let mut after = None;
    loop {
        let stale = engine.store.stale_seasons(now, edition, after.as_ref(), AT_ONCE).await?;
        let Some(last) = stale.last() else {
            break;
        };
        after = Some(last.key());
        let page = stale.len();
        // After the versions of the page: what was added meanwhile only makes
        // these seasons stale again.
        let catalogue = catalogue::whole(&engine.catalogue, &engine.store).await?;
        let reckoned = reckon_page(engine, stale, &catalogue, moment).await?;
        trial::point(trial::RECKON);
        written += engine.store.commit_reckoned(&reckoned, now).await?;
        if page < AT_ONCE as usize {
            break;
        }
    }
    Ok(written)
}

/// The moment of a pass.
#[derive(Clone, Copy)]
struct Moment {
    now: Instant,
    /// Since when passes have come without a break.
    awake_since: Instant,
}

async fn reckon_page(
    engine: &Engine,
    stale: Vec<Stale>,
    catalogue: &Catalogue,
    moment: Moment,
) -> Result<Vec<Reckoned>, PassError> {
    let now = moment.now;
    let mut groups: Vec<(Known, Vec<Season>)> = Vec::new();
    for (Window { whose, from, to }, mut group) in by_window(stale, catalogue, now) {
        let mut weather = match whose {
            Whose::Site(id) => engine.store.site_weather(&id, from, to).await?,
            Whose::Block(id) => engine.store.block_weather(&id, from, to).await?,
        };
        if to < now {
            // A season long past: today's forecast has nothing to do with it.
            weather.forecast = None;
        }
        let air = engine.store.air(&weather.site.id, from, to.min(now)).await?;
        for (stale, read) in &mut group {
            if let Ok((plan, _)) = read {
                plan.lent = lenders::lent(engine, stale, &plan.block.borrows, catalogue, now).await?;
            }
        }
        let ahead = match to < now {
            true => None,
            false => ahead::of(engine, &weather, now).await?,
        };
        groups.push((Known { weather, air: air.into_iter().map(|(_, air)| air).collect(), ahead }, group));
    }
    // Reckoning is arithmetic: it runs off the async threads.
    let (thresholds, catalogue) = (engine.thresholds.clone(), catalogue.clone());
    let reckoned = tokio::task::spawn_blocking(move || {
        groups
            .into_iter()
            .flat_map(|(known, group)| reckon_group(known, group, &catalogue, &thresholds, moment))
            .collect()
    });
    Ok(reckoned.await?)
}

/// What is known of a place in a window.
struct Known {
    weather: SiteWeather,
    /// The rest of the air, by source, the most trusted first.
    air: Vec<Vec<Air>>,
    /// The weather ahead, of a season of now.
    ahead: Option<Ahead>,
}

/// A stale season with its plan and log as read, or why they cannot be.
type Season = (Stale, Result<(Plan, FieldLog), String>);

/// Seasons of one place and one window share their growth.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Window {
    whose: Whose,
    from: Instant,
    to: Instant,
}

/// Whose weather it is, by its id: a block that was moved has its own.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Whose {
    Site(String),
    Block(String),
}

fn by_window(stale: Vec<Stale>, catalogue: &Catalogue, now: Instant) -> BTreeMap<Window, Vec<Season>> {
    let mut groups: BTreeMap<Window, Vec<Season>> = BTreeMap::new();
    for one in stale {
        let read = read(&one, catalogue);
        let (from, to) = match &read {
            Ok((_, log)) => season::window(log, now),
            Err(_) => season::window(&FieldLog::default(), now),
        };
        let whose =
            if one.moved { Whose::Block(one.block.id.clone()) } else { Whose::Site(one.site.id.clone()) };
        groups.entry(Window { whose, from, to }).or_default().push((one, read));
    }
    groups
}

/// Reckons the seasons of one place and window: readings are checked once for all,
/// growth is summed once for each curve. Flags are not stored: what a reading is
/// worth hangs on those before and after it and on the other sources, whenever they
/// come.
fn reckon_group(
    known: Known,
    group: Vec<Season>,
    catalogue: &Catalogue,
    thresholds: &Thresholds,
    moment: Moment,
) -> Vec<Reckoned> {
    let now = moment.now;
    let Known { mut weather, air, ahead } = known;
    let found = checks::mark(weather.for_checks(), now, thresholds);
    let readings = weather.by_trust();
    let series = Series::join(&readings, weather.forecast.as_ref(), now);
    let mut grown = Grown::on(series, air, place(&weather.site), ahead);
    let sources: Vec<String> = weather
        .sources
        .iter()
        .filter(|(_, readings)| !readings.is_empty())
        .map(|(source, _)| format!("{} ({})", source.name, source.kind.word()))
        .collect();
    group
        .into_iter()
        .map(|(stale, read)| {
            let mut versions = stale.versions;
            versions.site = weather.version;
            let outcome = read.map(|(plan, log)| {
                let weather = Weather { sources: &sources, found: &found, curves: &catalogue.curves };
                reckon_one(&stale, &plan, &log, &mut grown, &weather, moment)
            });
            let outcome = outcome.unwrap_or_else(|fault| {
                tracing::error!(block = %stale.block.id, year = stale.year, %fault, "a season cannot be read");
                let doc = json!({ "fault": fault });
                Outcome { state: "unreadable", doc, look_again_at: None, alerts: Vec::new(), expected: Vec::new() }
            });
            let Outcome { state, doc, look_again_at, alerts, expected } = outcome;
            Reckoned {
                block_id: stale.block.id,
                year: stale.year,
                versions,
                look_again_at,
                state: state.to_owned(),
                doc,
                alerts,
                expected,
            }
        })
        .collect()
}

/// Plan and field log of a stale season, as they were checked when they came.
fn read(stale: &Stale, catalogue: &Catalogue) -> Result<(Plan, FieldLog), String> {
    let zone = zone(&stale.site.time_zone).map_err(|error| error.to_string())?;
    let plan = Plan::assemble(Some(stale.year), zone, &stale.block.details, stale.plan.as_ref(), catalogue)
        .map_err(|faults| faults.to_string())?
        .with_versions(stale.plan_versions.iter().map(|(set_at, plan)| (*set_at, plan)))
        .under(&stale.rules, &stale.confirmed);
    let log = field_log(&stale.log)?;
    Ok((plan, log))
}

/// A field log as it was checked when it came.
pub(crate) fn field_log(log: &[LogEntry]) -> Result<FieldLog, String> {
    let entries: Result<Vec<Entry>, String> = log
        .iter()
        .map(|entry| {
            Entry::read(&entry.doc, Some(&entry.id)).map_err(|faults| format!("entry {}: {faults}", entry.id))
        })
        .collect();
    FieldLog::by_id(entries?).map_err(|error| error.to_string())
}

/// What seasons of one place and window share beside their growth.
struct Weather<'a> {
    /// The sources with readings, for people.
    sources: &'a [String],
    found: &'a Findings,
    /// The curves that ship or were added.
    curves: &'a [Arc<Curve>],
}

/// What mails say of a season's temperatures.
struct Temperatures<'a> {
    sources: &'a [String],
    /// What the checks had to say.
    checked: Vec<String>,
}

/// What came of a season.
struct Outcome {
    state: &'static str,
    doc: Value,
    look_again_at: Option<Instant>,
    alerts: Vec<AlertWrite>,
    expected: Vec<Expectation>,
}

fn reckon_one(
    stale: &Stale,
    plan: &Plan,
    log: &FieldLog,
    grown: &mut Grown,
    weather: &Weather<'_>,
    moment: Moment,
) -> Outcome {
    let now = moment.now;
    let growth = &grown.growth(&plan.block);
    let mut season = grown.season(plan, log, now);
    let odds = grown.odds(plan, log, &season, weather.curves, now);
    let hours = grown.hours(plan.block.offset.as_ref(), now);
    let sky = hours.as_deref().zip(grown.sun()).map(|(hours, sun)| Sky { hours, sun });
    let slots = match (&odds, &sky) {
        (Some(odds), Some(sky)) => model::ahead::slots(plan, &season, odds, sky, now),
        _ => Vec::new(),
    };
    let notes = weather.found.notes(log.begin().unwrap_or(now), &season);
    let checked = notes.iter().map(|note| note.text.to_string()).collect();
    let temperatures = Temperatures { sources: weather.sources, checked };
    season.notes.extend(notes);
    let status = serde_json::to_value(growth.curve().status).unwrap_or_default();
    let curve = format!("{} ({})", growth.curve().id, status.as_str().unwrap_or_default());
    let settled = Awake::settled(moment.awake_since);
    let beside = Beside {
        curve: &curve,
        fed: stale.fed,
        awake: settled <= now,
        ahead: odds.as_ref().zip(sky).map(|(odds, sky)| decide::Ahead { odds, slots: &slots, sky }),
        recipients: Recipients {
            block_id: &stale.block.id,
            addresses: &stale.farm.alert_emails,
            contacts: &stale.contacts,
            silenced: &stale.silenced,
            mutes: &stale.mutes,
        },
    };
    let writes = decide(&season, plan, &beside, &stale.alerts, now)
        .into_iter()
        .map(|decision| write(stale, decision, &temperatures, now))
        .collect();
    let mut doc = serde_json::to_value(&season).unwrap_or_default();
    if let Some(odds) = &odds {
        doc["odds"] = serde_json::to_value(odds).unwrap_or_default();
        // Hour by hour they are ten times as long as all the rest: whoever wants to read
        // them has them looked at anew.
        let brief: Vec<Answer> = slots.iter().map(Answer::brief).collect();
        doc["slots"] = serde_json::to_value(&brief).unwrap_or_default();
    }
    // What is missing counts as missing only then.
    let again = season.running().filter(|_| settled > now).map(|_| settled);
    // Likely, too, a mark comes near by time alone.
    let likely = odds.iter().flat_map(|odds| &odds.legs).filter_map(|leg| leg.odds.likely);
    let near = likely.map(|at| at.plus(-plan.settings.lead_hours * HOUR)).filter(|at| *at > now);
    let look_again_at = season.look_again_at.into_iter().chain(again).chain(near).min();
    let expected = odds.iter().flat_map(|odds| expectations(&season, odds)).collect();
    Outcome { state: season.state.word(), doc, look_again_at, alerts: writes, expected }
}

/// What is expected of a season, to be held against what comes.
fn expectations(season: &model::season::Season, odds: &SeasonOdds) -> Vec<Expectation> {
    let Some(issued_at) = odds.issued_at else { return Vec::new() };
    let one = |subject: String, odds: &Odds| Expectation {
        subject,
        issued_at,
        odds: serde_json::to_value(odds).unwrap_or_default(),
    };
    let start = odds.start.iter().map(|odds| one("start".to_owned(), odds));
    // A leg that hangs on a spray which nobody logged has no truth to be held against.
    let of_legs = odds.legs.iter().filter(|leg| !leg.after_unlogged).filter_map(|leg| {
        let known = season.legs.iter().find(|known| known.number == leg.number)?;
        Some(one(format!("leg/{}", known.opened_by), &leg.odds))
    });
    start.chain(of_legs).collect()
}

fn write(stale: &Stale, decision: Decision, temperatures: &Temperatures<'_>, now: Instant) -> AlertWrite {
    let facts = |mut about: About| {
        about.temperatures = temperatures.sources.to_vec();
        about.checked.clone_from(&temperatures.checked);
        serde_json::to_value(about).unwrap_or_default()
    };
    let row = |subject: String, generation, status: AlertStatus, reason: &str, about: About| AlertRow {
        id: new_id(now),
        block_id: stale.block.id.clone(),
        year: stale.year,
        kind: about.kind.word().to_owned(),
        subject,
        generation,
        status,
        reason: Some(reason.to_owned()),
        raised_at: now,
        useful_until: useful_until(&about, now),
        about: facts(about),
        withdrawn_at: None,
        acknowledged_at: None,
        mailed: false,
    };
    match decision {
        Decision::Tell { skipped_before: Some(alert_id), about, reason, to, .. } => AlertWrite::Tell {
            alert_id,
            useful_until: useful_until(&about, now),
            about: facts(about),
            reason,
            to,
        },
        Decision::Tell { subject, generation, about, reason, to, .. } => {
            AlertWrite::New { alert: row(subject, generation, AlertStatus::Told, &reason, about), to }
        }
        Decision::Skip { subject, generation, reason, about } => {
            let alert = row(subject, generation, AlertStatus::Skipped, reason, about);
            AlertWrite::New { alert, to: Vec::new() }
        }
        Decision::Retime { alert_id, about } => {
            AlertWrite::Retime { alert_id, useful_until: useful_until(&about, now), about: facts(about) }
        }
        Decision::Close { alert_id, reason } => {
            AlertWrite::Close { alert_id, at: now, reason: reason.to_owned() }
        }
        Decision::Withdraw { alert_id, reason, about } => AlertWrite::Withdraw {
            notice: row(alert_id.clone(), 1, AlertStatus::Told, &reason, about),
            alert_id,
        },
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
