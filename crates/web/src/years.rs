//! Seasons side by side: of one block over the years, of one year over the blocks.

use api::SeasonSeen;
use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::legs::EndedBy;
use model::season::{Outcome, Season};
use model::time;
use serde_json::Value;
use store::BoardRow;

use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, report, said};

/// Blocks of one table: more than this no one reads on a page.
const MOST_BLOCKS: u32 = 2_000;

#[derive(Template)]
#[template(path = "block.html")]
struct BlockPage {
    words: &'static Words,
    title: String,
    block_id: String,
    farm: String,
    cultivar: String,
    archived: bool,
    /// Whether they set it up.
    sets: bool,
    seasons: Vec<YearRow>,
}

/// One year of a block.
struct YearRow {
    year: i32,
    target: String,
    start: String,
    sprays: Vec<String>,
    state: String,
    decision: String,
    set: String,
    return_bloom: String,
    /// Number and words of each planned spray, for its job sheet.
    jobs: Vec<(usize, String)>,
    /// Entry and words of each spray, for its notice.
    notices: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "outcomes.html")]
struct OutcomesPage {
    words: &'static Words,
    title: String,
    year: i32,
    rows: Vec<OutcomeRow>,
    more: bool,
}

/// One block of a year.
struct OutcomeRow {
    block_id: String,
    name: String,
    farm: String,
    cultivar: String,
    target: String,
    state: String,
    decision: String,
    sprays: Vec<String>,
    set: String,
    unsprayed: String,
    fewer_by: String,
    left: String,
    return_bloom: String,
}

const NOTHING: &str = "–";

/// A block with its seasons, the latest first.
pub(crate) async fn block(signed: Signed, Path(id): Path<String>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    let words = signed.words();
    let mut years = signed.0.store().seasons_of(&block.id).await?;
    years.sort_unstable_by(|a, b| b.cmp(a));
    let mut seasons = Vec::with_capacity(years.len());
    for year in years {
        match signed.0.season(&block, year).await {
            Ok(Some(seen)) => seasons.push(of_year(&seen, signed.0.now(), words)),
            Ok(None) => {}
            Err(error) => return Err(Stop::from(error)),
        }
    }
    let page = BlockPage {
        words,
        title: block.name.clone(),
        block_id: block.id.clone(),
        farm: farm.name,
        cultivar: block.details["cultivar"].as_str().unwrap_or_default().to_owned(),
        archived: block.archived_at.is_some(),
        sets: signed.sets_up(&farm.id).is_ok(),
        seasons,
    };
    Ok(signed.keepable(pages::page(StatusCode::OK, &page)))
}

fn of_year(seen: &SeasonSeen, now: time::Instant, words: &Words) -> YearRow {
    let zone = seen.plan.zone;
    let season = seen.season.as_ref();
    let outcome = season.and_then(|season| season.outcome.as_ref());
    let sprays = crate::sprayed::sprays(&seen.rows, now);
    YearRow {
        year: seen.year,
        target: target(season, seen.plan.block.start_factor),
        start: season
            .and_then(|season| season.start)
            .map_or(NOTHING.to_owned(), |start| start.at.spoken(zone)),
        sprays: season.map(|season| sprayed(season, zone, words)).unwrap_or_default(),
        state: state(season, words),
        decision: season.map_or(NOTHING, |season| decision(season, words)).to_owned(),
        set: outcome.map_or(NOTHING.to_owned(), |outcome| set(outcome, words)),
        return_bloom: outcome
            .and_then(|outcome| outcome.return_bloom)
            .map_or(NOTHING.to_owned(), said::percent),
        jobs: report::jobs(seen),
        notices: report::notices(seen, &sprays, words),
    }
}

