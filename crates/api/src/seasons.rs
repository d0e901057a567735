//! Seasons as they were last reckoned, with what they were reckoned from.

use axum::body::Bytes;
use axum::extract::Path;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use model::catalogue::Catalogue;
use model::input::Faults;
use model::plan::{Agreed, Plan};
use model::record::Confirmation;
use model::time::Instant;
use model::words;
use serde::Serialize;
use serde_json::{Value, json};
use store::{Block, SeasonRow, Site, Source};
use utoipa::ToSchema;

use crate::answer::{Answer, whole};
use crate::conditional::tag;
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{Moment, Page};
use crate::{curves, fields, plans, sites};

/// A year in which a block has a season.
#[derive(Serialize, ToSchema)]
pub(crate) struct YearShown {
    year: i32,
    /// Where the season stands.
    season: String,
}

/// A season as it was last reckoned. The fields of `season` stand at the top as
/// well.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for seasons in the document")]
pub(crate) struct SeasonShown {
    year: i32,
    /// `watching`, `growing`, `due`, `overrun`, `hold`, `done` or `stood-down`.
    #[schema(nullable = false)]
    state: Option<String>,
    /// The last reading used.
    #[schema(value_type = Option<Moment>)]
    as_of: Option<Instant>,
    #[schema(value_type = Option<Object>)]
    start: Value,
    /// The runs of the clock, each with its mark and progress.
    #[schema(nullable = false, value_type = Option<Vec<Object>>)]
    legs: Value,
    #[schema(nullable = false, value_type = Option<Object>)]
    hours: Value,
    /// Live open flowers a tree, walk by walk.
    #[schema(nullable = false, value_type = Option<Vec<Object>>)]
    counts: Value,
    /// When to count open flowers next, where that is called for.
    #[schema(value_type = Option<Moment>)]
    count_again_at: Option<Instant>,
    /// The frost after which leg 1 starts anew.
    #[schema(value_type = Option<Object>)]
    anew: Value,
    /// A frost over the running leg that nobody has looked at yet.
    #[schema(value_type = Option<Object>)]
    hold: Value,
    /// Live flowers a tree that came through before a spray: low, likely, high.
    #[schema(value_type = Option<Object>)]
    flowers_through: Value,
    /// The latest decision.
    #[schema(value_type = Option<Object>)]
    decision: Value,
    /// What the table says of thinning, every matching row, what is close, what is
    /// missing and what would change it.
    #[schema(nullable = false, value_type = Option<Object>)]
    verdict: Value,
    #[schema(value_type = Option<Object>)]
    buds: Value,
    #[schema(value_type = Option<Object>)]
    style: Value,
    /// Cold nights so far, and what the forecast says.
    #[schema(nullable = false, value_type = Option<Object>)]
    frost: Value,
    #[schema(value_type = Option<Object>)]
    damage: Value,
    /// Until when nobody works in the block.
    #[schema(value_type = Option<Object>)]
    reentry: Value,
    /// Names of the blocks that start, stage or style length are borrowed from.
    #[schema(nullable = false, value_type = Option<Object>)]
    borrowed: Value,
    /// What set, and whether bloom returned.
    #[schema(value_type = Option<Object>)]
    outcome: Value,
    /// When the start and the marks will be reached, with their odds, where there is a
    /// forecast.
    #[schema(value_type = Option<Object>)]
    odds: Value,
    /// The hours in which spraying lies within the limits set, a leg each; hour by hour
    /// they stand under `slots` of the season.
    #[schema(nullable = false, value_type = Option<Vec<Object>>)]
    slots: Value,
    /// What to make of a mark that passed without a spray, in sentences.
    what_now: Vec<String>,
    #[schema(nullable = false, value_type = Option<Vec<Object>>)]
    notes: Value,
    #[schema(value_type = Option<Object>)]
    season: Value,
    /// Whether something has changed since it was reckoned; it will be soon.
    stale: bool,
    #[schema(value_type = Option<Moment>)]
    reckoned_at: Option<Instant>,
    /// The first moment at which time alone can change it.
    #[schema(value_type = Option<Moment>)]
    look_again_at: Option<Instant>,
    #[schema(value_type = Object)]
    block: Value,
    #[schema(value_type = Object)]
    site: Value,
    farm_id: String,
    /// Fruit that each tree is to carry.
    target: Option<f64>,
    /// Open flowers per tree at which the clock starts.
    threshold: Option<f64>,
    curve: Option<curves::Provenance>,
    plan: Option<plans::PlanShown>,
    #[schema(value_type = Vec<Object>)]
    sources: Value,
    caution: String,
}

/// The years in which a block has a season.
#[utoipa::path(get, path = "/blocks/{id}/seasons", tag = "seasons", operation_id = "list-seasons",
    params(("id" = String, Path)), responses((status = 200, body = Page<YearShown>)))]
pub(crate) async fn years(Here(desk): Here, Path(block): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let mut years = desk.store.seasons_of(&block.id).await?;
    years.sort_unstable();
    let item = |year| YearShown { year, season: format!("/api/v1/blocks/{}/seasons/{year}", block.id) };
    whole(years.into_iter().map(item).collect())
}

/// One season. Its fields stand at the top and once more under `season`, for
/// readers of either.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}", tag = "seasons", operation_id = "read-season",
    params(("id" = String, Path), ("year" = i32, Path)), responses((status = 200, body = SeasonShown)))]
