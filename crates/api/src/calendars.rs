//! Calendars of farms (RFC 5545): secret addresses at which the plan of a farm
//! stands for programs that show calendars, and what stands there.
//!
//! Such programs sign in nowhere, so the address itself lets them read: each
//! reader has one of their own, shown once, kept as its hash, and revoked alone.

use std::sync::Arc;

use access::Deed;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::IntoResponse;
use chrono::Datelike;
use chrono_tz::Tz;
use model::input;
use model::season::Season;
use model::time::{Instant, zone};
use serde::Serialize;
use store::{Calendar, CalendarSeason};
use utoipa::ToSchema;

use crate::answer::{Answer, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Desk, Here, Visit};
use crate::once::Secret;
use crate::problem::Problem;
use crate::query::Query;
use crate::quota::Over;
use crate::request::Document;
use crate::shapes::{Moment, Page};
use crate::{fields, limits, me};

mod events;
mod lines;
mod render;

use events::Shown;

/// A calendar as it is asked for.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct CalendarAsked {
    /// Who or what will read it, so that it is known later which one to revoke.
    #[schema(max_length = 200)]
    name: String,
}

/// A calendar as it was made: whoever knows the address reads it, without signing in.
#[derive(Serialize, ToSchema)]
pub(crate) struct CalendarMade {
    id: String,
    farm_id: String,
    name: String,
    #[schema(value_type = Moment)]
    created_at: Instant,
    /// Where on this server it stands, shown this once; null where the same request
    /// comes again.
    path: Option<String>,
}

/// A calendar that holds; its address is not kept.
#[derive(Serialize, ToSchema)]
pub(crate) struct CalendarShown {
    id: String,
    farm_id: String,
    name: String,
    /// Id of the person who made it; null for the operator's first token.
    made_by: Option<String>,
    #[schema(value_type = Moment)]
    created_at: Instant,
    /// To the hour; null before the first time.
    #[schema(value_type = Option<Moment>)]
    last_read_at: Option<Instant>,
}

/// The calendars of a farm that hold.
#[utoipa::path(get, path = "/farms/{id}/calendars", tag = "farms", operation_id = "list-calendars",
    params(("id" = String, Path)), responses((status = 200, body = Page<CalendarShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow_review(&farm.id)?;
    let calendars = desk.store.calendars_of(&farm.id).await?;
    whole(calendars.into_iter().map(shown).collect())
}

/// Makes an address at which a farm's year stands as an iCalendar file: starts, marks,
/// re-entry and counts. It is in this answer and nowhere else. A calendar is a plan to
/// look at and never the alert: many programs fetch it once a day.
#[utoipa::path(post, path = "/farms/{id}/calendars", tag = "farms", operation_id = "make-calendar",
    params(("id" = String, Path)), request_body = CalendarAsked,
    responses((status = 201, body = CalendarMade)))]
pub(crate) async fn make(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let name = input::read(&document, |fields| fields::name(fields, "name"))?;
    let by = desk.caller.person_id.as_deref();
    let (calendar, secret) =
        access::new_calendar(&desk.store, &farm.id, &name, by, desk.now()).await.map_err(me::failed)?;
    let place = format!("/api/v1/calendars/{}", calendar.id);
    let made = CalendarMade {
        id: calendar.id,
        farm_id: calendar.farm_id,
        name: calendar.name,
        created_at: calendar.created_at,
        path: Some(format!("/calendar/{secret}{ENDING}")),
    };
    let mut response = created(&place, made)?;
    response.extensions_mut().insert(Secret("path"));
    Ok(response)
}

/// One calendar that holds.
#[utoipa::path(get, path = "/calendars/{id}", tag = "farms", operation_id = "read-calendar",
    params(("id" = String, Path)), responses((status = 200, body = CalendarShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let calendar = desk.calendar(&id).await?;
    desk.allow_review(&calendar.farm_id)?;
    ok(shown(calendar))
}

/// Revokes a calendar: from the next request on nothing stands at its address.
#[utoipa::path(delete, path = "/calendars/{id}", tag = "farms", operation_id = "revoke-calendar",
    params(("id" = String, Path)), responses((status = 204)))]
