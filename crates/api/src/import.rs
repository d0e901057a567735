//! Many blocks of a farm at once, from a table or a map: all or none, and
//! tried first where that is asked for.

use std::collections::{HashMap, HashSet};

use access::Deed;
use axum::extract::{FromRequest, Path, Request};
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input::Fault;
use serde::Serialize;
use serde_json::{Map, Value, json};
use store::Block;
use utoipa::{IntoParams, ToSchema};

use crate::answer::Answer;
use crate::blocks::{self, Draft};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::request::{Document, Incoming, content_type, is_json};

/// What came of an import.
#[derive(Serialize, ToSchema)]
pub(crate) struct Imported {
    /// Whether nothing was stored since it was only tried.
    dry_run: bool,
    /// Blocks that were not there.
    new: u64,
    /// Blocks that were there as they are written.
    unchanged: u64,
    /// Their ids, in the order of the file.
    blocks: Vec<String>,
}

/// Blocks as a map writes them (RFC 7946): each feature's properties are those
/// of a block, `id` among them or beside them.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct FeatureCollection {
    /// `FeatureCollection`.
    r#type: String,
    #[schema(value_type = Vec<Object>, min_items = 1, max_items = 2000)]
    features: Value,
}

/// Whether it is only tried.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct DryRun {
    /// `true` says what would come of it, and stores nothing.
    dry_run: Option<bool>,
}

/// Columns of a table of blocks that hold numbers.
const NUMBERS: [&str; 5] =
    ["target_fruit_per_tree", "style_length_mm", "flowers_per_cluster", "area", "last_crop_per_tree"];
/// Those that hold text.
const TEXTS: [&str; 6] = ["id", "site_id", "name", "cultivar", "curve", "area_unit"];

/// Adds blocks of a farm from CSV (a header with the names of a block's fields) or
/// GeoJSON. Those that stand there as written are left as they are.
#[utoipa::path(post, path = "/farms/{id}/blocks", tag = "blocks", operation_id = "import-blocks",
    params(("id" = String, Path), DryRun),
    request_body(content((FeatureCollection = "application/geo+json"), (FeatureCollection = "application/json"), (String = "text/csv"))),
    responses((status = 200, body = Imported), (status = 201, body = Imported)))]
pub(crate) async fn import(
    Here(desk): Here,
    Path(farm): Path<String>,
    mut query: Query,
    request: Request,
) -> Answer {
    let dry_run = query.word("dry_run", &["true", "false"]) == Some("true");
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let found = content_type(request.headers());
    let rows = if found.as_deref() == Some("text/csv") {
        let bytes = Incoming::new(request, limits::JSON_BYTES as u64)?.whole().await?;
        table(&bytes)?
    } else if found.as_deref().is_some_and(is_json) {
        let Document(document) = Document::from_request(request, &()).await?;
        map(&document)?
    } else {
        return Err(Problem::other_type("text/csv or application/geo+json", found.as_deref()));
    };
    let (new, held, ids) = desk.sorted(&farm.id, rows).await?;
    if !dry_run && !new.is_empty() {
        desk.store.add_blocks(&new).await?;
    }
    let stored = !dry_run && !new.is_empty();
    let answer = Imported { dry_run, new: new.len() as u64, unchanged: held, blocks: ids };
    let status = if stored { StatusCode::CREATED } else { StatusCode::OK };
    Ok((status, axum::Json(answer)).into_response())
}

/// One block of a file, with its place in it.
struct Row {
    /// Pointer of its fields.
    pointer: String,
    /// How a person finds it, before what is wrong with it.
    line: Option<u64>,
    document: Value,
}

impl Row {
    fn wrong(&self, fault: Fault) -> Wrong {
        let detail = match self.line {
            Some(line) => format!("line {line}: {}", fault.detail),
            None => fault.detail,
        };
        Wrong { pointer: Some(format!("{}{}", self.pointer, fault.pointer)), parameter: None, detail }
    }
}

fn too_many(number: usize) -> Result<(), Problem> {
    if (1..=limits::IMPORTED).contains(&number) {
        return Ok(());
    }
    Err(body(format!("has {number} blocks; expected 1 to {}", limits::IMPORTED)))
}

fn body(detail: String) -> Problem {
    Problem::invalid(vec![Wrong { pointer: Some(String::new()), parameter: None, detail }])
}

fn table(bytes: &[u8]) -> Result<Vec<Row>, Problem> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes);
    let broken = |error: csv::Error| body(format!("is no table: {error}"));
    let head = reader.headers().map_err(broken)?.clone();
    if let Some(unknown) = head.iter().find(|name| !TEXTS.contains(name) && !NUMBERS.contains(name)) {
        let known = [TEXTS.as_slice(), NUMBERS.as_slice()].concat().join(", ");
        return Err(body(format!("has a column `{unknown}`, which is no field of a block; known: {known}")));
    }
    let mut rows = Vec::new();
    for (number, record) in reader.records().enumerate() {
        let record = record.map_err(broken)?;
        let mut document = Map::new();
        for (name, cell) in head.iter().zip(&record).filter(|(_, cell)| !cell.is_empty()) {
            let number = cell.parse::<f64>().ok().filter(|_| NUMBERS.contains(&name));
            document.insert(name.to_owned(), number.map_or_else(|| json!(cell), |number| json!(number)));
        }
        rows.push(Row {
            pointer: format!("/{number}"),
            line: record.position().map(|at| line(bytes, at.byte())),
            document: Value::Object(document),
        });
    }
    too_many(rows.len())?;
    Ok(rows)
}

