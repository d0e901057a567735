//! The table by which it is judged whether to thin: a farm's own, or the one
//! that ships.

use access::Deed;
use axum::extract::Path;
use model::input;
use model::plan::VERDICT_TABLE;
use model::verdict::Table;
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::answer::{Answer, changed, ok};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

/// The table of a farm: its first row of which everything holds is the verdict,
/// and the person decides.
#[derive(Serialize, ToSchema)]
pub(crate) struct VerdictTable {
    /// Whether it is the farm's own.
    own: bool,
    #[schema(value_type = Vec<VerdictRow>)]
    row: Value,
}

/// A row of it.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for rows in the document")]
pub(crate) struct VerdictRow {
    id: String,
    /// All must hold; a row without any always does, and the last one has none.
    #[schema(nullable = false)]
    when: Option<Vec<VerdictCondition>>,
    /// `no-timing`, `count-first`, `wait`, `stand-down`, `thin`, `your-call` or
    /// `lean-stand-down`.
    verdict: String,
    /// The same in a sentence.
    says: String,
    /// Where its lines come from, with their status.
    basis: String,
}

/// A figure, and one side of one line, or whether it is so.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for conditions in the document")]
pub(crate) struct VerdictCondition {
    /// `target`, `live-kings-per-fruit`, `live-king-share`, `live-flowers-per-fruit`,
    /// `frost-since-damage-count` or `frost-forecast`.
    figure: String,
    /// A number, or `stand-down-line`, which is the cultivar's own.
    #[schema(nullable = false)]
    at_most: Option<Value>,
    #[schema(nullable = false)]
    at_least: Option<Value>,
    #[schema(nullable = false)]
    below: Option<Value>,
    #[schema(nullable = false)]
    above: Option<Value>,
    /// For what is so or not.
    #[schema(nullable = false)]
    is: Option<bool>,
}

/// A table as it is set.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct VerdictTableSet {
    /// What was read may be sent back as it is: this is not looked at.
    #[schema(nullable = false)]
    own: Option<bool>,
    #[schema(min_items = 1, max_items = 40)]
    row: Vec<VerdictRow>,
}

/// The table that a farm goes by.
#[utoipa::path(get, path = "/farms/{id}/verdict-table", tag = "farms", operation_id = "read-verdict-table",
    params(("id" = String, Path)), responses((status = 200, body = VerdictTable)))]
pub(crate) async fn one(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    ok(desk.verdict_table(&farm.id).await?)
}

/// Sets a farm's own table as a whole; its seasons are judged by it from then on.
#[utoipa::path(put, path = "/farms/{id}/verdict-table", tag = "farms", operation_id = "set-verdict-table",
    params(("id" = String, Path)), request_body = VerdictTableSet,
    responses((status = 200, body = VerdictTable)))]
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
    if_match.check(&desk.verdict_table(&farm.id).await?)?;
    let table = input::read(&document, |fields| {
        fields.ignore(&["own"]);
        let table = Table::from_fields(fields)?;
        if fields.value("row").and_then(Value::as_array).is_some_and(Vec::is_empty) {
            fields.fault("row", "is an empty list; the last row must hold always");
        }
        Some(table)
    })?;
    desk.store.set_farm_rule(&farm.id, VERDICT_TABLE, Some(&table.document()), desk.now()).await?;
    desk.poke();
    changed(desk.verdict_table(&farm.id).await?)
}

/// Removes a farm's own table: the one that ships holds again.
#[utoipa::path(delete, path = "/farms/{id}/verdict-table", tag = "farms", operation_id = "remove-verdict-table",
    params(("id" = String, Path)), responses((status = 200, body = VerdictTable)))]
pub(crate) async fn remove(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let held = desk.verdict_table(&farm.id).await?;
    if_match.check(&held)?;
    if held.own {
        desk.store.set_farm_rule(&farm.id, VERDICT_TABLE, None, desk.now()).await?;
        desk.poke();
    }
    changed(desk.verdict_table(&farm.id).await?)
}

impl Visit {
    /// What a farm goes by; an own table that no longer reads back is shown as it
    /// is kept, since its seasons go by the one that ships until it is set anew.
    async fn verdict_table(&self, farm_id: &str) -> Result<VerdictTable, Problem> {
        let kept = self.store.farm_rule(farm_id, VERDICT_TABLE).await?;
        let own = kept.is_some();
        let mut document = kept.unwrap_or_else(|| self.app.catalogue.rules.verdict.document());
        Ok(VerdictTable { own, row: document["row"].take() })
    }
}
