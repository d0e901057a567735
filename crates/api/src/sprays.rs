//! The spray records of a farm, for whoever asks for them: every spray that stands
//! after corrections, what its profile names and is not there, and when people
//! may go in again. It says what is written down, never that it is enough.

mod facts;
mod kept;
mod table;

use std::sync::Arc;

use axum::extract::Path;
use axum::http::{HeaderMap, header};
use axum::response::IntoResponse;
use chrono::NaiveDate;
use model::catalogue::Catalogue;
use model::materials::Material;
use model::record::{Profile, Profiles, Record};
use model::time::Instant;
use model::words;
use serde::Serialize;
use store::Farm;
use utoipa::{IntoParams, ToSchema};

use crate::answer::Answer;
use crate::desk::{Here, Visit};
use crate::ground::field_log;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{InForm, Moment};
use crate::{fields, limits, sites};

pub use facts::Facts;
pub use kept::{Kept, kept};

/// A spray as it stands.
#[derive(Serialize, ToSchema)]
pub(crate) struct SprayShown {
    block_id: String,
    block: String,
    cultivar: Option<String>,
    /// Where the block lies, where that is known.
    location: Option<String>,
    year: i32,
    /// The entry in the field log.
    entry: String,
    /// Ids of the corrections that it had, the one that holds last.
    corrections: Vec<String>,
    /// Whether it has no finish yet.
    draft: bool,
    #[schema(value_type = Moment)]
    at: Instant,
    #[schema(value_type = Option<Moment>)]
    finished_at: Option<Instant>,
    /// Of the block's wall clock.
    time_zone: String,
    /// The record: texts as they were typed; of an amount what was typed, its figure
    /// and its unit.
    #[schema(value_type = Object)]
    record: Record,
    /// When people may be asked to go in again at the earliest; none where nothing
    /// says so: then the label decides.
    #[schema(value_type = Option<Moment>)]
    reentry_at: Option<Instant>,
    /// Where that comes from: `record`, or `material` for the hours that are kept of
    /// it here.
    reentry_from: Option<&'static str>,
    /// By which profile it was looked through.
    profile: Option<ProfileShown>,
    /// Fields that the profile names and that are not there.
    missing: Vec<&'static str>,
    /// The same in a sentence.
    what_missing: Option<String>,
}

/// A list of fields that a jurisdiction names.
#[derive(Serialize, ToSchema)]
pub(crate) struct ProfileShown {
    id: String,
    name: String,
    /// Where its list comes from.
    source: String,
    /// `published`, `from-memory`, `constructed` or `common-practice`.
    status: &'static str,
}

/// The spray records of a farm.
#[derive(Serialize, ToSchema)]
pub(crate) struct SpraysShown {
    /// In the order in which they began.
    items: Vec<SprayShown>,
    /// Always null: the list is whole.
    next: Option<String>,
    caution: &'static str,
}

/// Which of them.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OfRecords {
    /// Only those of this bloom year.
    #[param(minimum = 1900, maximum = 2199)]
    year: Option<i32>,
    /// The profile to look them through by; by default the first that held on the
    /// day of the spray.
    profile: Option<String>,
}

/// The spray records of a farm, drafts too, as JSON or CSV.
#[utoipa::path(get, path = "/farms/{id}/sprays", tag = "farms", operation_id = "list-sprays",
    params(("id" = String, Path), OfRecords, InForm),
    responses((status = 200, content((SpraysShown = "application/json"), (String = "text/csv")))))]
pub(crate) async fn list(
    Here(desk): Here,
    Path(farm): Path<String>,
    mut query: Query,
    headers: HeaderMap,
) -> Answer {
    let (year, profile) = (query.text("year"), query.text("profile"));
    let csv = query.csv(&headers);
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let year = year.map(|year| fields::year(&year)).transpose()?;
    let profiles = &desk.app.catalogue.rules.profiles;
    if let Some(asked) = &profile {
        known(profiles, asked)?;
    }
    let mut items = desk.sprays(&farm, year, profile.as_deref()).await?;
    items.sort_by(|a, b| (a.at, &a.entry).cmp(&(b.at, &b.entry)));
    if csv {
        let of_year = year.map(|year| format!("-{year}")).unwrap_or_default();
        let name = format!("sprays-{}{of_year}.csv", farm.id);
        return table::answer(&name, &farm, &items);
    }
    let sprays = SpraysShown { items, next: None, caution: words::CAUTION };
    Ok(([(header::VARY, "accept")], axum::Json(sprays)).into_response())
}

