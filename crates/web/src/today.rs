//! The grower's day: each block in one sentence, what to do next, and until when nobody
//! goes in; what is asked for first, soonest first.

mod told;

use std::collections::HashMap;

use access::Deed;
use askama::Template;
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::ahead::Ahead;
use model::season::{Season, State};
use model::time::{Instant, zone};
use model::waiting::{self, Wanted};
use serde_json::json;
use store::BoardRow;

use crate::pages;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::write::of_wanted;

/// Blocks that are looked at, and those of them that are shown.
const LOOKED_AT: u32 = 2_000;
const SHOWN: usize = 200;
/// Blocks past their mark of which it is told what now.
const WHAT_NOW: usize = 20;

#[derive(Template)]
#[template(path = "today.html")]
struct Page {
    words: &'static Words,
    title: &'static str,
    blocks: Vec<BlockToday>,
    /// Blocks without a season this year: id, name and farm.
    resting: Vec<(String, String, String)>,
    /// What stands over them.
    resting_title: String,
    more: bool,
    data: String,
}

/// One block.
struct BlockToday {
    id: String,
    name: String,
    farm: String,
    /// Where it stands and when it is time.
    sentence: String,
    /// Early, likely and late.
    range: Option<String>,
    /// What waits, each with the form by which it is done.
    asks: Vec<(String, Option<&'static str>)>,
    closed: Option<String>,
    /// What to make of a mark that passed.
    what_now: Vec<String>,
    /// The last reading used.
    as_of: Option<String>,
    may_write: bool,
    /// The form behind the button, and what the button says.
    wanted: &'static str,
    button: &'static str,
    urgent: bool,
    order: (bool, Option<Wanted>, bool, Option<Instant>),
}

/// The page.
pub(crate) async fn page(signed: Signed) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let now = view.now();
    let year = now.local_year(Tz::UTC);
    let farms: HashMap<String, String> =
        view.store().farms(None, LOOKED_AT).await?.into_iter().map(|farm| (farm.id, farm.name)).collect();
    let board = view.store().board(year, None, LOOKED_AT).await?;
    let mut more = board.len() == LOOKED_AT as usize;
    let rows: Vec<(BoardRow, bool)> = board
        .into_iter()
        .map(|row| {
            let may = view.caller().may(Deed::Log, &row.farm_id);
            (row, may)
        })
        .collect();
    let named = farms.clone();
    let blocks = tokio::task::spawn_blocking(move || {
        let farm = |id: &str| named.get(id).cloned().unwrap_or_default();
        let mut blocks: Vec<BlockToday> =
            rows.iter().map(|(row, may)| block(row, farm(&row.farm_id), *may, words, now)).collect();
        blocks.sort_by(|a, b| (&a.order, &a.name).cmp(&(&b.order, &b.name)));
        blocks
    });
    let mut blocks = blocks.await.map_err(|error| Stop::Failed(error.to_string()))?;
    let in_season: std::collections::HashSet<String> = blocks.iter().map(|block| block.id.clone()).collect();
    more |= blocks.len() > SHOWN;
    blocks.truncate(SHOWN);
    for block in blocks.iter_mut().filter(|block| block.urgent).take(WHAT_NOW) {
        block.what_now = what_now(&signed, &block.id, year).await?;
    }
    let all = view.store().blocks(None, None, LOOKED_AT).await?;
    let resting = all
        .into_iter()
        .filter(|block| block.archived_at.is_none() && !in_season.contains(&block.id))
        .take(SHOWN)
        .map(|block| (block.id, block.name, farms.get(&block.farm_id).cloned().unwrap_or_default()))
        .collect();
    let data = json!({"person": {"id": view.caller().person_id}, "now": now});
    let page = Page {
        words,
        title: words.get("today.title"),
        blocks,
        resting,
        resting_title: words.fill("today.resting", &[("year", &year)]),
        more,
        data: data.to_string().replace('<', "\\u003c"),
    };
    Ok(signed.keepable(pages::page(StatusCode::OK, &page)))
}

fn block(row: &BoardRow, farm: String, may_write: bool, words: &'static Words, now: Instant) -> BlockToday {
    let zone = zone(&row.time_zone).unwrap_or(Tz::UTC);
    let mut shown = BlockToday {
        id: row.block_id.clone(),
        name: row.name.clone(),
        farm,
        sentence: words.get("today.not_reckoned").to_owned(),
        range: None,
        asks: Vec::new(),
        closed: None,
        what_now: Vec::new(),
        as_of: None,
        may_write,
        wanted: "open-count",
        button: words.get("today.write_down"),
        urgent: false,
        order: (true, None, true, None),
    };
    let Some(doc) = row.doc.as_deref() else { return shown };
    let Ok(season) = serde_json::from_str::<Season>(doc) else {
        shown.sentence = words.get("today.unreadable").to_owned();
        return shown;
    };
    let ahead: Option<Ahead> = serde_json::from_str(doc).ok();
    let told = told::told(&season, ahead.as_ref(), zone, words);
    let waits = waiting::of(&season, zone, now);
    let first = waits.first().map(|waits| (waits.what, waits.at));
    let closed = season.reentry.as_ref().and_then(|reentry| reentry.until).is_some_and(|until| until > now);
    shown.sentence = told.sentence;
    shown.range = told.range;
    shown.closed = waiting::closed(season.reentry.as_ref(), zone, now);
    shown.as_of = season.as_of.map(|at| words.fill("today.as_of", &[("at", &at.spoken(zone))]));
    shown.urgent = matches!(season.state, State::Due | State::Overrun | State::Hold);
    let when = first.and_then(|(_, at)| at).or(told.at);
    shown.order = (first.is_none(), first.map(|(what, _)| what), when.is_none(), when);
    let first_form = first.and_then(|(what, _)| of_wanted(what));
    shown.wanted = if closed { "note" } else { first_form.unwrap_or("open-count") };
    if shown.wanted == "spray" {
        shown.button = words.get("today.write_spray");
    }
    // That a spray is due stands in the sentence already.
    let said = |what: Wanted| !closed && matches!(what, Wanted::Due | Wanted::Overrun | Wanted::MayBeDue);
    shown.asks = waits
        .into_iter()
        .filter(|waits| !said(waits.what))
        .map(|waits| {
            // Of a closed block only what is done at the desk is asked for.
            let form = of_wanted(waits.what).filter(|form| may_write && (!closed || *form == "decision"));
            (waits.text, form)
        })
        .collect();
    shown
}

async fn what_now(signed: &Signed, block: &str, year: i32) -> Result<Vec<String>, Stop> {
    let (block, _) = signed.block(block).await?;
    let Some(seen) = signed.0.season(&block, year).await? else { return Ok(Vec::new()) };
    Ok(seen.season.as_ref().map(|season| model::through::what_now(season, &seen.plan)).unwrap_or_default())
}
