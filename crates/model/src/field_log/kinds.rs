//! The kinds of entries with their fields.

use serde::{Deserialize, Serialize};

use crate::block::{MOST_PER_TREE, STYLE_MM};
use crate::buds::BudCount;
use crate::damage::Tally;
use crate::input::Fields;
use crate::record::Record;
use crate::stage::StageSeen;
use crate::time::Instant;
use crate::wood::Wood;

/// The words for all kinds.
pub const KINDS: [&str; 17] = [
    "stage",
    "bud-count",
    "flowers-per-cluster",
    "style-length",
    "damage-count",
    "open-count",
    "bloom-start",
    "decision",
    "spray",
    "other-thinning",
    "pollination",
    "bloom-end",
    "set-count",
    "return-bloom",
    "note",
    "correction",
    "withdrawal",
];

/// Something seen or done in the block. Kinds that only stand on record carry
/// no fields here: their whole text is kept as it came.
#[derive(Debug, Clone, PartialEq)]
pub enum Observed {
    /// How far buds and flowers are.
    Stage(StageSeen),
    /// Flower buds on each tree counted.
    BudCount(BudCount),
    /// Flowers in each cluster counted.
    FlowersPerCluster(Vec<i64>),
    /// Style lengths measured, mm.
    StyleLength(Vec<f64>),
    /// Flowers found alive and dead in clusters cut.
    DamageCount(Box<Tally>),
    /// Open flowers on each tree counted.
    OpenCount(OpenCount),
    /// The threshold was reached.
    BloomStart,
    /// To thin or not.
    Decision(Decision),
    /// A spray went on.
    Spray(Spray),
    /// No flower is left to open.
    BloomEnd,
    /// Fruit on each tree counted after bloom.
    SetCount(SetCount),
    /// Share of the buds that flower in the spring after.
    ReturnBloom(f64),
    /// Anything that stands on record and moves nothing.
    Recorded(&'static str),
}

/// Open flowers on each tree of a walk.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenCount {
    /// Open flowers, tree by tree.
    pub open_per_tree: Vec<i64>,
    /// Whether flowers with a brown pistil were left out.
    pub live_only: bool,
    /// Whether these are trees in their bearing year, where someone says so.
    pub class: Option<TreeClass>,
    /// The wood they stand on; all of it when not said.
    pub wood: Option<Wood>,
}

/// Trees of a block that bears every other year by halves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TreeClass {
    /// In their bearing year.
    On,
    /// In their year off.
    Off,
}

/// Whether to thin, as a person decided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    /// Whether to thin.
    pub thin: bool,
    /// Why.
    pub reason: Option<String>,
}

/// Fruit on each tree of a walk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetCount {
    /// Fruit, tree by tree.
    pub fruit_per_tree: Vec<i64>,
    /// Trees left without a spray, to compare with.
    pub unsprayed: bool,
}

/// A spray as far as it moves the clock; the rest of its record is kept as it
/// came.
#[derive(Debug, Clone, PartialEq)]
pub struct Spray {
    /// Material by its id or name.
    pub material: String,
    /// When it was finished; a draft has none.
    pub finished_at: Option<Instant>,
    /// Whether it thins, where the person said so.
    pub thins: Option<bool>,
    /// Whether it took; rain may have spoiled it.
    pub took: bool,
    /// Share of the block that got it.
    pub share_of_block: f64,
    /// Before this nobody works in the block, where that was recorded; of a spray
    /// without a finish, reckoned from its begin.
    pub reentry_at: Option<Instant>,
}

/// What stands for the material of a draft that names none.
const NOT_SAID: &str = "a material not yet named";

/// Every field that any kind has.
pub(super) const ALL_FIELDS: [&str; 69] = [
    "id",
    "kind",
    "at",
    "bbch",
    "stage",
    "share_open",
    "buds_per_tree",
    "wood",
    "flowers",
    "lengths_mm",
    "kings_alive",
    "kings_dead",
    "laterals_alive",
    "laterals_dead",
    "clusters_examined",
    "clusters_per_tree",
    "after_night",
    "where",
    "open_per_tree",
    "live_only",
    "tree_class",
    "thin",
    "reason",
    "material",
    "finished_at",
    "thins",
    "took",
    "share_of_block",
    "method",
    "hives_in",
    "hives_out",
    "note",
    "fruit_per_tree",
    "group",
    "share_of_buds",
    "text",
    "of",
    "entry",
    "product",
    "registration_number",
    "country",
    "active_ingredient",
    "total_amount",
    "rate",
    "rate_basis",
    "water_volume",
    "area",
    "crop",
    "applicator",
    "certificate",
    "equipment",
    "wind",
    "wind_source",
    "temperature",
    "temperature_source",
    "reentry_interval",
    "by",
    "author",
    "received_at",
    "branches_per_tree",
    "total_unit",
    "rate_unit",
    "water_unit",
    "area_unit",
    "wind_unit",
    "temperature_unit",
    "reentry_hours",
    "reentry_at",
    "bee_notice",
];

