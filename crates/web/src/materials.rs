//! A farm's materials: what is known of each, what the year's plans want, what people
//! have confirmed, and the limits of the hours to spray in.

mod known;
mod limits;

use std::collections::{BTreeMap, BTreeSet};

use access::Deed;
use api::Asked;
use askama::Template;
use axum::extract::{Form as Body, Path};
use chrono_tz::Tz;
use model::input;
use model::materials::Material;
use model::plan::Agreed;
use serde_json::{Value, json};
use store::{Confirmed, Farm};

use crate::fields::{Field, Form, Group, Sent, Tried, status};
use crate::tables::Table;
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{pages, said};

/// Blocks whose plans are looked at.
const LOOKED_AT: u32 = 2_000;

#[derive(Template)]
#[template(path = "materials.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    planned_head: String,
    planned: Vec<Planned>,
    confirmed: Vec<ConfirmedShown>,
    /// The form; none for who may not.
    form: Option<Form>,
    /// Whether the limits are theirs to set.
    sets: bool,
    /// Which limits the farm goes by.
    whose: String,
    limits: Table,
    facts: Vec<String>,
    known: Table,
    basis: Vec<String>,
}

/// A material of the year's plans.
struct Planned {
    material: String,
    blocks: String,
    /// Who confirmed it when; none where nobody did.
    confirmed: Option<String>,
}

struct ConfirmedShown {
    /// By which it is taken back; none where it was, and for who may not.
    take_back: Option<Form>,
    material: String,
    said: String,
    note: Option<String>,
    /// When it was taken back.
    back: Option<String>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    shown(&signed, farm, None).await
}

/// Confirms a material in someone's name.
pub(crate) async fn confirm(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    let mut document = sent.texts(&["material", "jurisdiction", "by", "on", "note"]);
    for tick in ["registered", "bloom_use"] {
        document[tick] = json!(sent.ticked(tick));
    }
    match signed.0.ask(Asked::post(&["farms", &farm.id, "confirmations"], &document)).await {
        Ok(_) => on_to(&format!("/farms/{}/materials#confirmed", farm.id)),
        Err(undone) => shown(&signed, farm, Some(Tried::new("confirm", sent, undone)?)).await,
    }
}

/// Takes a confirmation back.
pub(crate) async fn take_back(signed: Signed, Path((id, confirmation)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    // What was said is never changed: it stands or is taken back.
    signed.0.ask(Asked::delete(&["farms", &farm.id, "confirmations", &confirmation], "*")).await?;
    on_to(&format!("/farms/{}/materials#confirmed", farm.id))
}

async fn shown(signed: &Signed, farm: Farm, tried: Option<Tried>) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let units = view.caller().units;
    let catalogue = view.catalogue().await?;
    let materials = &catalogue.materials;
    let confirmed = view.store().confirmations(&farm.id).await?;
    let zone = signed.farm_zone(Some(&farm)).await?;
    let year = view.now().local_year(zone);
    let planned = planned(signed, &farm, year).await?;
    let rules = view.read(&["farms", &farm.id, "slot-limits"], &[]).await?;
    let limits = limits::read(&rules)?;
    let person = view.caller().person_id.as_deref().unwrap_or_default();
    let name = view.store().person(person).await?.map(|person| person.name).unwrap_or_default();
    let logs = signed.may(Deed::Log, &farm);
    let form = logs.then(|| confirming(&farm, &name, materials, words).after(tried.as_ref()));
    let standing: Vec<&Confirmed> = confirmed.iter().filter(|one| one.taken_back_at.is_none()).collect();
    let of = |id: &str| standing.iter().rfind(|one| one.material == id).map(|one| by_whom(&one.doc, words));
    let page = Page {
        words,
        title: words.fill("materials.title", &[("farm", &farm.name)]),
        planned_head: words.fill("materials.planned", &[("year", &year)]),
        planned: planned
            .into_iter()
            .map(|(id, blocks)| Planned {
                confirmed: of(&id),
                material: named(&id, materials),
                blocks: blocks.into_iter().collect::<Vec<_>>().join(", "),
            })
            .collect(),
        confirmed: confirmed.iter().map(|one| of_record(one, materials, (zone, logs), words)).collect(),
        form,
        sets: signed.may(Deed::SetUp, &farm),
        whose: words.get(limits::whose(&rules, &limits)).to_owned(),
        limits: limits::table(&limits, materials, units, words),
        facts: limits.facts.iter().map(|fact| limits::fact(fact, materials)).collect(),
        known: known::table(materials, units, words),
        basis: known::basis(materials),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(status(tried.as_ref()), &page))
}

