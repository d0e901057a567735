//! Many blocks of a farm at once: one note into all their logs, one change to all their
//! plans, which is shown block by block before anything of it is stored.

use access::Deed;
use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use chrono_tz::Tz;
use model::plan::MOST_SPRAYS;
use serde_json::{Value, json};
use store::Farm;

use super::{FormPage, plan};
use crate::fields::{Field, Form, Group, Sent, Tried, shown, without_nulls};
use crate::tables::Table;
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

/// Blocks that one page lists.
const LISTED: u32 = 1_000;
/// What may be changed of a spray, with the keys of its words.
const OF_SPRAY: [(&str, &str); 3] =
    [("material", "plan.material"), ("mark", "plan.mark"), ("bound", "plan.bound")];

/// Which blocks are meant.
async fn which(signed: &Signed, farm: &Farm) -> Result<Group, Stop> {
    let words = signed.words();
    let mut blocks = signed.0.store().blocks(Some(&farm.id), None, LISTED).await?;
    blocks.retain(|block| block.archived_at.is_none());
    let mut cultivars: Vec<String> = blocks.iter().map(|block| shown(&block.details["cultivar"])).collect();
    cultivars.sort();
    cultivars.dedup();
    let any = (String::new(), words.get("together.any_cultivar").to_owned());
    let cultivars = std::iter::once(any).chain(cultivars.into_iter().map(|one| (one.clone(), one)));
    let blocks = blocks.into_iter().map(|block| (block.id, block.name)).collect();
    let year = signed.0.now().local_year(Tz::UTC);
    Ok(Group::headed(
        words.get("together.which"),
        vec![
            Field::number("year", words.get("together.year")).value(year.to_string()).needed(),
            Field::choice("cultivar", words.get("together.cultivar"), cultivars.collect()),
            Field::ticks("blocks", words.get("together.blocks"), blocks),
        ],
    ))
}

/// The same for the API; without any ticked they are all of the farm.
fn meant(sent: &Sent, farm: &Farm) -> Value {
    let blocks: Vec<&str> = sent.all("blocks").collect();
    let mut document = json!({"year": sent.number_value("year"), "cultivar": sent.text_value("cultivar")});
    if blocks.is_empty() {
        document["farm_id"] = json!(farm.id);
    } else {
        document["blocks"] = json!(blocks);
    }
    document
}

fn page_of(signed: &Signed, farm: &Farm, title: &str, said: &str, form: Form) -> FormPage {
    let words = signed.words();
    let page = FormPage::new(words, words.fill(title, &[("farm", &farm.name)]), form);
    FormPage { said: vec![words.get(said).to_owned()], ..page }
        .back(format!("/farms/{}", farm.id), words.get("together.to_farm"))
}

/// How many were written, where the address says so.
fn done(asked: &Sent, words: &Words) -> Option<String> {
    let count = |name| asked.text(name).and_then(|text| text.parse::<u64>().ok());
    let (changed, left) = (count("changed")?, count("left")?);
    Some(words.fill("together.is_done", &[("changed", &changed), ("left", &left)]))
}

fn counted(document: &Value) -> String {
    let changed = document["changed"].as_u64().unwrap_or_default();
    let all = document["blocks"].as_array().map_or(0, Vec::len) as u64;
    format!("changed={changed}&left={}", all.saturating_sub(changed))
}

async fn note_page(signed: &Signed, farm: &Farm, tried: Option<&Tried>) -> Result<FormPage, Stop> {
    let words = signed.words();
    let text = Group::of(vec![Field::lines("text", words.get("together.text"), 4).needed()]);
    let form =
        Form::new(words, words.get("together.write"), vec![text, which(signed, farm).await?]).after(tried);
    Ok(page_of(signed, farm, "together.note_title", "together.note_means", form))
}

/// The form of a note.
pub(crate) async fn note(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    if !signed.0.caller().may(Deed::Log, &farm.id) {
        return Err(Stop::NotAllowed(signed.words().get("together.not_theirs").to_owned()));
    }
    let mut page = note_page(&signed, &farm, None).await?;
    page.done = done(&asked, signed.words());
    Ok(page.shown())
}

