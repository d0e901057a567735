//! Forecasts as they were issued: kept for ever, so that how far they were off can
//! be learned.

use axum::extract::Path;
use model::series::Reading;
use model::time::{Instant, MINUTE};
use serde::Serialize;
use store::Issue;
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, page};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// Issues on a page: each has hundreds of hours.
const PAGE: u32 = 24;
/// The same at most.
const LONGEST_PAGE: u32 = 200;

/// A forecast as it was issued.
#[derive(Serialize, ToSchema)]
pub(crate) struct IssueShown {
    /// When it was issued, or fetched where the provider does not say.
    #[schema(value_type = Moment)]
    issued_at: Instant,
    #[schema(value_type = Moment)]
    fetched_at: Instant,
    /// Its hours in order of time, °C in hundredths.
    hours: Vec<HourAhead>,
}

/// One hour of a forecast.
#[derive(Serialize, ToSchema)]
pub(crate) struct HourAhead {
    #[schema(value_type = Moment)]
    at: Instant,
    celsius: f64,
    /// Minutes that a mean covers, up to `at`; null for an instant.
    minutes: Option<f64>,
}

/// Which issues.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Issued {
    /// Issued from then on, included.
    #[param(value_type = Option<Moment>)]
    from: Option<Instant>,
    /// Issued until then, included.
    #[param(value_type = Option<Moment>)]
    to: Option<Instant>,
    /// `next` of the page before, which was asked for with the same parameters.
    after: Option<String>,
    /// How many to list.
    #[param(minimum = 1, maximum = 200, default = 24)]
    limit: Option<u32>,
}

/// The forecasts of a source as they were issued, the first one first.
#[utoipa::path(get, path = "/sites/{id}/sources/{source}/forecasts", tag = "sites", operation_id = "list-forecasts",
    params(("id" = String, Path), ("source" = String, Path), Issued),
    responses((status = 200, body = Page<IssueShown>)))]
pub(crate) async fn list(
    Here(desk): Here,
    Path((site, source)): Path<(String, String)>,
    mut query: Query,
) -> Answer {
    let from = query.instant("from").unwrap_or(Instant::MIN);
    let to = query.instant("to").unwrap_or(Instant::MAX);
    let span = query.page_of(PAGE, LONGEST_PAGE);
    query.finish()?;
    let after = span.after().map(read_cursor).transpose()?;
    let site = desk.site(&site).await?;
    let source = desk.source_of(&site, &source).await?;
    let issues = desk.store.issues(&source.id, from, to, after, span.limit + 1).await?;
    page(issues, &span, cursor, |issue| IssueShown {
        issued_at: issue.forecast.issued_at,
        fetched_at: issue.fetched_at,
        hours: issue.forecast.hours.iter().map(hour).collect(),
    })
}

fn hour(reading: &Reading) -> HourAhead {
    let minutes = (reading.span > 0).then_some(reading.span as f64 / MINUTE as f64);
    HourAhead { at: reading.at, celsius: reading.celsius, minutes }
}

fn cursor(issue: &Issue) -> String {
    format!("{}.{}", issue.forecast.issued_at.0, issue.fetched_at.0)
}

fn read_cursor(text: &str) -> Result<(Instant, Instant), Problem> {
    let number = |text: &str| text.parse().ok().map(Instant);
    let parted = text.split_once('.').and_then(|(issued, fetched)| Some((number(issued)?, number(fetched)?)));
    parted
        .ok_or_else(|| Problem::parameter("after", format!("`{text}` is not the `next` of an earlier page")))
}
