//! A notice for the block's edge after a spray: large, on one page.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use model::record::{self, KEEP_OUT_UNTIL, Row};

use crate::sprayed::{material, sprays};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{Web, pages};
use api::Facts;

#[derive(Template)]
#[template(path = "notice.html")]
struct Page {
    words: &'static Words,
    title: String,
    /// What stands in letters that are read from the road.
    until: String,
    rows: Vec<Row>,
    below: Vec<String>,
}

/// The notice of one spray.
pub(crate) async fn page(
    State(web): State<Web>,
    signed: Signed,
    Path((block, text, entry)): Path<(String, String, String)>,
) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    let rows = signed.0.store().log(&block.id, year).await?;
    let found = sprays(&rows, web.clock.now()).into_iter().find(|spray| spray.entry == entry);
    let spray = found.ok_or_else(|| {
        let words = signed.words();
        Stop::NotThere(words.fill("notice.not_there", &[("block", &block.name), ("year", &year)]))
    })?;
    let zone = signed.zone(&block).await?;
    let catalogue = signed.0.catalogue().await?;
    let facts = Facts::of(&block, &farm, zone, &catalogue);
    let known = material(&spray.record, &catalogue.materials);
    let sheet = record::notice(&spray.record, known, &facts.block(), zone);
    let page = Page {
        words: signed.words(),
        until: sheet.row(KEEP_OUT_UNTIL).unwrap_or_default().to_owned(),
        title: sheet.title,
        rows: sheet.rows.into_iter().filter(|row| row.label != KEEP_OUT_UNTIL).collect(),
        below: sheet.below,
    };
    Ok(pages::page(StatusCode::OK, &page))
}
