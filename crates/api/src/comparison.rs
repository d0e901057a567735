//! A season on every growth curve side by side: what the choice of the curve does
//! to the times.

use axum::extract::Path;
use model::comparison::{self, Comparison};
use model::time::Instant;
use model::words;
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::Moment;

/// A season on the block's own curve and on all others that are known.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for comparisons in the document")]
pub(crate) struct ComparisonShown {
    block_id: String,
    year: i32,
    time_zone: String,
    /// The block's own curve, whose rows come first.
    own: String,
    /// Where the season stands on it; while the clock has not started there are no
    /// rows.
    state: String,
    /// The last reading used.
    #[schema(value_type = Option<Moment>)]
    as_of: Option<Instant>,
    /// One for each curve and each leg that has a mark.
    rows: Vec<ComparedRow>,
    /// Curves that could not be used.
    left_out: Vec<LeftOut>,
    about: String,
    caution: String,
}

/// What a leg comes to on one curve.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for rows in the document")]
pub(crate) struct ComparedRow {
    curve: String,
    /// `published`, `from-memory`, `constructed` or `measured`.
    status: String,
    source: String,
    /// `style-base`, `ovule` or `unknown`: one counted to the ovule is late.
    end_point: String,
    /// Whether it was made for the block's cultivar.
    of_this_cultivar: bool,
    leg: i64,
    mark: f64,
    /// When the mark was reached, or is expected to be.
    #[schema(value_type = Option<Moment>)]
    at: Option<Instant>,
    /// Whether that rests on the forecast.
    expected: bool,
    /// Low progress at the leg's end, or at the last reading.
    progress: f64,
    /// Hours after the time on the block's own curve, before it when negative.
    apart_hours: Option<f64>,
}

/// A curve that the season could not be reckoned on.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for curves left out in the document")]
pub(crate) struct LeftOut {
    curve: String,
    /// Why, and what to do.
    reason: String,
}

/// The same as it is answered.
#[derive(Serialize)]
struct Compared {
    block_id: String,
    year: i32,
    time_zone: &'static str,
    #[serde(flatten)]
    comparison: Comparison,
    about: &'static str,
    caution: &'static str,
}

/// The season of a block on every curve that is known, in the block's own weather.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/curves", tag = "seasons", operation_id = "compare-curves",
    params(("id" = String, Path), ("year" = i32, Path)), responses((status = 200, body = ComparisonShown)))]
pub(crate) async fn compare(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let catalogue = desk.catalogue().await?;
    let mut ground = desk.ground(block, year, &catalogue).await?;
    let thresholds = desk.app.thresholds.clone();
    // A season is reckoned for each curve: off the async threads.
    let compared = tokio::task::spawn_blocking(move || {
        ground.check(&thresholds);
        let course = ground.course();
        let comparison =
            comparison::compare(&ground.plan, &ground.log, &course, &catalogue.curves, ground.now);
        Compared {
            block_id: ground.block.id,
            year,
            time_zone: ground.plan.zone.name(),
            comparison,
            about: words::NOT_CULTIVAR_SPECIFIC,
            caution: words::CAUTION,
        }
    });
    ok(compared.await.map_err(|error| {
        tracing::error!(%error, "curves could not be compared");
        Problem::failed()
    })?)
}
