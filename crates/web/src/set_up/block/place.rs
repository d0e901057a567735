//! Where a block takes its weather from: moving it to another site.

use api::{Amiss, Asked};
use axum::extract::{Form as Body, Path, Query};
use model::time::Instant;
use serde_json::{Value, json};
use store::{Block, Farm, Site};

use crate::fields::{Field, Form, Group, Sent, Tried, told_of};
use crate::set_up::FormPage;
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::{said, wall};

/// Sites that one page lists.
const LISTED: u32 = 1_000;

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    signed.sets_up(&farm.id)?;
    let mut page = moving(&signed, &block, &farm, None).await?;
    page.done = asked.has("saved").then(|| signed.words().get("settings.saved").to_owned());
    Ok(page.shown())
}

/// Moves it.
pub(crate) async fn save(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    signed.sets_up(&farm.id)?;
    // The day and the time are those of the site that it moves to; one that is not there
    // is for the API to say.
    let zone = match signed.site(sent.raw("site_id")).await {
        Ok((_, zone)) => zone,
        Err(_) => signed.zone(&block).await?,
    };
    let since = wall::instant(sent.raw("day"), sent.raw("since"), zone, signed.words());
    // A time that is not read goes as the text that it is, so that nothing can be stored of it.
    let typed = since.as_ref().map_or_else(|_| sent.raw("since").to_owned(), Instant::to_string);
    let document = json!({"site_id": sent.raw("site_id"), "since": typed});
    match signed.0.ask(Asked::put(&["blocks", &block.id, "site"], &document, Some(sent.raw("tag")))).await {
        Ok(_) => on_to(&format!("/blocks/{}/site?saved=1", block.id)),
        Err(undone) => {
            let unread = since.err().map(|detail| Amiss { pointer: "/since".to_owned(), detail });
            let tried = Tried::new("", sent, told_of(undone, unread.as_slice()))?;
            Ok(moving(&signed, &block, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// The farm's own sites and the server's.
async fn sites(signed: &Signed, farm: &Farm) -> Result<Vec<Site>, Stop> {
    let mut sites = signed.0.store().sites(None, None, LISTED).await?;
    sites.retain(|site| site.farm_id.as_ref().is_none_or(|of| *of == farm.id));
    Ok(sites)
}

async fn moving(
    signed: &Signed,
    block: &Block,
    farm: &Farm,
    tried: Option<&Tried>,
) -> Result<FormPage, Stop> {
    let words = signed.words();
    let held = signed.0.ask(Asked::get(&["blocks", &block.id, "site"])).await?;
    let sites = sites(signed, farm).await?;
    let zone = signed.zone(block).await?;
    let name = |id: &Value| {
        let id = id.as_str().unwrap_or_default();
        sites.iter().find(|site| site.id == id).map_or(id, |site| &site.name).to_owned()
    };
    let dated = |at: &Value| {
        at.as_str().and_then(|at| at.parse().ok()).map_or(String::new(), |at| said::dated(at, zone))
    };
    let choices = sites.iter().map(|site| (site.id.clone(), site.name.clone())).collect();
    let fields = vec![
        Field::choice("site_id", words.get("place.site"), choices).value(block.site_id.as_str()),
        Field::date("day", words.get("place.day")).needed(),
        Field::line("since", words.get("place.time"))
            .hint(words.get("place.time_hint"))
            .value("00:00")
            .needed(),
    ];
    let form = Form::new(words, words.get("place.move"), vec![Group::of(fields)])
        .held(held.tag.clone())
        .after(tried);
    let mut page = FormPage::new(words, words.fill("place.title", &[("block", &block.name)]), form);
    let (now, since) = (name(&held.document["site_id"]), dated(&held.document["since"]));
    page.said.push(match since.is_empty() {
        true => words.fill("place.always", &[("site", &now)]),
        false => words.fill("place.since", &[("site", &now), ("at", &since)]),
    });
    for stay in held.document["earlier"].as_array().into_iter().flatten() {
        let (site, until) = (name(&stay["site_id"]), dated(&stay["until"]));
        page.said.push(words.fill("place.until", &[("site", &site), ("at", &until)]));
    }
    page.said.push(words.get("place.means").to_owned());
    Ok(page.back(format!("/blocks/{}/change", block.id), words.get("place.to_block")))
}
