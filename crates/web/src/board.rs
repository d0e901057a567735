//! A region at one look: every block of a year in a table that sorts and filters by
//! plain links and a form, below what changed since yesterday evening.

mod asked;
pub(crate) mod map;
mod region;
mod row;

use api::News;
use askama::Template;
use axum::extract::Query;
use axum::http::StatusCode;
use charts::fan::{self, Axis};
use chrono_tz::Tz;
use model::time::{self, DAY, HOUR, Instant};

use self::asked::{Asked, Column, Head};
use self::region::Region;
use self::row::Row;
use crate::pages;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;

/// Rows of one page: more than this no one reads, and a phone does not like it.
const ROWS: usize = 300;
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
    news: Recent,
    region: Region,
    /// Where the filter leads to.
    action: &'static str,
    heads: Vec<Head>,
    caption: String,
    /// The axis over the fans; none where no row has anything on it.
    axis: Option<String>,
    /// How many there are by the filter, where that is more than are shown.
    of: Option<String>,
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
    let (now, words) = (signed.0.now(), signed.words());
    let region = Region::of(&signed, asked).await?;
    let news = signed.0.news(region.farm.as_deref(), NEWS).await?;
    let made = tokio::task::spawn_blocking(move || Board::of(region, now, words));
    let mut page = made.await.map_err(|error| Stop::Failed(error.to_string()))?;
    page.news = recent(news, &page.zone(), page.region.year, words);
    Ok(pages::page(StatusCode::OK, &page))
}

impl Board {
    /// All of the page but its news.
    fn of(mut region: Region, now: Instant, words: &'static Words) -> Board {
        let all = region.rows.len();
        region.rows.truncate(ROWS);
        let shown = region.rows.len();
        let axis = drawn(&mut region.rows, now);
        let column = region.asked.column();
        let way = words.get(if region.asked.falls() { "board.falling" } else { "board.rising" });
        let by = format!("{}, {way}", words.get(column.words()));
        Board {
            words,
            title: words.fill("board.title", &[("year", &region.year)]),
            news: Recent::default(),
            action: "/board",
            heads: Column::ALL.iter().map(|column| region.asked.head(*column, words)).collect(),
            caption: match all {
                1 => words.get("board.caption_one").to_owned(),
                _ => words.fill("board.caption", &[("n", &all), ("column", &by)]),
            },
            axis,
            of: (all > shown).then(|| words.fill("board.more", &[("n", &shown), ("all", &all)])),
            region,
        }
    }

    /// The zone that the page's own times are in: that of its first block.
    fn zone(&self) -> Tz {
        self.region.rows.first().map_or(Tz::UTC, |row| row.zone)
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