/// All blocks of a year, across the farms that the reader sees.
pub(crate) async fn outcomes(signed: Signed, Path(text): Path<String>) -> Shown {
    let year = signed.year(&text)?;
    let (store, words) = (signed.0.store(), signed.words());
    let mut board = store.board(year, None, MOST_BLOCKS + 1).await?;
    let more = board.len() > MOST_BLOCKS as usize;
    board.truncate(MOST_BLOCKS as usize);
    let farms = store.farms(None, MOST_BLOCKS).await?;
    let rows = tokio::task::spawn_blocking(move || {
        let named = |id: &str| farms.iter().find(|farm| farm.id == id).map(|farm| farm.name.clone());
        board
            .into_iter()
            .map(|row| {
                let farm = named(&row.farm_id).unwrap_or_default();
                outcome_of(row, farm, words)
            })
            .collect()
    });
    let rows = rows.await.map_err(|error| Stop::Failed(error.to_string()))?;
    let title = words.fill("outcomes.title", &[("year", &year)]);
    let page = OutcomesPage { words, title, year, rows, more };
    Ok(pages::page(StatusCode::OK, &page))
}

fn outcome_of(row: BoardRow, farm: String, words: &Words) -> OutcomeRow {
    let season: Option<Season> = row.doc.as_deref().and_then(|doc| serde_json::from_str(doc).ok());
    let details: Value = serde_json::from_str(&row.details).unwrap_or_default();
    let season = season.as_ref();
    let outcome = season.and_then(|season| season.outcome.as_ref());
    let zone = time::zone(&row.time_zone).unwrap_or(Tz::UTC);
    let or_nothing = |text: Option<String>| text.unwrap_or_else(|| NOTHING.to_owned());
    OutcomeRow {
        cultivar: details["cultivar"].as_str().unwrap_or_default().to_owned(),
        target: target(season, details["start_factor"].as_f64().unwrap_or(1.0)),
        state: state(season, words),
        decision: season.map_or(NOTHING, |season| decision(season, words)).to_owned(),
        sprays: season.map(|season| sprayed(season, zone, words)).unwrap_or_default(),
        set: outcome.map_or(NOTHING.to_owned(), |outcome| set(outcome, words)),
        unsprayed: or_nothing(
            outcome.and_then(|outcome| outcome.unsprayed).map(|set| said::number(set.fruit.mean)),
        ),
        fewer_by: or_nothing(outcome.and_then(|outcome| outcome.fewer_by).map(said::percent)),
        left: or_nothing(outcome.and_then(|outcome| outcome.left_to_thin).map(said::number)),
        return_bloom: or_nothing(outcome.and_then(|outcome| outcome.return_bloom).map(said::percent)),
        block_id: row.block_id,
        name: row.name,
        farm,
    }
}

/// A season's state in words.
fn state(season: Option<&Season>, words: &Words) -> String {
    season.map_or(words.get("farm.not_reckoned"), |season| charts::season::state(season.state)).to_owned()
}

/// Fruit wanted on a tree when the season was reckoned.
fn target(season: Option<&Season>, start_factor: f64) -> String {
    season.map_or(NOTHING.to_owned(), |season| said::number(season.threshold / start_factor))
}

/// Each spray that ended a leg, with the mark and the style then.
fn sprayed(season: &Season, zone: Tz, words: &Words) -> Vec<String> {
    let sprays = season.legs.iter().filter(|leg| leg.ended_by == Some(EndedBy::Spray));
    sprays
        .map(|leg| {
            let at = leg.ended_at.map_or(String::new(), |at| at.spoken(zone));
            let style = said::style(leg.progress_low);
            match leg.mark.map(said::style) {
                Some(mark) => words.fill("block.sprayed", &[("at", &at), ("mark", &mark), ("style", &style)]),
                None => words.fill("block.sprayed_no_mark", &[("at", &at), ("style", &style)]),
            }
        })
        .collect()
}

fn decision<'a>(season: &Season, words: &'a Words) -> &'a str {
    words.get(match &season.decision {
        Some(decided) if decided.thin => "field.thin_yes",
        Some(_) => "field.thin_no",
        None => "block.not_decided",
    })
}

fn set(outcome: &Outcome, words: &Words) -> String {
    let Some(set) = outcome.treated else { return NOTHING.to_owned() };
    let mean = said::number(set.fruit.mean);
    match (set.low, set.high) {
        (Some(low), Some(high)) => {
            format!("{mean} ({})", said::range(said::number(low), said::number(high), words))
        }
        _ => mean,
    }
}
