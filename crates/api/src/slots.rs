//! The hours in which spraying lies within the limits set, hour by hour.

use axum::extract::Path;
use chrono_tz::Tz;
use model::ahead::{self, Ahead, Sky};
use model::plan::SLOT_LIMITS;
use model::season::Season;
use model::slot::{Answer as Slots, Hours};
use model::sun::Sun;
use model::time::{DAY, Instant};
use model::words;
use serde::Serialize;
use store::Block;
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::seasons::no_season;
use crate::shapes::Moment;

/// Hours are looked at from so long before now until so long after.
const AROUND: i64 = 10 * DAY;

/// The slots of a season, with what speaks against each hour.
#[derive(Serialize, ToSchema)]
pub(crate) struct SlotsShown {
    block_id: String,
    year: i32,
    time_zone: String,
    #[schema(value_type = Moment)]
    asked_at: Instant,
    /// A leg each: the slot, those by the early and the late edge, every hour with what
    /// speaks against it and what is not known, the limits and what none is set for.
    #[schema(value_type = Vec<Object>)]
    slots: Vec<Slots>,
    /// In sentences.
    told: Vec<String>,
    caution: &'static str,
}

/// The hours to spray in around the marks ahead, by the odds as they were last reckoned.
#[utoipa::path(get, path = "/blocks/{id}/seasons/{year}/slots", tag = "seasons", operation_id = "read-slots",
    params(("id" = String, Path), ("year" = i32, Path)), responses((status = 200, body = SlotsShown)))]
pub(crate) async fn of_season(
    Here(desk): Here,
    Path((block, year)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let year = fields::year(&year)?;
    let block_id = block.id.clone();
    let Looked { slots, zone, asked_at } = desk.slots(block, year).await?;
    ok(SlotsShown {
        block_id,
        year,
        time_zone: zone.name().to_owned(),
        asked_at,
        told: slots.iter().flat_map(|answer| answer.told(zone)).collect(),
        slots,
        caution: words::CAUTION,
    })
}

/// Slots as they were looked for.
pub struct Looked {
    /// A leg each, hour by hour.
    pub slots: Vec<Slots>,
    /// Zone of the block's wall clock.
    pub zone: Tz,
    /// The moment of looking.
    pub asked_at: Instant,
}

impl Visit {
    /// The slots of a season that must be there.
    pub(crate) async fn slots(&self, block: Block, year: i32) -> Result<Looked, Problem> {
        let Some(row) = self.store.season(&block.id, year).await? else {
            return Err(no_season(&block, year));
        };
        let site = self.site(&block.site_id).await?;
        let doc = row.reckoned.map(|reckoned| reckoned.doc).unwrap_or_default();
        let season: Option<Season> = serde_json::from_value(doc.clone()).ok();
        let known: Option<Ahead> = serde_json::from_value(doc).ok();
        let own = self.store.farm_rule(&block.farm_id, SLOT_LIMITS).await?;
        let own: Vec<_> = own.map(|own| (SLOT_LIMITS.to_owned(), own)).into_iter().collect();
        let mut ground = self.ground(block, year, &self.catalogue().await?).await?;
        ground.plan = ground.plan.under(&own, &[]);
        let now = ground.now;
        let air = self.store.air(&site.id, now.plus(-AROUND), now.plus(AROUND)).await?;
        let air: Vec<_> = air.into_iter().map(|(_, air)| air).collect();
        let (thresholds, zone) = (self.app.thresholds.clone(), ground.plan.zone);
        let sun = Sun::at(site.latitude, site.longitude);
        let looked = tokio::task::spawn_blocking(move || {
            ground.check(&thresholds);
            let course = ground.course();
            let hours = Hours::of(course.series(), &air, now.plus(-AROUND), now.plus(AROUND));
            let sky = Sky { hours: &hours, sun };
            match (season, known) {
                (Some(season), Some(known)) => ahead::slots(&ground.plan, &season, &known.odds, &sky, now),
                _ => Vec::new(),
            }
        });
        let slots = looked.await.map_err(|error| {
            tracing::error!(%error, "slots could not be looked for");
            Problem::failed()
        })?;
        Ok(Looked { slots, zone, asked_at: now })
    }
}
