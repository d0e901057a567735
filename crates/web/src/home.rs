//! Where a person is after signing in: their farms and blocks, and for who sets
//! them up what waits.

use std::collections::BTreeMap;

use access::Deed;
use api::View;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::season::Season;
use model::time::{self, Instant};
use model::waiting::{self, Wanted};
use store::{BoardRow, Farm};

use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{Web, pages};

/// Farms, and blocks of each, that the page lists; the year's table has the rest.
const LISTED: u32 = 200;
/// Blocks that are looked at for what waits.
const LOOKED_AT: u32 = 2_000;

#[derive(Template)]
#[template(path = "home.html")]
struct Home {
    words: &'static Words,
    title: &'static str,
    name: String,
    operator: bool,
    year: i32,
    farms: Vec<FarmShown>,
    /// What waits; none for who sets no block up.
    waiting: Option<Vec<WaitingShown>>,
    more: bool,
    /// Whether no farm has a block yet, for who could add one.
    begins: bool,
}

struct FarmShown {
    /// Whether the reader sets it up.
    sets_up: bool,
    id: String,
    name: String,
    /// The reader's role there; empty for an operator without one.
    role: &'static str,
    /// Id, name and state of each block, and whether it has a season this year.
    blocks: Vec<(String, String, String, bool)>,
    /// Whether the reader may plan its sprayers' round.
    plans: bool,
    more: bool,
}

struct WaitingShown {
    block_id: String,
    block: String,
    farm: String,
    year: i32,
    lines: Vec<String>,
}

/// The page.
pub(crate) async fn page(State(web): State<Web>, signed: Signed) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let now = view.now();
    let year = now.local_year(Tz::UTC);
    let id = view.caller().person_id.as_deref().unwrap_or_default();
    let name = web.store.person(id).await?.map(|person| person.name).unwrap_or_default();
    let mut board = view.store().board(year, None, LOOKED_AT + 1).await?;
    let more = board.len() > LOOKED_AT as usize;
    board.truncate(LOOKED_AT as usize);
    let states: BTreeMap<String, String> = board
        .iter()
        .map(|row| {
            let unknown = || words.get("farm.not_reckoned").to_owned();
            (row.block_id.clone(), row.state.as_deref().map_or_else(unknown, state))
        })
        .collect();
    let mut farms = Vec::new();
    let mut names = BTreeMap::new();
    for farm in view.store().farms(None, LISTED).await? {
        names.insert(farm.id.clone(), farm.name.clone());
        farms.push(shown(view, farm, &states, words).await?);
    }
    let sets_up = |farm: &str| view.caller().may(Deed::SetUp, farm);
    let theirs: Vec<BoardRow> = board.into_iter().filter(|row| sets_up(&row.farm_id)).collect();
    let waiting = if view.caller().operator || farms.iter().any(|farm| sets_up(&farm.id)) {
        let waiting = tokio::task::spawn_blocking(move || all_waiting(theirs, &names, (year, now), words));
        Some(waiting.await.map_err(|error| Stop::Failed(error.to_string()))?)
    } else {
        None
    };
    let operator = view.caller().operator;
    let begins = waiting.is_some() && farms.iter().all(|farm| farm.blocks.is_empty());
    let page = Home { words, title: "bloomtide", name, operator, year, farms, waiting, more, begins };
    Ok(pages::page(StatusCode::OK, &page))
}

async fn shown(
    view: &View,
    farm: Farm,
    states: &BTreeMap<String, String>,
    words: &Words,
) -> Result<FarmShown, Stop> {
    let mut blocks = view.store().blocks(Some(&farm.id), None, LISTED + 1).await?;
    let more = blocks.len() > LISTED as usize;
    blocks.truncate(LISTED as usize);
    let role = view.caller().memberships.iter().find(|role| role.farm_id == farm.id);
    let state = |id: &str| states.get(id).cloned().unwrap_or_else(|| words.get("farm.no_season").to_owned());
    Ok(FarmShown {
        sets_up: farm.closed_at.is_none() && view.caller().may(Deed::SetUp, &farm.id),
        role: role.map_or("", |role| role.role.word()),
        blocks: blocks
            .into_iter()
            .map(|block| {
                let archived = block.archived_at.map(|_| words.get("farm.archived").to_owned());
                let state = archived.unwrap_or_else(|| state(&block.id));
                let season = states.contains_key(&block.id);
                (block.id, block.name, state, season)
            })
            .collect(),
        plans: view.caller().may(Deed::Log, &farm.id),
        id: farm.id,
        name: farm.name,
        more,
    })
}

/// What waits, the soonest first.
fn all_waiting(
    board: Vec<BoardRow>,
    farms: &BTreeMap<String, String>,
    (year, now): (i32, Instant),
    words: &Words,
) -> Vec<WaitingShown> {
    let mut all: Vec<(Option<Wanted>, WaitingShown)> = board
        .into_iter()
        .filter_map(|row| {
            let (first, lines) = waits(&row, now, words)?;
            let farm = farms.get(&row.farm_id).cloned().unwrap_or_default();
            Some((first, WaitingShown { block_id: row.block_id, block: row.name, farm, year, lines }))
        })
        .collect();
    // What has no season to wait in comes last.
    all.sort_by_key(|(first, _)| (first.is_none(), *first));
    all.into_iter().map(|(_, shown)| shown).collect()
}

/// The most pressing thing that waits, and all of it in sentences.
fn waits(row: &BoardRow, now: Instant, words: &Words) -> Option<(Option<Wanted>, Vec<String>)> {
    let zone = time::zone(&row.time_zone).unwrap_or(Tz::UTC);
    match row.doc.as_deref().map(serde_json::from_str::<Season>) {
        Some(Ok(season)) => {
            let waits = waiting::of(&season, zone, now);
            let first = waits.first()?.what;
            let mut lines: Vec<String> = waits.into_iter().map(|waits| waits.text).collect();
            lines.extend(waiting::closed(season.reentry.as_ref(), zone, now));
            Some((Some(first), lines))
        }
        Some(Err(_)) => Some((None, vec![words.get("board.unreadable").to_owned()])),
        None => Some((None, vec![words.get("home.not_reckoned").to_owned()])),
    }
}

/// A state's word for people.
fn state(word: &str) -> String {
    let known: Option<model::season::State> = serde_json::from_value(word.into()).ok();
    known.map_or_else(|| word.to_owned(), |known| charts::season::state(known).to_owned())
}
