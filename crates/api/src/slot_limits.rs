//! Limits of the hours to spray in: a farm's own, or those that ship.

use access::Deed;
use axum::extract::Path;
use model::plan::SLOT_LIMITS;
use model::slot::Limits;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, ok};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

/// What an hour to spray in is held against; facts, not permission. What stands on a
/// material's own entry holds beside, and of two the stricter.
#[derive(Serialize, ToSchema)]
pub(crate) struct SlotLimits {
    /// Whether they are the farm's own.
    own: bool,
    #[schema(value_type = Vec<SlotLimit>)]
    limit: Value,
    #[schema(value_type = Vec<SlotFact>)]
    fact: Value,
}

/// One limit.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for limits in the document")]
pub(crate) struct SlotLimit {
    /// `wind`, `gust` (m/s, at most), `warmest`, `coldest` (°C), `humidity` (%, at most),
    /// `dew-point-spread` (K, at least), `rain-free-before`, `rain-free-after`,
    /// `dew-free-after`, `frost-free-before`, `frost-free-after` (hours), `bee-quiet`
    /// (takes no figure), `interval` (hours since the last spray).
    what: String,
    #[schema(nullable = false)]
    at: Option<f64>,
    /// For `warmest` and `coldest`: `celsius`, `fahrenheit` or `kelvin`.
    #[schema(nullable = false)]
    unit: Option<String>,
    /// For `dew-free-after`: how near the dew point counts as dew, K.
    #[schema(nullable = false)]
    spread: Option<f64>,
    /// Materials that it holds for; all when there are none.
    #[schema(nullable = false)]
    materials: Option<Vec<String>>,
    source: String,
    /// `published`, `from-memory`, `constructed`, `common-practice` or `own`.
    status: String,
}

/// A fact that stands beside every hour.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for facts in the document")]
pub(crate) struct SlotFact {
    says: String,
    #[schema(nullable = false)]
    materials: Option<Vec<String>>,
    source: String,
    status: String,
}

/// Limits as they are set.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct SlotLimitsSet {
    /// What was read may be sent back as it is: this is not looked at.
    #[schema(nullable = false)]
    own: Option<bool>,
    #[schema(nullable = false, max_items = 200)]
    limit: Option<Vec<SlotLimit>>,
    #[schema(nullable = false, max_items = 200)]
    fact: Option<Vec<SlotFact>>,
}

/// The limits that a farm goes by.
#[utoipa::path(get, path = "/farms/{id}/slot-limits", tag = "farms", operation_id = "read-slot-limits",
    params(("id" = String, Path)), responses((status = 200, body = SlotLimits)))]
pub(crate) async fn one(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    ok(desk.slot_limits(&farm.id).await?)
}

/// Sets a farm's own limits as a whole; its slots are looked for by them from then on.
#[utoipa::path(put, path = "/farms/{id}/slot-limits", tag = "farms", operation_id = "set-slot-limits",
    params(("id" = String, Path)), request_body = SlotLimitsSet,
    responses((status = 200, body = SlotLimits)))]
pub(crate) async fn set(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    if_match.check(&desk.slot_limits(&farm.id).await?)?;
    let mut given = document;
    if let Some(fields) = given.as_object_mut() {
        fields.remove("own");
    }
    let limits = Limits::read(&given)?;
    desk.store.set_farm_rule(&farm.id, SLOT_LIMITS, Some(&limits.document()), desk.now()).await?;
    desk.poke();
    changed(desk.slot_limits(&farm.id).await?)
}

/// Removes a farm's own limits: those that ship hold again.
#[utoipa::path(delete, path = "/farms/{id}/slot-limits", tag = "farms", operation_id = "remove-slot-limits",
    params(("id" = String, Path)), responses((status = 200, body = SlotLimits)))]
pub(crate) async fn remove(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let held = desk.slot_limits(&farm.id).await?;
    if_match.check(&held)?;
    if held.own {
        desk.store.set_farm_rule(&farm.id, SLOT_LIMITS, None, desk.now()).await?;
        desk.poke();
    }
    changed(desk.slot_limits(&farm.id).await?)
}

impl Visit {
    /// What a farm goes by.
    async fn slot_limits(&self, farm_id: &str) -> Result<SlotLimits, Problem> {
        let kept = self.store.farm_rule(farm_id, SLOT_LIMITS).await?;
        let own = kept.is_some();
        let mut document = kept.unwrap_or_else(|| self.app.catalogue.rules.slots.document());
        let mut part = |name: &str| match document[name].take() {
            Value::Null => json!([]),
            part => part,
        };
        Ok(SlotLimits { own, limit: part("limit"), fact: part("fact") })
    }
}
