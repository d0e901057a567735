//! How the legs would have gone in past springs of a site.

use std::sync::Arc;

use axum::extract::Path;
use axum::http::HeaderMap;
use model::growth::{Course, Growth};
use model::hindcast::{self, MOST_MARKS, Range, Spring, StartRule};
use model::series::Series;
use model::time::{Instant, zone};
use model::words;
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};
use weather::checks;

use crate::answer::{Answer, ok};
use crate::csv_out::{self, number_cell};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;

/// Most springs in one answer.
const MOST_SPRINGS: i32 = 60;

/// Which springs, and how the clock would have started.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Asked {
    /// Id of a curve; `reference` by default.
    curve: Option<String>,
    /// Marks in a row, with commas between; 0.60 by default.
    marks: Option<String>,
    /// A day of each year with its time on the wall clock, as `04-29T10:00`.
    start: Option<String>,
    /// Or a sum of degree-hours above 4.5 °C since a day of each year.
    degree_hours: Option<f64>,
    /// That day, as `02-01`.
    since: Option<String>,
    /// Or moments of the wall clock, one a year, with commas between.
    logged: Option<String>,
    /// Mean style length, for a curve in mm.
    style_mm: Option<f64>,
    /// First and last year.
    from: Option<i32>,
    to: Option<i32>,
    /// `json` or `csv`.
    format: Option<String>,
}

/// Past springs of a site.
#[derive(Serialize, ToSchema)]
pub(crate) struct HindcastShown {
    site_id: String,
    time_zone: String,
    curve: String,
    /// When the clock would have started, in words.
    rule: String,
    /// A year each, with its legs; each leg begins at the mark before.
    #[schema(value_type = Vec<Object>)]
    springs: Vec<Spring>,
    /// The least, the middle and the most hours of each leg.
    #[schema(value_type = Vec<Object>)]
    ranges: Vec<Range>,
    about: &'static str,
    caution: &'static str,
}

/// How a site's past springs would have gone, by its readings.
#[utoipa::path(get, path = "/sites/{id}/hindcast", tag = "sites", operation_id = "hindcast",
    params(("id" = String, Path), Asked),
    responses((status = 200, content((HindcastShown = "application/json"), (String = "text/csv")))))]
pub(crate) async fn one(
    Here(desk): Here,
    Path(site): Path<String>,
    headers: HeaderMap,
    mut query: Query,
) -> Answer {
    let csv = query.csv(&headers);
    let asked = read(&mut query);
    query.finish()?;
    let asked = asked?;
    let site = desk.site(&site).await?;
    let zone = zone(&site.time_zone).map_err(|_| Problem::failed())?;
    let catalogue = desk.catalogue().await?;
    let curve = catalogue.curves.iter().find(|curve| curve.id == asked.curve).cloned();
    let curve = curve.ok_or_else(|| {
        Problem::parameter("curve", format!("`{}` is no curve that is known here", asked.curve))
    })?;
    if curve.measure == model::curve::Measure::Millimetre && asked.style_mm.is_none() {
        return Err(Problem::parameter("style_mm", "a curve in mm needs the mean style length"));
    }
    let now = desk.now();
    let last = asked.to.unwrap_or_else(|| now.local_year(zone));
    let first = asked.from.unwrap_or(last - MOST_SPRINGS + 1);
    if first > last || last - first >= MOST_SPRINGS {
        let detail = format!("from {first} to {last}: expected 1 to {MOST_SPRINGS} years");
        return Err(Problem::parameter("from", detail));
    }
    let mut springs = Vec::new();
    for year in first..=last {
        let Some((from, to)) = asked.rule.window(year, zone) else { continue };
        let mut weather = desk.store.site_weather(&site.id, from, to.min(now)).await?;
        if weather.sources.iter().all(|(_, readings)| readings.is_empty()) {
            continue;
        }
        let (thresholds, curve, rule) = (desk.app.thresholds.clone(), curve.clone(), asked.rule.clone());
        let (marks, style) = (asked.marks.clone(), asked.style_mm.unwrap_or(1.0));
        let spring = tokio::task::spawn_blocking(move || {
            checks::mark(weather.for_checks(), now, &thresholds);
            let course = Course::new(Series::join(&weather.by_trust(), None, now));
            hindcast::spring(&Growth::new(Arc::new(course), curve), year, zone, &rule, &marks, style)
        });
        springs.push(spring.await.map_err(|error| {
            tracing::error!(%error, "a past spring could not be reckoned");
            Problem::failed()
        })?);
    }
    if csv {
        return csv_out::answer(&format!("hindcast-{}.csv", site.id), &COLUMNS, rows(&springs), None);
    }
    ok(HindcastShown {
        site_id: site.id,
        time_zone: site.time_zone,
        curve: curve.id.clone(),
        rule: asked.rule.told(),
        ranges: hindcast::ranges(&springs),
        springs,
        about: words::NOT_CULTIVAR_SPECIFIC,
        caution: words::CAUTION,
    })
}

