//! A farm's materials: what is known of each, what the year's plans want, what people
//! have confirmed, and the limits of the hours to spray in.

mod known;
mod limits;

use std::collections::{BTreeMap, BTreeSet};

use access::Deed;
use askama::Template;
use axum::extract::{Form, Path};
use axum::http::Method;
use chrono_tz::Tz;
use model::input;
use model::materials::Material;
use model::plan::Agreed;
use serde_json::{Value, json};
use store::{Confirmed, Farm};

use crate::tables::Table;
use crate::typed::{Field, Typed, back_to};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

/// Blocks whose plans are looked at.
const LOOKED_AT: u32 = 2_000;
/// The fields of the form, which the API takes under the same names.
const FIELDS: [&str; 7] = ["material", "jurisdiction", "by", "on", "registered", "bloom_use", "note"];

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
    form: Option<Vec<Field>>,
    wrong: Option<String>,
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
    id: String,
    material: String,
    said: String,
    note: Option<String>,
    /// When it was taken back.
    back: Option<String>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    let person = signed.0.caller().person_id.clone().unwrap_or_default();
    let name = signed.0.store().person(&person).await?.map(|person| person.name).unwrap_or_default();
    shown(&signed, farm, Typed::proposed(&[("by", &name)])).await
}

/// Confirms a material in someone's name.
pub(crate) async fn confirm(
    signed: Signed,
    Path(id): Path<String>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let typed = Typed::of(sent);
    let mut document = typed.document(&["material", "jurisdiction", "by", "on", "note"]);
    for tick in ["registered", "bloom_use"] {
        document[tick] = json!(typed.ticked(tick));
    }
    match signed.0.send(Method::POST, &["farms", &farm.id, "confirmations"], Some(&document)).await {
        Ok(_) => Ok(back_to(&format!("/farms/{}/materials#confirmed", farm.id))),
        Err(refused) => shown(&signed, farm, typed.refused(refused)?).await,
    }
}

/// Takes a confirmation back.
pub(crate) async fn take_back(signed: Signed, Path((id, confirmation)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    let path = ["farms", &farm.id, "confirmations", &confirmation];
    signed.0.send(Method::DELETE, &path, None).await?;
    Ok(back_to(&format!("/farms/{}/materials#confirmed", farm.id)))
}

async fn shown(signed: &Signed, farm: Farm, typed: Typed) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let units = view.caller().units;
    let catalogue = view.catalogue().await?;
    let materials = &catalogue.materials;
    let confirmed = view.store().confirmations(&farm.id).await?;
    let year = view.now().local_year(Tz::UTC);
    let planned = planned(signed, &farm, year).await?;
    let rules = view.read(&["farms", &farm.id, "slot-limits"], &[]).await?;
    let limits = limits::read(&rules)?;
    let form = signed.may(Deed::Log, &farm).then(|| fields(&typed, materials, words));
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
                material: name(&id, materials),
                blocks: blocks.into_iter().collect::<Vec<_>>().join(", "),
            })
            .collect(),
        confirmed: confirmed.iter().map(|one| of_record(one, materials, words)).collect(),
        form,
        wrong: typed.left(&FIELDS),
        whose: words.get(limits::whose(&rules, &limits)).to_owned(),
        limits: limits::table(&limits, materials, units, words),
        facts: limits.facts.iter().map(|fact| limits::fact(fact, materials)).collect(),
        known: known::table(materials, units, words),
        basis: known::basis(materials),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(typed.status(), &page))
}

fn fields(typed: &Typed, materials: &[Material], words: &Words) -> Vec<Field> {
    let field = |name, kind, key: &'static str| typed.field("confirm", name, kind, words.get(key));
    let nothing = (String::new(), words.get("materials.choose").to_owned());
    let choices = materials.iter().map(|material| (material.id.clone(), material.name.clone()));
    vec![
        field("material", "select", "materials.material")
            .of(std::iter::once(nothing).chain(choices).collect())
            .required(),
        field("jurisdiction", "text", "materials.jurisdiction").required(),
        field("registered", "tick", "materials.registered"),
        field("bloom_use", "tick", "materials.bloom_use"),
        field("by", "text", "materials.by").required().complete("name"),
        field("on", "date", "materials.on").required(),
        field("note", "textarea", "materials.note"),
    ]
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

fn name(id: &str, materials: &[Material]) -> String {
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

fn of_record(one: &Confirmed, materials: &[Material], words: &Words) -> ConfirmedShown {
    let back = one.taken_back_at.map(|at| said::dated(at, Tz::UTC));
    ConfirmedShown {
        id: one.id.clone(),
        material: name(&one.material, materials),
        said: by_whom(&one.doc, words),
        note: one.doc["note"].as_str().map(str::to_owned),
        back: back.map(|at| words.fill("materials.taken_back", &[("at", &at)])),
    }
}
