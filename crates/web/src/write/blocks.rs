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
use store::BoardRow;

use super::chosen::{Earlier, earlier};
use crate::sprayed::sprays;
use crate::visit::{Signed, Stop};

/// Blocks in one page: more no one chooses from on a phone.
const MOST: u32 = 500;
/// Farms and sites that are looked up for them.
const PLACES: u32 = 2_000;
/// Blocks whose logs are read for sprays without a finish and earlier entries.
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
    pub(crate) async fn of(signed: &Signed) -> Result<Writable, Stop> {
        let view = &signed.0;
        let now = view.now();
        let farms: HashMap<String, String> =
            view.store().farms(None, PLACES).await?.into_iter().map(|farm| (farm.id, farm.name)).collect();
        let zones: HashMap<String, Tz> = view
            .store()
            .sites(None, None, PLACES)
            .await?
            .into_iter()
            .filter_map(|site| Some((site.id, zone(&site.time_zone).ok()?)))
            .collect();
        let year = now.local_year(Tz::UTC);
        let board = view.store().board(year, None, PLACES).await?;
        let seasons = tokio::task::spawn_blocking(move || {
            let read = |row: BoardRow| Some((row.block_id, serde_json::from_str(row.doc.as_deref()?).ok()?));
            board.into_iter().filter_map(read).collect()
        });
        let mut seasons: HashMap<String, Season> =
            seasons.await.map_err(|error| Stop::Failed(error.to_string()))?;
        let mut blocks = Vec::new();
        for block in view.store().blocks(None, None, MOST).await? {
            if block.archived_at.is_some() || !view.caller().may(Deed::Log, &block.farm_id) {
                continue;
            }
            let zone = zones.get(&block.site_id).copied().unwrap_or(Tz::UTC);
            let season = seasons.remove(&block.id);
            let reentry = season.as_ref().and_then(|season| season.reentry.as_ref());
            let (drafts, earlier) = if season.is_some() && blocks.len() < LOGS {
                let rows = view.store().log(&block.id, year).await?;
                (drafts(&rows, now), earlier(&rows, zone, EARLIER, signed))
            } else {
                (Vec::new(), Vec::new())
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

/// Sprays of a log that have no finish.
pub(crate) fn drafts(rows: &[store::LogEntry], now: Instant) -> Vec<Draft> {
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
