//! Blocks: plantings of one cultivar managed as one unit.

use std::sync::Arc;

use access::Deed;
use axum::extract::Path;
use axum::http::HeaderMap;
use model::block::Block as Planting;
use model::curve::Curve;
use model::input::{self, Fault, Faults, Fields};
use model::time::Instant;
use serde::Serialize;
use serde_json::{Map, Value, json};
use store::Block;
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, changed, created, ok, page};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::import::FeatureCollection;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page, Paging};
use crate::sites::OfFarm;
use crate::{fields, geo};

/// A planting of one cultivar managed as one unit. Beside these fields stand
/// those it was given.
#[derive(Serialize, ToSchema)]
pub(crate) struct BlockShown {
    id: String,
    farm_id: String,
    site_id: String,
    #[serde(flatten)]
    #[schema(inline)]
    details: Details,
    /// Where it lies: a GeoJSON point, or the outline of its area.
    #[schema(value_type = Option<Object>)]
    geometry: Option<Value>,
    /// Raised with each change.
    version: i64,
    #[schema(value_type = Moment)]
    created_at: Instant,
    /// When it was archived: it is only read any more.
    #[schema(value_type = Option<Moment>)]
    archived_at: Option<Instant>,
}

/// A block as it was given.
#[derive(Serialize)]
#[serde(transparent)]
pub(crate) struct Details(Value);

impl utoipa::PartialSchema for Details {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
        Planted::schema()
    }
}

impl ToSchema for Details {}

/// What is known of a planting.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the details in the document")]
pub(crate) struct Planted {
    #[schema(max_length = 200)]
    name: String,
    #[schema(max_length = 200)]
    cultivar: String,
    /// Id of a growth curve, or one written out; by default that of the cultivar.
    #[schema(nullable = false)]
    curve: Option<Value>,
    /// Mean length of the style, mm; needed for curves in mm only.
    #[schema(nullable = false)]
    style_length_mm: Option<f64>,
    /// Lengths as measured, in place of their mean.
    #[schema(nullable = false)]
    style_lengths_mm: Option<Vec<f64>>,
    #[schema(nullable = false)]
    flowers_per_cluster: Option<f64>,
    /// Fruit that each tree is to carry; or `target` with its inputs.
    #[schema(nullable = false)]
    target_fruit_per_tree: Option<f64>,
    /// By yield: `boxes_per_area` with `fruit_per_box`, or `yield_per_area` with
    /// `yield_unit` (`kg`, `t`, `lb`), `area_unit` and `fruit_weight_g`; with
    /// `trees_per_area`, or `row_spacing` and `tree_spacing` with `spacing_unit` (`m`,
    /// `ft`). By trunk: `fruit_per_cm2` with `girths` or `diameters` of sampled trees and
    /// `trunk_unit` (`cm`, `mm`, `in`).
    #[schema(nullable = false, value_type = Option<Object>)]
    target: Option<Value>,
    /// Ids of blocks of the same farm whose `start`, `stage` or `style_length` stands in
    /// where this block has none.
    #[schema(nullable = false, value_type = Option<Object>)]
    borrows: Option<Value>,
    #[schema(nullable = false)]
    area: Option<f64>,
    /// `hectare` or `acre`.
    #[schema(nullable = false)]
    area_unit: Option<String>,
    /// Fruit a tree that it carried the year before.
    #[schema(nullable = false)]
    last_crop_per_tree: Option<f64>,
    /// Open flowers at which the clock starts, as a share of the target; 1 by default.
    #[schema(nullable = false, minimum = 0.1, maximum = 10)]
    start_factor: Option<f64>,
    /// How its air differs from that of its site: `day_c` and `night_c`, °C from
    /// -10 to 10 (colder is negative), with a `note` and its `author`.
    #[schema(nullable = false, value_type = Option<Object>)]
    offset: Option<Value>,
}

/// A block as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct BlockAdded {
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    farm_id: String,
    /// A site of the farm or of the server.
    site_id: String,
    /// A GeoJSON Point, Polygon or MultiPolygon.
    #[schema(value_type = Option<Object>)]
    geometry: Option<Value>,
    #[serde(flatten)]
    #[schema(inline)]
    planted: Planted,
}

