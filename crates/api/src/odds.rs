//! The odds of a season by themselves, with the chance by a chosen hour.

use axum::extract::Path;
use chrono_tz::Tz;
use model::ahead::Ahead;
use model::odds::Odds;
use model::time::{Instant, zone};
use model::words;
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::seasons::no_season;
use crate::shapes::Moment;

/// By when.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct ByWhen {
    /// A moment for which chances are told.
    by: Option<String>,
}

/// What lies ahead of a season.
#[derive(Serialize, ToSchema)]
pub(crate) struct OddsShown {
    block_id: String,
    year: i32,
    time_zone: String,
    /// When it was reckoned.
    #[schema(value_type = Option<Moment>)]
    asked_at: Option<Instant>,
    /// When the forecast behind it was issued.
    #[schema(value_type = Option<Moment>)]
    issued_at: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    by: Option<Instant>,
    /// The start, and each mark ahead.
    chances: Vec<ChanceShown>,
    /// In sentences, with the hours to spray in.
    told: Vec<String>,
    caution: &'static str,
}

/// The odds of one moment.
#[derive(Serialize, ToSchema)]
pub(crate) struct ChanceShown {
    /// `start`, or `leg`.
    of: &'static str,
    leg: Option<usize>,
    mark: Option<f64>,
    /// One in ten comes by then.
    #[schema(value_type = Option<Moment>)]
    early: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    likely: Option<Instant>,
    /// Nine in ten come by then; none where a tenth or more never come.
    #[schema(value_type = Option<Moment>)]
    late: Option<Instant>,
    /// Share that does not come by the end of the forecast.
    never: f64,
    /// Share that has come by `by`.
    chance: Option<f64>,
}

/// The odds of a season's start and marks.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/odds", tag = "seasons", operation_id = "read-odds",
    params(("id" = String, Path), ("year" = i32, Path), ByWhen), responses((status = 200, body = OddsShown)))]
pub(crate) async fn one(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    mut query: Query,
) -> Answer {
    let by = query.instant("by");
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let Some(row) = desk.store.season(&block.id, year).await? else {
        return Err(no_season(&block, year));
    };
    let site = desk.site(&block.site_id).await?;
    let zone: Tz = zone(&site.time_zone).map_err(|_| Problem::failed())?;
    let ahead: Option<Ahead> = row.reckoned.and_then(|reckoned| serde_json::from_value(reckoned.doc).ok());
    let chance = |odds: &Odds| by.map(|by| (odds.chance_by(by) * 100.0).round() / 100.0);
    let shown = |of, leg, mark, odds: &Odds| ChanceShown {
        of,
        leg,
        mark,
        early: odds.early,
        likely: odds.likely,
        late: odds.late,
        never: odds.never,
        chance: chance(odds),
    };
    let mut chances = Vec::new();
    if let Some(Ahead { odds, .. }) = &ahead {
        chances.extend(odds.start.iter().map(|odds| shown("start", None, None, odds)));
        let legs = odds.legs.iter();
        chances.extend(legs.map(|leg| shown("leg", Some(leg.number), Some(leg.mark), &leg.odds)));
    }
    ok(OddsShown {
        block_id: block.id,
        year,
        time_zone: site.time_zone,
        asked_at: ahead.as_ref().map(|ahead| ahead.odds.asked_at),
        issued_at: ahead.as_ref().and_then(|ahead| ahead.odds.issued_at),
        by,
        chances,
        told: ahead.as_ref().map(|ahead| ahead.told(zone)).unwrap_or_default(),
        caution: words::CAUTION,
    })
}
