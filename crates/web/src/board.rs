//! A region at one look: every block of a year in a table that sorts and filters by
//! plain links and a form, below what changed since yesterday evening.

mod asked;
mod row;

use std::collections::BTreeMap;

use api::News;
use askama::Template;
use axum::extract::Query;
use axum::http::StatusCode;
use charts::fan::{self, Axis};
use chrono_tz::Tz;
use model::time::{self, DAY, HOUR, Instant};
use model::waiting::Wanted;
use store::BoardRow;

use self::asked::{Asked, Chosen, Column, Head};
use self::row::Row;
use crate::pages;
use crate::visit::{Shown, Signed, Stop, year};
use crate::words::Words;

/// Blocks that are looked at.
const LOOKED_AT: u32 = 2_000;
/// Rows of one page: more than this no one reads, and a phone does not like it.
const ROWS: usize = 300;
/// Farms that one can filter by.
const FARMS: u32 = 500;
/// Alerts, and things that people did, that are told; a whole evening's of a region would
/// push the blocks off the page.
const NEWS: u32 = 60;
/// Blocks with news that stand open; of more only the number does.
const NEWS_OPEN: usize = 3;
/// Lines of one block.
const NEWS_LINES: usize = 4;
/// The time axis begins so long before now.
const AXIS_BEFORE: i64 = DAY;
/// It reaches as far as the late edges do, and at least and at most so far.
const AXIS_SHORTEST: i64 = 3 * DAY;
const AXIS_LONGEST: i64 = 8 * DAY;

#[derive(Template)]
#[template(path = "board.html")]
struct Board {
    words: &'static Words,
    title: String,
    year: i32,
    news: Recent,
    /// What was left undone: the filter that shows it, and how many blocks in words.
    undone: Vec<(&'static str, String)>,
    asked: Asked,
    farms: Vec<Chosen>,
    cultivars: Vec<Chosen>,
    states: Vec<Chosen>,
    waits: Vec<Chosen>,
    heads: Vec<Head>,
    caption: String,
    /// The axis over the fans; none where no row has anything on it.
    axis: Option<String>,
    rows: Vec<Row>,
    /// Said in the place of rows where there are none, with a link to all blocks where
    /// the filter is why.
    none: String,
    /// How many there are by the filter, where that is more than are shown.
    of: Option<String>,
    /// Whether there are more blocks than were looked at.
    cut: bool,
}

/// What happened lately.
#[derive(Default)]
struct Recent {
    head: String,
    /// How many blocks have news.
    many: String,
    /// Whose they are, with a link where that is a block; what happened there.
    blocks: Vec<(Option<String>, String, Vec<String>)>,
    cut: bool,
    open: bool,
}

/// The page.
pub(crate) async fn page(signed: Signed, Query(asked): Query<Asked>) -> Shown {
    let view = &signed.0;
    let (now, words) = (view.now(), signed.words());
    let year = match asked.year() {
        Some(text) => year(text)?,
        None => now.local_year(Tz::UTC),
    };
    let farm = match asked.farm() {
        Some(id) => Some(signed.farm(id).await?.id),
        None => None,
    };
    let farms: Vec<(String, String)> =
        view.store().farms(None, FARMS).await?.into_iter().map(|farm| (farm.id, farm.name)).collect();
    let news = view.news(farm.as_deref(), NEWS).await?;
    let mut board = view.store().board(year, farm.as_deref(), LOOKED_AT + 1).await?;
    let cut = board.len() > LOOKED_AT as usize;
    board.truncate(LOOKED_AT as usize);
    let made = tokio::task::spawn_blocking(move || made(board, &farms, asked, year, now, words));
    let mut page = made.await.map_err(|error| Stop::Failed(error.to_string()))?;
    page.news = recent(news, &page.zone(), year, words);
    page.cut = cut;
    Ok(pages::page(StatusCode::OK, &page))
}

/// All of the page but its news.
fn made(
    board: Vec<BoardRow>,
    farms: &[(String, String)],
    asked: Asked,
    year: i32,
    now: Instant,
    words: &'static Words,
) -> Board {
    let names: BTreeMap<&str, &str> = farms.iter().map(|(id, name)| (id.as_str(), name.as_str())).collect();
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
    let all = rows.len();
    rows.truncate(ROWS);
    let axis = drawn(&mut rows, now);
    let of = (all > rows.len()).then(|| words.fill("board.more", &[("n", &rows.len()), ("all", &all)]));
    let column = asked.column();
    let way = words.get(if asked.falls() { "board.falling" } else { "board.rising" });
    let by = format!("{}, {way}", words.get(column.words()));
    Board {
        words,
        title: words.fill("board.title", &[("year", &year)]),
        year,
        news: Recent::default(),
        undone,
        farms: asked.farms(farms, words),
        cultivars,
        states,
        waits: asked.waits(words),
        heads: Column::ALL.iter().map(|column| asked.head(*column, words)).collect(),
        caption: words.fill("board.caption", &[("n", &all), ("column", &by)]),
        axis,
        rows,
        none: match asked.filters() {
            true => words.get("board.none_left").to_owned(),
            false => words.fill("board.none", &[("year", &year)]),
        },
        of,
        cut: false,
        asked,
    }
}

impl Board {
    /// The zone that the page's own times are in: that of its first block.
    fn zone(&self) -> Tz {
        self.rows.first().map_or(Tz::UTC, |row| row.zone)
    }
}

/// Draws each row's fan on one axis; gives the axis, none where nothing lies on it.
fn drawn(rows: &mut [Row], now: Instant) -> Option<String> {
    let zone = rows.first()?.zone;
    let from = now.plus(-AXIS_BEFORE);
    let latest = rows.iter().filter_map(|row| row.fan.late()).max().unwrap_or(now);
    let to = latest.plus(6 * HOUR).clamp(now.plus(AXIS_SHORTEST), now.plus(AXIS_LONGEST));
    let axis = Axis::new(from, to, now, zone);
    let mut any = false;
    for row in rows.iter_mut().filter(|row| row.fan.lies_between(from, to)) {
        row.picture = Some(fan::row(&axis, &row.fan.shown()));
        any = true;
    }
    any.then(|| fan::axis(&axis).replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1))
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

fn recent(news: News, zone: &Tz, year: i32, words: &Words) -> Recent {
    let line = |line: &api::NewsLine| {
        let by = line.by.as_deref().map_or(String::new(), |by| format!(" ({by})"));
        format!("{}: {}{by}", line.at.spoken(*zone), line.text)
    };
    let blocks: Vec<_> = news
        .items
        .into_iter()
        .map(|item| {
            let year = item.news.first().and_then(|line| line.year).unwrap_or(year);
            let link = item.block_id.map(|id| format!("/blocks/{id}/seasons/{year}"));
            let name = item.name.unwrap_or_else(|| words.get("board.news_of_farm").to_owned());
            let mut lines: Vec<String> = item.news.iter().take(NEWS_LINES).map(line).collect();
            let more = item.news.len().saturating_sub(NEWS_LINES);
            lines.extend((more > 0).then(|| words.fill("board.and_more", &[("n", &more)])));
            (link, name, lines)
        })
        .collect();
    Recent {
        head: words.fill("board.news", &[("when", &news.since.spoken(*zone))]),
        many: words.fill("board.news_blocks", &[("n", &blocks.len())]),
        open: blocks.len() <= NEWS_OPEN,
        blocks,
        cut: news.cut,
    }
}

/// The zone of a wall clock; one that is unknown here is taken for UTC.
fn zone_of(name: &str) -> Tz {
    time::zone(name).unwrap_or(Tz::UTC)
}