fn confirming(farm: &Farm, by: &str, materials: &[Material], words: &'static Words) -> Form {
    let nothing = (String::new(), words.get("materials.choose").to_owned());
    let choices = materials.iter().map(|material| (material.id.clone(), material.name.clone()));
    let choices = std::iter::once(nothing).chain(choices).collect();
    let fields = vec![
        Field::choice("material", words.get("materials.material"), choices).needed(),
        Field::line("jurisdiction", words.get("materials.jurisdiction")).needed(),
        Field::tick("registered", words.get("materials.registered")),
        Field::tick("bloom_use", words.get("materials.bloom_use")),
        Field::line("by", words.get("materials.by")).value(by).needed().complete("name"),
        Field::date("on", words.get("materials.on")).needed(),
        Field::lines("note", words.get("materials.note"), 3),
    ];
    Form::new(words, words.get("materials.confirm_now"), vec![Group::of(fields)])
        .named("confirm")
        .to(format!("/farms/{}/materials#confirm", farm.id))
}

/// The materials of the year's plans, each with the blocks that plan it.
async fn planned(
    signed: &Signed,
    farm: &Farm,
    year: i32,
) -> Result<BTreeMap<String, BTreeSet<String>>, Stop> {
    let store = signed.0.store();
    let mut planned: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for row in store.board(year, Some(&farm.id), LOOKED_AT).await? {
        let Some(plan) = store.plan(&row.block_id, year).await? else { continue };
        let agreed = input::read(&plan.doc, |fields| Some(Agreed::from_fields(fields)));
        let agreed = agreed.map_err(|faults| Stop::Failed(format!("plan of {}: {faults}", row.block_id)))?;
        for spray in agreed.sprays {
            planned.entry(spray.material).or_default().insert(row.name.clone());
        }
    }
    Ok(planned)
}

fn named(id: &str, materials: &[Material]) -> String {
    let known = materials.iter().find(|material| material.id == id);
    known.map_or_else(|| id.to_owned(), |material| material.name.clone())
}

/// Who confirmed it, when and for where.
fn by_whom(doc: &Value, words: &Words) -> String {
    let said = |field: &str| doc[field].as_str().unwrap_or_default().to_owned();
    words.fill(
        "materials.by_whom",
        &[("by", &said("by")), ("on", &said("on")), ("place", &said("jurisdiction"))],
    )
}

fn of_record(
    one: &Confirmed,
    materials: &[Material],
    (zone, logs): (Tz, bool),
    words: &'static Words,
) -> ConfirmedShown {
    let back = one.taken_back_at.map(|at| said::dated(at, zone));
    let material = named(&one.material, materials);
    let take_back =
        Form::deed(words, &format!("back-{}", one.id), words.get("materials.take_back_now"), &material)
            .to(format!("/farms/{}/materials/{}/taken-back", one.farm_id, one.id));
    ConfirmedShown {
        take_back: (logs && back.is_none()).then_some(take_back),
        material,
        said: by_whom(&one.doc, words),
        note: one.doc["note"].as_str().map(str::to_owned),
        back: back.map(|at| words.fill("materials.taken_back", &[("at", &at)])),
    }
}
