//! The kinds of entries with their fields.

use crate::block::{MOST_PER_TREE, STYLE_MM};
use crate::input::Fields;
use crate::time::Instant;

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
    /// Flower buds on each tree counted.
    BudCount(Vec<i64>),
    /// Flowers in each cluster counted.
    FlowersPerCluster(Vec<i64>),
    /// Style lengths measured, mm.
    StyleLength(Vec<f64>),
    /// Open flowers on each tree counted.
    OpenCount(Vec<i64>),
    /// The threshold was reached.
    BloomStart,
    /// To thin or not.
    Decision {
        /// Whether to thin.
        thin: bool,
    },
    /// A spray went on.
    Spray(Spray),
    /// No flower is left to open.
    BloomEnd,
    /// Anything that stands on record and moves no clock.
    Recorded(&'static str),
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
}

/// Record fields of a spray that move no clock.
const RECORD: [&str; 21] = [
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
    "bbch",
    "applicator",
    "certificate",
    "equipment",
    "wind",
    "wind_source",
    "temperature",
    "temperature_source",
    "reentry_interval",
    "reason",
    "note",
];

/// Stages of the table of kill temperatures.
const STAGES: [&str; 9] = [
    "silver-tip",
    "green-tip",
    "half-inch-green",
    "tight-cluster",
    "first-pink",
    "full-pink",
    "first-bloom",
    "full-bloom",
    "post-bloom",
];

const WOOD: [&str; 2] = ["spur", "one-year"];

/// Every field that any kind has.
pub(super) const ALL_FIELDS: [&str; 59] = [
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
            Observed::BudCount(_) => "bud-count",
            Observed::FlowersPerCluster(_) => "flowers-per-cluster",
            Observed::StyleLength(_) => "style-length",
            Observed::OpenCount(_) => "open-count",
            Observed::BloomStart => "bloom-start",
            Observed::Decision { .. } => "decision",
            Observed::Spray(_) => "spray",
            Observed::BloomEnd => "bloom-end",
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
            "bud-count" => {
                fields.word("wood", &WOOD);
                counts(fields, "buds_per_tree").map(Observed::BudCount)
            }
            "flowers-per-cluster" => counts(fields, "flowers").map(Observed::FlowersPerCluster),
            "style-length" => required(fields, "lengths_mm")
                .and_then(|name| fields.numbers(name, STYLE_MM.0, STYLE_MM.1))
                .map(Observed::StyleLength),
            "open-count" => {
                fields.flag("live_only");
                fields.word("tree_class", &["on", "off"]);
                fields.word("wood", &WOOD);
                counts(fields, "open_per_tree").map(Observed::OpenCount)
            }
            "bloom-start" => Some(Observed::BloomStart),
            "bloom-end" => Some(Observed::BloomEnd),
            "decision" => {
                fields.text("reason");
                required(fields, "thin")
                    .and_then(|name| fields.flag(name))
                    .map(|thin| Observed::Decision { thin })
            }
            "spray" => spray(at, fields).map(Observed::Spray),
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
    let material = fields.required_text("material");
    let finished_at = fields.instant("finished_at");
    let thins = fields.flag("thins");
    let took = fields.flag("took").unwrap_or(true);
    let share_of_block = fields.number("share_of_block", 0.0, 1.0).unwrap_or(1.0);
    for name in RECORD {
        scalar(fields, name);
    }
    if let (Some(at), Some(finish)) = (at, finished_at)
        && finish < at
    {
        fields.fault("finished_at", format!("{finish} lies before the begin, {at}"));
    }
    Some(Spray { material: material?, finished_at, thins, took, share_of_block })
}

fn scalar(fields: &Fields<'_>, name: &'static str) {
    if fields.value(name).is_some_and(|value| value.is_array() || value.is_object()) {
        fields.fault(name, "expected a text or a number");
    }
}

/// Checks the fields of an entry that only stands on record.
fn recorded(kind: &str, fields: &Fields<'_>) {
    match kind {
        "stage" => {
            fields.whole("bbch", 0, 99);
            fields.word("stage", &STAGES);
            fields.number("share_open", 0.0, 1.0);
            if !fields.has("bbch") && !fields.has("stage") {
                fields.fault("bbch", "is missing; give bbch or stage");
            }
        }
        "damage-count" => {
            for name in ["kings_alive", "kings_dead", "laterals_alive", "laterals_dead", "clusters_examined"]
            {
                fields.whole(name, 0, 1_000_000);
            }
            fields.wholes("clusters_per_tree", 0, MOST_PER_TREE as i64);
            fields.text("after_night");
            fields.word("where", &["low", "mid", "high"]);
            fields.word("wood", &WOOD);
        }
        "other-thinning" => {
            fields.word("method", &["hand", "string"]);
            fields.text("note");
        }
        "pollination" => {
            fields.whole("hives_in", 0, 100_000);
            fields.whole("hives_out", 0, 100_000);
            fields.text("note");
        }
        "set-count" => {
            counts(fields, "fruit_per_tree");
            fields.word("group", &["treated", "unsprayed"]);
        }
        "return-bloom" => {
            if fields.require("share_of_buds") {
                fields.number("share_of_buds", 0.0, 1.0);
            }
        }
        _ => {
            fields.required_text("text");
        }
    }
}