/// Writes it.
pub(crate) async fn write(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    let mut document = meant(&sent, &farm);
    document["text"] = sent.text_value("text");
    match signed.0.ask(Asked::post(&["notes"], &without_nulls(document))).await {
        Ok(written) => on_to(&format!("/farms/{}/note?{}", farm.id, counted(&written.document))),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(note_page(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

async fn plans_page(signed: &Signed, farm: &Farm, tried: Option<&Tried>) -> Result<FormPage, Stop> {
    let words = signed.words();
    let as_it_is = (String::new(), words.get("together.as_it_is").to_owned());
    let choices =
        |all: Vec<(String, String)>| std::iter::once(as_it_is.clone()).chain(all).collect::<Vec<_>>();
    let sprays = (1..=MOST_SPRAYS).map(|n| (n.to_string(), words.fill("plan.spray", &[("n", &n)])));
    let spray = vec![
        Field::choice("spray", words.get("together.spray"), choices(sprays.collect())),
        Field::choice("material", words.get("plan.material"), choices(plan::materials(signed).await?)),
        Field::number("mark", words.get("plan.mark")),
        Field::choice("bound", words.get("plan.bound"), choices(plan::bounds(words))),
    ];
    let numbers = plan::settings(words).map(|(name, label, _)| Field::number(name, label)).to_vec();
    let groups = vec![
        which(signed, farm).await?,
        Group::headed(words.get("together.change"), spray),
        Group::headed(words.get("plan.settings"), numbers).folded(),
    ];
    let form = Form::new(words, words.get("together.look"), groups).after(tried);
    Ok(page_of(signed, farm, "together.plans_title", "together.plans_means", form))
}

/// The form of a change to many plans.
pub(crate) async fn plans(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    let mut page = plans_page(&signed, &farm, None).await?;
    page.done = done(&asked, signed.words());
    Ok(page.shown())
}

/// Shows what would be changed, or changes what was shown.
pub(crate) async fn change(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    let mut document = meant(&sent, &farm);
    for name in ["material", "bound"] {
        document[name] = sent.text_value(name);
    }
    for name in ["spray", "mark"].into_iter().chain(plan::SETTINGS) {
        document[name] = sent.number_value(name);
    }
    let stores = sent.raw("step") == "store";
    let asked = Asked::post(&["plan-changes"], &without_nulls(document));
    match signed.0.ask(asked.query(&[("dry_run", if stores { "false" } else { "true" })])).await {
        Ok(done) if stores => on_to(&format!("/farms/{}/plans?{}", farm.id, counted(&done.document))),
        Ok(looked) => looked_at(&signed, &farm, &sent, &looked.document).await,
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(plans_page(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// Each block with what would be other, and the button that changes them.
async fn looked_at(signed: &Signed, farm: &Farm, sent: &Sent, looked: &Value) -> Shown {
    let words = signed.words();
    let count = looked["changed"].as_u64().unwrap_or_default();
    let button = if count > 0 { words.fill("together.change_now", &[("n", &count)]) } else { String::new() };
    let mut carried: Vec<Field> = sent.pairs().map(|(name, value)| Field::hidden(name, value)).collect();
    carried.push(Field::hidden("step", "store"));
    let form = Form::new(words, &button, vec![Group::of(carried)]);
    let mut page = page_of(signed, farm, "together.plans_title", "together.nothing_yet", form);
    let materials = plan::materials(signed).await?;
    let head = ["together.block", "together.becomes"].map(|key| words.get(key).to_owned()).to_vec();
    let row = |block: &Value| {
        let becomes = match block["because"].as_str() {
            Some(because) => words.fill("together.left", &[("because", &because)]),
            None => differences(&block["before"], &block["after"], &materials, words),
        };
        vec![shown(&block["name"]), becomes]
    };
    let rows = looked["blocks"].as_array().into_iter().flatten().map(row);
    page.table = Some(Table::of(words.get("together.would"), std::iter::once(head).chain(rows).collect()));
    page.cautions.push(words.get("together.of_materials").to_owned());
    page.next.push((format!("/farms/{}/plans", farm.id), words.get("together.other").to_owned()));
    Ok(page.shown())
}

/// What is other in a plan, before and after.
fn differences(
    before: &Value,
    after: &Value,
    materials: &[(String, String)],
    words: &'static Words,
) -> String {
    let said = |value: &Value| {
        let text = shown(value);
        let named = materials
            .iter()
            .chain(&plan::bounds(words))
            .find(|(id, _)| *id == text)
            .map(|(_, name)| name.clone());
        match named {
            Some(name) => name,
            None if text.is_empty() => words.get("settings.nothing").to_owned(),
            None => text,
        }
    };
    let mut found = Vec::new();
    let mut compare = |label: String, before: &Value, after: &Value| {
        if before != after {
            found.push(format!("{label}: {} → {}", said(before), said(after)));
        }
    };
    for (n, spray) in after["sprays"].as_array().into_iter().flatten().enumerate() {
        for (name, key) in OF_SPRAY {
            let label = format!("{}, {}", words.fill("plan.spray", &[("n", &(n + 1))]), words.get(key));
            compare(label, &before["sprays"][n][name], &spray[name]);
        }
    }
    for (name, label, _) in plan::settings(words) {
        compare(label.to_owned(), &before[name], &after[name]);
    }
    found.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    #[test]
    fn what_would_be_other_is_told_with_before_and_after() {
        let before = json!({"sprays": [{"material": "a", "mark": 0.6}, {"material": "b", "mark": 1}]});
        let after = json!({"sprays": [{"material": "a", "mark": 0.6}, {"material": "c", "mark": 0.9}], "lead_hours": 36});
        let names = [("b".to_owned(), "Bee".to_owned())];
        let told = differences(&before, &after, &names, english());
        for part in
            ["Spray 2, Material: Bee → c", "Spray 2, Mark, share of the style: 1 → 0.9", ": nothing → 36"]
        {
            assert!(told.contains(part), "{part}: {told}");
        }
        assert!(!told.contains("Spray 1"), "{told}");
        assert_eq!(differences(&after, &after, &names, english()), "");
    }
}