/// The line, from 1, on which a record begins; the reader itself counts the end of
/// the line before to it where that has two signs.
fn line(bytes: &[u8], at: u64) -> u64 {
    let at = usize::try_from(at).unwrap_or(usize::MAX).min(bytes.len());
    let ends = bytes[at..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
    1 + bytes[..at + ends].iter().filter(|byte| **byte == b'\n').count() as u64
}

fn map(document: &Value) -> Result<Vec<Row>, Problem> {
    let features = document.get("features").and_then(Value::as_array);
    let (Some("FeatureCollection"), Some(features)) = (document["type"].as_str(), features) else {
        return Err(body("is no GeoJSON FeatureCollection".into()));
    };
    too_many(features.len())?;
    let row = |(number, feature): (usize, &Value)| {
        let mut document =
            feature.get("properties").filter(|one| one.is_object()).cloned().unwrap_or(json!({}));
        for name in ["id", "geometry"] {
            if let Some(value) = feature.get(name).filter(|value| !value.is_null()) {
                document[name] = value.clone();
            }
        }
        Row { pointer: format!("/features/{number}/properties"), line: None, document }
    };
    Ok(features.iter().enumerate().map(row).collect())
}

impl Visit {
    /// The blocks that are new, how many are there as written, and all ids; or
    /// all that is wrong at once.
    async fn sorted(&self, farm_id: &str, rows: Vec<Row>) -> Result<(Vec<Block>, u64, Vec<String>), Problem> {
        let curves = self.catalogue().await?.curves;
        let mut sites: HashMap<String, bool> = HashMap::new();
        let (mut new, mut unchanged, mut ids) = (Vec::new(), 0, Vec::new());
        let mut seen = HashSet::new();
        let mut wrong = Vec::new();
        for mut row in rows {
            if row.document.get("farm_id").is_none() {
                row.document["farm_id"] = json!(farm_id);
            }
            // What a list of blocks brings beside the fields of a block.
            for name in ["version", "created_at", "archived_at"] {
                row.document.as_object_mut().and_then(|fields| fields.shift_remove(name));
            }
            let draft = match blocks::read(&row.document, &curves) {
                Ok(draft) => draft,
                Err(faults) => {
                    wrong.extend(faults.0.into_iter().map(|fault| row.wrong(fault)));
                    continue;
                }
            };
            let mut fault = |pointer: &str, detail: String| {
                wrong.push(row.wrong(Fault { pointer: pointer.into(), detail }));
            };
            let Some(id) = draft.id.clone() else {
                fault("/id", "is missing; blocks are known by it when the file comes again".into());
                continue;
            };
            if !seen.insert(id.clone()) {
                fault("/id", format!("`{id}` stands there twice"));
                continue;
            }
            if draft.farm_id != farm_id {
                fault("/farm_id", format!("is `{}`, but the address says `{farm_id}`", draft.farm_id));
            }
            if !sites.contains_key(&draft.site_id) {
                let site = self.store.site(&draft.site_id).await?;
                let fits = site.is_some_and(|site| site.farm_id.is_none_or(|owner| owner == farm_id));
                sites.insert(draft.site_id.clone(), fits);
            }
            if !sites[&draft.site_id] {
                fault(
                    "/site_id",
                    format!("there is no site `{}` of this farm or of the server", draft.site_id),
                );
            }
            match self.store.block(&id).await? {
                None => new.push(self.block_of(draft, &id)),
                Some(held) if same(&held, &draft) => unchanged += 1,
                Some(_) => fault("/id", format!("block `{id}` stands there otherwise; change it by itself")),
            }
            ids.push(id);
        }
        if wrong.is_empty() { Ok((new, unchanged, ids)) } else { Err(Problem::invalid(wrong)) }
    }

    fn block_of(&self, draft: Draft, id: &str) -> Block {
        Block {
            id: id.to_owned(),
            farm_id: draft.farm_id,
            site_id: draft.site_id,
            name: draft.name,
            details: draft.details,
            geometry: draft.geometry,
            version: 1,
            created_at: self.now(),
            archived_at: None,
        }
    }
}

fn same(held: &Block, draft: &Draft) -> bool {
    held.farm_id == draft.farm_id
        && held.site_id == draft.site_id
        && held.details == draft.details
        && held.geometry == draft.geometry
}

#[cfg(test)]
mod tests {
    use super::*;

    /// After RFC 4180, section 2: quotes, a comma and a break within them, and
    /// doubled quotes.
    #[test]
    fn a_table_reads_as_the_rfc_has_it() {
        let text = "id,name,target_fruit_per_tree\r\n\"bench\",\"North, \"\"old\"\"\r\nBench\",110\r\nhill,Hill,\r\n";
        let rows = table(text.as_bytes()).unwrap();
        let documents: Vec<&Value> = rows.iter().map(|row| &row.document).collect();
        let first = json!({"id": "bench", "name": "North, \"old\"\r\nBench", "target_fruit_per_tree": 110.0});
        assert_eq!(documents, [&first, &json!({"id": "hill", "name": "Hill"})]);
        assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [Some(2), Some(4)]);
    }

    #[test]
    fn what_is_no_table_says_why() {
        let said = |text: &str| table(text.as_bytes()).err().unwrap().errors[0].detail.clone();
        assert!(said("id,price\n1,2\n").contains("`price`"));
        assert!(said("id,name\n1\n").contains("no table"));
        assert!(said("id,name\n").contains("0 blocks"));
    }
}
