//! What is known of the weather ahead of a site: the newest forecast, with how far
//! forecasts were off there.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use model::air::Air;
use model::odds::{Errors, Pair};
use model::series::Reading;
use model::time::{DAY, HOUR, Instant};
use store::SiteWeather;
use weather::checks;

use crate::{Engine, PassError};

/// Errors are learned from forecasts of so long, and from one in so many hours of them.
const LEARN_FROM: i64 = 40 * DAY;
const LEARN_EVERY: i64 = 6 * HOUR;
/// Members are used while they are no older than the newest forecast by more than this:
/// they come four times a day.
const MEMBERS_BEHIND: i64 = 12 * HOUR;
/// Hours to spray in are looked for so far ahead.
pub(crate) const AIR_AHEAD: i64 = 10 * DAY;
/// Rain and frost before an hour count for so long.
pub(crate) const AIR_BEFORE: i64 = 10 * DAY;

/// The errors of each source's forecasts, as they were known when its day began. All
/// that a day brings is learned at the next: so all seasons of a day are reckoned with
/// the same errors, by whichever instance.
#[derive(Debug, Default)]
pub struct Learned {
    kept: Mutex<HashMap<String, (i64, Arc<Errors>)>>,
}

impl Learned {
    fn of(&self, source: &str, day: i64) -> Option<Arc<Errors>> {
        let kept = self.kept.lock().unwrap_or_else(|broken| broken.into_inner());
        kept.get(source).filter(|(of, _)| *of == day).map(|(_, errors)| errors.clone())
    }

    fn keep(&self, source: String, day: i64, errors: Arc<Errors>) {
        let mut kept = self.kept.lock().unwrap_or_else(|broken| broken.into_inner());
        kept.insert(source, (day, errors));
    }
}

/// The weather ahead of a site.
#[derive(Debug, Clone)]
pub(crate) struct Ahead {
    /// When its forecast was issued.
    pub issued_at: Instant,
    /// Members of an ensemble, or the one forecast.
    pub members: Vec<Vec<Reading>>,
    /// How far forecasts were off.
    pub errors: Arc<Errors>,
    /// The air by source, the most trusted first, from some days before now on.
    pub air: Vec<Vec<Air>>,
}

/// What is known of the weather ahead of a site; none without a forecast.
pub(crate) async fn of(
    engine: &Engine,
    weather: &SiteWeather,
    now: Instant,
) -> Result<Option<Ahead>, PassError> {
    let site = &weather.site.id;
    let Some((source, forecast)) = engine.store.latest_forecast(site).await? else { return Ok(None) };
    let members = engine.store.latest_members(site).await?.map(|(_, members)| members);
    let members = members.filter(|members| members.issued_at >= forecast.issued_at.plus(-MEMBERS_BEHIND));
    let (issued_at, members) = match members {
        Some(members) => (members.issued_at, members.hours),
        None => (forecast.issued_at, vec![forecast.hours]),
    };
    let errors = errors(engine, site, &source, now).await?;
    let air = engine.store.air(site, now.plus(-AIR_BEFORE), now.plus(AIR_AHEAD)).await?;
    Ok(Some(Ahead { issued_at, members, errors, air: air.into_iter().map(|(_, air)| air).collect() }))
}

/// How far forecasts of a source were off by the begin of the day.
async fn errors(engine: &Engine, site: &str, source: &str, now: Instant) -> Result<Arc<Errors>, PassError> {
    let day = now.0.div_euclid(DAY);
    if let Some(errors) = engine.learned.of(source, day) {
        return Ok(errors);
    }
    let until = Instant(day * DAY);
    let from = until.plus(-LEARN_FROM);
    let issues = engine.store.forecasts_every(source, from, until, LEARN_EVERY).await?;
    let mut weather = engine.store.site_weather(site, from, until).await?;
    let thresholds = engine.thresholds.clone();
    let learned = tokio::task::spawn_blocking(move || {
        checks::mark(weather.for_checks(), until, &thresholds);
        let mut read: HashMap<Instant, f64> = HashMap::new();
        // The most trusted last, so that it holds.
        for readings in weather.by_trust().iter().rev() {
            read.extend(readings.iter().filter(|one| one.flag.usable()).map(|one| (one.at, one.celsius)));
        }
        let pair = |issued_at: Instant, hour: &Reading| {
            let read_c = *read.get(&hour.at)?;
            Some(Pair { issued_at, at: hour.at, foretold_c: hour.celsius, read_c })
        };
        let pairs: Vec<Pair> = issues
            .iter()
            .flat_map(|issue| issue.hours.iter().filter_map(|hour| pair(issue.issued_at, hour)))
            .collect();
        Errors::learn(&pairs, until)
    });
    let errors = Arc::new(learned.await?);
    engine.learned.keep(source.to_owned(), day, errors.clone());
    Ok(errors)
}
