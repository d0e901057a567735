//! A block: what is planted, where its weather comes from, and the fruit wanted.

mod fields;

use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use chrono_tz::Tz;
use model::block::Block as Planting;
use model::input;
use serde_json::{Value, json};
use store::{Block, Farm};

use self::fields::{Around, form, patch, sent_of};
use super::FormPage;
use crate::fields::{Sent, Tried, without_nulls};
use crate::visit::{Shown, Signed, Stop, on_to};

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
        .held(held.tag)
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
    Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")))
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
