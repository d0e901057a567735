//! Readings: those stored, by time; and those typed in.

use axum::extract::Path;
use axum::http::HeaderMap;
use model::input::{self, Fields};
use model::series::{Flag, Reading};
use model::time::{FUTURE_TOLERANCE, Instant, MINUTE};
use model::units::{COLDEST_C, TemperatureUnit, WARMEST_C};
use serde::Serialize;
use serde_json::{Value, json};
use store::{Site, Source, Upload, Way};
use utoipa::{IntoParams, ToSchema};
use weather::checks::{self, Fault, Findings};

use crate::answer::{Answer, ok, page};
use crate::csv_out::{self, number_cell, text_cell};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// Longest mean that is taken, minutes, as for files.
const LONGEST_MEAN_MINUTES: i64 = weather::mapping::LONGEST_INTERVAL_MINUTES;

/// One temperature from one source.
#[derive(Serialize, ToSchema)]
pub(crate) struct ReadingShown {
    #[schema(value_type = Moment)]
    at: Instant,
    source: String,
    celsius: f64,
    /// Minutes that a mean covers, up to `at`; null for an instant.
    minutes: Option<f64>,
    /// Of quality, in QARTOD's words.
    #[schema(value_type = Value)]
    flag: Flag,
    /// What checking found: the check, and a sentence with its figures.
    #[schema(value_type = Vec<Object>)]
    found: Vec<Fault>,
}

/// Which readings.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Stretch {
    /// From when on, included.
    #[param(value_type = Option<Moment>)]
    from: Option<Instant>,
    /// Until when, included.
    #[param(value_type = Option<Moment>)]
    to: Option<Instant>,
}

/// How many readings, and in which form.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Form {
    /// `next` of the page before, which was asked for with the same parameters.
    after: Option<String>,
    /// How many to list.
    #[param(minimum = 1, maximum = 10000, default = 1000)]
    limit: Option<u32>,
    /// `json` or `csv`; or by the header `Accept`.
    format: Option<String>,
}

const COLUMNS: [&str; 5] = ["time_utc", "source", "temperature_c", "mean_minutes", "flag"];

/// The readings of a site in order of time, as JSON or CSV.
#[utoipa::path(get, path = "/sites/{id}/readings", tag = "sites", operation_id = "list-readings",
    params(("id" = String, Path), Stretch, Form),
    responses((status = 200, content((Page<ReadingShown> = "application/json"), (String = "text/csv")))))]
pub(crate) async fn list(
    Here(desk): Here,
    Path(site): Path<String>,
    mut query: Query,
    headers: HeaderMap,
) -> Answer {
    let csv = query.csv(&headers);
    let from = query.instant("from").unwrap_or(Instant::MIN);
    let to = query.instant("to").unwrap_or(Instant::MAX);
    let span = query.page_of(limits::READINGS_PAGE, limits::LONGEST_READINGS_PAGE);
    query.finish()?;
    let after = span.after().map(read_cursor).transpose()?;
    let site = desk.site(&site).await?;
    let mut readings = desk.store.readings_page(&site.id, from, to, after, span.limit + 1).await?;
    let checked = desk.check(&site, &mut readings).await?;
    if csv {
        let next = span.cut(&mut readings, |(source, reading)| cursor(source, reading));
        let rows = readings.iter().map(|(source, reading)| {
            vec![
                reading.at.to_string(),
                text_cell(source),
                number_cell(Some(reading.celsius)),
                number_cell(minutes(reading)),
                json!(reading.flag).to_string(),
            ]
        });
        let link = next.map(|next| span.link(&next));
        return csv_out::answer(&format!("readings-{}.csv", site.id), &COLUMNS, rows, link);
    }
    page(
        readings,
        &span,
        |(source, reading)| cursor(source, reading),
        |(source, reading)| ReadingShown {
            at: reading.at,
            source: source.clone(),
            celsius: reading.celsius,
            minutes: minutes(reading),
            flag: reading.flag,
            found: checked.found(source, reading.at).to_vec(),
        },
    )
}

/// What checking a site's sources found.
struct FoundOf {
    /// Ids of the sources, in the order of the findings.
    sources: Vec<String>,
    findings: Findings,
}

impl FoundOf {
    fn found(&self, source: &str, at: Instant) -> &[Fault] {
        let place = self.sources.iter().position(|id| id == source);
        place.map_or(&[], |place| self.findings.faults(place, at))
    }
}

/// Sources with their readings, the most trusted first.
pub(crate) type BySource = Vec<(Source, Vec<Reading>)>;

impl Visit {
    /// A site's readings with the flags that checking gives them, off the async
    /// threads.
    pub(crate) async fn checked(&self, mut sources: BySource) -> Result<(BySource, Findings), Problem> {
        let (now, thresholds) = (self.now(), self.app.thresholds.clone());
        let checked = tokio::task::spawn_blocking(move || {
            let findings = checks::mark(store::for_checks(&mut sources), now, &thresholds);
            (sources, findings)
        });
        checked.await.map_err(|error| {
            tracing::error!(%error, "readings could not be checked");
            Problem::failed()
        })
    }

    /// Gives a page of readings the flags that checking them amid the weeks before
    /// and after gives.
    async fn check(&self, site: &Site, page: &mut [(String, Reading)]) -> Result<FoundOf, Problem> {
        let (Some(first), Some(last)) = (page.first(), page.last()) else {
            return Ok(FoundOf { sources: Vec::new(), findings: Findings::default() });
        };
        let (from, to) = (first.1.at.plus(-checks::BEFORE), last.1.at.plus(checks::AFTER));
        let (sources, findings) = self.checked(self.store.readings(&site.id, from, to).await?).await?;
        for (id, reading) in page {
            let of_source = sources.iter().find(|(source, _)| source.id == *id);
            let checked = of_source.and_then(|(_, readings)| {
                let place = readings.binary_search_by_key(&reading.at, |reading| reading.at).ok()?;
                Some(readings[place].flag)
            });
            reading.flag = checked.unwrap_or(reading.flag);
        }
        Ok(FoundOf { sources: sources.into_iter().map(|(source, _)| source.id).collect(), findings })
    }
}

