//! The fields of a block, from its document and back.

use api::View;
use serde_json::{Map, Value, json};
use store::{Block, Farm, Site};

use super::own_curve;
use crate::fields::{Field, Form, Group, Sent, number, shown};
use crate::set_up::begin::sites_for;
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// Blocks of one farm that may lend.
const LENDERS: u32 = 1_000;
/// Stands in the form for a curve that is written out in the block.
const OWN: &str = "…";
/// Inputs of a target that are numbers, and those that are words.
const INPUTS: [&str; 9] = [
    "boxes_per_area",
    "yield_per_area",
    "fruit_per_box",
    "fruit_weight_g",
    "trees_per_area",
    "row_spacing",
    "tree_spacing",
    "fruit_per_cm2",
    "girth_cm",
];
const UNITS: [(&str, &str); 3] =
    [("yield_unit", "yield_per_area"), ("spacing_unit", "row_spacing"), ("area_unit", "")];
/// Inputs that the form does not show, and whether they are the trunk's.
const UNSHOWN: [(&str, bool); 5] = [
    ("girths", true),
    ("diameters", true),
    ("trunk_unit", true),
    ("box_weight_lb", false),
    ("box_weight_kg", false),
];
/// What a block may borrow.
const BORROWED: [&str; 3] = ["start", "stage", "style_length"];

/// What the choices of a form are made of.
pub(super) struct Around {
    pub(super) sites: Vec<Site>,
    /// Ids of curves with where they come from.
    curves: Vec<(String, String)>,
    cultivars: Vec<String>,
    /// Other blocks of the farm, by id and name.
    lenders: Vec<(String, String)>,
    /// Whether the block has a curve of its own.
    own_curve: bool,
    /// Whether the block is there already: its site is then changed by moving it.
    there: bool,
    author: String,
}

impl Around {
    pub(super) async fn of(signed: &Signed, farm: &Farm, block: Option<&Block>) -> Result<Around, Stop> {
        let view: &View = &signed.0;
        let catalogue = view.catalogue().await?;
        let lenders = view.store().blocks(Some(&farm.id), None, LENDERS).await?;
        let another = |one: &Block| block.is_none_or(|block| block.id != one.id) && one.archived_at.is_none();
        let person = view.caller().person_id.as_deref().unwrap_or_default();
        let author = view.store().person(person).await?.map(|person| person.name).unwrap_or_default();
        Ok(Around {
            sites: sites_for(signed, &farm.id).await?,
            curves: catalogue.curves.iter().map(|curve| (curve.id.clone(), curve.source.clone())).collect(),
            cultivars: catalogue.rules.cultivars.listed().map(|one| one.name.clone()).collect(),
            lenders: lenders.into_iter().filter(another).map(|one| (one.id, one.name)).collect(),
            own_curve: block.is_some_and(|block| own_curve(&block.details)),
            there: block.is_some(),
            author,
        })
    }
}

fn or_none(words: &Words, key: &'static str, all: &[(String, String)]) -> Vec<(String, String)> {
    std::iter::once((String::new(), words.get(key).to_owned())).chain(all.iter().cloned()).collect()
}

fn units(pairs: &[(&str, &str)]) -> Vec<(String, String)> {
    pairs.iter().map(|(value, said)| ((*value).to_owned(), (*said).to_owned())).collect()
}

