//! One change to many blocks: a mark or another number of their plans, with a look
//! before, and a note.

use access::Deed;
use model::input::{self, Faults, Fields};
use model::plan::{Agreed, MARKS};
use serde::Serialize;
use serde_json::{Value, json};
use store::{Block, LogEntry, StoreError};
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

/// Whether it is only looked at.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Look {
    /// Shows what would be changed and changes nothing.
    dry_run: Option<bool>,
}

/// A change of the plans of many blocks.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct PlanChange {
    #[schema(minimum = 1900, maximum = 2199)]
    year: i64,
    /// Blocks by id; or all of a farm.
    #[schema(nullable = false, min_items = 1, max_items = 1000)]
    blocks: Option<Vec<String>>,
    #[schema(nullable = false)]
    farm_id: Option<String>,
    /// Only blocks of this cultivar.
    #[schema(nullable = false)]
    cultivar: Option<String>,
    /// Which spray of the plan, from 1; needed with `mark`, `bound` and `material`.
    #[schema(nullable = false, minimum = 1, maximum = 12)]
    spray: Option<i64>,
    #[schema(nullable = false, minimum = 0.05, maximum = 1.5)]
    mark: Option<f64>,
    /// `not-before` or `not-after`.
    #[schema(nullable = false)]
    bound: Option<String>,
    #[schema(nullable = false)]
    material: Option<String>,
    #[schema(nullable = false)]
    age_days: Option<i64>,
    #[schema(nullable = false)]
    overrun_margin: Option<f64>,
    #[schema(nullable = false)]
    lead_hours: Option<i64>,
    #[schema(nullable = false)]
    fewest_bee_hours: Option<f64>,
    #[schema(nullable = false)]
    readings_within_hours: Option<i64>,
}

/// A note for many blocks.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct NoteForMany {
    #[schema(minimum = 1900, maximum = 2199)]
    year: i64,
    #[schema(nullable = false, min_items = 1, max_items = 1000)]
    blocks: Option<Vec<String>>,
    #[schema(nullable = false)]
    farm_id: Option<String>,
    #[schema(nullable = false)]
    cultivar: Option<String>,
    text: String,
}

/// What came of it, block by block.
#[derive(Serialize, ToSchema)]
pub(crate) struct Changed {
    /// Whether nothing was written.
    dry_run: bool,
    /// Blocks that are, or would be, changed.
    changed: usize,
    blocks: Vec<BlockChanged>,
}

/// One block.
#[derive(Serialize, ToSchema)]
pub(crate) struct BlockChanged {
    block_id: String,
    name: String,
    farm_id: String,
    /// Whether it is, or would be, changed.
    changed: bool,
    /// Why not.
    because: Option<String>,
    /// Its plan before.
    #[schema(value_type = Option<Object>)]
    before: Option<Value>,
    /// Its plan after.
    #[schema(value_type = Option<Object>)]
    after: Option<Value>,
}

/// Which blocks, as both bodies say it.
struct Which {
    year: i32,
    blocks: Vec<String>,
    farm_id: Option<String>,
    cultivar: Option<String>,
}

impl Which {
    fn from_fields(fields: &Fields<'_>) -> Option<Which> {
        fields.require("year");
        let year = fields.whole("year", 1900, 2199).and_then(|year| i32::try_from(year).ok());
        let blocks = fields.texts("blocks");
        let farm_id = fields.text("farm_id");
        let cultivar = fields.text("cultivar");
        if blocks.len() > limits::MANY {
            fields.fault("blocks", format!("has {} blocks; expected at most {}", blocks.len(), limits::MANY));
        }
        if blocks.is_empty() == farm_id.is_none() && !fields.has("blocks") {
            fields.fault("blocks", "is missing; name blocks, or a farm with farm_id");
        }
        if fields.has("blocks") && farm_id.is_some() {
            fields.fault("farm_id", "stands beside blocks; give one of them");
        }
        Some(Which { year: year?, blocks, farm_id, cultivar })
    }
}

impl Visit {
    /// The blocks that are meant; each must be there and the caller's to change.
    async fn meant(&self, which: &Which, deed: Deed) -> Result<Vec<Block>, Problem> {
        let mut blocks = Vec::new();
        if let Some(farm) = &which.farm_id {
            let farm = self.farm(farm).await?;
            let found = self.store.blocks(Some(&farm.id), None, limits::BOARD).await?;
            blocks.extend(found.into_iter().filter(|block| block.archived_at.is_none()));
        }
        for (n, id) in which.blocks.iter().enumerate() {
            let Some(block) = self.store.block(id).await? else {
                let fault = input::Fault {
                    pointer: format!("/blocks/{n}"),
                    detail: format!("there is no block `{id}`"),
                };
                return Err(Problem::invalid(vec![fault.into()]));
            };
            blocks.push(block);
        }
        let mut met = std::collections::HashSet::new();
        blocks.retain(|block| met.insert(block.id.clone()));
        let planted =
            |block: &Block| block.details.get("cultivar").and_then(Value::as_str).map(str::to_owned);
        blocks.retain(|block| which.cultivar.is_none() || planted(block) == which.cultivar);
        for block in &blocks {
            self.allow(deed, Some(&block.farm_id))?;
        }
        Ok(blocks)
    }
}

/// Numbers of a plan that may be changed, by name.
const SETTINGS: [&str; 5] =
    ["age_days", "overrun_margin", "lead_hours", "fewest_bee_hours", "readings_within_hours"];

