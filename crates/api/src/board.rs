//! A region at one look: every block of a year, soonest first.

use chrono::Datelike;
use model::time::Instant;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::BoardRow;
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, whole};
use crate::desk::Here;
use crate::limits;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{Moment, Page};

/// One block of the board.
#[derive(Serialize, ToSchema)]
pub(crate) struct BoardEntry {
    block_id: String,
    name: String,
    #[schema(value_type = Option<String>)]
    cultivar: Option<Value>,
    farm_id: String,
    site_id: String,
    site: String,
    time_zone: String,
    year: i32,
    /// As a season has it; null before the first reckoning.
    state: Option<String>,
    /// The last reading used: how old the data is.
    #[schema(value_type = Option<Moment>)]
    as_of: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    reckoned_at: Option<Instant>,
    /// When open flowers were last counted.
    #[schema(value_type = Option<Moment>)]
    counted_at: Option<Instant>,
    /// The run of the clock that is under way.
    leg: Option<LegUnderWay>,
    /// Where the whole season stands.
    season: String,
}

/// The leg of a block that has not ended.
#[derive(Serialize, Deserialize, ToSchema)]
pub(crate) struct LegUnderWay {
    number: u32,
    /// Fraction of the style; null after the plan.
    mark: Option<f64>,
    /// `not-before` or `not-after`.
    bound: Option<String>,
    progress: Option<f64>,
    /// When readings reached the mark.
    #[schema(value_type = Option<Moment>)]
    reached_at: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    may_be_reached_since: Option<Instant>,
    /// When the forecast reaches it.
    #[schema(value_type = Option<Moment>)]
    expected_at: Option<Instant>,
    #[serde(skip_serializing)]
    #[schema(ignore)]
    ended_at: Option<Instant>,
}

/// What the board takes of a season.
#[derive(Deserialize)]
struct Reckoned {
    #[serde(default)]
    as_of: Option<Instant>,
    #[serde(default)]
    legs: Vec<LegUnderWay>,
}

/// What the board takes of a block.
#[derive(Deserialize)]
struct Planted {
    #[serde(default)]
    cultivar: Option<Value>,
}

/// Which blocks.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OfYear {
    /// The bloom year; by default the present one.
    #[param(minimum = 1900, maximum = 2199)]
    year: Option<i32>,
    /// Only those of this farm.
    farm_id: Option<String>,
}

/// Every block that has a season in a year, with where its clock stands, soonest
/// first.
#[utoipa::path(get, path = "/board", tag = "seasons", operation_id = "read-board", params(OfYear),
    responses((status = 200, body = Page<BoardEntry>)))]
pub(crate) async fn board(Here(desk): Here, mut query: Query) -> Answer {
    let year = query.text("year");
    let farm = query.text("farm_id");
    query.finish()?;
    let year = match year {
        Some(year) => crate::fields::year(&year)?,
        None => desk.now().utc().year(),
    };
    let rows = desk.store.board(year, farm.as_deref(), limits::BOARD + 1).await?;
    if rows.len() > limits::BOARD as usize {
        let most = limits::BOARD;
        let detail = format!("These are more than {most} blocks; name a farm.");
        return Err(Problem::parameter("farm_id", detail));
    }
    let mut entries: Vec<BoardEntry> = rows.into_iter().map(|row| entry(row, year)).collect();
    entries.sort_by_key(|entry| {
        let next = entry
            .leg
            .as_ref()
            .and_then(|leg| leg.reached_at.or(leg.may_be_reached_since).or(leg.expected_at));
        (next.is_none(), next)
    });
    whole(entries)
}

fn entry(row: BoardRow, year: i32) -> BoardEntry {
    // A season that could not be read has neither; its own page says why.
    let reckoned: Option<Reckoned> = row.doc.as_deref().and_then(|doc| serde_json::from_str(doc).ok());
    let (as_of, legs) = reckoned.map_or((None, Vec::new()), |reckoned| (reckoned.as_of, reckoned.legs));
    let planted: Option<Planted> = serde_json::from_str(&row.details).ok();
    BoardEntry {
        season: format!("/api/v1/blocks/{}/seasons/{year}", row.block_id),
        block_id: row.block_id,
        name: row.name,
        cultivar: planted.and_then(|planted| planted.cultivar),
        farm_id: row.farm_id,
        site_id: row.site_id,
        site: row.site,
        time_zone: row.time_zone,
        year,
        state: row.state,
        as_of,
        reckoned_at: row.reckoned_at,
        counted_at: row.counted_at,
        leg: legs.into_iter().rev().find(|leg| leg.ended_at.is_none()),
    }
}
