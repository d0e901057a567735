//! The blocks that someone may write of, with what a phone has to know of each where
//! there is no signal.

use std::collections::HashMap;

use access::Deed;
use chrono_tz::Tz;
use model::season::{MATERIALS_UNCONFIRMED, Season};
use model::time::{Instant, zone};
use model::waiting::{self, Wanted};
use model::words;
use serde::{Serialize, Serializer};
use serde_json::Value;
use store::{BoardRow, LogEntry, Site};

use super::chosen::{Earlier, earlier};
use crate::sprayed::sprays;
use crate::visit::{Signed, Stop};

/// Blocks in one page: more no one chooses from on a phone.
const MOST: usize = 500;
/// Blocks that are read at once, to look for those that may be written of.
const AT_ONCE: u32 = 500;
/// Farms, sites and seasons that are read together for them; those beyond, one by one.
const PLACES: u32 = 2_000;
/// Blocks whose logs are read for earlier entries, beside the one that is asked for.
const LOGS: usize = 60;
/// Earlier entries of each: the page is kept whole on a phone.
const EARLIER: usize = 8;

/// A block to write of.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Block {
    pub(crate) id: String,
    pub(crate) name: String,
    pub(crate) farm: String,
    #[serde(serialize_with = "zone_name")]
    pub(crate) zone: Tz,
    /// The bloom year by its wall clock.
    pub(crate) year: i32,
    pub(crate) closed_until: Option<Instant>,
    /// The same in a sentence, also where re-entry is not recorded.
    pub(crate) closed: Option<String>,
    /// What whoever is to spray has to know before.
    pub(crate) before_spray: Vec<String>,
    /// The form that is wanted first.
    pub(crate) wanted: &'static str,
    /// Sprays without a finish.
    pub(crate) drafts: Vec<Draft>,
    /// The season's latest entries, to be put right where there is no signal.
    pub(crate) earlier: Vec<Earlier>,
}

fn zone_name<S: Serializer>(zone: &Tz, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(zone.name())
}

/// A spray of which the rest is not recorded yet.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Draft {
    pub(crate) id: String,
    pub(crate) at: Instant,
    /// What was recorded, as it stands.
    pub(crate) entry: Value,
}

/// All of them, and who writes.
pub(crate) struct Writable {
    pub(crate) person_id: Option<String>,
    pub(crate) person: Option<String>,
    pub(crate) blocks: Vec<Block>,
}

impl Writable {
    /// Blocks that they may write of; the one that is asked for is among them, however
    /// many there are.
    pub(crate) async fn of(signed: &Signed, asked: Option<&str>) -> Result<Writable, Stop> {
        let view = &signed.0;
        let now = view.now();
        let year = now.local_year(Tz::UTC);
        let own = own(signed, asked).await?;
        let farms = farms(signed, &own).await?;
        let zones = zones(signed, &own).await?;
        let mut seasons = seasons(signed, &own, year).await?;
        let ids: Vec<String> = own.iter().map(|block| block.id.clone()).collect();
        let mut logs: HashMap<String, Vec<LogEntry>> = HashMap::new();
        for (block, entry) in view.store().spray_logs(&ids, year).await? {
            logs.entry(block).or_default().push(entry);
        }
        let mut blocks = Vec::with_capacity(own.len());
        for block in own {
            let zone = zones.get(&block.site_id).copied().unwrap_or(Tz::UTC);
            let season = seasons.remove(&block.id);
            let reentry = season.as_ref().and_then(|season| season.reentry.as_ref());
            let drafts = logs.get(&block.id).map(|rows| drafts(rows, now)).unwrap_or_default();
            let read = blocks.len() < LOGS || asked == Some(block.id.as_str());
            let earlier = if season.is_some() && read {
                earlier(&view.store().log(&block.id, year).await?, zone, EARLIER, signed)
            } else {
                Vec::new()
            };
            let until = reentry.and_then(|reentry| reentry.until).filter(|until| *until > now);
            blocks.push(Block {
                id: block.id,
                name: block.name,
                farm: farms.get(&block.farm_id).cloned().unwrap_or_default(),
                zone,
                year: now.local_year(zone),
                closed_until: until,
                closed: waiting::closed(reentry, zone, now),
                before_spray: before_spray(season.as_ref(), zone, now),
                wanted: wanted(season.as_ref(), until.is_some(), zone, now),
                drafts,
                earlier,
            });
        }
        blocks.sort_by(|a, b| (&a.farm, &a.name).cmp(&(&b.farm, &b.name)));
        let person_id = view.caller().person_id.clone();
        let person = match &person_id {
            Some(id) => view.store().person(id).await?.map(|person| person.name),
            None => None,
        };
        Ok(Writable { person_id, person, blocks })
    }
}

