//! Farms: who owns blocks, and where their alerts go.

use access::Deed;
use axum::extract::Path;
use model::input::{self, Fields};
use serde_json::{Value, json};
use store::Farm;

use crate::answer::{Answer, created, ok, page};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let (after, limit) = query.page();
    query.finish()?;
    let farms = desk.store.farms(after.as_deref(), limit + 1).await?;
    page(farms, limit, |farm| farm.id.clone(), render)
}

pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    desk.allow_operating()?;
    let now = desk.now();
    let farm = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let name = fields::name(fields, "name");
        let alert_emails = fields::emails(fields, "alert_emails");
        Some(Farm { id: id.unwrap_or_else(|| desk.new_id()), name: name?, alert_emails, created_at: now })
    })?;
    desk.store.add_farm(&farm).await?;
    created(&format!("/api/v1/farms/{}", farm.id), render(&farm))
}

pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(render(&desk.farm(&id).await?))
}

/// Changes the fields that are given, and no other.
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let held = desk.farm(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.id))?;
    let farm = input::read(&document, |fields| changed(fields, &held))?;
    desk.store.change_farm(&held, &farm.name, &farm.alert_emails).await?;
    // Whoever is told next is told where the farm now says.
    desk.poke();
    ok(render(&farm))
}

fn changed(fields: &Fields<'_>, held: &Farm) -> Option<Farm> {
    let mut farm = held.clone();
    if fields.text("id").is_some_and(|id| id != held.id) {
        fields.fault("id", "cannot be changed");
    }
    if fields.raw().contains_key("name") {
        farm.name = fields::name(fields, "name")?;
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

fn render(farm: &Farm) -> Value {
    json!({
        "id": farm.id,
        "name": farm.name,
        "alert_emails": farm.alert_emails,
        "created_at": farm.created_at,
    })
}
