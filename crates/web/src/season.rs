//! The page of one season of a block: what to do next, when, with which odds, and all
//! that it rests on.

mod chances;
mod log;
pub(crate) mod slots;

use access::Deed;
use api::SeasonSeen;
use askama::Template;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use charts::season::SeasonPicture;
use model::growth::Growth;
use model::season::{Season, State};
use model::time::Instant;
use model::units::Units;
use model::waiting;
use store::{Block, Farm, Way};

use self::chances::{Asked, By, Chance};
use self::log::Line;
use crate::report::{self, Part, Told, beside, course, deciding};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

#[derive(Template)]
#[template(path = "season.html")]
struct Page {
    words: &'static Words,
    title: String,
    block_id: String,
    farm_id: String,
    year: i32,
    /// Whether the reader may write in its log.
    may_log: bool,
    head: Vec<String>,
    /// What is read instead of a season where none was reckoned.
    without: Option<&'static str>,
    /// What cannot wait.
    urgent: Vec<String>,
    /// What a person is wanted for, the most pressing first.
    waits: Vec<String>,
    chances: Vec<Chance>,
    /// Why odds are missing, and what to know of them.
    chances_notes: Vec<String>,
    by: Option<By>,
    picture: Option<Picture>,
    slots: Vec<String>,
    parts: Vec<Part>,
    log: Vec<Line>,
    sources: Vec<String>,
    jobs: Vec<(usize, String)>,
    notices: Vec<(String, String)>,
}

/// The season drawn, with its table: headings and rows.
struct Picture {
    svg: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// All that the page is made from.
struct Ground {
    block: Block,
    farm: Farm,
    seen: SeasonSeen,
    growth: Option<Growth>,
    last: Option<Season>,
    asked: Asked,
    sources: Vec<String>,
    now: Instant,
    units: Units,
    may_log: bool,
    words: &'static Words,
}

/// The page.
pub(crate) async fn page(
    signed: Signed,
    Path((block, text)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Shown {
    let view = &signed.0;
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    let seen = signed.season(&block, year).await?;
    let last = view.store().season(&block.id, year - 1).await?;
    let last = last.and_then(|row| row.reckoned).and_then(|last| serde_json::from_value(last.doc).ok());
    let growth = match &seen.season {
        Some(_) => match view.growth(&block, year).await {
            Ok(growth) => Some(growth),
            Err(error) => {
                tracing::error!(block = block.id, year, %error, "the picture of a season could not be drawn");
                None
            }
        },
        None => None,
    };
    let words = signed.words();
    let way = |way: Way| match way {
        Way::Feed => words.get("season.feed"),
        Way::File => words.get("season.file"),
        Way::Hand => words.get("season.hand"),
    };
    let sources = view.sources(&seen.site.id).await?;
    let sources = sources.into_iter().map(|(source, credit)| {
        let credit = credit.map_or(String::new(), |credit| format!(" {credit}"));
        format!("{}: {}.{credit}", source.name, way(source.way))
    });
    let ground = Ground {
        sources: sources.collect(),
        may_log: view.caller().may(Deed::Log, &block.farm_id),
        block,
        farm,
        seen,
        growth,
        last,
        asked,
        now: view.now(),
        units: view.caller().units,
        words,
    };
    let made = tokio::task::spawn_blocking(move || ground.page());
    let page = made.await.map_err(|error| Stop::Failed(error.to_string()))?;
    let wrong = page.by.as_ref().is_some_and(|by| by.wrong.is_some());
    Ok(pages::page(if wrong { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK }, &page))
}

impl Ground {
    fn page(self) -> Page {
        let Ground { block, farm, seen, words, now, .. } = &self;
        let sprays = crate::sprayed::sprays(&seen.rows, *now);
        let mut page = Page {
            words,
            title: words.fill("season.title", &[("block", &block.name), ("year", &seen.year)]),
            block_id: block.id.clone(),
            farm_id: farm.id.clone(),
            year: seen.year,
            head: Vec::new(),
            without: None,
            urgent: Vec::new(),
            waits: Vec::new(),
            chances: Vec::new(),
            chances_notes: Vec::new(),
            by: None,
            picture: None,
            slots: Vec::new(),
            parts: Vec::new(),
            log: log::lines(&seen.rows, seen.plan.zone, words),
            sources: self.sources.clone(),
            jobs: report::jobs(seen),
            notices: report::notices(seen, &sprays, words),
            may_log: self.may_log,
        };
        match &seen.season {
            Some(season) => self.reckoned(season, &sprays, &mut page),
            None => page.without = Some(words.get("season.without")),
        }
        page
    }

    /// What there is to say of a season that was reckoned.
    fn reckoned(&self, season: &Season, sprays: &[crate::sprayed::Sprayed], page: &mut Page) {
        let Ground { block, farm, seen, words, now, .. } = self;
        let zone = seen.plan.zone;
        let told = Told { block, seen, season, last: self.last.clone(), now: *now, units: self.units, words };
        page.head = report::head(&told, farm);
        let over = matches!(season.state, State::Done | State::StoodDown);
        if let Some(at) = season.as_of.filter(|_| !over) {
            page.head.push(words.fill("season.age", &[("age", &said::lasting(now.since(at), words))]));
        }
        page.urgent = report::urgent(&told);
        page.waits = waiting::of(season, zone, *now).into_iter().map(|waits| waits.text).collect();
        if let Some(ahead) = &seen.ahead {
            (page.chances, page.by) = chances::of(&ahead.odds, seen, &self.asked, *now, words);
            page.chances_notes = ahead.odds.notes.iter().map(|note| note.text.to_string()).collect();
            page.slots = ahead.slots.iter().map(|answer| answer.told_short(zone)).collect();
        }
        page.picture = self.growth.as_ref().map(|growth| drawn(seen, season, growth, *now));
        let parts = [
            course::sprays(&told, sprays),
            deciding::decision(&told),
            course::bloom(&told),
            deciding::damage(&told),
            course::flowers(&told),
            deciding::target(&told),
            deciding::buds(&told),
            beside::weather(&told),
            beside::outcome(&told),
            beside::notes(&told),
        ];
        page.parts = parts.into_iter().filter(Part::is_there).collect();
    }
}

fn drawn(seen: &SeasonSeen, season: &Season, growth: &Growth, now: Instant) -> Picture {
    let mut picture = SeasonPicture::new(&seen.plan, &seen.log, growth, season, now);
    if let Some(ahead) = &seen.ahead {
        picture = picture.with_odds(&seen.log, growth, &ahead.odds);
    }
    let mut rows = charts::season::table(&picture).into_iter();
    Picture { svg: report::drawn(&picture), columns: rows.next().unwrap_or_default(), rows: rows.collect() }
}
