//! Farms: who owns blocks, and where their alerts go.

use access::Deed;
use axum::extract::Path;
use model::input::{self, Fields};
use model::time::Instant;
use serde::Serialize;
use store::{Farm, Notice, Word};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, page};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page, Paging};

/// A farm: the wall between one client's data and another's.
#[derive(Serialize, ToSchema)]
pub(crate) struct FarmShown {
    id: String,
    name: String,
    /// Where its alerts go.
    alert_emails: Vec<String>,
    #[schema(value_type = Moment)]
    created_at: Instant,
    /// When it was closed: it is only read any more.
    #[schema(value_type = Option<Moment>)]
    closed_at: Option<Instant>,
}

/// A farm as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct FarmAdded {
    /// 1 to 64 letters, digits, `_` or `-`; made by the server when not given.
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    #[schema(max_length = 200)]
    name: String,
    #[schema(nullable = false, max_items = 50)]
    alert_emails: Option<Vec<String>>,
}

/// What changes about a farm.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct FarmChange {
    #[schema(nullable = false, max_length = 200)]
    name: Option<String>,
    /// Null leaves none.
    #[schema(max_items = 50)]
    alert_emails: Option<Vec<String>>,
}

/// The farms that the caller sees.
#[utoipa::path(get, path = "/farms", tag = "farms", operation_id = "list-farms", params(Paging),
    responses((status = 200, body = Page<FarmShown>)))]
pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let span = query.page();
    query.finish()?;
    let farms = desk.store.farms(span.after(), span.limit + 1).await?;
    page(farms, &span, |farm| farm.id.clone(), shown)
}

/// Adds a farm. For operators.
#[utoipa::path(post, path = "/farms", tag = "farms", operation_id = "add-farm", request_body = FarmAdded,
    responses((status = 201, body = FarmShown)))]
pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    desk.allow_operating()?;
    let now = desk.now();
    let farm = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let name = fields::name(fields, "name");
        let alert_emails = fields::emails(fields, "alert_emails");
        Some(Farm {
            id: id.unwrap_or_else(|| desk.new_id()),
            name: name?,
            alert_emails,
            created_at: now,
            closed_at: None,
        })
    })?;
    desk.store.add_farm(&farm).await?;
    created(&format!("/api/v1/farms/{}", farm.id), shown(&farm))
}

/// One farm.
#[utoipa::path(get, path = "/farms/{id}", tag = "farms", operation_id = "read-farm",
    params(("id" = String, Path)), responses((status = 200, body = FarmShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(shown(&desk.farm(&id).await?))
}

/// Changes the fields that are given, and no other.
#[utoipa::path(patch, path = "/farms/{id}", tag = "farms", operation_id = "change-farm",
    params(("id" = String, Path)), request_body = FarmChange, responses((status = 200, body = FarmShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let held = desk.farm(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.id))?;
    if_match.check(&shown(&held))?;
    let farm = input::read(&document, |fields| read_change(fields, &held))?;
    let gone = held.alert_emails.iter().filter(|email| !farm.alert_emails.contains(email));
    let word = Word::AddressRemoved { farm: farm.name.clone() };
    let seed = desk.new_id();
    let notices: Vec<Notice> = gone.map(|email| word.notice(&held.id, email, &seed, desk.now())).collect();
    desk.store.change_farm(&held, &farm.name, &farm.alert_emails, &notices).await?;
    // Whoever is told next is told where the farm now says.
    desk.poke();
    desk.hand_out();
    changed(shown(&farm))
}

/// Closes a farm: it is only read from then on, and nothing is told of it any more.
/// The same again changes nothing.
#[utoipa::path(post, path = "/farms/{id}/closing", tag = "farms", operation_id = "close-farm",
    params(("id" = String, Path)), responses((status = 200, body = FarmShown)))]
pub(crate) async fn close(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let held = desk.farm(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.id))?;
    desk.store.close_farm(&held, Some(desk.now())).await?;
    changed(shown(&desk.farm(&id).await?))
}

/// Opens a closed farm again.
#[utoipa::path(delete, path = "/farms/{id}/closing", tag = "farms", operation_id = "open-farm-again",
    params(("id" = String, Path)), responses((status = 200, body = FarmShown)))]
pub(crate) async fn open_again(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let held = desk.farm(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.id))?;
    if_match.check(&shown(&held))?;
    desk.store.close_farm(&held, None).await?;
    desk.poke();
    changed(shown(&desk.farm(&id).await?))
}

fn read_change(fields: &Fields<'_>, held: &Farm) -> Option<Farm> {
    let mut farm = held.clone();
    if fields.text("id").is_some_and(|id| id != held.id) {
        fields.fault("id", "cannot be changed");
    }
    if fields.raw().contains_key("name") {
        // Beside what is wrong with it stands what is wrong with the rest.
        if let Some(name) = fields::name(fields, "name") {
            farm.name = name;
        }
    }
    if fields.raw().contains_key("alert_emails") {
        farm.alert_emails = fields::emails(fields, "alert_emails");
    }
    Some(farm)
}

impl Visit {
    /// A farm that must be there.
    pub(crate) async fn farm(&self, id: &str) -> Result<Farm, Problem> {
        let farm = self.store.farm(id).await?;
        farm.ok_or_else(|| Problem::not_found(format!("There is no farm `{id}`.")))
    }
}

pub(crate) fn shown(farm: &Farm) -> FarmShown {
    let Farm { id, name, alert_emails, created_at, closed_at } = farm.clone();
    FarmShown { id, name, alert_emails, created_at, closed_at }
}
