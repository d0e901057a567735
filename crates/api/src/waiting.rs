//! What waits for a person: who has not counted, decided, looked or confirmed.

use model::season::{FEW_BEE_HOURS, Season, State};
use model::time::{HOUR, Instant};
use serde::Serialize;
use store::BoardRow;
use utoipa::ToSchema;

use crate::answer::{Answer, whole};
use crate::board::OfYear;
use crate::desk::Here;
use crate::outcomes::season;
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// A count is asked for when it falls within so long.
const COUNT_WITHIN: i64 = 24 * HOUR;

/// A block with what waits there.
#[derive(Serialize, ToSchema)]
pub(crate) struct BlockWaits {
    block_id: String,
    name: String,
    farm_id: String,
    time_zone: String,
    year: i32,
    state: String,
    /// Nobody works in the block before; what is listed waits until then.
    #[schema(value_type = Option<Moment>)]
    closed_until: Option<Instant>,
    /// The most pressing first.
    waits: Vec<Waits>,
    season: String,
}

/// One thing that waits.
#[derive(Serialize, ToSchema)]
pub(crate) struct Waits {
    /// `spray`, `look`, `decide`, `count`, `confirm`, `bees`.
    what: &'static str,
    /// When it is wanted by, where that can be said.
    #[schema(value_type = Option<Moment>)]
    by: Option<Instant>,
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
    items.sort_by_key(|item| {
        let first = item.waits.first();
        (
            first.map_or(usize::MAX, |waits| {
                RANK.iter().position(|what| *what == waits.what).unwrap_or(usize::MAX)
            }),
            first.and_then(|waits| waits.by),
        )
    });
    whole(items)
}

/// The most pressing first.
const RANK: [&str; 6] = ["look", "spray", "decide", "count", "confirm", "bees"];

fn block(row: &BoardRow, year: i32, now: Instant) -> Option<BlockWaits> {
    let season = season(row)?;
    let closed_until = season.reentry.as_ref().and_then(|reentry| reentry.until).filter(|until| *until > now);
    let mut waits = of(&season, now);
    if let Some(until) = closed_until {
        for waits in &mut waits {
            waits.by = waits.by.map(|by| by.max(until));
        }
    }
    (!waits.is_empty()).then(|| BlockWaits {
        block_id: row.block_id.clone(),
        name: row.name.clone(),
        farm_id: row.farm_id.clone(),
        time_zone: row.time_zone.clone(),
        year,
        state: season.state.word().to_owned(),
        closed_until,
        waits,
        season: format!("/api/v1/blocks/{}/seasons/{year}", row.block_id),
    })
}

/// What waits in a season, the most pressing first.
fn of(season: &Season, now: Instant) -> Vec<Waits> {
    let mut waits = Vec::new();
    let over = matches!(season.state, State::Done | State::StoodDown);
    if over || season.target <= 0.0 {
        return waits;
    }
    let running = season.running();
    if let Some(night) = &season.frost.look_after {
        let text = format!("Look for damage after {night}, and count it.");
        waits.push(Waits { what: "look", by: Some(now), text });
    }
    if matches!(season.state, State::Due | State::Overrun) {
        let by = running.and_then(|leg| leg.reached_at);
        let text = match season.state {
            State::Overrun => "The mark is well past and no spray is logged.",
            _ => "The mark is reached and no spray is logged.",
        };
        waits.push(Waits { what: "spray", by, text: text.to_owned() });
    }
    if season.decision.is_none() {
        let says = season.verdict.verdict.spoken();
        let text = format!("No decision whether to thin is logged; by the table: {says}.");
        waits.push(Waits { what: "decide", by: season.start.map(|start| start.at), text });
    }
    if let Some(at) = season.count_again_at.filter(|at| at.since(now) <= COUNT_WITHIN) {
        waits.push(Waits { what: "count", by: Some(at), text: "Count open flowers.".to_owned() });
    } else if season.state == State::Watching && season.counts.is_empty() && season.start.is_none() {
        waits.push(Waits { what: "count", by: None, text: "No open flowers are counted yet.".to_owned() });
    }
    let note =
        |code: &str| season.notes.iter().find(|note| note.code == code).map(|note| note.text.to_string());
    if let Some(text) = note("materials-unconfirmed") {
        waits.push(Waits { what: "confirm", by: None, text });
    }
    if let Some(text) = note(FEW_BEE_HOURS) {
        waits.push(Waits { what: "bees", by: None, text });
    }
    waits
}