/// What was asked.
struct Read {
    curve: String,
    marks: Vec<f64>,
    rule: StartRule,
    style_mm: Option<f64>,
    from: Option<i32>,
    to: Option<i32>,
}

fn read(query: &mut Query) -> Result<Read, Problem> {
    let number = |name: &'static str, text: Option<String>, low: f64, high: f64| match text {
        None => Ok(None),
        Some(text) => match text.parse::<f64>() {
            Ok(number) if (low..=high).contains(&number) => Ok(Some(number)),
            _ => Err(Problem::parameter(name, format!("`{text}` is no number from {low} to {high}"))),
        },
    };
    let (start, sum, since) = (query.text("start"), query.text("degree_hours"), query.text("since"));
    let logged = query.text("logged");
    let sum = number("degree_hours", sum, 0.1, 100_000.0)?;
    let rule = match (start, sum, logged) {
        (Some(text), None, None) => StartRule::on(&text).map_err(|fault| Problem::parameter("start", fault)),
        (None, Some(sum), None) => {
            let since = since.as_deref().unwrap_or("01-01");
            StartRule::degree_hours(sum, since).map_err(|fault| Problem::parameter("since", fault))
        }
        (None, None, Some(texts)) => StartRule::logged(texts.split(',').map(str::trim))
            .map_err(|fault| Problem::parameter("logged", fault)),
        _ => {
            let detail = "say when the clock starts: one of `start`, `degree_hours` and `logged`";
            Err(Problem::parameter("start", detail))
        }
    };
    let given = query.text("marks").unwrap_or_else(|| "0.60".to_owned());
    let mut marks = Vec::new();
    for text in given.split(',') {
        marks.extend(number("marks", Some(text.trim().to_owned()), 0.05, 1.5)?);
    }
    if marks.len() > MOST_MARKS {
        return Err(Problem::parameter("marks", format!("are more than {MOST_MARKS}")));
    }
    let curve = query.text("curve").unwrap_or_else(|| "reference".to_owned());
    let style_mm = query.text("style_mm");
    let mut year = |name: &'static str| {
        let text = query.text(name);
        number(name, text, 1900.0, 2199.0).map(|year| year.map(|year| year as i32))
    };
    let (from, to) = (year("from")?, year("to")?);
    let style_mm = number("style_mm", style_mm, 1.0, 40.0)?;
    Ok(Read { curve, marks, rule: rule?, style_mm, from, to })
}

const COLUMNS: [&str; 8] =
    ["year", "start_utc", "leg", "mark", "from_utc", "reached_utc", "hours", "unknown_hours_of_the_spring"];

fn rows(springs: &[Spring]) -> impl Iterator<Item = Vec<String>> + '_ {
    springs.iter().flat_map(|spring| {
        let moment = |at: Option<Instant>| at.map(|at| at.to_string()).unwrap_or_default();
        spring.legs.iter().enumerate().map(move |(n, leg)| {
            vec![
                spring.year.to_string(),
                moment(spring.start),
                (n + 1).to_string(),
                format!("{:.2}", leg.mark),
                moment(Some(leg.from)),
                moment(leg.reached_at),
                number_cell(leg.hours.map(|hours| (hours * 100.0).round() / 100.0)),
                format!("{:.1}", spring.unknown_hours),
            ]
        })
    })
}