/// What changes about a block (RFC 7396: null takes a field out).
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct BlockChange {
    #[schema(nullable = false)]
    name: Option<String>,
    #[schema(nullable = false)]
    cultivar: Option<String>,
    curve: Option<Value>,
    style_length_mm: Option<f64>,
    flowers_per_cluster: Option<f64>,
    target_fruit_per_tree: Option<f64>,
    #[schema(value_type = Option<Object>)]
    target: Option<Value>,
    #[schema(value_type = Option<Object>)]
    borrows: Option<Value>,
    area: Option<f64>,
    area_unit: Option<String>,
    last_crop_per_tree: Option<f64>,
    /// How its air differs from that of its site.
    #[schema(value_type = Option<Object>)]
    offset: Option<Value>,
    /// A GeoJSON Point, Polygon or MultiPolygon.
    #[schema(value_type = Option<Object>)]
    geometry: Option<Value>,
}

/// Fields of a block in the API that its details in the store do not hold.
const OUTSIDE_DETAILS: [&str; 4] = ["id", "farm_id", "site_id", "geometry"];

/// In which form.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OnMap {
    /// `json` or `geojson`; or by the header `Accept`.
    format: Option<String>,
}

/// The blocks that the caller sees, as JSON or as GeoJSON.
#[utoipa::path(get, path = "/blocks", tag = "blocks", operation_id = "list-blocks", params(Paging, OfFarm, OnMap),
    responses((status = 200, content((Page<BlockShown> = "application/json"), (FeatureCollection = "application/geo+json")))))]
pub(crate) async fn list(Here(desk): Here, mut query: Query, headers: HeaderMap) -> Answer {
    let format = query.word("format", &["json", "geojson"]);
    let on_map = format.map_or_else(|| geo::asks_for_it(&headers), |format| format == "geojson");
    let farm = query.text("farm_id");
    let span = query.page();
    query.finish()?;
    let mut blocks = desk.store.blocks(farm.as_deref(), span.after(), span.limit + 1).await?;
    if on_map {
        let next = span.cut(&mut blocks, |block| block.id.clone());
        let features =
            blocks.iter().map(|block| (block.id.clone(), block.geometry.clone(), json!(shown(block))));
        return geo::collection(features, &span, next);
    }
    page(blocks, &span, |block| block.id.clone(), shown)
}

/// Adds a block.
#[utoipa::path(post, path = "/blocks", tag = "blocks", operation_id = "add-block", request_body = BlockAdded,
    responses((status = 201, body = BlockShown)))]
pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let curves = desk.catalogue().await?.curves;
    let read = read(&document, &curves);
    let draft = desk.with_places(&document, read).await?;
    desk.allow(Deed::SetUp, Some(&draft.farm_id))?;
    let block = Block {
        id: draft.id.unwrap_or_else(|| desk.new_id()),
        farm_id: draft.farm_id,
        site_id: draft.site_id,
        name: draft.name,
        details: draft.details,
        geometry: draft.geometry,
        version: 1,
        created_at: desk.now(),
        archived_at: None,
    };
    desk.lenders_of(&block.farm_id, Some(&block.id), &block.details).await?;
    desk.store.add_block(&block).await?;
    created(&format!("/api/v1/blocks/{}", block.id), shown(&block))
}

/// One block.
#[utoipa::path(get, path = "/blocks/{id}", tag = "blocks", operation_id = "read-block",
    params(("id" = String, Path)), responses((status = 200, body = BlockShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(shown(&desk.block(&id).await?))
}

/// Changes the fields that are given (RFC 7396: null takes one out); the block
/// as a whole must then be one.
#[utoipa::path(patch, path = "/blocks/{id}", tag = "blocks", operation_id = "change-block",
    params(("id" = String, Path)), request_body = BlockChange, responses((status = 200, body = BlockShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(patch): Document,
) -> Answer {
    query.finish()?;
    let mut block = desk.block(&id).await?;
    desk.allow(Deed::SetUp, Some(&block.farm_id))?;
    if_match.check(&shown(&block))?;
    if !patch.is_object() {
        return Err(Faults::one("", "expected a table of named fields to change").into());
    }
    let mut document = block.details.clone();
    for (field, value) in outside(&block) {
        document[field] = Value::from(value);
    }
    if let Some(geometry) = &block.geometry {
        document["geometry"] = geometry.clone();
    }
    merge(&mut document, &patch);
    let curves = desk.catalogue().await?.curves;
    let read = read(&document, &curves);
    let moved: Vec<Wrong> = outside(&block)
        .into_iter()
        .filter(|(field, value)| document.get(field).and_then(Value::as_str) != Some(*value))
        .map(|(field, _)| Fault { pointer: format!("/{field}"), detail: "cannot be changed".into() }.into())
        .collect();
    if !moved.is_empty() {
        return Err(Problem::invalid(moved));
    }
    let draft = read?;
    desk.lenders_of(&block.farm_id, Some(&block.id), &draft.details).await?;
    block.version =
        desk.store.change_block(&block, &draft.name, &draft.details, draft.geometry.as_ref()).await?;
    desk.poke();
    block.name = draft.name;
    block.details = draft.details;
    block.geometry = draft.geometry;
    changed(shown(&block))
}

/// Where a block takes its temperature from.
#[derive(Serialize, ToSchema)]
pub(crate) struct Whereabouts {
    site_id: String,
    /// Since when; none when it was never anywhere else.
    #[schema(value_type = Option<Moment>)]
    since: Option<Instant>,
    /// Where it was before, the earliest first.
    earlier: Vec<StayShown>,
}

/// A time at another site.
#[derive(Serialize, ToSchema)]
pub(crate) struct StayShown {
    site_id: String,
    #[schema(value_type = Moment)]
    until: Instant,
}

/// Where a block is to be from when on.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct BlockMove {
    /// A site of the farm or of the server.
    site_id: String,
    /// Not ahead, and later than the move before.
    #[schema(value_type = Moment)]
    since: Instant,
}

/// Where a block takes its temperature from, and from when on.
#[utoipa::path(get, path = "/blocks/{id}/site", tag = "blocks", operation_id = "read-site-of-block",
    params(("id" = String, Path)), responses((status = 200, body = Whereabouts)))]
