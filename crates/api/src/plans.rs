//! Plans: the sprays agreed for one block and year, with their marks.

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::catalogue::Catalogue;
use model::input;
use model::plan::{Agreed, Settings};
use model::words;
use serde_json::{Value, json};

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

pub(crate) async fn one(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let Some(plan) = desk.store.plan(&block.id, year).await? else {
        return Err(Problem::not_found(format!("Block `{}` has no plan for {year}.", block.id)));
    };
    let agreed = read(&plan.doc)?;
    let mut document = render(&agreed, &desk.catalogue().await?);
    document["version"] = plan.version.into();
    document["set_at"] = json!(plan.at);
    ok(document)
}

/// Sets the whole plan; the versions before it are kept. 201 for the first.
pub(crate) async fn set(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    desk.allow(Deed::SetUp, Some(&block.farm_id))?;
    let year = fields::year(&year)?;
    let agreed = read(&document)?;
    let catalogue = desk.catalogue().await?;
    let before = desk.store.plan(&block.id, year).await?.map(|plan| plan.version);
    let now = desk.now();
    let version = desk.store.set_plan(&block.id, year, before.unwrap_or(0), &document, now).await?;
    desk.poke();
    let mut document = render(&agreed, &catalogue);
    document["version"] = version.into();
    let status = if before.is_some() { StatusCode::OK } else { StatusCode::CREATED };
    Ok((status, axum::Json(document)).into_response())
}

fn read(document: &Value) -> Result<Agreed, input::Faults> {
    input::read(document, |fields| {
        fields.require("sprays");
        let agreed = Agreed::from_fields(fields);
        for spray in &agreed.sprays {
            fields::check_name(fields, "sprays", &spray.material);
        }
        Some(agreed)
    })
}

/// A plan with every default written out, and what goes with it.
pub(crate) fn render(agreed: &Agreed, catalogue: &Catalogue) -> Value {
    let Settings { age_days, overrun_margin, lead_hours } = agreed.settings;
    let unknown: Vec<&str> = agreed
        .sprays
        .iter()
        .map(|spray| spray.material.as_str())
        .filter(|name| catalogue.materials.iter().all(|material| material.id != *name))
        .collect();
    json!({
        "sprays": agreed.sprays,
        "age_days": age_days,
        "overrun_margin": overrun_margin,
        "lead_hours": lead_hours,
        "unknown_materials": unknown,
        "caution": words::CAUTION,
        "unconfirmed": (!agreed.sprays.is_empty()).then_some(words::UNCONFIRMED),
    })
}
