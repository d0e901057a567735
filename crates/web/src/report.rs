//! The season report of a block, which prints on two pages.

pub(crate) mod beside;
pub(crate) mod course;
pub(crate) mod deciding;

use api::SeasonSeen;
use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use charts::season::SeasonPicture;
use model::season::Season;
use model::time::Instant;
use model::units::Units;
use store::{Block, Farm};

use crate::sprayed::Sprayed;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

/// A part of the report.
#[derive(Debug, Default)]
pub(crate) struct Part {
    pub(crate) head: &'static str,
    /// Sentences.
    pub(crate) said: Vec<String>,
    /// Headings of a table; empty where there is none.
    pub(crate) columns: Vec<&'static str>,
    pub(crate) rows: Vec<Vec<String>>,
    /// Whether its table wants the whole width.
    pub(crate) across: bool,
}

impl Part {
    pub(crate) fn new(head: &'static str) -> Part {
        Part { head, ..Part::default() }
    }

    /// Whether it says anything.
    pub(crate) fn is_there(&self) -> bool {
        !self.said.is_empty() || !self.rows.is_empty()
    }

    fn say(&mut self, sentence: impl Into<String>) {
        self.said.push(sentence.into());
    }
}

#[derive(Template)]
#[template(path = "report.html")]
struct Page {
    words: &'static Words,
    title: String,
    block_id: String,
    year: i32,
    /// What stands below the title: where, which curve, as of when.
    head: Vec<String>,
    /// What cannot wait.
    urgent: Vec<String>,
    before: Vec<Part>,
    /// The season drawn; none where nothing is there to draw.
    picture: Option<String>,
    after: Vec<Part>,
    /// Number and name of each planned spray, for its job sheet.
    jobs: Vec<(usize, String)>,
    /// Entry and name of each spray, for its notice.
    notices: Vec<(String, String)>,
}

/// All that the parts are made from.
pub(crate) struct Told<'a> {
    pub(crate) block: &'a Block,
    pub(crate) seen: &'a SeasonSeen,
    pub(crate) season: &'a Season,
    /// The season of the year before, where it was reckoned.
    pub(crate) last: Option<Season>,
    pub(crate) now: Instant,
    /// Units that the reader reads figures in.
    pub(crate) units: Units,
    /// Words of the reader's language.
    pub(crate) words: &'static Words,
}

/// The report.
pub(crate) async fn page(signed: Signed, Path((block, text)): Path<(String, String)>) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    let seen = signed.season(&block, year).await?;
    let words = signed.words();
    let Some(season) = &seen.season else {
        let head = words.fill("report.without", &[("block", &block.name), ("year", &year)]);
        return Err(Stop::NotThere(head));
    };
    let last = signed.0.store().season(&block.id, year - 1).await?;
    let last = last.and_then(|row| row.reckoned).and_then(|last| serde_json::from_value(last.doc).ok());
    let units = signed.0.caller().units;
    let told = Told { block: &block, seen: &seen, season, last, now: signed.0.now(), units, words };
    let picture = match signed.0.growth(&block, year).await {
        Ok(growth) => Some(drawn(&SeasonPicture::new(&seen.plan, &seen.log, &growth, season, told.now))),
        Err(error) => {
            tracing::error!(block = block.id, year, %error, "the picture of a season could not be drawn");
            None
        }
    };
    Ok(pages::page(StatusCode::OK, &report(&told, &farm, picture)))
}

/// The picture as it stands within a page, which needs no namespace.
pub(crate) fn drawn(picture: &SeasonPicture<'_>) -> String {
    charts::season::picture(picture).replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1)
}

fn report(told: &Told<'_>, farm: &Farm, picture: Option<String>) -> Page {
    let Told { block, seen, season, words, .. } = told;
    let sprays = crate::sprayed::sprays(&seen.rows, told.now);
    let before = [
        deciding::target(told),
        deciding::buds(told),
        course::bloom(told),
        deciding::damage(told),
        deciding::decision(told),
    ];
    let after = [
        course::sprays(told, &sprays),
        course::flowers(told),
        beside::weather(told),
        beside::outcome(told),
        beside::entries(told),
        beside::notes(told),
    ];
    Page {
        words,
        title: words.fill("season.title", &[("block", &block.name), ("year", &season.year)]),
        block_id: block.id.clone(),
        year: season.year,
        head: head(told, farm),
        urgent: urgent(told),
        before: before.into_iter().filter(Part::is_there).collect(),
        picture,
        after: after.into_iter().filter(Part::is_there).collect(),
        jobs: jobs(seen),
        notices: notices(seen, &sprays, words),
    }
}

pub(crate) fn head(told: &Told<'_>, farm: &Farm) -> Vec<String> {
    let Told { seen, season, words, .. } = told;
    let plan = &seen.plan;
    let curve = &plan.block.curve;
    let dated = |at: Instant| said::dated(at, plan.zone);
    let as_of = season.as_of.map_or(words.get("report.none_read").to_owned(), dated);
    let mut head = vec![
        words.fill(
            "report.where",
            &[
                ("farm", &farm.name),
                ("cultivar", &plan.block.cultivar),
                ("site", &seen.site.name),
                ("zone", &plan.zone.name()),
            ],
        ),
        words.fill(
            "report.state",
            &[
                ("state", &charts::season::state(season.state)),
                ("curve", &curve.id),
                ("source", &curve.source.trim_end_matches('.')),
            ],
        ),
        match seen.reckoned_at {
            Some(at) => words.fill("report.as_of_reckoned", &[("at", &as_of), ("reckoned", &dated(at))]),
            None => words.fill("report.as_of", &[("at", &as_of)]),
        },
    ];
    if seen.stale {
        head.push(words.get("report.stale").to_owned());
    }
    head
}

/// Re-entry and what to make of a mark that passed.
pub(crate) fn urgent(told: &Told<'_>) -> Vec<String> {
    let Told { seen, season, now, .. } = told;
    let mut urgent: Vec<String> =
        model::waiting::closed(season.reentry.as_ref(), seen.plan.zone, *now).into_iter().collect();
    urgent.extend(model::through::what_now(season, &seen.plan));
    urgent.dedup();
    urgent
}

/// A material's name for people; its id where it has none here.
pub(crate) fn material(told: &Told<'_>, id: &str) -> String {
    named(told.seen, id)
}

fn named(seen: &SeasonSeen, id: &str) -> String {
    let known = seen.plan.materials.iter().find(|material| material.id == id);
    known.map_or_else(|| id.to_owned(), |material| material.name.clone())
}

/// Number and name of each planned spray, for its job sheet.
pub(crate) fn jobs(seen: &SeasonSeen) -> Vec<(usize, String)> {
    let planned = seen.plan.sprays.iter().enumerate();
    planned.map(|(n, spray)| (n + 1, named(seen, &spray.material))).collect()
}

/// Entry and name of each spray, for its notice.
pub(crate) fn notices(seen: &SeasonSeen, sprays: &[Sprayed], words: &Words) -> Vec<(String, String)> {
    let notice = |spray: &Sprayed| {
        let material = spray.record.material.as_deref();
        let of = material.map_or(words.get("report.spray").to_owned(), |id| named(seen, id));
        (spray.entry.clone(), format!("{of}, {}", spray.at.spoken(seen.plan.zone)))
    };
    sprays.iter().map(notice).collect()
}
