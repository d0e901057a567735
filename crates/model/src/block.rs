//! A planting of one cultivar managed as one unit.

use std::sync::Arc;

use crate::cropload::Target;
use crate::curve::{Curve, Measure};
use crate::input::Fields;
use crate::lent::Borrows;
use crate::units::HECTARES_PER_ACRE;

/// Shortest and longest style that is taken for one, mm.
pub const STYLE_MM: (f64, f64) = (1.0, 30.0);
/// Outside this range a style length is noted as unusual, mm (from memory).
pub const USUAL_STYLE_MM: (f64, f64) = (5.0, 15.0);
/// Most fruit, flowers or buds that one tree is taken to carry.
pub const MOST_PER_TREE: f64 = 100_000.0;
/// Farthest that a block's air is taken to be from its site's, °C. Hollows lie
/// up to some 5 °C under the slopes above them (from memory); beyond twice that
/// the block wants another site.
pub const WIDEST_OFFSET_C: f64 = 10.0;
/// Longest note or name beside an offset, in characters: both stand in one
/// sentence of each season.
const LONGEST_TEXT: usize = 200;

/// What is fixed of a block.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Name on the farm.
    pub name: String,
    /// Cultivar planted.
    pub cultivar: String,
    /// The growth curve that its clock runs on.
    pub curve: Arc<Curve>,
    /// Style lengths measured on the block, mm; empty when none were.
    pub style_lengths_mm: Vec<f64>,
    /// Flowers in a cluster, when counted or known.
    pub flowers_per_cluster: Option<f64>,
    /// Fruit wanted on a tree.
    pub target_fruit_per_tree: f64,
    /// The same with what it rests on and how far it can be trusted.
    pub target: Target,
    /// Live open flowers at which the clock starts, as a share of the target.
    pub start_factor: f64,
    /// How its air differs from that of its site, when someone has said so.
    pub offset: Option<Offset>,
    /// Blocks that it borrows from.
    pub borrows: Borrows,
    /// Its area in hectares, where given.
    pub hectares: Option<f64>,
    /// Fruit a tree that it carried the year before, where given.
    pub last_crop_per_tree: Option<f64>,
}

/// How much warmer (colder when negative) the air of a block is than that of
/// its site: orchards lie in hollows and on slopes.
#[derive(Debug, Clone, PartialEq)]
pub struct Offset {
    /// While the sun is up, °C.
    pub day_c: f64,
    /// While it is down, °C.
    pub night_c: f64,
    /// What it rests on: a logger in the block, a neighbour's experience.
    pub note: String,
    /// Who says so.
    pub author: String,
}

impl Offset {
    /// Reads `day_c`, `night_c`, `note` and `author`; all must be there.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Offset> {
        let celsius = |name| {
            fields.require(name);
            fields.number(name, -WIDEST_OFFSET_C, WIDEST_OFFSET_C)
        };
        let (day_c, night_c) = (celsius("day_c"), celsius("night_c"));
        let (note, author) = (line(fields, "note"), line(fields, "author"));
        Some(Offset { day_c: day_c?, night_c: night_c?, note: note?, author: author? })
    }

    /// What to add to a temperature of the site, °C, while the sun is `up` or
    /// down.
    pub fn celsius(&self, up: bool) -> f64 {
        if up { self.day_c } else { self.night_c }
    }
}

/// A text that must be there and fit into a sentence.
fn line(fields: &Fields<'_>, name: &'static str) -> Option<String> {
    let text = fields.required_text(name)?;
    if text.chars().count() > LONGEST_TEXT || text.contains(char::is_control) {
        let most = LONGEST_TEXT;
        fields.fault(
            name,
            format!("expected at most {most} characters on one line, none of them a control character"),
        );
        return None;
    }
    Some(text.trim().to_owned())
}