/// The form, empty.
pub(super) fn form(words: &'static Words, around: &Around, button: &str) -> Form {
    let areas =
        || units(&[("hectare", words.get("block_form.hectare")), ("acre", words.get("block_form.acre"))]);
    let input = |name: &str, label: &str| Field::number(&format!("target.{name}"), label);
    let unit = |name: &str, label: &str, choices| Field::choice(&format!("target.{name}"), label, choices);
    let mut planted = vec![
        Field::line("name", words.get("block_form.name")).hint(words.get("block_form.name_hint")).needed(),
        Field::line("cultivar", words.get("block_form.cultivar")).listed("cultivars").needed(),
    ];
    if !around.there {
        let sites: Vec<_> = around.sites.iter().map(|site| (site.id.clone(), site.name.clone())).collect();
        planted.push(Field::choice("site_id", words.get("block_form.site"), sites));
    }
    let mut curves: Vec<_> =
        around.curves.iter().map(|(id, source)| (id.clone(), format!("{id}: {}", start(source)))).collect();
    if around.own_curve {
        curves.insert(0, (OWN.to_owned(), words.get("block_form.own_curve").to_owned()));
    }
    let by_cultivar = or_none(words, "block_form.curve_of_cultivar", &curves);
    // A curve of the cultivar's own stands first where there may be one; else one must be
    // named, and the first that ships is offered.
    let curve = Field::choice("curve", words.get("block_form.curve"), by_cultivar);
    let first = around.curves.first().map(|(id, _)| id.clone()).unwrap_or_default();
    planted.push(curve.hint(words.get("block_form.curve_hint")).value(first));
    let target = Field::number("target_fruit_per_tree", words.get("block_form.target"))
        .hint(words.get("block_form.target_hint"));
    planted.push(target);
    let by_yield = vec![
        unit("area_unit", words.get("block_form.target_area_unit"), areas()),
        input("boxes_per_area", words.get("block_form.boxes")),
        input("fruit_per_box", words.get("block_form.fruit_per_box")),
        input("yield_per_area", words.get("block_form.yield")),
        unit(
            "yield_unit",
            words.get("block_form.yield_unit"),
            units(&[("t", "t"), ("kg", "kg"), ("lb", "lb")]),
        ),
        input("fruit_weight_g", words.get("block_form.fruit_weight")),
        input("trees_per_area", words.get("block_form.trees")),
        input("row_spacing", words.get("block_form.row_spacing")),
        input("tree_spacing", words.get("block_form.tree_spacing")),
        unit("spacing_unit", words.get("block_form.spacing_unit"), units(&[("m", "m"), ("ft", "ft")])),
    ];
    let by_trunk = vec![
        input("fruit_per_cm2", words.get("block_form.fruit_per_cm2")),
        input("girth_cm", words.get("block_form.girth")),
    ];
    let more = vec![
        Field::number("area", words.get("block_form.area")),
        Field::choice("area_unit", words.get("block_form.area_unit"), areas()),
        Field::line("style_lengths_mm", words.get("block_form.styles"))
            .hint(words.get("block_form.styles_hint"))
            .at("/style_length"),
        Field::number("flowers_per_cluster", words.get("block_form.flowers")),
        Field::number("last_crop_per_tree", words.get("block_form.last_crop")),
    ];
    let offset = vec![
        Field::number("offset.day_c", words.get("block_form.day")),
        Field::number("offset.night_c", words.get("block_form.night")),
        Field::line("offset.note", words.get("block_form.offset_note")),
        Field::line("offset.author", words.get("block_form.offset_author")),
    ];
    let lend = |name: &str, label: &str| {
        let choices = or_none(words, "block_form.nobody", &around.lenders);
        Field::choice(&format!("borrows.{name}"), label, choices)
    };
    let mut groups = vec![
        Group::of(planted),
        Group::headed(words.get("block_form.by_yield"), by_yield)
            .saying(words.get("block_form.by_yield_said"))
            .folded(),
        Group::headed(words.get("block_form.by_trunk"), by_trunk)
            .saying(words.get("block_form.by_trunk_said"))
            .folded(),
        Group::headed(words.get("block_form.more"), more).folded(),
        Group::headed(words.get("block_form.offset"), offset)
            .saying(&words.fill("block_form.offset_said", &[("name", &around.author)]))
            .folded(),
    ];
    if !around.lenders.is_empty() {
        let fields = vec![
            lend("start", words.get("block_form.lend_start")),
            lend("stage", words.get("block_form.lend_stage")),
            lend("style_length", words.get("block_form.lend_style")),
        ];
        groups.push(
            Group::headed(words.get("block_form.borrows"), fields)
                .saying(words.get("block_form.borrows_said"))
                .folded(),
        );
    }
    Form::new(words, button, groups).suggesting("cultivars", around.cultivars.clone())
}

/// The first words of a source, so that a choice keeps to one line.
fn start(source: &str) -> String {
    const CHARS: usize = 60;
    let short: String = source.chars().take(CHARS).collect();
    if short.len() < source.len() { format!("{}…", short.trim_end()) } else { short }
}

