//! Blocks: plantings of one cultivar managed as one unit.

use std::sync::Arc;

use access::Deed;
use axum::extract::Path;
use model::block::Block as Planting;
use model::curve::Curve;
use model::input::{self, Fault, Faults, Fields};
use serde_json::{Map, Value, json};
use store::Block;

use crate::answer::{Answer, created, ok, page};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::request::Document;

/// Fields of a block in the API that its details in the store do not hold.
const OUTSIDE_DETAILS: [&str; 3] = ["id", "farm_id", "site_id"];

pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let (after, limit) = query.page();
    let farm = query.text("farm_id");
    query.finish()?;
    let blocks = desk.store.blocks(farm.as_deref(), after.as_deref(), limit + 1).await?;
    page(blocks, limit, |block| block.id.clone(), render)
}

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
        version: 1,
        created_at: desk.now(),
    };
    desk.store.add_block(&block).await?;
    created(&format!("/api/v1/blocks/{}", block.id), render(&block))
}

pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(render(&desk.block(&id).await?))
}

/// Changes the fields that are given (RFC 7396: null takes one out); the block
/// as a whole must then be one.
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    Document(patch): Document,
) -> Answer {
    query.finish()?;
    let mut block = desk.block(&id).await?;
    desk.allow(Deed::SetUp, Some(&block.farm_id))?;
    if !patch.is_object() {
        return Err(Faults::one("", "expected a table of named fields to change").into());
    }
    let mut document = block.details.clone();
    for (field, value) in outside(&block) {
        document[field] = Value::from(value);
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
    block.version = desk.store.change_block(&block, &draft.name, &draft.details).await?;
    desk.poke();
    block.name = draft.name;
    block.details = draft.details;
    ok(render(&block))
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
struct Draft {
    id: Option<String>,
    farm_id: String,
    site_id: String,
    name: String,
    details: Value,
}

fn read(document: &Value, curves: &[Arc<Curve>]) -> Result<Draft, Faults> {
    input::read(document, |fields| {
        let id = fields::given_id(fields);
        let farm_id = fields.required_text("farm_id");
        let site_id = fields.required_text("site_id");
        let planting = Planting::from_fields(fields, curves)?;
        fields::check_name(fields, "name", &planting.name);
        fields::check_name(fields, "cultivar", &planting.cultivar);
        Some(Draft {
            id,
            farm_id: farm_id?,
            site_id: site_id?,
            details: details(fields, &planting),
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
        let read = match read {
            Ok(draft) if faults.is_empty() => Ok(draft),
            Ok(_) => Err(Faults(faults)),
            Err(Faults(found)) => Err(Faults(found.into_iter().chain(faults).collect())),
        };
        self.with_farm(farm_id, read).await
    }
}

fn render(block: &Block) -> Value {
    let mut document = json!({"id": block.id, "farm_id": block.farm_id, "site_id": block.site_id});
    if let Some(details) = block.details.as_object() {
        for (name, value) in details {
            document[name] = value.clone();
        }
    }
    document["version"] = block.version.into();
    document["created_at"] = json!(block.created_at);
    document
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