impl Block {
    /// Reads a block; curves given by id are looked up in `curves`.
    pub fn from_fields(fields: &Fields<'_>, curves: &[Arc<Curve>]) -> Option<Block> {
        let name = fields.required_text("name");
        let cultivar = fields.required_text("cultivar");
        let curve = curve(fields, cultivar.as_deref(), curves);
        let style_lengths_mm = style_lengths(fields);
        let flowers_per_cluster = fields.number("flowers_per_cluster", 1.0, 20.0);
        let target = Target::from_fields(fields);
        let start_factor = fields.number("start_factor", 0.1, 10.0).unwrap_or(1.0);
        let offset = offset(fields);
        let borrows = borrows(fields);
        let hectares = hectares(fields);
        let last_crop_per_tree = fields.number("last_crop_per_tree", 0.0, MOST_PER_TREE);
        let curve = curve?;
        let styled = !style_lengths_mm.is_empty() || borrows.style_length.is_some();
        if curve.measure == Measure::Millimetre && !styled {
            fields.fault(
                "style_length_mm",
                format!(
                    "is missing: curve `{}` is in millimetres, so the length of the style must be measured",
                    curve.id
                ),
            );
            return None;
        }
        let target = target?;
        Some(Block {
            name: name?,
            cultivar: cultivar?,
            curve,
            style_lengths_mm,
            flowers_per_cluster,
            target_fruit_per_tree: target.fruit_per_tree,
            target,
            start_factor,
            offset,
            borrows,
            hectares,
            last_crop_per_tree,
        })
    }
}

fn offset(fields: &Fields<'_>) -> Option<Offset> {
    let table = fields.table("offset")?;
    let offset = Offset::from_fields(&table);
    table.refuse_unknown();
    offset
}

fn borrows(fields: &Fields<'_>) -> Borrows {
    let Some(table) = fields.table("borrows") else { return Borrows::default() };
    let borrows = Borrows::from_fields(&table);
    table.refuse_unknown();
    borrows
}

/// `area` with its `area_unit`, `hectare` or `acre`.
fn hectares(fields: &Fields<'_>) -> Option<f64> {
    let area = fields.number("area", 0.000_1, 100_000.0);
    let unit = fields.word("area_unit", &["hectare", "ha", "acre"]);
    match (area, unit) {
        (Some(_), None) if !fields.has("area_unit") => {
            fields.fault("area_unit", "is missing: `hectare` or `acre`");
            None
        }
        (Some(area), Some("acre")) => Some(area * HECTARES_PER_ACRE),
        (area, _) => area,
    }
}

fn style_lengths(fields: &Fields<'_>) -> Vec<f64> {
    if fields.has("style_length_mm") && fields.has("style_lengths_mm") {
        fields.fault("style_length_mm", "stands beside style_lengths_mm; give one of them");
        return Vec::new();
    }
    if fields.has("style_length_mm") {
        return fields.number("style_length_mm", STYLE_MM.0, STYLE_MM.1).into_iter().collect();
    }
    fields.numbers("style_lengths_mm", STYLE_MM.0, STYLE_MM.1).unwrap_or_default()
}

fn curve(fields: &Fields<'_>, cultivar: Option<&str>, curves: &[Arc<Curve>]) -> Option<Arc<Curve>> {
    let known = || curves.iter().map(|curve| curve.id.as_str()).collect::<Vec<_>>().join(", ");
    match fields.value("curve") {
        Some(serde_json::Value::Object(_)) => {
            let inline = fields.table("curve")?;
            let curve = Curve::from_fields("inline", &inline);
            inline.refuse_unknown();
            curve.map(Arc::new)
        }
        Some(_) => {
            let id = fields.text("curve")?;
            let found = curves.iter().find(|curve| curve.id == id).cloned();
            if found.is_none() {
                fields.fault("curve", format!("`{id}` is not a curve here; known: {}", known()));
            }
            found
        }
        None => {
            let cultivar = cultivar?;
            let made_for = |curve: &&Arc<Curve>| curve.cultivars.iter().any(|name| name == cultivar);
            let found = curves.iter().find(made_for).cloned();
            if found.is_none() {
                fields.fault(
                    "curve",
                    format!(
                        "is missing, and no curve is kept for cultivar `{cultivar}`; name one of: {}",
                        known()
                    ),
                );
            }
            found
        }
    }
}

#[cfg(test)]
mod tests;
