//! The plan of a season: its sprays with their marks, and what an advisor may set.

use api::{Answered, Asked, Undone};
use axum::extract::{Form as Body, Path, Query};
use model::materials::{RateBasis, RateUnit};
use model::plan::{MARKS, MOST_SPRAYS, Settings};
use serde_json::{Map, Value, json};
use store::{Block, Farm};

use super::{Deed, FormPage};
use crate::fields::{Field, Form, Group, Sent, Tried, shown, without_nulls};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

/// Empty rows that stand ready below those of the plan.
const SPARE: usize = 2;
/// What is kept of a spray, each at its own field.
const OF_SPRAY: [&str; 6] = ["material", "mark", "bound", "rate", "rate_unit", "rate_basis"];
/// Numbers beside the sprays.
pub(super) const SETTINGS: [&str; 5] =
    ["age_days", "overrun_margin", "lead_hours", "fewest_bee_hours", "readings_within_hours"];

/// Materials by id and name.
pub(super) async fn materials(signed: &Signed) -> Result<Vec<(String, String)>, Stop> {
    let catalogue = signed.0.catalogue().await?;
    Ok(catalogue.materials.iter().map(|one| (one.id.clone(), one.name.clone())).collect())
}

/// The numbers beside the sprays: name, words and what each is by default.
pub(super) fn settings(words: &'static Words) -> [(&'static str, &'static str, String); 5] {
    let plain = Settings::default();
    [
        ("lead_hours", words.get("plan.lead_hours"), plain.lead_hours.to_string()),
        ("overrun_margin", words.get("plan.overrun_margin"), plain.overrun_margin.to_string()),
        ("age_days", words.get("plan.age_days"), plain.age_days.to_string()),
        ("fewest_bee_hours", words.get("plan.bee_hours"), plain.fewest_bee_hours.to_string()),
        ("readings_within_hours", words.get("plan.readings_within"), plain.readings_within_hours.to_string()),
    ]
}

/// The sides of a mark to keep to.
pub(super) fn bounds(words: &Words) -> Vec<(String, String)> {
    let sides = [("not-before", "plan.not_before"), ("not-after", "plan.not_after")];
    sides.map(|(side, key)| (side.to_owned(), words.get(key).to_owned())).to_vec()
}

/// The form with the plan that stands, for what was typed last: it has room for both.
fn form(words: &'static Words, materials: &[(String, String)], now: &Sent, typed: &Sent) -> Form {
    let meant = |row: &usize| row_is_meant(now, *row) || row_is_meant(typed, *row);
    let rows = (0..MOST_SPRAYS).rev().find(meant).map_or(0, |last| last + 1);
    let group = |row: usize| {
        let group = spray(words, materials, (now, typed), row);
        if row == 0 || meant(&row) { group } else { group.folded() }
    };
    let mut groups: Vec<Group> = (0..(rows + SPARE).min(MOST_SPRAYS)).map(group).collect();
    let number = |(name, label, default): (&str, &str, String)| {
        Field::number(name, label).hint(&words.fill("plan.default", &[("value", &default)]))
    };
    groups.push(Group::headed(words.get("plan.settings"), settings(words).map(number).to_vec()).folded());
    Form::new(words, words.get("plan.save"), groups).filled(now)
}

fn spray(
    words: &'static Words,
    materials: &[(String, String)],
    (now, typed): (&Sent, &Sent),
    row: usize,
) -> Group {
    // Its place among those that were sent, which the API counts.
    let place = (0..row).filter(|before| row_is_meant(typed, *before)).count();
    let (name, at) =
        (|field: &str| format!("spray{row}.{field}"), |field: &str| format!("/sprays/{place}/{field}"));
    let choice = |key: &'static str, all: Vec<(String, String)>| {
        std::iter::once((String::new(), words.get(key).to_owned())).chain(all).collect::<Vec<_>>()
    };
    let word = |word: &str| (word.to_owned(), word.to_owned());
    let mut known = materials.to_vec();
    for own in [now, typed].map(|sent| sent.raw(&name("material")).to_owned()) {
        if !own.is_empty() && known.iter().all(|(id, _)| *id != own) {
            known.push(word(&own));
        }
    }
    let (low, high) = MARKS;
    let fields = vec![
        Field::choice(&name("material"), words.get("plan.material"), choice("plan.no_spray", known))
            .at(at("material")),
        Field::number(&name("mark"), words.get("plan.mark"))
            .hint(&words.fill("plan.mark_hint", &[("low", &low), ("high", &high)]))
            .at(at("mark")),
        Field::choice(&name("bound"), words.get("plan.bound"), choice("plan.by_leg", bounds(words)))
            .at(at("bound")),
        Field::number(&name("rate"), words.get("plan.rate")).at(at("rate")),
        Field::choice(
            &name("rate_unit"),
            words.get("plan.rate_unit"),
            choice("plan.of_material", RateUnit::NAMES.iter().map(|unit| word(unit)).collect()),
        )
        .at(at("rate_unit")),
        Field::choice(
            &name("rate_basis"),
            words.get("plan.rate_basis"),
            choice("plan.of_material", RateBasis::NAMES.iter().map(|basis| word(basis)).collect()),
        )
        .at(at("rate_basis")),
    ];
    Group::headed(&words.fill("plan.spray", &[("n", &(row + 1))]), fields)
}

