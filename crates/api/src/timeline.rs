//! A season moment by moment, as JSON or as CSV.

mod moments;

use std::sync::Arc;

use axum::extract::Path;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use model::time::{DAY, Instant};
use model::words;
use serde_json::json;
use store::Block;
use utoipa::ToSchema;
use weather::checks::{Findings, Thresholds};

use crate::answer::Answer;
use crate::csv_out::{self, number_cell, text_cell};
use crate::desk::{Here, Visit};
use crate::ground::Ground;
use crate::problem::Problem;
use crate::query::Query;
use crate::readings::Stretch;
use crate::shapes::InForm;
use crate::{curves, fields, limits};

use moments::Row;

/// What is shown before the first entry.
const LEAD_IN: i64 = 3 * DAY;

/// The columns, in this order, as the contracts have them.
const COLUMNS: [&str; 11] = [
    "time_utc",
    "time_local",
    "temperature_c",
    "kind",
    "source",
    "flag",
    "rate_per_day",
    "leg",
    "progress",
    "progress_low",
    "progress_high",
];

/// What one timeline is made from.
struct Request {
    ground: Ground,
    /// What checking the readings found, once they are checked.
    found: Findings,
    thresholds: Arc<Thresholds>,
    forecast_source: Option<String>,
    /// What of it is shown, both included.
    shown: (Instant, Instant),
    csv: bool,
}

/// A season moment by moment.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for timelines in the document")]
pub(crate) struct TimelineShown {
    block_id: String,
    year: i32,
    time_zone: String,
    curve: String,
    /// Of `rate_per_day`.
    rate_unit: String,
    caution: String,
    /// One for each moment, with the columns of the CSV.
    #[schema(value_type = Vec<Object>)]
    rows: serde_json::Value,
}

/// A season moment by moment, as JSON or CSV.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/timeline", tag = "seasons", operation_id = "read-timeline",
    params(("id" = String, Path), ("year" = i32, Path), Stretch, InForm),
    responses((status = 200, content((TimelineShown = "application/json"), (String = "text/csv")))))]
pub(crate) async fn timeline(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    mut query: Query,
    headers: HeaderMap,
) -> Answer {
    let (from, to) = (query.instant("from"), query.instant("to"));
    let csv = query.csv(&headers);
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let request = desk.request(block, year, (from, to), csv).await?;
    tokio::task::spawn_blocking(move || render(request)).await.map_err(|error| {
        tracing::error!(%error, "a timeline could not be made");
        Problem::failed()
    })?
}

impl Visit {
    async fn request(
        &self,
        block: Block,
        year: i32,
        asked: (Option<Instant>, Option<Instant>),
        csv: bool,
    ) -> Result<Request, Problem> {
        let ground = self.ground(block, year, &self.catalogue().await?).await?;
        // What the query asks for only narrows this, so that progress stays
        // counted from where the legs began.
        let first = ground.log.begin().unwrap_or(ground.now).plus(-LEAD_IN);
        let last = first.plus(limits::TIMELINE_SECONDS);
        let forecast_source = match &ground.weather.forecast {
            Some(_) => {
                let latest = self.store.latest_forecast(&ground.block.site_id).await?;
                latest.map(|(source, _)| source)
            }
            None => None,
        };
        let shown = (asked.0.unwrap_or(first).max(first), asked.1.unwrap_or(last).min(last));
        let (found, thresholds) = (Findings::default(), self.app.thresholds.clone());
        Ok(Request { ground, found, thresholds, forecast_source, shown, csv })
    }
}

fn render(mut request: Request) -> Answer {
    request.found = request.ground.check(&request.thresholds);
    let rows = moments::rows(&request);
    if !request.csv {
        return Ok(json(&request, &rows));
    }
    let (block, plan) = (&request.ground.block, &request.ground.plan);
    let name = format!("timeline-{}-{}.csv", block.id, plan.year.unwrap_or_default());
    csv_out::answer(&name, &COLUMNS, rows.iter().map(|row| cells(row).to_vec()), None)
}

fn json(request: &Request, rows: &[Row]) -> Response {
    let Ground { block, plan, .. } = &request.ground;
    let curve = &plan.block.curve;
    let document = json!({
        "block_id": block.id,
        "year": plan.year,
        "time_zone": plan.zone.name(),
        "curve": curve.id,
        "rate_unit": curves::unit(curve),
        "caution": words::CAUTION,
        "rows": rows,
    });
    ([(header::VARY, "accept")], axum::Json(document)).into_response()
}

fn cells(row: &Row) -> [String; 11] {
    [
        row.time_utc.to_string(),
        row.time_local.clone(),
        number_cell(row.temperature_c),
        text_cell(row.kind),
        row.source.as_deref().map(text_cell).unwrap_or_default(),
        row.flag.map(moments::flag_word).unwrap_or_default().to_owned(),
        number_cell(row.rate_per_day),
        number_cell(row.leg),
        number_cell(row.progress),
        number_cell(row.progress_low),
        number_cell(row.progress_high),
    ]
}
