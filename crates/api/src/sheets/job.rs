//! The sheet for whoever is to spray.

use axum::extract::Path;
use chrono_tz::Tz;
use model::input;
use model::legs::Leg;
use model::materials::Rate;
use model::mixing::{Mix, MixAsked};
use model::plan::{Agreed, PlannedSpray};
use model::record::{self, Job};
use model::season::Season;
use model::waiting::before_spray;
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::{IntoParams, ToSchema};

use super::{SheetShown, shown, value};
use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::mixing::MixShown;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::sprays::{Facts, known, profile_on};
use crate::{fields, sites};

/// Parameters that a mix is reckoned from.
const OF_MIX: [&str; 9] = [
    "rate",
    "rate_unit",
    "rate_basis",
    "volume_per_area",
    "volume_unit",
    "area",
    "area_unit",
    "tank",
    "tank_unit",
];

/// A sheet with what it was made from.
#[derive(Serialize, ToSchema)]
pub(crate) struct JobShown {
    block_id: String,
    year: i32,
    /// Number of the spray in the plan.
    spray: usize,
    material: String,
    #[serde(flatten)]
    #[schema(inline)]
    sheet: SheetShown,
    /// What goes into the tanks, where a volume and a tank were given.
    #[schema(inline)]
    mix: Option<MixShown>,
}

/// Which spray, and what it is mixed in.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OfJob {
    /// Number of the spray in the plan.
    #[param(minimum = 1, maximum = 12, default = 1)]
    spray: Option<i64>,
    /// Finished spray on an area; with it come `volume_unit`, `tank` and `tank_unit`.
    volume_per_area: Option<f64>,
    /// `L/ha` or `US-gal/acre`.
    volume_unit: Option<String>,
    /// By default the block's own.
    area: Option<f64>,
    /// `ha` or `acre`.
    area_unit: Option<String>,
    /// What the tank holds.
    tank: Option<f64>,
    /// `L` or `US-gal`.
    tank_unit: Option<String>,
    /// By default that of the plan, else the material's usual one.
    rate: Option<f64>,
    rate_unit: Option<String>,
    rate_basis: Option<String>,
    /// What has to be written down; by default what the first profile names that
    /// holds today.
    profile: Option<String>,
}

/// What a sheet for a contractor says before a spray.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/job", tag = "seasons", operation_id = "read-job",
    params(("id" = String, Path), ("year" = i32, Path), OfJob), responses((status = 200, body = JobShown)))]
pub(crate) async fn sheet(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    mut query: Query,
) -> Answer {
    let (number, profile) = (query.text("spray"), query.text("profile"));
    let given: Map<String, Value> = OF_MIX
        .into_iter()
        .filter_map(|name| query.text(name).map(|text| (name.to_owned(), value(&text))))
        .collect();
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let (number, planned) = desk.planned(&block.id, year, number.as_deref()).await?;
    let catalogue = desk.catalogue().await?;
    let Some(material) = catalogue.materials.iter().find(|known| known.id == planned.material) else {
        let detail = format!(
            "Material `{}` of the plan is not known here; add it with POST /materials first.",
            planned.material
        );
        return Err(Problem::conflict(detail));
    };
    let (farm, site) = (desk.farm(&block.farm_id).await?, desk.site(&block.site_id).await?);
    let facts = Facts::of(&block, &farm, sites::place(&site)?.zone, &catalogue);
    let usual = planned.rate.or(material.rate);
    let mix = if given.is_empty() { None } else { Some(mixed(given, &facts, usual)?) };
    let profiles = &catalogue.rules.profiles;
    if let Some(asked) = &profile {
        known(profiles, asked)?;
    }
    let today = desk.now().local_date(facts.zone);
    let confirmed = desk.confirmed(&block.farm_id).await?;
    let likely = desk.likely(&block.id, year, number, facts.zone).await?;
    let before = desk.before_spray(&block.id, year, facts.zone).await?;
    let sheet = record::job(&Job {
        block: facts.block(),
        material,
        rate: usual,
        mix: mix.as_ref(),
        mark: Some(planned.mark),
        bound: Some(planned.bound),
        likely: likely.as_deref(),
        confirmed: confirmed.iter().rfind(|confirmed| confirmed.covers(&material.id)),
        before: &before,
        profile: profile_on(profiles, profile.as_deref(), today),
    });
    ok(JobShown {
        block_id: block.id.clone(),
        year,
        spray: number,
        material: material.id.clone(),
        sheet: shown(sheet),
        mix: mix.map(MixShown),
    })
}

