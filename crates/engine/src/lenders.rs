//! What a block borrows from others, reckoned from the lenders' own logs and
//! weather: never from what was reckoned of them, so that it hangs on no order.

use std::sync::Arc;

use model::catalogue::Catalogue;
use model::field_log::FieldLog;
use model::growth::{Course, Growth};
use model::lent::{Borrows, Lent};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::time::{Instant, zone};
use store::{Lender, Stale};
use weather::checks;

use crate::fetch::place;
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
        let (plan, log) = match read(stale, lender, catalogue) {
            Ok(read) => read,
            Err(fault) => {
                tracing::error!(block = %lender.block.id, %fault, "a block that another borrows from cannot be read");
                continue;
            }
        };
        let (block, borrowed) = (&lender.block, borrows.start.as_deref() == Some(lender.block.id.as_str()));
        let growth = if borrowed { Some(growth(engine, lender, &plan, &log, now).await?) } else { None };
        let known = season::Lender { id: &block.id, name: &block.name, plan: &plan, log: &log };
        // Only a borrowed start asks for growth.
        known.lend(borrows, &mut lent, || growth.expect("made where the start is borrowed"), now);
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
    let joined = Series::join(&weather.by_trust(), forecast, now);
    let series = match (&plan.block.offset, place(&weather.site)) {
        (Some(offset), Some(place)) => joined.at_block(offset, &place),
        _ => joined,
    };
    Ok(Growth::new(Arc::new(Course::new(series)), plan.block.curve.clone()))
}
