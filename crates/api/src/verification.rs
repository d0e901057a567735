//! How good the odds of a farm's seasons were.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use axum::extract::Path;
use model::bloom::Basis;
use model::growth::{Course, Growth};
use model::odds::Odds;
use model::season::Season;
use model::series::Series;
use model::time::{DAY, Instant};
use model::verify::{self, Case, Judged, Scores};
use serde::Serialize;
use store::{Block, Expected};
use utoipa::{IntoParams, ToSchema};
use weather::checks;

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::Problem;
use crate::query::Query;

/// Most expectations of one block that are looked at.
const MOST: u32 = 2_000;
/// Springs before the season's own that are taken for its climate.
const SPRINGS: i32 = 30;
/// Readings of another spring are taken from so long before the season's begin until so
/// long after its end.
const AROUND: i64 = 45 * DAY;

/// Since when.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Since {
    /// Only what forecasts issued since then led to expect.
    since: Option<String>,
}

/// What was expected of a farm's starts and marks, held against what came.
#[derive(Serialize, ToSchema)]
pub(crate) struct VerificationShown {
    farm_id: String,
    /// All together, and by how far ahead: CRPS, pinball loss and coverage of the odds,
    /// beside the weather of the last two days repeated and the site's other springs.
    #[schema(value_type = Vec<Object>)]
    scores: Vec<Scores>,
    /// The same in sentences.
    told: Vec<String>,
    /// Expectations whose truth is not known yet.
    open: usize,
    about: &'static str,
}

/// How the figures are to be read.
const ABOUT: &str = "Hours; the smaller the better. The truth is what readings led to later. Legs that overlap and \
                     blocks in one air are not independent: the interval is too narrow for them.";

/// How good a farm's odds were.
#[utoipa::path(get, path = "/farms/{id}/verification", tag = "farms", operation_id = "verify",
    params(("id" = String, Path), Since), responses((status = 200, body = VerificationShown)))]
pub(crate) async fn one(Here(desk): Here, Path(farm): Path<String>, mut query: Query) -> Answer {
    let since = query.instant("since").unwrap_or(Instant::MIN);
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let blocks = desk.store.blocks(Some(&farm.id), None, limits::BOARD).await?;
    let (mut judged, mut open) = (Vec::new(), 0);
    let mut climates = Climates::default();
    for block in blocks {
        let expected = desk.store.expected_of(&block.id, since, MOST).await?;
        let mut years: BTreeMap<i32, Vec<Expected>> = BTreeMap::new();
        for one in expected {
            years.entry(one.year).or_default().push(one);
        }
        for (year, expected) in years {
            let (of_year, left) = desk.judged(&block, year, expected, &mut climates).await?;
            judged.extend(of_year);
            open += left;
        }
    }
    let scores = verify::scores(&judged);
    let mut told: Vec<String> = scores.iter().flat_map(Scores::told).collect();
    if scores.is_empty() {
        told.push("Nothing that was expected has come yet: too few to judge, n = 0.".to_owned());
    }
    ok(VerificationShown { farm_id: farm.id, scores, told, open, about: ABOUT })
}

/// Growth over other springs of a site, each with the seconds by which it lies before
/// the season's.
type Climate = Arc<Vec<(Growth, i64)>>;

/// By site, bloom year, curve and stretch of time: blocks in one air share them.
type Climates = HashMap<(String, i32, String, Instant, Instant), Climate>;

/// A stretch of time in whole [`AROUND`]s, so that blocks whose logs begin and end some
/// days apart ask for the same one.
fn stretched(begin: Instant, end: Instant) -> (Instant, Instant) {
    let down = |at: Instant| at.0.div_euclid(AROUND) * AROUND;
    (Instant(down(begin)), Instant(down(end) + AROUND))
}