/// What the form says of a block, as a merge patch: what is empty is taken out. `held`
/// are the details that it changes.
pub(super) fn patch(sent: &Sent, held: Option<&Value>) -> Value {
    let mut patch = json!({
        "name": sent.raw("name"),
        "cultivar": sent.raw("cultivar"),
        "target_fruit_per_tree": sent.number_value("target_fruit_per_tree"),
        "area": sent.number_value("area"),
        "area_unit": if sent.text("area").is_some() { sent.text_value("area_unit") } else { Value::Null },
        "flowers_per_cluster": sent.number_value("flowers_per_cluster"),
        "last_crop_per_tree": sent.number_value("last_crop_per_tree"),
        "target": target(sent, held.map(|held| &held["target"])),
        "offset": table(sent, "offset", &["day_c", "night_c"], &["note", "author"]),
        "borrows": table(sent, "borrows", &[], &BORROWED),
    });
    let lengths: Vec<Value> = sent.raw("style_lengths_mm").split_whitespace().map(number).collect();
    let (one, all) = match lengths.as_slice() {
        [] => (Value::Null, Value::Null),
        [one] => (one.clone(), Value::Null),
        all => (Value::Null, json!(all)),
    };
    patch["style_length_mm"] = one;
    patch["style_lengths_mm"] = all;
    match (sent.raw("curve"), held) {
        // It stays as it is written out in the block.
        (OWN, _) => {}
        _ => patch["curve"] = sent.text_value("curve"),
    }
    if held.is_none() {
        patch["site_id"] = sent.text_value("site_id");
    }
    patch
}

/// A table with what was typed of it, the rest null; null as a whole where nothing was.
fn table(sent: &Sent, of: &str, numbers: &[&str], texts: &[&str]) -> Value {
    let name = |field: &str| format!("{of}.{field}");
    let numbers = numbers.iter().map(|field| ((*field).to_owned(), sent.number_value(&name(field))));
    let texts = texts.iter().map(|field| ((*field).to_owned(), sent.text_value(&name(field))));
    let fields: Map<String, Value> = numbers.chain(texts).collect();
    if fields.values().all(Value::is_null) { Value::Null } else { Value::Object(fields) }
}

/// The inputs of a target; their units stand in the form whether or not they are meant.
fn target(sent: &Sent, held: Option<&Value>) -> Value {
    let mut target = table(sent, "target", &INPUTS, &[]);
    if target.is_null() {
        return target;
    }
    let by_trunk = !target["fruit_per_cm2"].is_null() || !target["girth_cm"].is_null();
    // What the form does not show stays, unless it belongs to the other way.
    for (name, of_trunk) in UNSHOWN {
        let there = held.is_some_and(|held| !held[name].is_null());
        if there && of_trunk != by_trunk {
            target[name] = Value::Null;
        }
    }
    for (unit, of) in UNITS {
        let meant = if of.is_empty() { !by_trunk } else { !target[of].is_null() };
        let spaced = unit == "spacing_unit" && !target["tree_spacing"].is_null();
        let said = if meant || spaced { sent.text_value(&format!("target.{unit}")) } else { Value::Null };
        target[unit] = said;
    }
    target
}

/// What the form holds of a block as it stands.
pub(super) fn sent_of(block: &Block) -> Sent {
    let mut sent = Sent::default();
    let details = &block.details;
    for name in [
        "name",
        "cultivar",
        "target_fruit_per_tree",
        "area",
        "area_unit",
        "flowers_per_cluster",
        "last_crop_per_tree",
    ] {
        sent.set(name, shown(&details[name]));
    }
    sent.set("curve", if own_curve(details) { OWN.to_owned() } else { shown(&details["curve"]) });
    let lengths = details["style_lengths_mm"].as_array().cloned().unwrap_or_default();
    let lengths: Vec<String> = lengths.iter().chain([&details["style_length_mm"]]).map(shown).collect();
    sent.set("style_lengths_mm", lengths.join(" ").trim().to_owned());
    for of in ["target", "offset", "borrows"] {
        for (name, value) in details[of].as_object().into_iter().flatten() {
            sent.set(&format!("{of}.{name}"), shown(value));
        }
    }
    sent
}

#[cfg(test)]
mod tests;
