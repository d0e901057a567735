//! Plans: the sprays agreed for one block and year, with their marks.

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use model::catalogue::Catalogue;
use model::input;
use model::plan::{Agreed, Settings};
use model::record::Confirmation;
use model::time::Instant;
use model::words;
use serde::Serialize;
use serde_json::{Value, json};
use store::PlanRow;
use utoipa::ToSchema;

use crate::answer::{Answer, created, ok, tagged, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};

/// The sprays agreed for a season, with every default written out.
#[derive(Clone, Serialize, ToSchema)]
pub(crate) struct PlanShown {
    #[schema(value_type = Vec<PlannedSpray>)]
    sprays: Value,
    /// Days after which a leg without a mark ends the season.
    age_days: Value,
    /// How far past the mark counts as overrun, as a fraction of the style.
    overrun_margin: Value,
    /// Hours before the likely time at which the heads-up goes out.
    lead_hours: Value,
    /// Hours fit for bees without which a leg's tubes may be behind.
    fewest_bee_hours: Value,
    /// Hours within which a new reading is to come where only files or hands bring them.
    readings_within_hours: Value,
    /// Materials of the plan that are not known here.
    unknown_materials: Vec<String>,
    caution: &'static str,
    /// Says that no one has confirmed registration and label here.
    unconfirmed: Option<&'static str>,
    /// Materials of the plan that no one has confirmed for this farm.
    unconfirmed_materials: Vec<String>,
    /// Rises with each change; in the plan itself, not where a season shows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    version: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false, value_type = Option<Moment>)]
    set_at: Option<Instant>,
}

/// One spray of a plan.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for sprays in the document")]
pub(crate) struct PlannedSpray {
    material: String,
    /// Fraction of the style at which it is due.
    #[schema(minimum = 0.05, maximum = 1.5)]
    mark: f64,
    /// `not-before` or `not-after`; by default by leg.
    #[schema(nullable = false)]
    bound: Option<String>,
    /// How much of it, where that was agreed.
    #[schema(nullable = false)]
    rate: Option<f64>,
    /// `percent`, `g/L`, `lb/100-US-gal`, `L/ha`, `kg/ha`, `US-gal/acre`, `lb/acre` or
    /// `US-fl-oz/acre`.
    #[schema(nullable = false)]
    rate_unit: Option<String>,
    /// `product-by-volume`, `weight-by-volume` or `per-area`.
    #[schema(nullable = false)]
    rate_basis: Option<String>,
}

/// A plan as it is set.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct PlanSet {
    sprays: Vec<PlannedSpray>,
    #[schema(nullable = false)]
    age_days: Option<f64>,
    #[schema(nullable = false)]
    overrun_margin: Option<f64>,
    #[schema(nullable = false)]
    lead_hours: Option<f64>,
    #[schema(nullable = false)]
    fewest_bee_hours: Option<f64>,
    #[schema(nullable = false)]
    readings_within_hours: Option<f64>,
}

/// The plan of a season as it now holds.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/plan", tag = "seasons", operation_id = "read-plan",
    params(("id" = String, Path), ("year" = i32, Path)), responses((status = 200, body = PlanShown)))]
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
    ok(desk.shown_plan(&block.farm_id, &plan).await?)
}

/// Every version of the plan, the first one first. A change holds for the legs
/// that are not yet sprayed.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/plan/versions", tag = "seasons",
    operation_id = "list-plan-versions", params(("id" = String, Path), ("year" = i32, Path)),
    responses((status = 200, body = Page<PlanShown>)))]
pub(crate) async fn versions(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let (catalogue, confirmed) = (desk.catalogue().await?, desk.confirmed(&block.farm_id).await?);
    let versions = desk.store.plans(&block.id, year).await?;
    whole(versions.iter().map(|plan| shown(plan, &catalogue, &confirmed)).collect::<Result<_, _>>()?)
}

/// Sets the whole plan; the versions before it are kept. 201 for the first, which
/// asks for no `If-Match`.
#[utoipa::path(put, path = "/blocks/{id}/seasons/{year}/plan", tag = "seasons", operation_id = "set-plan",
    params(("id" = String, Path), ("year" = i32, Path)), request_body = PlanSet,
    responses((status = 200, body = PlanShown), (status = 201, body = PlanShown)))]
pub(crate) async fn set(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    desk.allow(Deed::SetUp, Some(&block.farm_id))?;
    let year = fields::year(&year)?;
    let before = desk.store.plan(&block.id, year).await?;
    if let Some(before) = &before {
        if_match.check(&desk.shown_plan(&block.farm_id, before).await?)?;
    }
    read(&document)?;
    let held = before.as_ref().map_or(0, |before| before.version);
    desk.store.set_plan(&block.id, year, held, &document, desk.now()).await?;
    desk.poke();
    let set = desk.store.plan(&block.id, year).await?.ok_or_else(Problem::failed)?;
    let status = if before.is_some() { StatusCode::OK } else { StatusCode::CREATED };
    tagged(status, desk.shown_plan(&block.farm_id, &set).await?)
}

