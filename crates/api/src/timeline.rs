//! A season moment by moment, as JSON or as CSV.

mod moments;

use std::sync::Arc;

use axum::extract::Path;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use model::field_log::{Entry, FieldLog};
use model::growth::Growth;
use model::plan::Plan;
use model::season;
use model::time::{DAY, Instant};
use model::words;
use serde_json::json;
use store::{Block, LogEntry, SiteWeather};
use utoipa::ToSchema;
use weather::checks::{self, Findings, Thresholds};

use crate::answer::Answer;
use crate::csv_out::{self, number_cell, text_cell};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::readings::Stretch;
use crate::seasons::{assembled, no_season};
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
    block: Block,
    plan: Plan,
    log: FieldLog,
    weather: SiteWeather,
    /// What checking the readings found, once they are checked.
    found: Findings,
    thresholds: Arc<Thresholds>,
    forecast_source: Option<String>,
    now: Instant,
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
    /// Growth of a block over a season, in its own air.
    pub(crate) async fn growth(&self, block: Block, year: i32) -> Result<Growth, Problem> {
        let mut request = self.request(block, year, (None, None), false).await?;
        let grown = tokio::task::spawn_blocking(move || {
            checks::mark(request.weather.for_checks(), request.now, &request.thresholds);
            moments::growth(&request)
        });
        grown.await.map_err(|error| {
            tracing::error!(%error, "the growth of a season could not be summed");
            Problem::failed()
        })
    }

    async fn request(
        &self,
        block: Block,
        year: i32,
        asked: (Option<Instant>, Option<Instant>),
        csv: bool,
    ) -> Result<Request, Problem> {
        let store = &self.store;
        let now = self.now();
        if store.season(&block.id, year).await?.is_none() {
            return Err(no_season(&block, year));
        }
        let (site, plan) = self.behind(&block, year).await?;
        let plan = assembled(year, &block, &site, &plan, &self.catalogue().await?)?
            .map_err(|_| Problem::failed())?;
        let versions = store.plans(&block.id, year).await?;
        let plan = plan.with_versions(versions.iter().map(|version| (version.at, &version.doc)));
        let log = field_log(store.log(&block.id, year).await?);
        // What the query asks for only narrows this, so that progress stays
        // counted from where the legs began.
        let first = log.begin().unwrap_or(now).plus(-LEAD_IN);
        let last = first.plus(limits::TIMELINE_SECONDS);
        let (begin, end) = season::window(&log, now);
        let mut weather = store.block_weather(&block.id, begin, end).await?;
        if end < now {
            // A season long past: today's forecast has nothing to do with it.
            weather.forecast = None;
        }
        let forecast_source = match &weather.forecast {
            Some(_) => store.latest_forecast(&site.id).await?.map(|(source, _)| source),
            None => None,
        };
        let shown = (asked.0.unwrap_or(first).max(first), asked.1.unwrap_or(last).min(last));
        let (found, thresholds) = (Findings::default(), self.app.thresholds.clone());
        Ok(Request { block, plan, log, weather, found, thresholds, forecast_source, now, shown, csv })
    }
}

pub(crate) fn field_log(rows: Vec<LogEntry>) -> FieldLog {
    let entry = |row: &LogEntry| match Entry::read(&row.doc, Some(&row.id)) {
        Ok(entry) => Some(entry),
        Err(faults) => {
            tracing::error!(entry = row.id, %faults, "a stored log entry does not read back");
            None
        }
    };
    FieldLog::by_id(rows.iter().filter_map(entry).collect()).expect("the store keeps one entry under an id")
}

fn render(mut request: Request) -> Answer {
    request.found = checks::mark(request.weather.for_checks(), request.now, &request.thresholds);
    let rows = moments::rows(&request);
    if !request.csv {
        return Ok(json(&request, &rows));
    }
    let name = format!("timeline-{}-{}.csv", request.block.id, request.plan.year.unwrap_or_default());
    csv_out::answer(&name, &COLUMNS, rows.iter().map(|row| cells(row).to_vec()), None)
}

fn json(request: &Request, rows: &[Row]) -> Response {
    let curve = &request.plan.block.curve;
    let document = json!({
        "block_id": request.block.id,
        "year": request.plan.year,
        "time_zone": request.plan.zone.name(),
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
