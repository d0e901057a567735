//! Two small sheets: the notice at a block's edge after a spray, and the sheet for
//! whoever is to spray.

mod job;

use axum::extract::Path;
use model::record::{Record, Row, Sheet, notice};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::ground::field_log;
use crate::query::Query;
use crate::sprays::{Facts, kept, material, no_spray};
use crate::{fields, sites};

pub(crate) use job::{__path_sheet, sheet};

/// A sheet, to be shown or printed from top to bottom.
#[derive(Serialize, ToSchema)]
pub(crate) struct SheetShown {
    /// What stands at its head.
    title: String,
    #[schema(value_type = Vec<SheetRow>)]
    rows: Vec<Row>,
    /// Sentences below, cautions among them.
    below: Vec<String>,
}

/// A line of a sheet.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for rows in the document")]
pub(crate) struct SheetRow {
    /// What it is.
    label: String,
    /// What it says.
    value: String,
}

/// A notice with what it was made from.
#[derive(Serialize, ToSchema)]
pub(crate) struct NoticeShown {
    block_id: String,
    year: i32,
    entry: String,
    /// Ids of the corrections that the spray had, the one that holds last.
    corrections: Vec<String>,
    #[serde(flatten)]
    #[schema(inline)]
    sheet: SheetShown,
}

/// What a notice at the block's edge says after a spray.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/sprays/{entry}/notice", tag = "seasons",
    operation_id = "read-notice",
    params(("id" = String, Path), ("year" = i32, Path), ("entry" = String, Path)),
    responses((status = 200, body = NoticeShown)))]
pub(crate) async fn of_spray(
    Here(desk): Here,
    Path((block, year, entry)): Path<(String, String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let rows = desk.store.log(&block.id, year).await?;
    let log = field_log(&rows);
    let sprays = kept(&rows, &log, desk.now());
    let spray = sprays.iter().find(|spray| spray.id == entry).ok_or_else(|| no_spray(&entry))?;
    let (farm, site) = (desk.farm(&block.farm_id).await?, desk.site(&block.site_id).await?);
    let catalogue = desk.catalogue().await?;
    let facts = Facts::of(&block, &farm, sites::place(&site)?.zone, &catalogue);
    let record = Record::of(spray.document);
    let material = record.material.as_deref().and_then(|named| material(&catalogue.materials, named));
    ok(NoticeShown {
        block_id: block.id.clone(),
        year,
        entry: entry.clone(),
        corrections: spray.corrections.iter().map(|id| (*id).to_owned()).collect(),
        sheet: shown(notice(&record, material, &facts.block(), facts.zone)),
    })
}

fn shown(sheet: Sheet) -> SheetShown {
    let Sheet { title, rows, below } = sheet;
    SheetShown { title, rows, below }
}

/// A parameter as a document has it: a number where it reads as one.
fn value(text: &str) -> Value {
    text.trim().parse::<f64>().map_or_else(|_| Value::from(text), Value::from)
}