/// The mix, over the block's own area where none is given.
fn mixed(mut given: Map<String, Value>, facts: &Facts, usual: Option<Rate>) -> Result<Mix, Problem> {
    if !given.contains_key("area")
        && !given.contains_key("area_unit")
        && let Some(hectares) = facts.hectares
    {
        given.insert("area".into(), hectares.into());
        given.insert("area_unit".into(), "ha".into());
    }
    let read = input::read(&Value::Object(given), |fields| MixAsked::with_usual(fields, usual));
    let asked = read.map_err(|faults| {
        let wrong = faults.0.into_iter().map(|fault| {
            let parameter = OF_MIX.into_iter().find(|name| fault.pointer == format!("/{name}"));
            Wrong { pointer: None, parameter, detail: fault.detail }
        });
        Problem::invalid(wrong.collect())
    })?;
    Ok(asked.mix())
}

impl Visit {
    /// A spray of the plan by its number.
    async fn planned(
        &self,
        block_id: &str,
        year: i32,
        number: Option<&str>,
    ) -> Result<(usize, PlannedSpray), Problem> {
        let Some(plan) = self.store.plan(block_id, year).await? else {
            return Err(Problem::not_found(format!("Block `{block_id}` has no plan for {year}.")));
        };
        let agreed = input::read(&plan.doc, |fields| Some(Agreed::from_fields(fields)));
        let sprays = agreed.map_err(|_| Problem::failed())?.sprays;
        let asked = number.map_or(Some(1), |number| number.parse::<usize>().ok());
        let found = asked.and_then(|number| Some((number, sprays.get(number.checked_sub(1)?)?.clone())));
        found.ok_or_else(|| {
            let detail = match sprays.len() {
                0 => "the plan has no sprays; agree on one first".to_owned(),
                most => format!("`{}` is no spray of the plan; expected 1 to {most}", number.unwrap_or("1")),
            };
            Problem::parameter("spray", detail)
        })
    }

    /// When the leg of that number is likely to be at its mark, in words.
    /// What whoever is to spray has to know before.
    async fn before_spray(&self, block_id: &str, year: i32, zone: Tz) -> Result<Vec<String>, Problem> {
        let season = self.reckoned(block_id, year).await?;
        Ok(season.map(|season| before_spray(&season, zone, self.now())).unwrap_or_default())
    }

    /// The season as it was last reckoned; none before that.
    async fn reckoned(&self, block_id: &str, year: i32) -> Result<Option<Season>, Problem> {
        let reckoned = self.store.season(block_id, year).await?.and_then(|row| row.reckoned);
        Ok(reckoned.and_then(|reckoned| serde_json::from_value(reckoned.doc).ok()))
    }

    async fn likely(
        &self,
        block_id: &str,
        year: i32,
        number: usize,
        zone: Tz,
    ) -> Result<Option<String>, Problem> {
        let Some(season) = self.reckoned(block_id, year).await? else { return Ok(None) };
        let leg = season.legs.iter().find(|leg| leg.number == number);
        let said = leg.and_then(|leg| likely(leg, zone));
        let as_of = season.as_of.map(|as_of| format!(", by readings up to {}", as_of.spoken(zone)));
        Ok(said.map(|said| format!("{said}{}", as_of.unwrap_or_default())))
    }
}

/// The same of one leg, with its range where there is one.
fn likely(leg: &Leg, zone: Tz) -> Option<String> {
    if leg.ended_at.is_some() {
        return Some("this part of the season is over".to_owned());
    }
    if let Some(reached) = leg.reached_at {
        let range = match (leg.reached_earliest, leg.reached_latest) {
            (Some(earliest), Some(latest)) if earliest < latest => {
                format!(", {} to {}", earliest.spoken(zone), latest.spoken(zone))
            }
            _ => String::new(),
        };
        return Some(format!("the mark was reached at {}{range}", reached.spoken(zone)));
    }
    let since =
        leg.may_be_reached_since.map(|since| format!("may be at the mark since {}", since.spoken(zone)));
    let expected = leg.expected_at.map(|at| format!("{} as the forecast has it", at.spoken(zone)));
    match (since, expected) {
        (Some(since), Some(expected)) => Some(format!("{since}; at the latest {expected}")),
        (since, expected) => since.or(expected),
    }
}