impl Visit {
    /// The expectations of one season, each with its scores, and how many are open.
    async fn judged(
        &self,
        block: &Block,
        year: i32,
        expected: Vec<Expected>,
        climates: &mut Climates,
    ) -> Result<(Vec<Judged>, usize), Problem> {
        let row = self.store.season(&block.id, year).await?;
        let season: Option<Season> =
            row.and_then(|row| row.reckoned).and_then(|reckoned| serde_json::from_value(reckoned.doc).ok());
        let Some(season) = season else { return Ok((Vec::new(), expected.len())) };
        let asked = expected.len();
        let known: Vec<(Expected, Odds, Instant, Option<Instant>)> = expected
            .into_iter()
            .filter_map(|one| {
                let odds = serde_json::from_value(one.expectation.odds.clone()).ok()?;
                let (truth, leg_from) = truth(&season, &one.expectation.subject)?;
                Some((one, odds, truth, leg_from))
            })
            .collect();
        let open = asked - known.len();
        if known.is_empty() {
            return Ok((Vec::new(), open));
        }
        let growth = self.growth(block.clone(), year).await?;
        let climate = self.other_springs(block, year, &growth, climates).await?;
        let judged = tokio::task::spawn_blocking(move || {
            let case = |(one, odds, truth, leg_from): &(Expected, Odds, Instant, Option<Instant>)| {
                let issued_at = one.expectation.issued_at;
                let case = Case { issued_at, odds, truth: *truth, leg_from: *leg_from };
                verify::judge(&case, &growth, &climate)
            };
            known.iter().map(case).collect::<Vec<Judged>>()
        });
        let judged = judged.await.map_err(|error| {
            tracing::error!(%error, "expectations could not be judged");
            Problem::failed()
        })?;
        Ok((judged, open))
    }

    /// Growth over other springs of the block's site, each with the seconds by which it
    /// lies before the season's.
    async fn other_springs(
        &self,
        block: &Block,
        year: i32,
        growth: &Growth,
        climates: &mut Climates,
    ) -> Result<Climate, Problem> {
        let series = growth.course().series();
        let Some((begin, end)) = series.begin().zip(series.end()) else { return Ok(Climate::default()) };
        let (begin, end) = stretched(begin, end);
        let key = (block.site_id.clone(), year, growth.curve().id.clone(), begin, end);
        // Curves that are written into a block may share a name.
        let same = |climate: &&Climate| climate.iter().all(|(other, _)| other.curve() == growth.curve());
        if let Some(climate) = climates.get(&key).filter(same) {
            return Ok(climate.clone());
        }
        let curve = Arc::new(growth.curve().clone());
        let mut others = Vec::new();
        for before in 1..=SPRINGS {
            // Years of 365.25 days: the season moves by less than a day.
            let apart = i64::from(before) * (365 * DAY + DAY / 4);
            let (from, to) = (begin.plus(-apart - AROUND), end.plus(AROUND - apart));
            let mut weather = self.store.site_weather(&block.site_id, from, to).await?;
            if weather.sources.iter().all(|(_, readings)| readings.is_empty()) {
                continue;
            }
            let (thresholds, curve) = (self.app.thresholds.clone(), curve.clone());
            let other = tokio::task::spawn_blocking(move || {
                checks::mark(weather.for_checks(), to, &thresholds);
                Growth::new(Arc::new(Course::new(Series::join(&weather.by_trust(), None, to))), curve)
            });
            let other = other.await.map_err(|error| {
                tracing::error!(%error, year, "another spring could not be summed");
                Problem::failed()
            })?;
            others.push((other, apart));
        }
        let climate = Arc::new(others);
        climates.insert(key, climate.clone());
        Ok(climate)
    }
}

/// When what was expected came, and when its leg began; none while that is not known.
fn truth(season: &Season, subject: &str) -> Option<(Instant, Option<Instant>)> {
    match subject.split_once('/') {
        None => {
            let start = season.start.filter(|start| start.basis != Basis::Expected)?;
            Some((start.at, None))
        }
        Some((_, opened_by)) => {
            let leg = season.legs.iter().find(|leg| leg.opened_by == opened_by)?;
            Some((leg.reached_at?, Some(leg.from)))
        }
    }
}