pub(crate) async fn revoke(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let calendar = desk.calendar(&id).await?;
    desk.allow(Deed::SetUp, Some(&calendar.farm_id))?;
    if_match.check(&shown(calendar.clone()))?;
    if desk.store.revoke_calendar(&calendar, desk.now()).await? {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    Err(no_calendar(&id))
}

/// What the file is called, behind its secret.
const ENDING: &str = ".ics";

/// The calendar itself, for whoever knows its address.
pub(crate) async fn feed(State(desk): State<Arc<Desk>>, Path(file): Path<String>) -> Answer {
    let secret = file.strip_suffix(ENDING).unwrap_or_default();
    let store = &desk.house_store;
    // Nothing tells an address that was revoked from one that never was.
    let nothing = || Problem::not_found("No calendar stands at this address; ask for a new one.");
    let calendar = access::calendar_of(store, secret).await?.ok_or_else(nothing)?;
    let farm = store.farm(&calendar.farm_id).await?.filter(|farm| farm.closed_at.is_none());
    let farm = farm.ok_or_else(nothing)?;
    let now = desk.now();
    let _place = match desk.quota.take(&calendar.id, now) {
        Ok((_, place)) => place,
        Err(over) => {
            let seconds = if let Over::Minute(left) = over { left.reset } else { 1 };
            return Err(Problem::over_quota(
                seconds,
                "This calendar is fetched too often: once an hour will do.",
            ));
        }
    };
    if calendar.is_noted(now) {
        store.note_calendar_read(&calendar.id, now).await?;
    }
    // A season that began last year may run on into this one.
    let year = now.utc().year();
    let seasons = store.calendar_seasons(&farm.id, (year - 1, year), limits::CALENDAR_SEASONS + 1).await?;
    if seasons.len() > limits::CALENDAR_SEASONS as usize {
        let most = limits::CALENDAR_SEASONS;
        let detail = format!("The farm has more than {most} seasons, the most that one calendar shows.");
        return Err(Problem::conflict(detail));
    }
    let text = tokio::task::spawn_blocking(move || written(&farm.name, &seasons, year));
    let text = text.await.map_err(|error| {
        tracing::error!(%error, "a calendar could not be written");
        Problem::failed()
    })?;
    let mut response = text.into_response();
    for (name, value) in [
        (header::CONTENT_TYPE, "text/calendar; charset=utf-8"),
        (header::CONTENT_DISPOSITION, "inline; filename=\"bloomtide.ics\""),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // The secret is in the address.
        (header::REFERRER_POLICY, "no-referrer"),
    ] {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    Ok(response)
}

/// The calendar of a farm in a year.
fn written(farm: &str, rows: &[CalendarSeason], year: i32) -> String {
    let mut entries = Vec::new();
    for row in rows {
        let season: Season = match serde_json::from_str(&row.doc) {
            Ok(season) => season,
            Err(error) => {
                // It will be reckoned anew; its own page has the fault until then.
                tracing::warn!(%error, block = row.block_id, "a season is left out of a calendar");
                continue;
            }
        };
        if row.year < year && season.running().is_none() {
            continue;
        }
        let zone = zone(&row.time_zone).unwrap_or(Tz::UTC);
        let shown = Shown {
            block_id: &row.block_id,
            block: &row.block,
            zone,
            season: &season,
            reckoned_at: row.reckoned_at,
        };
        let edition = render::Edition::new(row.year, row.reckoned_at, row.revision);
        entries.extend(shown.planned().into_iter().map(|planned| (planned, edition)));
    }
    render::calendar(farm, &entries)
}

fn no_calendar(id: &str) -> Problem {
    Problem::not_found(format!("There is no calendar `{id}` that holds."))
}

fn shown(calendar: Calendar) -> CalendarShown {
    let Calendar { id, farm_id, name, made_by, created_at, last_read_at, .. } = calendar;
    CalendarShown { id, farm_id, name, made_by, created_at, last_read_at }
}

impl Visit {
    /// A calendar that holds, of a farm that the caller sees.
    async fn calendar(&self, id: &str) -> Result<Calendar, Problem> {
        let found = self.store.calendar(id).await?.filter(|found| found.revoked_at.is_none());
        found.ok_or_else(|| no_calendar(id))
    }

    /// Who may read by which addresses a farm can be read.
    fn allow_review(&self, farm_id: &str) -> Result<(), Problem> {
        if self.caller.may_review(farm_id) {
            return Ok(());
        }
        Err(Problem::not_allowed("an advisor of this farm"))
    }
}