/// The profile of that id.
///
/// # Errors
/// When there is none.
pub(crate) fn known<'a>(profiles: &'a Profiles, id: &str) -> Result<&'a Profile, Problem> {
    profiles.get(id).ok_or_else(|| {
        let known: Vec<&str> = profiles.0.iter().map(|profile| profile.id.as_str()).collect();
        let detail = format!("`{id}` is no profile here; known: {}", known.join(", "));
        Problem::parameter("profile", detail)
    })
}

/// The profile asked for, else the first in the table that held on a day.
pub(crate) fn profile_on<'a>(
    profiles: &'a Profiles,
    asked: Option<&str>,
    day: NaiveDate,
) -> Option<&'a Profile> {
    match asked {
        Some(id) => profiles.get(id),
        None => profiles.on(day).next(),
    }
}

/// A material by its id or its name, as sprays name it.
pub(crate) fn material<'a>(materials: &'a [Material], named: &str) -> Option<&'a Material> {
    let by_name = |material: &&Material| material.name.to_lowercase() == named.trim().to_lowercase();
    materials.iter().find(|material| material.id == named).or_else(|| materials.iter().find(by_name))
}

impl Visit {
    async fn sprays(
        &self,
        farm: &Farm,
        year: Option<i32>,
        profile: Option<&str>,
    ) -> Result<Vec<SprayShown>, Problem> {
        let catalogue = self.catalogue().await?;
        let mut all = Vec::new();
        let mut after: Option<String> = None;
        loop {
            let blocks = self.store.blocks(Some(&farm.id), after.as_deref(), limits::LONGEST_PAGE).await?;
            let Some(last) = blocks.last() else { return Ok(all) };
            after = Some(last.id.clone());
            for block in &blocks {
                let years = match year {
                    Some(year) => vec![year],
                    None => self.store.seasons_of(&block.id).await?,
                };
                let mut facts: Option<Arc<Facts>> = None;
                for year in years {
                    let rows = self.store.log(&block.id, year).await?;
                    let log = field_log(&rows);
                    for spray in kept(&rows, &log, self.now()) {
                        let facts = match &facts {
                            Some(facts) => facts.clone(),
                            None => {
                                let site = self.site(&block.site_id).await?;
                                let made =
                                    Arc::new(Facts::of(block, farm, sites::place(&site)?.zone, &catalogue));
                                facts.insert(made).clone()
                            }
                        };
                        all.push(shown(&spray, year, &facts, &catalogue, profile));
                    }
                }
            }
        }
    }
}

fn shown(
    spray: &Kept<'_>,
    year: i32,
    facts: &Facts,
    catalogue: &Catalogue,
    profile: Option<&str>,
) -> SprayShown {
    let record = Record::of(spray.document);
    let material = record.material.as_deref().and_then(|named| material(&catalogue.materials, named));
    let usual = material.and_then(|material| material.reentry_hours).zip(record.finished_at);
    let (reentry_at, reentry_from) = match (record.reentry_at(), usual) {
        (Some(at), _) => (Some(at), Some("record")),
        (None, Some((hours, finish))) => {
            (Some(finish.plus((hours * 3_600.0).ceil() as i64)), Some("material"))
        }
        (None, None) => (None, None),
    };
    let day = spray.at.local_date(facts.zone);
    let profile = profile_on(&catalogue.rules.profiles, profile, day);
    let missing =
        profile.map(|profile| profile.missing(&record, material, &facts.block())).unwrap_or_default();
    SprayShown {
        block_id: facts.id.clone(),
        block: facts.name.clone(),
        cultivar: facts.cultivar.clone(),
        location: facts.location.clone(),
        year,
        entry: spray.id.to_owned(),
        corrections: spray.corrections.iter().map(|id| (*id).to_owned()).collect(),
        draft: record.finished_at.is_none(),
        at: spray.at,
        finished_at: record.finished_at,
        time_zone: facts.zone.name().to_owned(),
        reentry_at,
        reentry_from,
        what_missing: profile.map(|profile| profile.told(&missing, day)),
        profile: profile.map(|profile| ProfileShown {
            id: profile.id.clone(),
            name: profile.name.clone(),
            source: profile.source.clone(),
            status: profile.status,
        }),
        missing,
        record,
    }
}

/// No such spray stands.
pub(crate) fn no_spray(entry: &str) -> Problem {
    Problem::not_found(format!("No spray `{entry}` stands in the log of that season."))
}