/// From which year a season's plan is taken over.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct Opening {
    /// The year whose plan it is; by default the one before.
    #[schema(nullable = false, minimum = 1900, maximum = 2199)]
    from: Option<i64>,
}

/// Opens a season with the plan of an earlier year as it last stood.
#[utoipa::path(post, path = "/blocks/{id}/seasons/{year}/opening", tag = "seasons", operation_id = "open-season",
    params(("id" = String, Path), ("year" = i32, Path)), request_body = Opening,
    responses((status = 201, body = PlanShown)))]
pub(crate) async fn open(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    desk.allow(Deed::SetUp, Some(&block.farm_id))?;
    let year = fields::year(&year)?;
    let from = input::read(&document, |fields| Some(fields.whole("from", 1900, 2199)))?;
    let from = from.and_then(|from| i32::try_from(from).ok()).unwrap_or(year - 1);
    if desk.store.plan(&block.id, year).await?.is_some() {
        return Err(Problem::conflict(format!("Block `{}` has a plan for {year} already.", block.id)));
    }
    let Some(before) = desk.store.plan(&block.id, from).await? else {
        let detail = format!("block `{}` has no plan for {from} to take over", block.id);
        return Err(Problem::invalid(vec![input::Fault { pointer: "/from".into(), detail }.into()]));
    };
    desk.store.set_plan(&block.id, year, 0, &before.doc, desk.now()).await?;
    desk.poke();
    let set = desk.store.plan(&block.id, year).await?.ok_or_else(Problem::failed)?;
    created(
        &format!("/api/v1/blocks/{}/seasons/{year}/plan", block.id),
        desk.shown_plan(&block.farm_id, &set).await?,
    )
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
pub(crate) fn render(agreed: &Agreed, catalogue: &Catalogue, confirmed: &[Confirmation]) -> PlanShown {
    let Settings { age_days, overrun_margin, lead_hours, fewest_bee_hours, readings_within_hours } =
        agreed.settings;
    let named = |keep: &dyn Fn(&str) -> bool| {
        let mut names: Vec<String> = agreed.sprays.iter().map(|spray| spray.material.clone()).collect();
        names.dedup();
        names.retain(|name| keep(name));
        names
    };
    let known = |name: &str| catalogue.materials.iter().any(|material| material.id == name);
    let unconfirmed = named(&|name| !confirmed.iter().any(|confirmed| confirmed.covers(name)));
    PlanShown {
        sprays: agreed.sprays.iter().map(spray).collect(),
        age_days: json!(age_days),
        overrun_margin: json!(overrun_margin),
        lead_hours: json!(lead_hours),
        fewest_bee_hours: json!(fewest_bee_hours),
        readings_within_hours: json!(readings_within_hours),
        unknown_materials: named(&|name| !known(name)),
        caution: words::CAUTION,
        unconfirmed: (!unconfirmed.is_empty()).then_some(words::UNCONFIRMED),
        unconfirmed_materials: unconfirmed,
        version: None,
        set_at: None,
    }
}

/// A spray as it is written in a plan.
fn spray(spray: &model::plan::PlannedSpray) -> Value {
    let mut shown = json!({"material": spray.material, "mark": spray.mark, "bound": spray.bound});
    if let Some(rate) = &spray.rate {
        shown["rate"] = json!(rate.value);
        shown["rate_unit"] = json!(rate.unit.word());
        shown["rate_basis"] = json!(rate.basis.word());
    }
    shown
}

impl Visit {
    /// What stands confirmed of materials on a farm.
    pub(crate) async fn confirmed(&self, farm_id: &str) -> Result<Vec<Confirmation>, Problem> {
        let all = self.store.confirmations(farm_id).await?;
        let standing = all.iter().filter(|one| one.taken_back_at.is_none());
        Ok(standing.filter_map(|one| input::read(&one.doc, Confirmation::from_fields).ok()).collect())
    }

    async fn shown_plan(&self, farm_id: &str, plan: &PlanRow) -> Result<PlanShown, Problem> {
        let (catalogue, confirmed) = (self.catalogue().await?, self.confirmed(farm_id).await?);
        shown(plan, &catalogue, &confirmed)
    }
}

fn shown(plan: &PlanRow, catalogue: &Catalogue, confirmed: &[Confirmation]) -> Result<PlanShown, Problem> {
    let agreed = read(&plan.doc)?;
    Ok(PlanShown {
        version: Some(plan.version),
        set_at: Some(plan.at),
        ..render(&agreed, catalogue, confirmed)
    })
}
