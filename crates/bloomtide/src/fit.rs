//! `fit`: a growth curve from tubes measured at constant temperatures.

use std::process::ExitCode;

use anyhow::Context;
use charts::fit::{figures, picture};
use model::curve::Curve;
use model::fit::Fit;
use model::input;
use serde_json::Value;

use crate::cli::{FitArgs, Format, failed, say};
use crate::document;

/// Runs the command; exit code 2 when the data has faults or cannot carry a curve.
pub(crate) fn run(args: &FitArgs) -> ExitCode {
    match fit(args) {
        Ok(output) => {
            say(&output);
            ExitCode::SUCCESS
        }
        Err(error) => failed(&error),
    }
}

fn fit(args: &FitArgs) -> anyhow::Result<String> {
    let name = args.observations.display().to_string();
    let document = document::read(&args.observations)?;
    let fit = Fit::of(&document).with_context(|| format!("{name} gives no curve"))?;
    let curve = input::read(&fit.curve, |fields| Curve::from_fields("fitted", fields))?;
    if let Some(path) = &args.picture {
        let svg = picture(&fit, &curve);
        std::fs::write(path, svg).with_context(|| format!("{} cannot be written", path.display()))?;
    }
    Ok(match args.format {
        Format::Json => serde_json::to_string_pretty(&fit)?,
        Format::Table => table(&fit)?,
    })
}

/// The figures for people, and below them the curve as a season file takes it.
fn table(fit: &Fit) -> anyhow::Result<String> {
    let rows = figures(fit);
    let widths: Vec<usize> = (0..rows.first().map_or(0, Vec::len))
        .map(|column| {
            rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
        })
        .collect();
    let line = |row: &Vec<String>| {
        let cells: Vec<String> =
            row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        cells.join("  ").trim_end().to_owned()
    };
    let mut lines: Vec<String> = rows.iter().map(line).collect();
    lines.push(String::new());
    lines.extend(fit.notes.iter().map(|note| format!("- {}", note.text)));
    lines.push(String::new());
    lines.push("The curve, for [block] of a season file or POST /api/v1/curves:".to_owned());
    lines.push(format!("curve = {}", inline(&fit.curve)?));
    Ok(lines.join("\n"))
}

/// A document as an inline table of TOML.
fn inline(document: &Value) -> anyhow::Result<String> {
    let value: toml::Value = serde_json::from_value(without_nulls(document.clone()))?;
    Ok(value.to_string())
}

/// TOML has no null.
fn without_nulls(value: Value) -> Value {
    match value {
        Value::Object(fields) => Value::Object(
            fields
                .into_iter()
                .filter(|(_, value)| !value.is_null())
                .map(|(name, value)| (name, without_nulls(value)))
                .collect(),
        ),
        Value::Array(items) => Value::Array(items.into_iter().map(without_nulls).collect()),
        other => other,
    }
}
