//! What a person says of a file's layout where it does not follow from the file.

use model::units::TemperatureUnit;
use serde_json::{Map, Value};

use super::looked_at::LookedAt;
use crate::fields::{Field, Form, Group, Sent, number};
use crate::words::Words;

/// What its fields begin with.
const START: &str = "as.";
/// Keys whose values are numbers.
const NUMBERS: [&str; 5] = ["skip_lines", "header_lines", "skip_after_header", "interval_minutes", "year"];

/// The fields; those that nobody needs stay folded up.
pub(super) fn group(words: &Words) -> Group {
    let line =
        |key: &str, label: &str| Field::line(&format!("{START}{key}"), label).at(format!("/mapping/{key}"));
    let units = std::iter::once((String::new(), words.get("import.as_told").to_owned()));
    let units =
        units.chain(TemperatureUnit::NAMES.iter().map(|unit| ((*unit).to_owned(), (*unit).to_owned())));
    let unit = Field::choice("as.unit", words.get("import.unit"), units.collect()).at("/mapping/unit");
    let fields = vec![
        line("time_column", words.get("import.time_column")).hint(words.get("import.column_hint")),
        line("temperature_column", words.get("import.temperature_column"))
            .hint(words.get("import.column_hint")),
        unit,
        line("time_zone", words.get("import.zone")).hint(words.get("import.zone_hint")),
        line("time_format", words.get("import.time_format")).hint(words.get("import.time_format_hint")),
        line("encoding", words.get("import.encoding")).hint(words.get("import.encoding_hint")),
        line("year", words.get("import.year")).hint(words.get("import.year_hint")),
    ];
    Group::headed(words.get("import.layout"), fields).saying(words.get("import.layout_said")).folded()
}

/// What was said; none where nothing was.
pub(super) fn said(sent: &Sent) -> Option<Value> {
    let table: Map<String, Value> = sent
        .under(START)
        .map(|(key, text)| {
            let value = if NUMBERS.contains(&key) { number(text) } else { Value::from(text) };
            (key.to_owned(), value)
        })
        .collect();
    (!table.is_empty()).then_some(Value::Object(table))
}

/// Puts what is to be settled beside its fields. What else the reading can be told goes
/// by a field of the key's own name.
pub(super) fn settle(form: &mut Form, seen: &LookedAt) {
    let Some(group) = form.groups.last_mut() else { return };
    for (key, _) in &seen.to_settle {
        let name = format!("{START}{key}");
        if !key.is_empty() && group.fields.iter().all(|field| field.name != name) {
            let label = key.replace('_', " ");
            group.fields.push(Field::line(&name, &label).at(format!("/mapping/{key}")));
        }
    }
    for (key, detail) in &seen.to_settle {
        form.fault(&format!("/mapping/{key}"), detail);
    }
}
