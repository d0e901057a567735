//! Writing down: one page with the forms of all kinds of entries, that a phone keeps
//! for where there is no signal. Without a script it shows the form asked for.

mod blocks;
mod chosen;
pub(crate) mod forms;
mod post;
pub(crate) mod said;
mod typed;

use askama::Template;
use axum::extract::Query;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use serde_json::json;

use crate::pages;
use crate::visit::{Shown, Signed};
use crate::words::Words;
use blocks::Writable;
use chosen::{Chosen, Earlier, FormShown};
use forms::As;
use typed::Typed;

pub(crate) use blocks::of_wanted;
pub(crate) use post::post;

/// What the address asks for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Asked {
    #[serde(default)]
    pub(crate) block: Option<String>,
    #[serde(default)]
    pub(crate) what: Option<String>,
    #[serde(default)]
    pub(crate) year: Option<String>,
    /// The entry to correct or take back.
    #[serde(default)]
    pub(crate) of: Option<String>,
    /// Whether something was just written.
    #[serde(default)]
    pub(crate) done: Option<String>,
}

#[derive(Template)]
#[template(path = "log.html")]
struct Page {
    words: &'static Words,
    title: &'static str,
    /// Id, name and whether it is the one chosen.
    blocks: Vec<(String, String, bool)>,
    /// Name in the address, name for people, and whether it is the one shown.
    whats: Vec<(&'static str, &'static str, bool)>,
    years: Vec<(i32, bool)>,
    block: String,
    year: i32,
    /// Whether that is another than one writes of unasked.
    other_season: bool,
    /// The entry that is corrected.
    of: String,
    /// Where nobody works in the block by now, until when.
    closed: Option<String>,
    /// Whether that lies ahead.
    closed_now: bool,
    before_spray: Vec<String>,
    forms: Vec<FormShown>,
    earlier: Vec<Earlier>,
    materials: Vec<(String, String)>,
    done: bool,
    wrong: Option<String>,
    /// The same for the script.
    data: String,
}

/// The page.
pub(crate) async fn page(signed: Signed, Query(asked): Query<Asked>) -> Shown {
    shown(&signed, StatusCode::OK, asked, &Typed::new(), None).await
}

/// The page with what was typed before, and what is wrong with it.
async fn shown(
    signed: &Signed,
    status: StatusCode,
    asked: Asked,
    typed: &Typed,
    wrong: Option<String>,
) -> Result<Response, crate::visit::Stop> {
    let words = signed.words();
    let mut writable = Writable::of(signed, asked.block.as_deref()).await?;
    let materials = signed.0.catalogue().await?.materials.clone();
    let chosen = Chosen::of(signed, &writable, &asked).await?;
    if let Some(place) = chosen.in_whole(&asked).filter(|_| status == StatusCode::OK) {
        return Ok(Redirect::to(&place).into_response());
    }
    if let Some(block) =
        chosen.block.as_ref().and_then(|block| writable.blocks.iter_mut().find(|one| one.id == block.id))
    {
        block.drafts.clone_from(&chosen.drafts);
    }
    let data = json!({
        "person": {"id": writable.person_id, "name": writable.person},
        "now": signed.0.now(),
        "chosen": {"block": chosen.block.as_ref().map(|block| &block.id), "year": chosen.year, "what": chosen.what, "of": asked.of},
        "blocks": writable.blocks,
        "entry": chosen.entry,
    });
    let page = Page {
        words,
        title: words.get("log.title"),
        blocks: writable
            .blocks
            .iter()
            .map(|block| {
                let on = chosen.block.as_ref().is_some_and(|chosen| chosen.id == block.id);
                (block.id.clone(), format!("{}, {}", block.name, block.farm), on)
            })
            .collect(),
        whats: forms::ALL
            .iter()
            .map(|form| (form.what, words.get(form.name), form.what == chosen.what))
            .collect(),
        years: chosen.years().into_iter().map(|year| (year, year == chosen.year)).collect(),
        other_season: chosen.year != chosen.usual_year,
        block: chosen.block.as_ref().map(|block| block.id.clone()).unwrap_or_default(),
        year: chosen.year,
        of: asked.of.unwrap_or_default(),
        closed: chosen.block.as_ref().and_then(|block| block.closed.clone()),
        closed_now: chosen.block.as_ref().is_some_and(|block| block.closed_until.is_some()),
        before_spray: chosen.block.as_ref().map(|block| block.before_spray.clone()).unwrap_or_default(),
        forms: forms::ALL.iter().map(|form| chosen.form(form, typed, words, signed)).collect(),
        earlier: chosen.earlier,
        materials: materials.iter().map(|material| (material.id.clone(), material.name.clone())).collect(),
        done: asked.done.is_some(),
        wrong,
        // Within a page nothing may look like markup.
        data: data.to_string().replace('<', "\\u003c"),
    };
    Ok(signed.keepable(pages::page(status, &page)))
}