pub(crate) async fn whereabouts(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let block = desk.block(&id).await?;
    ok(desk.whereabouts(&block).await?)
}

/// Moves a block to another site: from then on its temperature is that site's,
/// and before it stays what it was.
#[utoipa::path(put, path = "/blocks/{id}/site", tag = "blocks", operation_id = "move-block",
    params(("id" = String, Path)), request_body = BlockMove, responses((status = 200, body = Whereabouts)))]
pub(crate) async fn move_to_site(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let held = desk.block(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    if_match.check(&desk.whereabouts(&held).await?)?;
    let now = desk.now();
    let (site_id, since) = input::read(&document, |fields| {
        let site_id = fields.required_text("site_id");
        let since = if fields.require("since") { fields.instant("since") } else { None };
        if since.is_some_and(|since| since > now) {
            fields.fault("since", "lies ahead; move the block when the day has come");
        }
        Some((site_id?, since?))
    })?;
    let read = Ok((site_id.clone(), since));
    desk.with_site(Some(&held.farm_id), Some(&site_id), read).await??;
    desk.store.move_block(&held, &site_id, since).await?;
    desk.poke();
    let moved = desk.block(&id).await?;
    changed(desk.whereabouts(&moved).await?)
}

/// Archives a block: it is only read from then on, and nothing is told of it any
/// more. The same again changes nothing.
#[utoipa::path(post, path = "/blocks/{id}/archive", tag = "blocks", operation_id = "archive-block",
    params(("id" = String, Path)), responses((status = 200, body = BlockShown)))]
pub(crate) async fn archive(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let held = desk.block(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    desk.store.archive_block(&held, Some(desk.now())).await?;
    changed(shown(&desk.block(&id).await?))
}

/// Takes an archived block up again.
#[utoipa::path(delete, path = "/blocks/{id}/archive", tag = "blocks", operation_id = "take-block-up-again",
    params(("id" = String, Path)), responses((status = 200, body = BlockShown)))]
