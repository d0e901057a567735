//! The blocks of a region that were asked for, for the board and its map.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use model::time::Instant;
use model::waiting::Wanted;
use store::BoardRow;

use super::asked::{Asked, Chosen};
use super::row::Row;
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// Blocks that are looked at.
const LOOKED_AT: u32 = 2_000;
/// Farms that one can filter by.
const FARMS: u32 = 500;

/// What was asked for, and what there is of it.
pub(crate) struct Region {
    pub(crate) asked: Asked,
    pub(crate) year: i32,
    /// The one farm that was asked for.
    pub(crate) farm: Option<String>,
    /// Choices of the filter.
    pub(crate) farms: Vec<Chosen>,
    pub(crate) cultivars: Vec<Chosen>,
    pub(crate) states: Vec<Chosen>,
    pub(crate) waits: Vec<Chosen>,
    /// What was left undone in all of it: the filter that shows it, and how many blocks
    /// in words.
    pub(crate) undone: Vec<(&'static str, String)>,
    /// Whether there is anything to filter.
    pub(crate) filterable: bool,
    /// What the filter lets through, in order.
    pub(crate) rows: Vec<Row>,
    /// Said in the place of rows where there are none.
    pub(crate) none: String,
    /// Whether there are more blocks than were looked at.
    pub(crate) cut: bool,
}

impl Region {
    /// From the seasons as they were last reckoned.
    pub(crate) async fn of(signed: &Signed, asked: Asked) -> Result<Region, Stop> {
        let view = &signed.0;
        let (now, words) = (view.now(), signed.words());
        let year = match asked.year() {
            Some(text) => signed.year(text)?,
            None => now.local_year(Tz::UTC),
        };
        let farm = match asked.farm() {
            Some(id) => Some(signed.farm(id).await?.id),
            None => None,
        };
        let farms: Vec<(String, String)> =
            view.store().farms(None, FARMS).await?.into_iter().map(|farm| (farm.id, farm.name)).collect();
        let mut board = view.store().board(year, farm.as_deref(), LOOKED_AT + 1).await?;
        let cut = board.len() > LOOKED_AT as usize;
        board.truncate(LOOKED_AT as usize);
        let read = tokio::task::spawn_blocking(move || {
            let mut region = Region::read(board, &farms, asked, year, now, words);
            (region.farm, region.cut) = (farm, cut);
            region
        });
        read.await.map_err(|error| Stop::Failed(error.to_string()))
    }

    fn read(
        board: Vec<BoardRow>,
        farms: &[(String, String)],
        asked: Asked,
        year: i32,
        now: Instant,
        words: &Words,
    ) -> Region {
        let names: BTreeMap<&str, &str> =
            farms.iter().map(|(id, name)| (id.as_str(), name.as_str())).collect();
        let mut rows: Vec<Row> = board
            .into_iter()
            .map(|row| {
                let farm = names.get(row.farm_id.as_str()).copied().unwrap_or_default().to_owned();
                Row::read(row, farm, now, words)
            })
            .collect();
        let undone = undone(&rows, words);
        let (states, cultivars) = (asked.states(&rows, words), asked.cultivars(&rows, words));
        rows.retain(|row| asked.lets(row));
        asked.sort(&mut rows);
        Region {
            year,
            farm: None,
            farms: asked.farms(farms, words),
            cultivars,
            states,
            waits: asked.waits(words),
            undone,
            filterable: !rows.is_empty() || asked.filters(),
            rows,
            none: match asked.filters() {
                true => words.get("board.none_left").to_owned(),
                false => words.fill("board.none", &[("year", &year)]),
            },
            cut: false,
            asked,
        }
    }
}

/// How many blocks wait for a count, and how many for a decision.
fn undone(rows: &[Row], words: &Words) -> Vec<(&'static str, String)> {
    let wanted = [
        (Wanted::Count, "count", "board.one_to_count", "board.to_count"),
        (Wanted::Decide, "decide", "board.one_to_decide", "board.to_decide"),
    ];
    let told =
        wanted.map(|(what, filter, one, many)| match rows.iter().filter(|row| row.waits_for(what)).count() {
            0 => None,
            1 => Some((filter, words.get(one).to_owned())),
            n => Some((filter, words.fill(many, &[("n", &n)]))),
        });
    told.into_iter().flatten().collect()
}
