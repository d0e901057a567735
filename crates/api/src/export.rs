//! Everything of a farm, or of a person, to take away.

use axum::extract::Path;
use axum::http::{HeaderValue, header};
use model::time::Instant;
use serde::Serialize;
use serde_json::{Value, json};
use store::Block;
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::Moment;
use crate::{alerts, audit, blocks, farms, limits, log, me, people, sites};

/// A farm with everything that belongs to it.
#[derive(Serialize, ToSchema)]
pub(crate) struct FarmExport {
    #[schema(value_type = Moment)]
    exported_at: Instant,
    farm: farms::FarmShown,
    people: Vec<people::MemberShown>,
    /// Its sites, each with its sources and their readings (time, °C, minutes of a
    /// mean, flag).
    #[schema(value_type = Vec<Object>)]
    sites: Vec<Value>,
    /// Its blocks, each with its seasons: every version of the plan, the log, what
    /// was last reckoned, and the alerts.
    #[schema(value_type = Vec<Object>)]
    blocks: Vec<Value>,
}

/// What is kept of a person.
#[derive(Serialize, ToSchema)]
pub(crate) struct PersonExport {
    #[schema(value_type = Moment)]
    exported_at: Instant,
    caller: me::CallerShown,
    credentials: Vec<me::CredentialShown>,
    /// What they did, the latest first.
    deeds: Vec<audit::AuditShown>,
}

/// Everything of a farm, for its advisors.
#[utoipa::path(get, path = "/farms/{id}/export", tag = "farms", operation_id = "export-farm",
    params(("id" = String, Path)), responses((status = 200, body = FarmExport)))]
pub(crate) async fn farm(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&id).await?;
    if !desk.caller.may_review(&farm.id) {
        return Err(Problem::not_allowed("an advisor of this farm"));
    }
    let members = desk.store.members_of(&farm.id).await?;
    let export = FarmExport {
        exported_at: desk.now(),
        people: members.iter().map(|(person, membership)| people::shown(person, membership)).collect(),
        sites: desk.all_sites(&farm.id).await?,
        blocks: desk.all_blocks(&farm.id).await?,
        farm: farms::shown(&farm),
    };
    as_file(ok(export)?, &format!("farm-{id}.json"))
}

/// What is kept of the caller.
#[utoipa::path(get, path = "/me/export", tag = "me", operation_id = "export-me",
    responses((status = 200, body = PersonExport)))]
pub(crate) async fn person(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let id = desk.person()?;
    let person = desk.store.person(id).await?;
    let credentials = desk.store.credentials_of(id).await?;
    let deeds = desk.store.deeds_of(id, limits::DEEDS).await?;
    let export = PersonExport {
        exported_at: desk.now(),
        caller: me::shown(&desk, person.as_ref()),
        credentials: credentials.iter().map(|one| me::shown_credential(&desk, one)).collect(),
        deeds: deeds.iter().map(audit::shown).collect(),
    };
    as_file(ok(export)?, "me.json")
}

/// A browser keeps it under a name.
fn as_file(mut response: axum::response::Response, name: &str) -> Answer {
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""));
    response.headers_mut().insert(header::CONTENT_DISPOSITION, disposition.map_err(|_| Problem::failed())?);
    Ok(response)
}

impl Visit {
    async fn all_sites(&self, farm_id: &str) -> Result<Vec<Value>, Problem> {
        let mut all = Vec::new();
        let mut after: Option<String> = None;
        loop {
            let sites = self.store.sites(Some(farm_id), after.as_deref(), limits::LONGEST_PAGE).await?;
            for site in &sites {
                let mut document = json!(sites::shown(site));
                let sources = self.store.readings(&site.id, Instant::MIN, Instant::MAX).await?;
                document["sources"] = sources
                    .iter()
                    .map(|(source, readings)| {
                        let mut document = json!(self.render_source(source));
                        let rows =
                            readings.iter().map(|one| json!([one.at, one.celsius, one.span / 60, one.flag]));
                        document["readings"] = rows.collect();
                        document
                    })
                    .collect();
                all.push(document);
            }
            match sites.last() {
                Some(last) => after = Some(last.id.clone()),
                None => return Ok(all),
            }
        }
    }

    async fn all_blocks(&self, farm_id: &str) -> Result<Vec<Value>, Problem> {
        let mut all = Vec::new();
        let mut after: Option<String> = None;
        loop {
            let blocks = self.store.blocks(Some(farm_id), after.as_deref(), limits::LONGEST_PAGE).await?;
            for block in &blocks {
                let mut document = json!(blocks::shown(block));
                document["whereabouts"] = json!(self.whereabouts(block).await?);
                document["seasons"] = Value::Array(self.all_seasons(block).await?);
                all.push(document);
            }
            match blocks.last() {
                Some(last) => after = Some(last.id.clone()),
                None => return Ok(all),
            }
        }
    }

    async fn all_seasons(&self, block: &Block) -> Result<Vec<Value>, Problem> {
        let mut seasons = Vec::new();
        for year in self.store.seasons_of(&block.id).await? {
            let plans = self.store.plans(&block.id, year).await?;
            let entries = self.store.log(&block.id, year).await?;
            let season = self.store.season(&block.id, year).await?.and_then(|row| row.reckoned);
            let told = self.store.alerts_of(&block.id, year).await?;
            seasons.push(json!({
                "year": year,
                "plans": plans.iter().map(|plan| json!({
                    "version": plan.version, "set_at": plan.at, "plan": plan.doc,
                })).collect::<Vec<_>>(),
                "log": entries.iter().map(log::render).collect::<Vec<_>>(),
                "season": season.map(|season| season.doc),
                "alerts": told.iter().map(alerts::shown).collect::<Vec<_>>(),
            }));
        }
        Ok(seasons)
    }
}