pub(crate) async fn take_up_again(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let held = desk.block(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    if_match.check(&shown(&held))?;
    desk.store.archive_block(&held, None).await?;
    desk.poke();
    changed(shown(&desk.block(&id).await?))
}

fn outside(block: &Block) -> [(&'static str, &str); 3] {
    [("id", &block.id), ("farm_id", &block.farm_id), ("site_id", &block.site_id)]
}

/// A merge patch as RFC 7396 has it.
fn merge(into: &mut Value, patch: &Value) {
    let Value::Object(patch) = patch else {
        *into = patch.clone();
        return;
    };
    if !into.is_object() {
        *into = Value::Object(Map::new());
    }
    let Some(fields) = into.as_object_mut() else { return };
    for (name, value) in patch {
        if value.is_null() {
            fields.shift_remove(name);
        } else {
            merge(fields.entry(name.clone()).or_insert(Value::Null), value);
        }
    }
}

/// A block as it was read, its places not yet looked up.
pub(crate) struct Draft {
    pub(crate) id: Option<String>,
    pub(crate) farm_id: String,
    pub(crate) site_id: String,
    pub(crate) name: String,
    pub(crate) details: Value,
    pub(crate) geometry: Option<Value>,
}

pub(crate) fn read(document: &Value, curves: &[Arc<Curve>]) -> Result<Draft, Faults> {
    input::read(document, |fields| {
        let id = fields::given_id(fields);
        let farm_id = fields.required_text("farm_id");
        let site_id = fields.required_text("site_id");
        let geometry = geo::geometry(fields);
        let planting = Planting::from_fields(fields, curves)?;
        fields::check_name(fields, "name", &planting.name);
        fields::check_name(fields, "cultivar", &planting.cultivar);
        Some(Draft {
            id,
            farm_id: farm_id?,
            site_id: site_id?,
            details: details(fields, &planting),
            geometry,
            name: planting.name,
        })
    })
}

/// The block's document as the store keeps it and the model reads it again.
/// A curve found by the cultivar is written down, so that a curve added later
/// for the same cultivar does not move the clock of a block that runs.
fn details(fields: &Fields<'_>, planting: &Planting) -> Value {
    let mut details: Map<String, Value> = fields
        .raw()
        .iter()
        .filter(|(name, value)| !OUTSIDE_DETAILS.contains(&name.as_str()) && !value.is_null())
        .map(|(name, value)| (name.clone(), value.clone()))
        .collect();
    details.entry("curve").or_insert_with(|| Value::from(planting.curve.id.clone()));
    Value::Object(details)
}

impl Visit {
    /// A block that must be there.
    pub(crate) async fn block(&self, id: &str) -> Result<Block, Problem> {
        let block = self.store.block(id).await?;
        block.ok_or_else(|| Problem::not_found(format!("There is no block `{id}`.")))
    }

    /// What was read, when farm and site are there and go together; otherwise
    /// all that is wrong at once.
    async fn with_places(&self, document: &Value, read: Result<Draft, Faults>) -> Result<Draft, Problem> {
        let named = |field| document.get(field).and_then(Value::as_str).filter(|id| !id.trim().is_empty());
        let (farm_id, site_id) = (named("farm_id"), named("site_id"));
        let read = self.with_site(farm_id, site_id, read).await?;
        self.with_farm(farm_id, read).await
    }

    /// What was read, when the site is one of the farm's or of the server's.
    async fn with_site<T>(
        &self,
        farm_id: Option<&str>,
        site_id: Option<&str>,
        read: Result<T, Faults>,
    ) -> Result<Result<T, Faults>, Problem> {
        let mut faults = Vec::new();
        if let Some(id) = site_id {
            let site = self.store.site(id).await?;
            // Another farm's site is none here: its being there is not told.
            let fits = site.is_some_and(|site| site.farm_id.is_none() || site.farm_id.as_deref() == farm_id);
            if !fits {
                let detail = format!("there is no site `{id}` of this farm or of the server");
                faults.push(Fault { pointer: "/site_id".into(), detail });
            }
        }
        Ok(match read {
            Ok(read) if faults.is_empty() => Ok(read),
            Ok(_) => Err(Faults(faults)),
            Err(Faults(found)) => Err(Faults(found.into_iter().chain(faults).collect())),
        })
    }

    pub(crate) async fn whereabouts(&self, block: &Block) -> Result<Whereabouts, Problem> {
        let stays = self.store.stays_of(&block.id).await?;
        let since = stays.last().map(|last| last.until);
        let earlier = stays.into_iter().map(|stay| StayShown { site_id: stay.site_id, until: stay.until });
        Ok(Whereabouts { site_id: block.site_id.clone(), since, earlier: earlier.collect() })
    }
}

pub(crate) fn shown(block: &Block) -> BlockShown {
    let Block { id, farm_id, site_id, name: _, details, geometry, version, created_at, archived_at } =
        block.clone();
    BlockShown { id, farm_id, site_id, details: Details(details), geometry, version, created_at, archived_at }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of the examples in RFC 7396, appendix A.
    #[test]
    fn a_patch_merges_as_the_rfc_has_it() {
        let cases = [
            (json!({"a": "b"}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "b"}), json!({"b": "c"}), json!({"a": "b", "b": "c"})),
            (json!({"a": "b", "b": "c"}), json!({"a": null}), json!({"b": "c"})),
            (json!({"a": ["b"]}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": {"b": "c"}}), json!({"a": {"b": "d", "c": null}}), json!({"a": {"b": "d"}})),
            (json!({"a": "foo"}), json!({"b": null}), json!({"a": "foo"})),
            (json!({}), json!({"a": {"bb": {"ccc": null}}}), json!({"a": {"bb": {}}})),
        ];
        for (mut document, patch, merged) in cases {
            merge(&mut document, &patch);
            assert_eq!(document, merged, "{patch}");
        }
    }
}