/// Minutes that a mean covers.
fn minutes(reading: &Reading) -> Option<f64> {
    (reading.span > 0).then_some(reading.span as f64 / MINUTE as f64)
}

fn cursor(source: &str, reading: &Reading) -> String {
    format!("{}.{source}", reading.at.0)
}

fn read_cursor(text: &str) -> Result<(Instant, &str), Problem> {
    let parted = text.split_once('.').and_then(|(at, source)| Some((Instant(at.parse().ok()?), source)));
    parted
        .ok_or_else(|| Problem::parameter("after", format!("`{text}` is not the `next` of an earlier page")))
}

/// Stores readings of the body `{"source": …, "readings": […]}`, all or none.
pub(crate) async fn typed_in(
    desk: &Visit,
    site: &Site,
    parameter: Option<String>,
    document: &Value,
) -> Answer {
    let now = desk.now();
    let read = input::read(document, |fields| {
        let source = match (fields.text("source"), &parameter) {
            (Some(source), Some(other)) if source != *other => {
                fields.fault("source", format!("is `{source}`, but the address says `{other}`"));
                None
            }
            (None, Some(source)) => Some(source.clone()),
            (Some(source), _) => Some(source),
            (None, None) => fields.required_text("source"),
        };
        let readings = fields.require("readings").then(|| list_of(fields, now));
        Some((source?, readings?))
    });
    let (source, readings) = read?;
    let source = match desk.store.source(&source).await? {
        Some(found) if found.site_id == site.id => found,
        _ => return Err(no_source(site, &source, parameter.is_some())),
    };
    if source.way == Way::Feed {
        return Err(Problem::conflict("The source is a feed: its readings come from its provider alone."));
    }
    let stored = desk.store.store_readings(&source.id, &readings, now).await?;
    desk.poke_if_changed(stored);
    ok(json!({
        "source": source.id,
        "stored": stored.stored,
        "unchanged": stored.unchanged,
        "corrected": stored.corrected,
        "refused": 0,
        "missing": 0,
        "refused_rows": [],
    }))
}

/// The source named is none of the site's.
pub(crate) fn no_source(site: &Site, id: &str, in_address: bool) -> Problem {
    let detail = format!("site `{}` has no source `{id}`", site.id);
    if in_address {
        return Problem::parameter("source", detail);
    }
    Problem::invalid(vec![Wrong { pointer: Some("/source".into()), parameter: None, detail }])
}

fn list_of(fields: &Fields<'_>, now: Instant) -> Vec<Reading> {
    let count = fields.value("readings").and_then(Value::as_array).map(Vec::len);
    match count {
        Some(0) => fields.fault("readings", "is an empty list; expected at least one reading"),
        Some(count) if count > limits::HAND_READINGS => {
            fields.fault(
                "readings",
                format!("has {count} readings; at most {} are taken at once", limits::HAND_READINGS),
            );
            return Vec::new();
        }
        _ => {}
    }
    fields.tables("readings", |fields| reading(fields, now))
}

fn reading(fields: &Fields<'_>, now: Instant) -> Option<Reading> {
    let at = if fields.require("at") { fields.instant("at") } else { None };
    if let Some(at) = at.filter(|at| *at > now.plus(FUTURE_TOLERANCE)) {
        let minutes = FUTURE_TOLERANCE / MINUTE;
        fields.fault("at", format!("{at} lies more than {minutes} minutes ahead of now, {now}"));
    }
    let span = fields.whole("minutes", 1, LONGEST_MEAN_MINUTES).map_or(0, |minutes| minutes * MINUTE);
    let celsius = temperature(fields);
    Some(Reading::mean_ending(at?, span, celsius?))
}

/// `celsius`, or `value` with its `unit`.
fn temperature(fields: &Fields<'_>) -> Option<f64> {
    match (fields.has("celsius"), fields.has("value")) {
        (true, true) => {
            fields.ignore(&["unit"]);
            fields.fault("value", "stands beside celsius; give one of them");
            None
        }
        (true, false) => {
            if fields.has("unit") {
                fields.fault("unit", "belongs to value; celsius says its own");
            }
            fields.number("celsius", COLDEST_C, WARMEST_C)
        }
        (false, false) => {
            fields.ignore(&["unit"]);
            fields.fault("celsius", "is missing; give celsius, or value with its unit");
            None
        }
        (false, true) => {
            let unit = fields.require("unit").then(|| fields.word("unit", &TemperatureUnit::NAMES)).flatten();
            let value = fields.number("value", f64::MIN, f64::MAX);
            let celsius = TemperatureUnit::named(unit?)?.to_celsius(value?);
            if (COLDEST_C..=WARMEST_C).contains(&celsius) {
                return Some(celsius);
            }
            fields.fault(
                "value",
                format!("is {celsius:.1} °C, outside {COLDEST_C} to {WARMEST_C} °C; is the unit right?"),
            );
            None
        }
    }
}

impl Visit {
    /// Wakes the loops when an upload changed anything.
    pub(crate) fn poke_if_changed(&self, upload: Upload) {
        if upload.stored + upload.corrected > 0 {
            self.poke();
        }
    }
}