/// When an entry was observed; a spray without a begin takes its finish.
pub(super) fn observed_at(kind: &str, fields: &Fields<'_>) -> Option<Instant> {
    if kind == "spray" && !fields.has("at") && fields.has("finished_at") {
        return fields.instant("finished_at");
    }
    if !fields.require("at") {
        return None;
    }
    fields.instant("at")
}

impl Observed {
    /// The word for its kind.
    pub fn kind(&self) -> &'static str {
        match self {
            Observed::Stage(_) => "stage",
            Observed::BudCount(_) => "bud-count",
            Observed::FlowersPerCluster(_) => "flowers-per-cluster",
            Observed::StyleLength(_) => "style-length",
            Observed::DamageCount(_) => "damage-count",
            Observed::OpenCount(_) => "open-count",
            Observed::BloomStart => "bloom-start",
            Observed::Decision(_) => "decision",
            Observed::Spray(_) => "spray",
            Observed::BloomEnd => "bloom-end",
            Observed::SetCount(_) => "set-count",
            Observed::ReturnBloom(_) => "return-bloom",
            Observed::Recorded(kind) => kind,
        }
    }

    pub(super) fn from_fields(
        kind: &'static str,
        at: Option<Instant>,
        fields: &Fields<'_>,
    ) -> Option<Observed> {
        fields.text("by");
        match kind {
            "stage" => StageSeen::from_fields(fields).map(Observed::Stage),
            "bud-count" => BudCount::from_fields(fields).map(Observed::BudCount),
            "flowers-per-cluster" => counts(fields, "flowers").map(Observed::FlowersPerCluster),
            "style-length" => required(fields, "lengths_mm")
                .and_then(|name| fields.numbers(name, STYLE_MM.0, STYLE_MM.1))
                .map(Observed::StyleLength),
            "damage-count" => Tally::from_fields(fields).map(|tally| Observed::DamageCount(Box::new(tally))),
            "open-count" => {
                let live_only = fields.flag("live_only").unwrap_or(true);
                let class = fields.word("tree_class", &["on", "off"]).map(|class| match class {
                    "on" => TreeClass::On,
                    _ => TreeClass::Off,
                });
                let wood = Wood::from_fields(fields);
                let open_per_tree = counts(fields, "open_per_tree")?;
                Some(Observed::OpenCount(OpenCount { open_per_tree, live_only, class, wood }))
            }
            "bloom-start" => Some(Observed::BloomStart),
            "bloom-end" => Some(Observed::BloomEnd),
            "decision" => {
                let reason = fields.text("reason");
                let thin = required(fields, "thin").and_then(|name| fields.flag(name))?;
                Some(Observed::Decision(Decision { thin, reason }))
            }
            "spray" => spray(at, fields).map(Observed::Spray),
            "set-count" => {
                let unsprayed = fields.word("group", &["treated", "unsprayed"]) == Some("unsprayed");
                let fruit_per_tree = counts(fields, "fruit_per_tree")?;
                Some(Observed::SetCount(SetCount { fruit_per_tree, unsprayed }))
            }
            "return-bloom" => required(fields, "share_of_buds")
                .and_then(|name| fields.number(name, 0.0, 1.0))
                .map(Observed::ReturnBloom),
            _ => {
                recorded(kind, fields);
                Some(Observed::Recorded(kind))
            }
        }
    }
}

fn required(fields: &Fields<'_>, name: &'static str) -> Option<&'static str> {
    fields.require(name).then_some(name)
}

fn counts(fields: &Fields<'_>, name: &'static str) -> Option<Vec<i64>> {
    fields.wholes(required(fields, name)?, 0, MOST_PER_TREE as i64)
}

fn spray(at: Option<Instant>, fields: &Fields<'_>) -> Option<Spray> {
    // A draft saves with as little as its begin: what is not known yet comes later.
    let draft = !fields.has("material") && !fields.has("finished_at");
    let material = if draft { Some(NOT_SAID.to_owned()) } else { fields.required_text("material") };
    let thins = fields.flag("thins");
    let took = fields.flag("took").unwrap_or(true);
    let record = Record::from_fields(fields)?;
    let finished_at = record.finished_at;
    if let (Some(at), Some(finish)) = (at, finished_at)
        && finish < at
    {
        fields.fault("finished_at", format!("{finish} lies before the begin, {at}"));
    }
    Some(Spray {
        material: material?,
        finished_at,
        thins,
        took,
        share_of_block: record.share_of_block.unwrap_or(1.0),
        reentry_at: record.reentry_at().or_else(|| Some(at?.plus(record.reentry_seconds()?))),
    })
}

/// Checks the fields of an entry that only stands on record.
fn recorded(kind: &str, fields: &Fields<'_>) {
    match kind {
        "other-thinning" => {
            fields.word("method", &["hand", "string"]);
            fields.text("note");
        }
        "pollination" => {
            fields.whole("hives_in", 0, 100_000);
            fields.whole("hives_out", 0, 100_000);
            fields.text("note");
        }
        _ => {
            fields.required_text("text");
        }
    }
}