/// Whether a row says anything; a unit alone does not.
fn row_is_meant(sent: &Sent, row: usize) -> bool {
    ["material", "mark", "rate"].iter().any(|field| sent.text(&format!("spray{row}.{field}")).is_some())
}

fn document(sent: &Sent) -> Value {
    let spray = |row: usize| {
        let name = |field: &str| format!("spray{row}.{field}");
        let fields = OF_SPRAY.iter().map(|field| {
            let value = match *field {
                "mark" | "rate" => sent.number_value(&name(field)),
                _ => sent.text_value(&name(field)),
            };
            ((*field).to_owned(), value)
        });
        Value::Object(fields.collect::<Map<_, _>>())
    };
    let rows = (0..MOST_SPRAYS).filter(|row| row_is_meant(sent, *row));
    let mut plan = json!({"sprays": rows.map(|row| without_nulls(spray(row))).collect::<Vec<_>>()});
    for name in SETTINGS {
        plan[name] = sent.number_value(name);
    }
    without_nulls(plan)
}

/// What the form holds of a plan as it stands.
fn sent_of(plan: &Value, default: &Value) -> Sent {
    let mut sent = Sent::default();
    for (row, spray) in plan["sprays"].as_array().into_iter().flatten().enumerate() {
        for field in OF_SPRAY {
            sent.set(&format!("spray{row}.{field}"), shown(&spray[field]));
        }
    }
    // What is as it is by default was set by nobody.
    for name in SETTINGS.into_iter().filter(|name| plan[name].as_f64() != default[name].as_f64()) {
        sent.set(name, shown(&plan[name]));
    }
    sent
}

fn defaults() -> Value {
    let Settings { age_days, overrun_margin, lead_hours, fewest_bee_hours, readings_within_hours } =
        Settings::default();
    json!({"age_days": age_days, "overrun_margin": overrun_margin, "lead_hours": lead_hours,
        "fewest_bee_hours": fewest_bee_hours, "readings_within_hours": readings_within_hours})
}

/// The plan as it stands; none before the first.
async fn held(signed: &Signed, block: &Block, year: i32) -> Result<Option<Answered>, Stop> {
    match signed.0.ask(Asked::get(&["blocks", &block.id, "seasons", &year.to_string(), "plan"])).await {
        Ok(held) => Ok(Some(held)),
        Err(Undone { status: 404, .. }) => Ok(None),
        Err(undone) => Err(undone.into()),
    }
}

async fn shown_page(
    signed: &Signed,
    (block, farm): (&Block, &Farm),
    year: i32,
    tried: Option<&Tried>,
) -> Result<FormPage, Stop> {
    let words = signed.words();
    let (names, held) = (materials(signed).await?, held(signed, block, year).await?);
    let now = held.as_ref().map(|held| sent_of(&held.document, &defaults())).unwrap_or_default();
    let typed = tried.map_or(&now, Tried::sent);
    let tag = held.as_ref().and_then(|held| held.tag.clone());
    let form = form(words, &names, &now, typed).held(tag).after(tried);
    let title = words.fill("plan.title", &[("block", &block.name), ("year", &year)]);
    let mut page = FormPage::new(words, title, form);
    page.said.push(words.get("plan.what_it_is").to_owned());
    let Some(held) = held else {
        page.deeds.extend(taking_over(signed, block, year).await?);
        return Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")));
    };
    let listed = |key: &str| {
        let ids = held.document[key].as_array().into_iter().flatten().filter_map(Value::as_str);
        let named = ids.map(|id| names.iter().find(|(known, _)| known == id).map_or(id, |(_, name)| name));
        named.collect::<Vec<_>>().join(", ")
    };
    if let Some(unconfirmed) = held.document["unconfirmed"].as_str() {
        page.cautions.push(format!("{}: {unconfirmed}", listed("unconfirmed_materials")));
    }
    let unknown = listed("unknown_materials");
    if !unknown.is_empty() {
        page.cautions.push(words.fill("plan.unknown", &[("names", &unknown)]));
    }
    let report = format!("/blocks/{}/seasons/{year}/report", block.id);
    page.next.push((report, words.get("plan.to_season").to_owned()));
    Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")))
}

