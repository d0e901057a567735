//! What a block's season is reckoned from, for what is shown beside the season as
//! it was last reckoned: plan, log and the weather at the block.

use std::sync::Arc;

use model::catalogue::Catalogue;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::lent::{Borrows, Lent};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::time::Instant;
use store::{Block, LogEntry, SiteWeather};
use weather::checks::{self, Findings, Thresholds};

use crate::desk::Visit;
use crate::problem::Problem;
use crate::seasons::{assembled, no_season};
use crate::sites;

/// What one season rests on.
pub(crate) struct Ground {
    pub(crate) block: Block,
    pub(crate) plan: Plan,
    pub(crate) log: FieldLog,
    pub(crate) weather: SiteWeather,
    pub(crate) now: Instant,
}

impl Visit {
    /// The ground of a season that must be there.
    pub(crate) async fn ground(
        &self,
        block: Block,
        year: i32,
        catalogue: &Catalogue,
    ) -> Result<Ground, Problem> {
        if self.store.season(&block.id, year).await?.is_none() {
            return Err(no_season(&block, year));
        }
        let mut ground = self.own_ground(block, year, catalogue).await?.ok_or_else(Problem::failed)?;
        let versions = self.store.plans(&ground.block.id, year).await?;
        ground.plan = ground.plan.with_versions(versions.iter().map(|version| (version.at, &version.doc)));
        ground.plan.lent = self.lent(&ground.plan.block.borrows, year, catalogue).await?;
        Ok(ground)
    }

    /// Growth of a block in its own air over a season.
    pub(crate) async fn growth(&self, block: Block, year: i32) -> Result<Growth, Problem> {
        let mut ground = self.ground(block, year, &self.catalogue().await?).await?;
        let thresholds = self.app.thresholds.clone();
        let grown = tokio::task::spawn_blocking(move || {
            ground.check(&thresholds);
            Growth::new(ground.course(), ground.plan.block.curve.clone())
        });
        grown.await.map_err(|error| {
            tracing::error!(%error, "the growth of a season could not be summed");
            Problem::failed()
        })
    }

    /// The same without what is borrowed; none where block or plan no longer fit
    /// the catalogue.
    async fn own_ground(
        &self,
        block: Block,
        year: i32,
        catalogue: &Catalogue,
    ) -> Result<Option<Ground>, Problem> {
        let now = self.now();
        let (site, plan) = self.behind(&block, year).await?;
        let Ok(plan) = assembled(year, &block, &site, &plan, catalogue)? else { return Ok(None) };
        let log = field_log(&self.store.log(&block.id, year).await?);
        let (begin, end) = season::window(&log, now);
        let mut weather = self.store.block_weather(&block.id, begin, end).await?;
        if end < now {
            // A season long past: today's forecast has nothing to do with it.
            weather.forecast = None;
        }
        Ok(Some(Ground { block, plan, log, weather, now }))
    }

    /// What other blocks lend this one, from their own logs and weather.
    async fn lent(&self, borrows: &Borrows, year: i32, catalogue: &Catalogue) -> Result<Lent, Problem> {
        let mut lent = Lent::default();
        for id in borrows.lenders() {
            let Some(lender) = self.store.block(id).await? else { continue };
            let Some(mut ground) = self.own_ground(lender, year, catalogue).await? else { continue };
            ground.check(&self.app.thresholds);
            let Ground { block, plan, log, now, .. } = &ground;
            let lender = season::Lender { id: &block.id, name: &block.name, plan, log };
            let growth = || Growth::new(ground.course(), plan.block.curve.clone());
            lender.lend(borrows, &mut lent, growth, *now);
        }
        Ok(lent)
    }
}

impl Ground {
    /// Flags the readings for what they are worth, and says what was found.
    pub(crate) fn check(&mut self, thresholds: &Arc<Thresholds>) -> Findings {
        checks::mark(self.weather.for_checks(), self.now, thresholds)
    }

    /// The weather at the block, once its readings are checked.
    pub(crate) fn course(&self) -> Arc<Course> {
        let joined = Series::join(&self.weather.by_trust(), self.weather.forecast.as_ref(), self.now);
        let offset = self.plan.block.offset.as_ref();
        let series = match (offset, sites::place(&self.weather.site)) {
            (Some(offset), Ok(place)) => joined.at_block(offset, &place),
            _ => joined,
        };
        Arc::new(Course::new(series))
    }
}

/// A log as it is kept; an entry that no longer reads back is left out.
pub fn field_log(rows: &[LogEntry]) -> FieldLog {
    let entry = |row: &LogEntry| match Entry::read(&row.doc, Some(&row.id)) {
        Ok(entry) => Some(entry),
        Err(faults) => {
            tracing::error!(entry = row.id, %faults, "a stored log entry does not read back");
            None
        }
    };
    FieldLog::by_id(rows.iter().filter_map(entry).collect()).expect("the store keeps one entry under an id")
}
