//! What a block borrows from others, reckoned from the lenders' own logs and
//! weather: never from what was reckoned of them, so that it hangs on no order.

use std::sync::Arc;

use model::catalogue::Catalogue;
use model::field_log::FieldLog;
use model::growth::{Course, Growth};
use model::lent::{Borrows, Lent, LentBy};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::time::{Instant, zone};
use store::{Lender, Stale};
use weather::checks;

use crate::reckon::field_log;
use crate::{Engine, PassError};

/// What the lenders of a season have to lend at `now`. One that cannot be read, or
/// is not there, lends nothing.
///
/// # Errors
/// When the database fails.
pub(crate) async fn lent(
    engine: &Engine,
    stale: &Stale,
    borrows: &Borrows,
    catalogue: &Catalogue,
    now: Instant,
) -> Result<Lent, PassError> {
    let mut lent = Lent::default();
    for lender in &stale.lenders {
        let id = Some(lender.block.id.as_str());
        let (plan, log) = match read(stale, lender, catalogue) {
            Ok(read) => read,
            Err(fault) => {
                tracing::error!(block = %lender.block.id, %fault, "a block that another borrows from cannot be read");
                continue;
            }
        };
        let by = |from: &str| from.to_owned();
        let name = lender.block.name.as_str();
        if borrows.stage.as_deref() == id {
            let value = season::stages(&log, now);
            lent.stages = (!value.is_empty()).then(|| LentBy { from: by(name), value });
        }
        if borrows.style_length.as_deref() == id {
            let value = season::style_lengths(&plan, &log, now);
            lent.style_lengths_mm = (!value.is_empty()).then(|| LentBy { from: by(name), value });
        }
        if borrows.start.as_deref() == id {
            let growth = growth(engine, lender, &plan, &log, now).await?;
            let start = season::own_start(&plan, &log, &growth, now);
            lent.start = start.map(|value| LentBy { from: by(name), value });
        }
    }
    Ok(lent)
}

fn read(stale: &Stale, lender: &Lender, catalogue: &Catalogue) -> Result<(Plan, FieldLog), String> {
    let zone = zone(&lender.site.time_zone).map_err(|error| error.to_string())?;
    let plan = Plan::assemble(Some(stale.year), zone, &lender.block.details, lender.plan.as_ref(), catalogue)
        .map_err(|faults| faults.to_string())?;
    Ok((plan, field_log(&lender.log)?))
}

async fn growth(
    engine: &Engine,
    lender: &Lender,
    plan: &Plan,
    log: &FieldLog,
    now: Instant,
) -> Result<Growth, PassError> {
    let (from, to) = season::window(log, now);
    let mut weather = engine.store.block_weather(&lender.block.id, from, to).await?;
    checks::mark(weather.for_checks(), now, &engine.thresholds);
    let forecast = weather.forecast.as_ref().filter(|_| to >= now);
    let series = Series::join(&weather.by_trust(), forecast, now);
    Ok(Growth::new(Arc::new(Course::new(series)), plan.block.curve.clone()))
}