/// The form, with the plan as it stands.
pub(crate) async fn page(
    signed: Signed,
    Path((block, text)): Path<(String, String)>,
    Query(asked): Query<Sent>,
) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    signed.sets_up(&farm.id)?;
    let mut page = shown_page(&signed, (&block, &farm), year, None).await?;
    page.done = asked.has("saved").then(|| signed.words().get("settings.saved").to_owned());
    Ok(page.shown())
}

/// The last of so many years before is offered.
const YEARS_BACK: i32 = 5;

/// Takes over the plan of the last year that has one.
async fn taking_over(signed: &Signed, block: &Block, year: i32) -> Result<Option<Deed>, Stop> {
    let words = signed.words();
    for from in (year - YEARS_BACK..year).rev() {
        if signed.0.store().plan(&block.id, from).await?.is_none() {
            continue;
        }
        let button = words.fill("plan.take_over_now", &[("from", &from)]);
        let mut form = Form::deed(words, "take-over", &button, &block.name)
            .to(format!("/blocks/{}/seasons/{year}/opened", block.id));
        form.groups.push(Group::of(vec![Field::hidden("from", from.to_string())]));
        let head = words.fill("plan.take_over", &[("from", &from)]);
        return Ok(Some(Deed { head, means: words.get("plan.take_over_means").to_owned(), form }));
    }
    Ok(None)
}

/// Opens the season with the plan of an earlier year.
pub(crate) async fn open(
    signed: Signed,
    Path((block, text)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    signed.sets_up(&farm.id)?;
    let path = ["blocks", &block.id, "seasons", &year.to_string(), "opening"];
    let document = without_nulls(json!({"from": sent.number_value("from")}));
    match signed.0.ask(Asked::post(&path, &document)).await {
        Ok(_) => on_to(&format!("/blocks/{}/seasons/{year}/plan?saved=1", block.id)),
        Err(undone) => {
            // The button is gone where a plan has come to stand meanwhile; the form is not.
            let tried = Tried::new("", sent, undone)?;
            Ok(shown_page(&signed, (&block, &farm), year, Some(&tried)).await?.shown())
        }
    }
}

/// Sets it.
pub(crate) async fn save(
    signed: Signed,
    Path((block, text)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    signed.sets_up(&farm.id)?;
    // Without a tag there was no plan when the form was opened: one made since is not
    // passed over.
    let tag = sent.text("tag").unwrap_or("\"none\"");
    let path = ["blocks", &block.id, "seasons", &year.to_string(), "plan"];
    match signed.0.ask(Asked::put(&path, &document(&sent), Some(tag))).await {
        Ok(_) => on_to(&format!("/{}?saved=1", path.join("/"))),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(shown_page(&signed, (&block, &farm), year, Some(&tried)).await?.shown())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(pairs: &[(&str, &str)]) -> Sent {
        pairs.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect()
    }

    #[test]
    fn rows_left_empty_between_others_are_left_out_and_faults_still_find_their_row() {
        let sent = of(&[
            ("spray0.material", "ammonium-thiosulfate"),
            ("spray0.mark", "0,6"),
            ("spray1.rate_unit", "percent"),
            ("spray2.material", "lime-sulfur"),
        ]);
        let plan = document(&sent);
        let expected = json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}, {"material": "lime-sulfur"}]});
        assert_eq!(plan, expected);
        let mut form = form(crate::words::english(), &[], &sent, &sent);
        form.fault("/sprays/1/mark", "is missing");
        let faulty: Vec<_> = form
            .groups
            .iter()
            .flat_map(|group| &group.fields)
            .filter(|field| !field.wrong.is_empty())
            .collect();
        assert_eq!(faulty.iter().map(|field| field.name.as_str()).collect::<Vec<_>>(), ["spray2.mark"]);
    }

    #[test]
    fn what_the_form_shows_of_a_plan_makes_the_same_plan_again() {
        let plan = json!({"sprays": [{"material": "x", "mark": 0.6, "bound": "not-before", "rate": 2.5,
            "rate_unit": "percent", "rate_basis": "product-by-volume"}, {"material": "y", "mark": 1, "bound": "not-after"}],
            "lead_hours": 36});
        let sent = sent_of(&plan, &json!({}));
        assert_eq!(document(&sent), plan);
        let mut defaults = defaults();
        defaults["sprays"] = json!([]);
        assert_eq!(document(&sent_of(&defaults, &super::defaults())), json!({"sprays": []}));
    }
}