/// Changes one spray, or a number, in the plans of many blocks; with `dry_run` shows
/// what would change. Blocks whose plan has no such spray are left as they are, and
/// named.
#[utoipa::path(post, path = "/plan-changes", tag = "seasons", operation_id = "change-plans", params(Look),
    request_body = PlanChange, responses((status = 200, body = Changed)))]
pub(crate) async fn plans(Here(desk): Here, mut query: Query, Document(document): Document) -> Answer {
    let dry_run = query.word("dry_run", &["true", "false"]) == Some("true");
    query.finish()?;
    let (which, change) = input::read(&document, |fields| {
        let which = Which::from_fields(fields);
        Some((which?, Change::from_fields(fields)?))
    })?;
    let blocks = desk.meant(&which, Deed::SetUp).await?;
    let mut items = Vec::with_capacity(blocks.len());
    for block in blocks {
        let held = desk.store.plan(&block.id, which.year).await?;
        let before = held.as_ref().map(|plan| plan.doc.clone());
        let outcome = before
            .as_ref()
            .map_or_else(|| Err(format!("it has no plan for {}", which.year)), |before| change.of(before));
        let mut because = outcome.as_ref().err().cloned();
        let after = outcome.ok();
        if after.is_some() && after == before {
            because = Some("its plan says so already".to_owned());
        }
        if let (false, None, Some(after), Some(held)) = (dry_run, &because, &after, &held) {
            match desk.store.set_plan(&block.id, which.year, held.version, after, desk.now()).await {
                Ok(_) => {}
                Err(StoreError::Changed { .. }) => {
                    because = Some("someone else changed its plan meanwhile; look again".to_owned());
                }
                Err(error) => return Err(error.into()),
            }
        }
        items.push(BlockChanged {
            changed: because.is_none(),
            block_id: block.id,
            name: block.name,
            farm_id: block.farm_id,
            because,
            before,
            after,
        });
    }
    if !dry_run {
        desk.poke();
    }
    let changed = items.iter().filter(|item| item.changed).count();
    ok(Changed { dry_run, changed, blocks: items })
}

/// What is to be other in a plan.
struct Change {
    spray: Option<usize>,
    /// Fields of that spray.
    of_spray: Vec<(&'static str, Value)>,
    /// Fields of the plan.
    of_plan: Vec<(&'static str, Value)>,
}

impl Change {
    fn from_fields(fields: &Fields<'_>) -> Option<Change> {
        let spray = fields.whole("spray", 1, 12).and_then(|spray| usize::try_from(spray).ok());
        let mark = fields.number("mark", MARKS.0, MARKS.1).map(|mark| ("mark", json!(mark)));
        let bound = fields.word("bound", &["not-before", "not-after"]).map(|bound| ("bound", json!(bound)));
        let material = fields.text("material").map(|material| ("material", json!(material)));
        let of_spray: Vec<_> = [mark, bound, material].into_iter().flatten().collect();
        // Their bounds are the plan's own; the plan is read again below.
        let of_plan: Vec<_> =
            SETTINGS.iter().filter_map(|name| Some((*name, fields.value(name)?.clone()))).collect();
        if !of_spray.is_empty() && spray.is_none() && !fields.has("spray") {
            fields.fault("spray", "is missing: which spray of the plan, from 1");
        }
        if of_spray.is_empty() && of_plan.is_empty() {
            fields.fault("", "names nothing to change: mark, bound, material, or a number of the plan");
        }
        if let Err(Faults(faults)) = input::read(
            &Value::Object(of_plan.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect()),
            |fields| Some(model::plan::settings(fields)),
        ) {
            for fault in faults {
                fields.fault(fault.pointer.trim_start_matches('/'), fault.detail);
            }
        }
        Some(Change { spray, of_spray, of_plan })
    }

    /// A plan with the change, or why it cannot have it.
    fn of(&self, plan: &Value) -> Result<Value, String> {
        let mut plan = plan.clone();
        if let Some(number) = self.spray.filter(|_| !self.of_spray.is_empty()) {
            let sprays = plan["sprays"].as_array_mut().ok_or("its plan has no sprays")?;
            let count = sprays.len();
            let spray = sprays.get_mut(number - 1).ok_or(format!("its plan has {count} sprays"))?;
            for (name, value) in &self.of_spray {
                spray[*name] = value.clone();
            }
        }
        for (name, value) in &self.of_plan {
            plan[*name] = value.clone();
        }
        let read = input::read(&plan, |fields| Some(Agreed::from_fields(fields)));
        read.map(|_| plan).map_err(|faults| faults.to_string())
    }
}

/// Writes the same note into the logs of many blocks.
#[utoipa::path(post, path = "/notes", tag = "seasons", operation_id = "note-for-many", request_body = NoteForMany,
    responses((status = 200, body = Changed)))]
pub(crate) async fn notes(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let (which, text) = input::read(&document, |fields| {
        let (which, text) = (Which::from_fields(fields), fields.required_text("text"));
        Some((which?, text?))
    })?;
    let blocks = desk.meant(&which, Deed::Log).await?;
    let now = desk.now();
    let mut items = Vec::with_capacity(blocks.len());
    for block in blocks {
        let id = desk.new_id();
        let doc = json!({"id": id, "kind": "note", "at": now, "text": text});
        let entry = LogEntry { id, at: now, kind: "note".to_owned(), doc, received_at: now };
        desk.store.append_entries(&block.id, which.year, &[entry]).await?;
        items.push(BlockChanged {
            block_id: block.id,
            name: block.name,
            farm_id: block.farm_id,
            changed: true,
            because: None,
            before: None,
            after: None,
        });
    }
    desk.poke();
    ok(Changed { dry_run: false, changed: items.len(), blocks: items })
}
