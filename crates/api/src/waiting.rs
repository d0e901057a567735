//! What waits for a person: who has not counted, decided, looked or confirmed.

use chrono_tz::Tz;
use model::time::{Instant, zone};
use model::waiting::{self, Wanted};
use serde::Serialize;
use store::BoardRow;
use utoipa::ToSchema;

use crate::answer::{Answer, whole};
use crate::board::OfYear;
use crate::desk::Here;
use crate::outcomes::season;
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// A block with what waits there.
#[derive(Serialize, ToSchema)]
pub(crate) struct BlockWaits {
    block_id: String,
    name: String,
    farm_id: String,
    time_zone: String,
    year: i32,
    state: String,
    /// Nobody works in the block before.
    #[schema(value_type = Option<Moment>)]
    closed_until: Option<Instant>,
    /// The most pressing first.
    waits: Vec<WaitsShown>,
    season: String,
}

/// One thing that waits.
#[derive(Serialize, ToSchema)]
pub(crate) struct WaitsShown {
    /// `overrun`, `due`, `hold`, `may-be-due`, `look`, `count`, `decide` or `confirm`.
    #[schema(value_type = String)]
    what: Wanted,
    /// Since when, or by when, where that can be said; never before re-entry.
    #[schema(value_type = Option<Moment>)]
    at: Option<Instant>,
    /// The same in a sentence.
    text: String,
}

/// Every block of a year where something waits for a person: a spray that is due, a
/// frost to look at, a decision, a count, a confirmation.
#[utoipa::path(get, path = "/waiting", tag = "seasons", operation_id = "list-waiting", params(OfYear),
    responses((status = 200, body = Page<BlockWaits>)))]
pub(crate) async fn waiting(Here(desk): Here, query: Query) -> Answer {
    let (year, rows) = desk.year(query).await?;
    let now = desk.now();
    let mut items: Vec<BlockWaits> = rows.iter().filter_map(|row| block(row, year, now)).collect();
    items.sort_by_key(|item| item.waits.first().map(|first| (first.what, first.at)));
    whole(items)
}

fn block(row: &BoardRow, year: i32, now: Instant) -> Option<BlockWaits> {
    let season = season(row)?;
    let waits = waiting::of(&season, zone(&row.time_zone).unwrap_or(Tz::UTC), now);
    (!waits.is_empty()).then(|| BlockWaits {
        block_id: row.block_id.clone(),
        name: row.name.clone(),
        farm_id: row.farm_id.clone(),
        time_zone: row.time_zone.clone(),
        year,
        state: season.state.word().to_owned(),
        closed_until: season.reentry.as_ref().and_then(|reentry| reentry.until).filter(|until| *until > now),
        waits: waits
            .into_iter()
            .map(|waits| WaitsShown { what: waits.what, at: waits.at, text: waits.text })
            .collect(),
        season: format!("/api/v1/blocks/{}/seasons/{year}", row.block_id),
    })
}
