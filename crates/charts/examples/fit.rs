//! Draws a fit of `tests/reference/fit.json` by its name there:
//! `cargo run -p charts --example fit -- fit.svg "beta with a lag"`.

use anyhow::{Context, Result};
use model::curve::Curve;
use model::fit::Fit;
use model::input;
use serde_json::Value;

fn main() -> Result<()> {
    let mut arguments = std::env::args().skip(1);
    let file = arguments.next().context("say where the picture goes: fit.svg")?;
    let name = arguments.next().unwrap_or_else(|| "beta".to_owned());
    let reference: Value = serde_json::from_str(include_str!("../../../tests/reference/fit.json"))?;
    let cases = reference["cases"].as_array().context("fit.json has no cases")?;
    let case = cases.iter().find(|case| case["name"] == name.as_str()).context("no case of that name")?;
    let fit = Fit::of(&case["document"])?;
    let curve = input::read(&fit.curve, |fields| Curve::from_fields("own", fields))?;
    std::fs::write(&file, charts::fit::picture(&fit, &curve))
        .with_context(|| format!("{file} cannot be written"))
}
