//! The limits of the hours to spray in, each with its source.

use model::materials::{Material, figure};
use model::slot::{Beside, Fact, Limit, Limits, What};
use model::units::Units;
use serde_json::Value;

use crate::said;
use crate::tables::Table;
use crate::visit::Stop;
use crate::words::Words;

/// The limits that the API gives for a farm.
pub(super) fn read(rules: &Value) -> Result<Limits, Stop> {
    let mut document = rules.clone();
    if let Some(fields) = document.as_object_mut() {
        fields.remove("own");
    }
    Limits::read(&document).map_err(|faults| Stop::Failed(faults.to_string()))
}

/// The key of the sentence that says whose they are.
pub(super) fn whose(rules: &Value, limits: &Limits) -> &'static str {
    match (rules["own"] == true, limits.limits.is_empty()) {
        (_, true) => "materials.no_limits",
        (true, false) => "materials.own_limits",
        (false, false) => "materials.shipped_limits",
    }
}

/// A row a limit.
pub(super) fn table(limits: &Limits, materials: &[Material], units: Units, words: &Words) -> Table {
    let head = ["materials.what", "materials.limit", "materials.for_material", "materials.source"];
    let head = head.map(|key| words.get(key).to_owned()).to_vec();
    let row = |limit: &Limit| {
        let of: Vec<String> = limit.materials.iter().map(|id| super::named(id, materials)).collect();
        let of = if of.is_empty() { words.get("materials.all").to_owned() } else { of.join(", ") };
        vec![limit.what.spoken().to_owned(), at(limit, units), of, sourced(&limit.source, &limit.status)]
    };
    let rows = std::iter::once(head).chain(limits.limits.iter().map(row)).collect();
    Table::of(words.get("materials.limits"), rows)
}

/// A fact with the materials it is about, and where it comes from.
pub(super) fn fact(fact: &Fact, materials: &[Material]) -> String {
    let of: Vec<String> = fact.materials.iter().map(|id| super::named(id, materials)).collect();
    let about = if of.is_empty() { String::new() } else { format!("{}: ", of.join(", ")) };
    format!("{about}{} ({})", fact.says, sourced(&fact.source, &fact.status))
}

fn sourced(source: &str, status: &impl serde::Serialize) -> String {
    let status = serde_json::to_value(status).unwrap_or_default();
    format!("{source}; {}", status.as_str().unwrap_or_default().replace('-', " "))
}

/// The figure of a limit.
pub(super) fn at(limit: &Limit, units: Units) -> String {
    match limit.what {
        What::Wind | What::Gust => said::speed(limit.at, units),
        What::Warmest | What::Coldest => said::celsius(limit.at, units),
        What::DewPointSpread => said::difference(limit.at, units),
        What::BeeQuiet => Beside::BeeQuiet.told().to_owned(),
        what => {
            let spread = limit.spread.map(|spread| format!(" ({})", said::difference(spread, units)));
            format!("{}{}{}", figure(limit.at), what.unit(), spread.unwrap_or_default())
        }
    }
}
