//! TOML files as the JSON values that the model's readers take.

use std::path::Path;
use std::sync::Arc;

use anyhow::Context;
use model::catalogue::{Catalogue, Rules};
use model::cultivar::Cultivars;
use model::record::Profiles;
use model::slot::Limits;
use model::verdict::Table;
use serde_json::{Map, Value};
use weather::checks::Thresholds;

use crate::settings::Settings;

/// Reads a TOML file; its date-times become texts.
pub(crate) fn read(path: &Path) -> anyhow::Result<Value> {
    let bytes = std::fs::read(path).with_context(|| format!("{} cannot be read", path.display()))?;
    let text = String::from_utf8(bytes)
        .map_err(|error| error.utf8_error())
        .with_context(|| format!("{} is not UTF-8", path.display()))?;
    parse(&text).with_context(|| path.display().to_string())
}

/// Reads a TOML text.
pub(crate) fn parse(text: &str) -> anyhow::Result<Value> {
    let table: toml::Table = text.parse()?;
    Ok(Value::Object(table.into_iter().map(|(key, value)| (key, json(value))).collect()))
}

fn json(value: toml::Value) -> Value {
    match value {
        toml::Value::String(text) => Value::String(text),
        toml::Value::Integer(number) => number.into(),
        toml::Value::Float(number) => serde_json::Number::from_f64(number).map_or(Value::Null, Value::Number),
        toml::Value::Boolean(flag) => Value::Bool(flag),
        toml::Value::Datetime(at) => Value::String(at.to_string()),
        toml::Value::Array(items) => items.into_iter().map(json).collect(),
        toml::Value::Table(table) => {
            table.into_iter().map(|(key, value)| (key, json(value))).collect::<Map<_, _>>().into()
        }
    }
}

const CURVES: &str = include_str!("../../../config/curves.toml");
const MATERIALS: &str = include_str!("../../../config/materials.toml");
const CULTIVARS: &str = include_str!("../../../config/cultivars.toml");
const VERDICT: &str = include_str!("../../../config/verdict.toml");
const SLOTS: &str = include_str!("../../../config/slots.toml");
const RECORDS: &str = include_str!("../../../config/records.toml");
const CHECKS: &str = include_str!("../../../config/checks.toml");

/// What readings are checked by, as it ships or by the file given instead.
pub(crate) fn thresholds(path: Option<&Path>) -> anyhow::Result<Thresholds> {
    let document = match path {
        Some(path) => read(path)?,
        None => parse(CHECKS)?,
    };
    model::input::read(&document, Thresholds::from_fields).with_context(|| {
        path.map_or_else(|| "config/checks.toml".to_owned(), |path| path.display().to_string())
    })
}

/// Files that stand in for the tables that ship.
#[derive(Default)]
pub(crate) struct Instead<'a> {
    pub(crate) curves: Option<&'a Path>,
    pub(crate) materials: Option<&'a Path>,
    pub(crate) cultivars: Option<&'a Path>,
    pub(crate) verdict: Option<&'a Path>,
    pub(crate) records: Option<&'a Path>,
    pub(crate) slots: Option<&'a Path>,
}

impl<'a> Instead<'a> {
    /// Those that the settings name.
    pub(crate) fn of(settings: &'a Settings) -> Instead<'a> {
        Instead {
            curves: settings.curves.as_deref(),
            materials: settings.materials.as_deref(),
            cultivars: settings.cultivars.as_deref(),
            verdict: settings.verdict.as_deref(),
            records: settings.records.as_deref(),
            slots: settings.slots.as_deref(),
        }
    }
}

/// The tables that ship, or those of the files given instead.
pub(crate) fn catalogue(instead: &Instead<'_>) -> anyhow::Result<Catalogue> {
    let document = |path: Option<&Path>, shipped: &str| match path {
        Some(path) => read(path),
        None => parse(shipped),
    };
    let (curves, materials) = (document(instead.curves, CURVES)?, document(instead.materials, MATERIALS)?);
    let catalogue = Catalogue::read(&curves, &materials).context("curves or materials")?;
    let rules = Rules {
        cultivars: Cultivars::read(&document(instead.cultivars, CULTIVARS)?).context("cultivars")?,
        verdict: Arc::new(Table::read(&document(instead.verdict, VERDICT)?).context("verdict")?),
        profiles: Profiles::read(&document(instead.records, RECORDS)?).context("records")?,
        slots: Arc::new(Limits::read(&document(instead.slots, SLOTS)?).context("slots")?),
    };
    Ok(catalogue.ruled_by(rules))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_checks_name_every_threshold_as_it_is() {
        let shipped = parse(CHECKS).unwrap();
        let fields = shipped.as_object().unwrap().len();
        assert_eq!(thresholds(None).unwrap(), Thresholds::default());
        let named = format!("{:?}", Thresholds::default()).matches(": ").count();
        assert_eq!(fields, named, "one line for each threshold");
    }
}
