//! The same as a table: amounts as they were typed and in metric units, each unit
//! in its column's name.

use model::record::Amount;
use model::time::Instant;
use store::Farm;

use super::SprayShown;
use crate::answer::Answer;
use crate::csv_out::{self, number_cell, text_cell};

/// A metric unit and the column for what an amount comes to in it.
type Metric = (&'static str, &'static str);

/// Amounts: the field, the column for what was typed, and those for what it comes
/// to.
const AMOUNTS: [(&str, &str, &[Metric]); 6] = [
    ("total_amount", "total_amount_as_typed", &[("L", "total_amount_l"), ("kg", "total_amount_kg")]),
    (
        "rate",
        "rate_as_typed",
        &[
            ("%", "rate_percent"),
            ("g/L", "rate_g_per_l"),
            ("L/ha", "rate_l_per_ha"),
            ("kg/ha", "rate_kg_per_ha"),
        ],
    ),
    ("water_volume", "water_volume_as_typed", &[("L", "water_volume_l"), ("L/ha", "water_volume_l_per_ha")]),
    ("area", "area_as_typed", &[("ha", "area_ha")]),
    ("wind", "wind_as_typed", &[("m/s", "wind_m_per_s")]),
    ("temperature", "temperature_as_typed", &[("°C", "temperature_c")]),
];

/// Fields of the record that are texts.
const TEXTS: [&str; 14] = [
    "product",
    "registration_number",
    "country",
    "active_ingredient",
    "rate_basis",
    "crop",
    "bbch",
    "applicator",
    "certificate",
    "equipment",
    "wind_source",
    "temperature_source",
    "bee_notice",
    "reason",
];

pub(super) fn answer(name: &str, farm: &Farm, sprays: &[SprayShown]) -> Answer {
    csv_out::answer(name, &columns(), sprays.iter().map(|spray| cells(farm, spray)), None)
}

fn columns() -> Vec<&'static str> {
    let mut columns = FIRST.to_vec();
    columns.extend(TEXTS);
    for (_, typed, metric) in AMOUNTS {
        columns.push(typed);
        columns.extend(metric.iter().map(|(_, column)| *column));
    }
    columns.extend(LAST);
    columns
}

/// Columns before the record's own fields.
const FIRST: [&str; 18] = [
    "farm",
    "block_id",
    "block",
    "cultivar",
    "location",
    "year",
    "entry",
    "corrections",
    "state",
    "material",
    "share_of_block",
    "began_local",
    "finished_local",
    "time_zone",
    "began_utc",
    "finished_utc",
    "reentry_local",
    "reentry_utc",
];

/// Columns behind them.
const LAST: [&str; 7] =
    ["reentry_from", "reentry_interval_as_typed", "note", "profile", "missing", "what_missing", "caution"];

fn cells(farm: &Farm, spray: &SprayShown) -> Vec<String> {
    let text = |text: Option<&str>| text.map(text_cell).unwrap_or_default();
    let utc = |at: Option<Instant>| number_cell(at);
    let zone = model::time::zone(&spray.time_zone).ok();
    let local = |at: Option<Instant>| at.zip(zone).map(|(at, zone)| at.rfc3339_in(zone)).unwrap_or_default();
    let record = &spray.record;
    let state = if spray.draft { "draft" } else { "finished" };
    let first: [String; FIRST.len()] = [
        text_cell(&farm.name),
        text_cell(&spray.block_id),
        text_cell(&spray.block),
        text(spray.cultivar.as_deref()),
        text(spray.location.as_deref()),
        spray.year.to_string(),
        text_cell(&spray.entry),
        text_cell(&spray.corrections.join(" ")),
        state.to_owned(),
        text(record.material.as_deref()),
        number_cell(record.share_of_block),
        local(Some(spray.at)),
        local(spray.finished_at),
        spray.time_zone.clone(),
        utc(Some(spray.at)),
        utc(spray.finished_at),
        local(spray.reentry_at),
        utc(spray.reentry_at),
    ];
    let mut cells = Vec::from(first);
    cells.extend(TEXTS.into_iter().map(|field| text(record.text(field))));
    for (field, _, metric) in AMOUNTS {
        let amount = record.amount(field);
        cells.push(text(amount.map(Amount::spoken).as_deref()));
        let known = amount.and_then(Amount::metric);
        for (unit, _) in metric {
            cells.push(number_cell(known.filter(|(_, of)| of == unit).map(|(number, _)| number)));
        }
    }
    let last: [String; LAST.len()] = [
        text(spray.reentry_from),
        text_cell(&record.reentry_typed.join(", ")),
        text(record.text("note")),
        text(spray.profile.as_ref().map(|profile| profile.id.as_str())),
        text_cell(&spray.missing.join(" ")),
        text(spray.what_missing.as_deref()),
        text_cell(model::words::CAUTION),
    ];
    cells.extend(last);
    cells
}
