//! A block: what is planted, where its weather comes from, and the fruit wanted.

mod fields;
pub(crate) mod place;

use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use chrono_tz::Tz;
use model::block::Block as Planting;
use model::input;
use serde_json::{Value, json};
use store::{Block, Farm};

use self::fields::{Around, form, patch, sent_of};
use super::{Deed, FormPage};
use crate::fields::{Form, Sent, Tried, without_nulls};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

/// The form of a block that is to be added.
pub(crate) async fn new(signed: Signed, Path(farm): Path<String>) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    let around = Around::of(&signed, &farm, None).await?;
    Ok(adding(&signed, &farm, &around, None).shown())
}

fn adding(signed: &Signed, farm: &Farm, around: &Around, tried: Option<&Tried>) -> FormPage {
    let words = signed.words();
    let form = form(words, around, words.get("block_form.add")).after(tried);
    let mut page = FormPage::new(words, words.fill("block_form.new", &[("farm", &farm.name)]), form);
    if around.sites.is_empty() {
        page.cautions.push(words.get("block_form.no_site").to_owned());
        let site = format!("/farms/{}/sites/new", farm.id);
        page.next.push((site, words.get("begin.new_site").to_owned()));
    }
    page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps"))
}

/// Adds it.
pub(crate) async fn add(signed: Signed, Path(farm): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    let mut document = without_nulls(patch(&sent, None));
    document["farm_id"] = json!(farm.id);
    match signed.0.ask(Asked::post(&["blocks"], &document)).await {
        Ok(added) => {
            let id = added.document["id"].as_str().unwrap_or_default();
            on_to(&format!("/blocks/{id}/change?added=1"))
        }
        Err(undone) => {
            let around = Around::of(&signed, &farm, None).await?;
            let tried = Tried::new("", sent, undone)?;
            Ok(adding(&signed, &farm, &around, Some(&tried)).shown())
        }
    }
}

/// The form of a block as it stands, with what its target rests on.
pub(crate) async fn change(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    signed.sets_up(&farm.id)?;
    let words = signed.words();
    let mut page = changing(&signed, &block, &farm, None).await?;
    page.done = match (asked.has("added"), asked.has("saved")) {
        (true, _) => Some(words.get("block_form.added").to_owned()),
        (false, true) => Some(words.get("settings.saved").to_owned()),
        (false, false) => None,
    };
    Ok(page.shown())
}

async fn changing(
    signed: &Signed,
    block: &Block,
    farm: &Farm,
    tried: Option<&Tried>,
) -> Result<FormPage, Stop> {
    let words = signed.words();
    let around = Around::of(signed, farm, Some(block)).await?;
    let held = signed.0.ask(Asked::get(&["blocks", &block.id])).await?;
    let form = form(words, &around, words.get("block_form.save"))
        .filled(&sent_of(block))
        .held(held.tag.clone())
        .after(tried);
    let mut page = FormPage::new(words, words.fill("block_form.change", &[("block", &block.name)]), form);
    let curves = signed.0.catalogue().await?.curves;
    // The sentence is the model's, from the block as it is stored.
    let told = input::read(&block.details, |fields| Planting::from_fields(fields, &curves));
    if let Ok(planting) = told {
        page.said.push(words.fill("block_form.target_is", &[("told", &planting.target.told())]));
        let curve = &planting.curve;
        let places: [(&str, &dyn std::fmt::Display); 2] = [("curve", &curve.id), ("source", &curve.source)];
        page.said.push(words.fill("block_form.curve_is", &places));
    }
    let year = signed.0.now().local_year(Tz::UTC);
    let plan = format!("/blocks/{}/seasons/{year}/plan", block.id);
    page.next.push((plan, words.fill("block_form.to_plan", &[("year", &year)])));
    page.next.push((format!("/blocks/{}", block.id), words.get("block_form.to_seasons").to_owned()));
    page.next.push((format!("/blocks/{}/site", block.id), words.get("block_form.to_site").to_owned()));
    page.deeds.push(archiving(words, block, held.tag, tried));
    Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")))
}

/// Archives the block, or takes it up again.
fn archiving(words: &'static Words, block: &Block, tag: Option<String>, tried: Option<&Tried>) -> Deed {
    let (name, head, means, button, to) = match block.archived_at {
        None => (
            "archive",
            "block_form.archive",
            "block_form.archive_means",
            "block_form.archive_now",
            "archived",
        ),
        Some(_) => (
            "take-up",
            "block_form.take_up",
            "block_form.take_up_means",
            "block_form.take_up_now",
            "taken-up",
        ),
    };
    let form = Form::deed(words, name, words.get(button), &block.name)
        .to(format!("/blocks/{}/{to}", block.id))
        .held(tag)
        .after(tried);
    Deed { head: words.get(head).to_owned(), means: words.get(means).to_owned(), form }
}

/// Archives it: it is only read from then on.
pub(crate) async fn archive(signed: Signed, Path(id): Path<String>) -> Shown {
    let (block, _) = signed.block(&id).await?;
    signed.0.ask(Asked::bid(&["blocks", &block.id, "archive"])).await?;
    on_to(&format!("/blocks/{}", block.id))
}

/// Takes it up again.
pub(crate) async fn take_up(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    match signed.0.ask(Asked::delete(&["blocks", &block.id, "archive"], sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/blocks/{}", block.id)),
        Err(undone) => {
            let tried = Tried::new("take-up", sent, undone)?;
            Ok(changing(&signed, &block, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// Changes it.
pub(crate) async fn save(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let (block, farm) = signed.block(&id).await?;
    signed.sets_up(&farm.id)?;
    let patch = patch(&sent, Some(&block.details));
    match signed.0.ask(Asked::patch(&["blocks", &block.id], &patch, sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/blocks/{}/change?saved=1", block.id)),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(changing(&signed, &block, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// Whether a curve stands in the block itself.
fn own_curve(details: &Value) -> bool {
    details["curve"].is_object()
}