pub(crate) async fn one(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let (generation, now) = (desk.store.generation(), desk.now());
    let key = format!("{:?} {block} {year}", desk.viewer());
    if let Some((body, tag)) = desk.seasons.get(&key, generation, now) {
        return Ok(answered(body, tag));
    }
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let Some(row) = desk.store.season(&block.id, year).await? else {
        return Err(no_season(&block, year));
    };
    let (site, plan) = desk.behind(&block, year).await?;
    let catalogue = desk.catalogue().await?;
    let sources = desk.store.sources_of(&site.id).await?;
    let confirmed = desk.confirmed(&block.farm_id).await?;
    let behind = Behind { site, plan, sources, confirmed };
    let document = desk.render_season(&row, &block, &behind, &catalogue)?;
    let body = Bytes::from(document.to_string());
    let tag = HeaderValue::from_str(&tag(&body)).map_err(|_| Problem::failed())?;
    desk.seasons.put(key, generation, now, (body.clone(), tag.clone()));
    Ok(answered(body, tag))
}

fn answered(body: Bytes, tag: HeaderValue) -> Response {
    let json = HeaderValue::from_static("application/json");
    ([(header::CONTENT_TYPE, json), (header::ETAG, tag)], body).into_response()
}

/// Neither plan nor log has begun that season.
pub(crate) fn no_season(block: &Block, year: i32) -> Problem {
    Problem::not_found(format!(
        "Block `{}` has no season {year}: it begins with a plan or a log entry.",
        block.id
    ))
}

/// What a season is shown with.
struct Behind {
    site: Site,
    plan: Option<Value>,
    sources: Vec<Source>,
    confirmed: Vec<Confirmation>,
}

/// Whether what was reckoned is no longer what would be.
pub(crate) fn stale(row: &SeasonRow, edition: i64, now: Instant) -> bool {
    row.reckoned.as_ref().is_none_or(|reckoned| {
        !reckoned.versions.same_input(&row.versions_now)
            || reckoned.versions.program != edition
            || reckoned.look_again_at.is_some_and(|at| at <= now)
    })
}

impl Visit {
    /// The site of a block, and its plan of a year as given.
    pub(crate) async fn behind(&self, block: &Block, year: i32) -> Result<(Site, Option<Value>), Problem> {
        let site = self.site(&block.site_id).await?;
        let plan = self.store.plan(&block.id, year).await?.map(|plan| plan.doc);
        Ok((site, plan))
    }

    fn render_season(
        &self,
        row: &SeasonRow,
        block: &Block,
        behind: &Behind,
        catalogue: &Catalogue,
    ) -> Result<Value, Problem> {
        let Behind { site, plan, sources, confirmed } = behind;
        let season = row.reckoned.as_ref().map(|reckoned| &reckoned.doc);
        let mut document = json!({"year": row.year});
        if let Some(fields) = season.and_then(Value::as_object) {
            for (name, value) in fields {
                document[name] = value.clone();
            }
        }
        // A season that could not be read has a fault in the place of its fields.
        if let Some(reckoned) = &row.reckoned
            && document.get("state").is_none()
        {
            document["state"] = json!(reckoned.state);
        }
        document["season"] = json!(season);
        let plan = assembled(row.year, block, site, plan, catalogue)?;
        let more = json!({
            "stale": stale(row, catalogue.edition, self.now()),
            "reckoned_at": row.reckoned.as_ref().map(|reckoned| reckoned.reckoned_at),
            "look_again_at": row.reckoned.as_ref().and_then(|reckoned| reckoned.look_again_at),
            "block": {
                "id": block.id,
                "name": block.name,
                "cultivar": block.details.get("cultivar"),
                "curve": block.details.get("curve"),
            },
            "site": {
                "id": site.id,
                "name": site.name,
                "time_zone": site.time_zone,
                "latitude": site.latitude,
                "longitude": site.longitude,
            },
            "farm_id": block.farm_id,
            "target": plan.as_ref().ok().map(|plan| plan.block.target_fruit_per_tree),
            "threshold": plan.as_ref().ok().map(Plan::threshold),
            "curve": plan.as_ref().ok().map(|plan| curves::provenance(&plan.block.curve)),
            "plan": plan.as_ref().ok().map(|plan| plans::render(&agreed(plan), catalogue, confirmed)),
            "sources": sources.iter().map(|source| json!({
                "id": source.id,
                "name": source.name,
                "way": source.way.word(),
                "kind": source.kind.word(),
                "attribution": self.attribution(source),
            })).collect::<Vec<_>>(),
            "what_now": plan.as_ref().ok().zip(season).map(|(plan, season)| what_now(season, plan)).unwrap_or_default(),
            "caution": words::CAUTION,
        });
        if let Value::Object(more) = more {
            for (name, value) in more {
                document[name] = value;
            }
        }
        if let Err(faults) = plan {
            document["faults"] = json!(faults.0);
        }
        Ok(document)
    }
}

/// What to make of a mark that passed without a spray.
fn what_now(season: &Value, plan: &Plan) -> Vec<String> {
    // Only of these is a whole season read back.
    if !["due", "overrun", "hold"].iter().any(|state| season["state"] == *state) {
        return Vec::new();
    }
    let season: Option<model::season::Season> = serde_json::from_value(season.clone()).ok();
    season.map(|season| model::through::what_now(&season, plan)).unwrap_or_default()
}

/// Block and plan as the model takes them; the faults are those of documents
/// that were taken once and that the catalogue no longer fits.
pub(crate) fn assembled(
    year: i32,
    block: &Block,
    site: &Site,
    plan: &Option<Value>,
    catalogue: &Catalogue,
) -> Result<Result<Plan, Faults>, Problem> {
    let zone = sites::place(site)?.zone;
    let plan = Plan::assemble(Some(year), zone, &block.details, plan.as_ref(), catalogue);
    if let Err(faults) = &plan {
        tracing::error!(block = block.id, year, %faults, "a stored block or plan does not read back");
    }
    Ok(plan)
}

fn agreed(plan: &Plan) -> Agreed {
    Agreed { sprays: plan.sprays.clone(), settings: plan.settings }
}
