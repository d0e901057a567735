//! A farm: its blocks by how their season stands, its sites and people, and the way to
//! all that is kept of it.

use std::collections::{BTreeMap, BTreeSet};

use access::Deed;
use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use model::season::State;
use store::{Block, Farm};

use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

/// Blocks and sites that the page lists.
const LISTED: u32 = 2_000;

/// What is most pressing comes first.
const ORDER: [State; 7] =
    [State::Overrun, State::Due, State::Hold, State::Growing, State::Watching, State::StoodDown, State::Done];

#[derive(Template)]
#[template(path = "farm.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    year: i32,
    /// What stands where the farm was closed.
    closed: Option<String>,
    groups: Vec<Group>,
    more: bool,
    sites: Vec<SiteRow>,
    /// Name and role of each.
    people: Vec<(String, &'static str)>,
    /// Whether they may read who did what.
    reviews: bool,
    /// Whether they write into its logs.
    logs: bool,
    /// Whether they set the farm up.
    sets: bool,
}

/// Blocks whose seasons stand alike.
struct Group {
    state: String,
    blocks: Vec<BlockRow>,
}

struct BlockRow {
    id: String,
    name: String,
    cultivar: String,
    /// Whether there is a report of this year.
    reported: bool,
}

struct SiteRow {
    id: String,
    name: String,
    /// Whether it is the server's own, which several farms may use.
    shared: bool,
    blocks: usize,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    let (view, words) = (&signed.0, signed.words());
    let zone = signed.farm_zone(Some(&farm)).await?;
    let year = view.now().local_year(zone);
    let mut blocks = view.store().blocks(Some(&farm.id), None, LISTED + 1).await?;
    let more = blocks.len() > LISTED as usize;
    blocks.truncate(LISTED as usize);
    let board = view.store().board(year, Some(&farm.id), LISTED).await?;
    let states: BTreeMap<String, Option<String>> =
        board.into_iter().map(|row| (row.block_id, row.state)).collect();
    let sites = sites(&signed, &farm, &blocks).await?;
    let members = view.store().members_of(&farm.id).await?;
    let page = Page {
        words,
        title: farm.name.clone(),
        year,
        closed: farm.closed_at.map(|at| words.fill("farm.closed", &[("at", &said::dated(at, zone))])),
        groups: groups(blocks, &states, words),
        more,
        sites,
        people: members.into_iter().map(|(person, held)| (person.name, held.role.word())).collect(),
        reviews: view.caller().may_review(&farm.id),
        logs: signed.may(Deed::Log, &farm),
        sets: signed.sets_up(&farm.id).is_ok(),
        farm_id: farm.id,
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// The farm's own sites, and those of the server that its blocks use.
async fn sites(signed: &Signed, farm: &Farm, blocks: &[Block]) -> Result<Vec<SiteRow>, Stop> {
    let store = signed.0.store();
    let mut sites = store.sites(Some(&farm.id), None, LISTED).await?;
    let known: BTreeSet<String> = sites.iter().map(|site| site.id.clone()).collect();
    let used: BTreeSet<&str> = blocks.iter().map(|block| block.site_id.as_str()).collect();
    for id in used.into_iter().filter(|id| !known.contains(*id)) {
        sites.extend(store.site(id).await?);
    }
    sites.sort_by(|a, b| a.name.cmp(&b.name));
    let row = |site: store::Site| SiteRow {
        blocks: blocks.iter().filter(|block| block.site_id == site.id).count(),
        shared: site.farm_id.is_none(),
        id: site.id,
        name: site.name,
    };
    Ok(sites.into_iter().map(row).collect())
}

/// The blocks by state, the most pressing first; those without a season of the year and
/// those that are archived come last.
fn groups(
    blocks: Vec<Block>,
    states: &BTreeMap<String, Option<String>>,
    words: &'static Words,
) -> Vec<Group> {
    let mut groups: BTreeMap<usize, Group> = BTreeMap::new();
    for block in blocks {
        let season = states.get(&block.id);
        let place = |word: &str| ORDER.iter().position(|state| state.word() == word);
        let (rank, state) = match (block.archived_at, season) {
            (Some(_), _) => (ORDER.len() + 2, words.get("farm.archived").to_owned()),
            (None, None) => (ORDER.len() + 1, words.get("farm.no_season").to_owned()),
            (None, Some(state)) => match state.as_deref().and_then(place) {
                Some(rank) => (rank, charts::season::state(ORDER[rank]).to_owned()),
                None => (ORDER.len(), words.get("farm.not_reckoned").to_owned()),
            },
        };
        let row = BlockRow {
            reported: season.is_some_and(Option::is_some),
            cultivar: block.details["cultivar"].as_str().unwrap_or_default().to_owned(),
            id: block.id,
            name: block.name,
        };
        groups.entry(rank).or_insert_with(|| Group { state, blocks: Vec::new() }).blocks.push(row);
    }
    groups.into_values().collect()
}
