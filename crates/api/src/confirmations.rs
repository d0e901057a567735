//! What people have confirmed of materials for a farm: that one is registered
//! for this use where it lies, and that its label allows use in bloom. It is
//! their word, with name and date; nothing here looks it up.

use access::Deed;
use axum::extract::Path;
use model::input::{self, Fields};
use model::record::Confirmation;
use model::time::{DAY, Instant};
use serde::Serialize;
use serde_json::Value;
use store::Confirmed;
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::curves::without_id;
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};

/// A person's word that a material may be used on a farm's blocks.
#[derive(Serialize, ToSchema)]
pub(crate) struct ConfirmationShown {
    id: String,
    farm_id: String,
    /// Material by its id.
    material: String,
    /// State or country whose registration was looked up.
    #[schema(value_type = String)]
    jurisdiction: Value,
    /// Who says so.
    #[schema(value_type = String)]
    by: Value,
    /// On what day.
    #[schema(value_type = String, format = Date)]
    on: Value,
    /// That it is registered for this use there.
    #[schema(value_type = bool)]
    registered: Value,
    /// That its label allows use in bloom.
    #[schema(value_type = bool)]
    bloom_use: Value,
    /// What it rests on.
    #[schema(value_type = Option<String>)]
    note: Value,
    /// When it was written down here.
    #[schema(value_type = Moment)]
    at: Instant,
    /// When it was taken back: it stands on record and counts no more.
    #[schema(value_type = Option<Moment>)]
    taken_back_at: Option<Instant>,
}

/// A confirmation as it is given. Both `registered` and `bloom_use` have to be
/// true: half of it confirms nothing.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct ConfirmationGiven {
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    /// Id of a material that is known here.
    material: String,
    #[schema(max_length = 200)]
    jurisdiction: String,
    #[schema(max_length = 200)]
    by: String,
    /// Like 2025-04-28; not ahead.
    #[schema(format = Date)]
    on: String,
    registered: bool,
    bloom_use: bool,
    #[schema(nullable = false, max_length = 2000)]
    note: Option<String>,
}

/// All that was ever confirmed on a farm, what was taken back too.
#[utoipa::path(get, path = "/farms/{id}/confirmations", tag = "farms", operation_id = "list-confirmations",
    params(("id" = String, Path)), responses((status = 200, body = Page<ConfirmationShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let all = desk.store.confirmations(&farm.id).await?;
    whole(all.iter().map(shown).collect())
}

/// Confirms a material for a farm, in the name of whoever looked it up.
#[utoipa::path(post, path = "/farms/{id}/confirmations", tag = "farms", operation_id = "confirm-material",
    params(("id" = String, Path)), request_body = ConfirmationGiven,
    responses((status = 201, body = ConfirmationShown)))]
pub(crate) async fn confirm(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::Log, Some(&farm.id))?;
    let (now, materials) = (desk.now(), desk.catalogue().await?.materials);
    let known: Vec<&str> = materials.iter().map(|material| material.id.as_str()).collect();
    let (id, read) = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let read = Confirmation::from_fields(fields)?;
        check(fields, &read, &known, now);
        Some((id, read))
    })?;
    let confirmed = Confirmed {
        id: id.unwrap_or_else(|| desk.new_id()),
        farm_id: farm.id,
        material: read.material,
        doc: without_id(document),
        at: now,
        taken_back_at: None,
    };
    desk.store.confirm(&confirmed).await?;
    desk.poke();
    let place = format!("/api/v1/farms/{}/confirmations/{}", confirmed.farm_id, confirmed.id);
    created(&place, shown(&confirmed))
}

/// One confirmation.
#[utoipa::path(get, path = "/farms/{id}/confirmations/{confirmation}", tag = "farms",
    operation_id = "read-confirmation", params(("id" = String, Path), ("confirmation" = String, Path)),
    responses((status = 200, body = ConfirmationShown)))]
pub(crate) async fn one(
    Here(desk): Here,
    Path((farm, confirmation)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    ok(shown(&desk.confirmation(&farm.id, &confirmation).await?))
}

/// Takes a confirmation back: its material is unconfirmed from then on, and it
/// stays on record.
#[utoipa::path(delete, path = "/farms/{id}/confirmations/{confirmation}", tag = "farms",
    operation_id = "take-confirmation-back", params(("id" = String, Path), ("confirmation" = String, Path)),
    responses((status = 200, body = ConfirmationShown)))]
pub(crate) async fn take_back(
    Here(desk): Here,
    Path((farm, confirmation)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::Log, Some(&farm.id))?;
    let held = desk.confirmation(&farm.id, &confirmation).await?;
    if_match.check(&shown(&held))?;
    if !desk.store.take_confirmation_back(&farm.id, &held.id, desk.now()).await? {
        let detail = format!("Confirmation `{}` was taken back already; nothing was changed.", held.id);
        return Err(Problem::not_found(detail));
    }
    desk.poke();
    changed(shown(&desk.confirmation(&farm.id, &held.id).await?))
}

/// What only the service can judge: whether the material is known, and whether
/// the day has come anywhere on earth.
fn check(fields: &Fields<'_>, read: &Confirmation, known: &[&str], now: Instant) {
    if !known.contains(&read.material.as_str()) {
        let detail = format!("there is no material `{}`; known: {}", read.material, known.join(", "));
        fields.fault("material", detail);
    }
    fields::check_name(fields, "jurisdiction", &read.jurisdiction);
    fields::check_name(fields, "by", &read.by);
    if read.on > now.plus(DAY).utc().date_naive() {
        fields.fault("on", format!("{} lies ahead; it is the day on which it was looked up", read.on));
    }
}

impl Visit {
    async fn confirmation(&self, farm_id: &str, id: &str) -> Result<Confirmed, Problem> {
        let found = self.store.confirmations(farm_id).await?.into_iter().find(|one| one.id == id);
        found.ok_or_else(|| Problem::not_found(format!("The farm has no confirmation `{id}`.")))
    }
}

fn shown(confirmed: &Confirmed) -> ConfirmationShown {
    let said = |field: &str| confirmed.doc.get(field).cloned().unwrap_or_default();
    ConfirmationShown {
        id: confirmed.id.clone(),
        farm_id: confirmed.farm_id.clone(),
        material: confirmed.material.clone(),
        jurisdiction: said("jurisdiction"),
        by: said("by"),
        on: said("on"),
        registered: said("registered"),
        bloom_use: said("bloom_use"),
        note: said("note"),
        at: confirmed.at,
        taken_back_at: confirmed.taken_back_at,
    }
}
