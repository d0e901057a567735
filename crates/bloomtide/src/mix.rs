//! `mix`: how much of a product goes into each tank and onto the block.

use std::process::ExitCode;

use anyhow::Context;
use model::input;
use model::mixing::MixAsked;
use serde_json::{Map, Value};

use crate::cli::{Format, MixArgs, failed, say};
use crate::document::{self, Instead};

/// Runs the command; exit code 2 when something is missing or wrong.
pub(crate) fn run(args: &MixArgs) -> ExitCode {
    match mix(args) {
        Ok(output) => {
            say(&output);
            ExitCode::SUCCESS
        }
        Err(error) => failed(&error),
    }
}

fn mix(args: &MixArgs) -> anyhow::Result<String> {
    let catalogue = document::catalogue(&Instead::default())?;
    let usual = match &args.material {
        Some(id) => {
            let known = catalogue.materials.iter().find(|material| material.id == *id);
            let known = known.with_context(|| {
                let ids: Vec<&str> =
                    catalogue.materials.iter().map(|material| material.id.as_str()).collect();
                format!("there is no material `{id}`; there are {}", ids.join(", "))
            })?;
            known.rate
        }
        None => None,
    };
    let mut asked = Map::new();
    let mut amount = |name: &str, unit: &str, given: &Option<String>| -> anyhow::Result<()> {
        let Some(given) = given else { return Ok(()) };
        let (number, word) = amount(given).with_context(|| {
            format!("--{}: expected a number with its unit, not `{given}`", name.replace('_', "-"))
        })?;
        asked.insert(name.to_owned(), number.into());
        asked.insert(unit.to_owned(), word.into());
        Ok(())
    };
    amount("rate", "rate_unit", &args.rate)?;
    amount("volume_per_area", "volume_unit", &args.volume_per_area)?;
    amount("area", "area_unit", &args.area)?;
    amount("tank", "tank_unit", &args.tank)?;
    if let Some(basis) = &args.basis {
        asked.insert("rate_basis".to_owned(), basis.as_str().into());
    }
    let asked = input::read(&Value::Object(asked), |fields| MixAsked::with_usual(fields, usual))
        .context("this cannot be mixed")?;
    let mix = asked.mix();
    Ok(match args.format {
        Format::Json => serde_json::to_string_pretty(&mix)?,
        Format::Table => {
            let mut lines = mix.sentences.clone();
            lines.push(mix.caution.to_owned());
            lines.join("\n")
        }
    })
}

/// `2.5 percent` as its number and its unit.
fn amount(text: &str) -> Option<(f64, String)> {
    let (number, unit) = text.trim().split_once(char::is_whitespace)?;
    let unit = unit.trim();
    (!unit.is_empty()).then_some((number.parse().ok()?, unit.to_owned()))
}
