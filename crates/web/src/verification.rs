//! How good a farm's odds were, in sentences.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;

use crate::pages;
use crate::visit::{Shown, Signed};
use crate::words::Words;

#[derive(Template)]
#[template(path = "verification.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    told: Vec<String>,
    open: String,
    about: String,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    let words = signed.words();
    let found = signed.0.read(&["farms", &farm.id, "verification"], &[]).await?;
    let told = found["told"].as_array().into_iter().flatten();
    let page = Page {
        words,
        title: words.fill("verification.title", &[("farm", &farm.name)]),
        told: told.filter_map(|sentence| sentence.as_str().map(str::to_owned)).collect(),
        open: words.fill("verification.open", &[("n", &found["open"].as_u64().unwrap_or_default())]),
        about: found["about"].as_str().unwrap_or_default().to_owned(),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(StatusCode::OK, &page))
}
