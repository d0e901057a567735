//! The hours to spray in of a season, one by one, each with what speaks against it.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::slot::{Answer, HourStand};

use crate::pages;
use crate::visit::{Shown, Signed};
use crate::words::Words;

#[derive(Template)]
#[template(path = "slots.html")]
struct Page {
    words: &'static Words,
    title: String,
    block_id: String,
    year: i32,
    head: String,
    legs: Vec<Leg>,
}

struct Leg {
    head: String,
    said: Vec<String>,
    hours: Vec<Hour>,
}

struct Hour {
    when: String,
    /// Whether it lies within the limits set, in words.
    stand: &'static str,
    /// What speaks against it, and what is not known.
    why: String,
    beside: String,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path((block, text)): Path<(String, String)>) -> Shown {
    let (block, _) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    // Said in words of its own where there is none.
    signed.season(&block, year).await?;
    let looked = signed.0.slots(&block, year).await?;
    let words = signed.words();
    let page = Page {
        words,
        title: words.fill("slots.title", &[("block", &block.name), ("year", &year)]),
        block_id: block.id,
        year,
        head: words.fill(
            "slots.asked",
            &[("when", &looked.asked_at.spoken(looked.zone)), ("zone", &looked.zone.name())],
        ),
        legs: looked.slots.iter().map(|answer| leg(answer, looked.zone, words)).collect(),
    };
    Ok(pages::page(StatusCode::OK, &page))
}

fn leg(answer: &Answer, zone: Tz, words: &Words) -> Leg {
    Leg {
        head: words.fill("slots.leg", &[("n", &answer.wanted.leg)]),
        said: answer.told(zone),
        hours: answer.hours.iter().map(|stand| hour(stand, zone)).collect(),
    }
}

fn hour(stand: &HourStand, zone: Tz) -> Hour {
    let reasons: Vec<String> =
        stand.against.iter().chain(&stand.not_known).map(|reason| reason.told(zone)).collect();
    let beside: Vec<&str> = stand.beside.iter().map(|beside| beside.told()).collect();
    Hour {
        when: stand.from.spoken(zone),
        stand: stand.stand.spoken(),
        why: reasons.join("; "),
        beside: beside.join("; "),
    }
}