/// The blocks that someone may write of, up to so many as a page takes, and the one that
/// is asked for: archived ones and those that are only read count for nothing.
async fn own(signed: &Signed, asked: Option<&str>) -> Result<Vec<store::Block>, Stop> {
    let view = &signed.0;
    let writable =
        |block: &store::Block| block.archived_at.is_none() && view.caller().may(Deed::Log, &block.farm_id);
    let mut own: Vec<store::Block> = Vec::new();
    let mut after: Option<String> = None;
    while own.len() < MOST {
        let next = view.store().blocks(None, after.as_deref(), AT_ONCE).await?;
        after = next.last().map(|block| block.id.clone());
        let last = next.len() < AT_ONCE as usize;
        own.extend(next.into_iter().filter(writable));
        if last {
            break;
        }
    }
    own.truncate(MOST);
    if let Some(id) = asked.filter(|id| own.iter().all(|block| block.id != *id)) {
        own.extend(view.store().block(id).await?.filter(writable));
    }
    Ok(own)
}

/// Names of their farms.
async fn farms(signed: &Signed, own: &[store::Block]) -> Result<HashMap<String, String>, Stop> {
    let store = signed.0.store();
    let mut names: HashMap<String, String> =
        store.farms(None, PLACES).await?.into_iter().map(|farm| (farm.id, farm.name)).collect();
    for block in own {
        if !names.contains_key(&block.farm_id)
            && let Some(farm) = store.farm(&block.farm_id).await?
        {
            names.insert(farm.id, farm.name);
        }
    }
    Ok(names)
}

/// Zones of their sites.
async fn zones(signed: &Signed, own: &[store::Block]) -> Result<HashMap<String, Tz>, Stop> {
    let store = signed.0.store();
    let of = |site: Site| Some((site.id, zone(&site.time_zone).ok()?));
    let mut zones: HashMap<String, Tz> =
        store.sites(None, None, PLACES).await?.into_iter().filter_map(of).collect();
    for block in own {
        if !zones.contains_key(&block.site_id) {
            zones.extend(store.site(&block.site_id).await?.and_then(of));
        }
    }
    Ok(zones)
}

/// Their seasons as they were last reckoned.
async fn seasons(signed: &Signed, own: &[store::Block], year: i32) -> Result<HashMap<String, Season>, Stop> {
    let store = signed.0.store();
    let board = store.board(year, None, PLACES).await?;
    let whole = board.len() < PLACES as usize;
    let read = tokio::task::spawn_blocking(move || {
        let read = |row: BoardRow| Some((row.block_id, serde_json::from_str(row.doc.as_deref()?).ok()?));
        board.into_iter().filter_map(read).collect()
    });
    let mut seasons: HashMap<String, Season> = read.await.map_err(|error| Stop::Failed(error.to_string()))?;
    for block in own.iter().filter(|_| !whole) {
        if !seasons.contains_key(&block.id)
            && let Some(row) = store.season(&block.id, year).await?
        {
            let season = row.reckoned.and_then(|reckoned| serde_json::from_value(reckoned.doc).ok());
            seasons.extend(season.map(|season| (block.id.clone(), season)));
        }
    }
    Ok(seasons)
}

/// Sprays of a log that have no finish.
pub(crate) fn drafts(rows: &[LogEntry], now: Instant) -> Vec<Draft> {
    let all = sprays(rows, now).into_iter().filter(crate::sprayed::Sprayed::is_draft);
    all.map(|spray| Draft { id: spray.entry, at: spray.at, entry: spray.doc }).collect()
}

/// What stands before a spray: frost, no decision, a verdict against it, and materials
/// that nobody has confirmed.
fn before_spray(season: Option<&Season>, zone: Tz, now: Instant) -> Vec<String> {
    let Some(season) = season else { return vec![words::UNCONFIRMED.to_owned()] };
    let mut said = waiting::before_spray(season, zone, now);
    let unconfirmed = season.notes.iter().find(|note| note.code == MATERIALS_UNCONFIRMED);
    said.extend(unconfirmed.map(|note| note.text.to_string()));
    said
}

/// The form that a season asks for first; none that asks for work in a closed block.
fn wanted(season: Option<&Season>, closed: bool, zone: Tz, now: Instant) -> &'static str {
    let Some(season) = season else { return "open-count" };
    let first = waiting::of(season, zone, now).into_iter().find_map(|waits| of_wanted(waits.what));
    match first {
        _ if closed => "note",
        Some(form) => form,
        None => "open-count",
    }
}

/// The form by which what waits is done.
pub(crate) fn of_wanted(what: Wanted) -> Option<&'static str> {
    match what {
        Wanted::Overrun | Wanted::Due | Wanted::MayBeDue => Some("spray"),
        Wanted::Hold | Wanted::Look => Some("damage-count"),
        Wanted::Count => Some("open-count"),
        Wanted::Decide => Some("decision"),
        Wanted::Confirm => None,
    }
}
