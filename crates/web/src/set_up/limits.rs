//! A farm's own limits of the hours to spray in.

use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use model::slot::What;
use model::units::TemperatureUnit;
use serde_json::{Map, Value, json};
use store::Farm;

use super::{Deed, FormPage};
use crate::fields::{Field, Form, Group, Sent, Tried, shown, without_nulls};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

/// Empty rows that stand ready below those of the farm.
const SPARE: usize = 2;
/// Rows that are looked for in what was sent, the most that the API takes.
const MOST: usize = 200;
/// Words for how well a source holds, with the keys of what they mean.
const STATUS: [(&str, &str); 5] = [
    ("own", "limits.own"),
    ("published", "limits.published"),
    ("from-memory", "limits.from_memory"),
    ("common-practice", "limits.common_practice"),
    ("constructed", "limits.constructed"),
];

fn name(row: usize, field: &str) -> String {
    format!("limit{row}.{field}")
}

/// Whether a row sets a limit.
fn is_meant(sent: &Sent, row: usize) -> bool {
    sent.text(&name(row, "what")).is_some()
}

/// What the form holds of the limits as they stand.
fn sent_of(rules: &Value) -> Sent {
    let mut sent = Sent::default();
    for (row, limit) in rules["limit"].as_array().into_iter().flatten().enumerate() {
        let mut set = |field: &str, value: String| sent.set(&name(row, field), value);
        let (at, unit) = as_typed(&limit["at"], limit["what"] == "warmest" || limit["what"] == "coldest");
        set("at", at);
        set("unit", unit);
        let materials = limit["materials"].as_array().into_iter().flatten().map(shown);
        set("materials", materials.collect::<Vec<_>>().join(" "));
        for field in ["what", "spread", "source", "status"] {
            set(field, shown(&limit[field]));
        }
    }
    sent
}

/// A figure with its unit. A temperature that was typed in °F is kept in °C; it is shown
/// as it was typed.
fn as_typed(at: &Value, is_temperature: bool) -> (String, String) {
    let Some(celsius) = at.as_f64().filter(|_| is_temperature) else { return (shown(at), String::new()) };
    let tenths = |figure: f64| (figure * 10.0).round() / 10.0;
    let fahrenheit = celsius * 1.8 + 32.0;
    let is_round = |figure: f64| (figure - tenths(figure)).abs() < 1e-9;
    if !is_round(celsius) && is_round(fahrenheit) {
        return (tenths(fahrenheit).to_string(), TemperatureUnit::NAMES[1].to_owned());
    }
    (celsius.to_string(), TemperatureUnit::NAMES[0].to_owned())
}

/// The limits that were typed, with the facts that stand.
fn document(sent: &Sent, facts: &Value) -> Value {
    let row = |row: usize| {
        let text = |field: &str| sent.text_value(&name(row, field));
        let number = |field: &str| sent.number_value(&name(row, field));
        let parts = sent.raw(&name(row, "materials")).split(|sign: char| sign.is_whitespace() || sign == ',');
        let materials: Vec<&str> = parts.filter(|id| !id.is_empty()).collect();
        let materials = if materials.is_empty() { Value::Null } else { json!(materials) };
        without_nulls(json!({
            "what": text("what"), "at": number("at"), "unit": text("unit"), "spread": number("spread"),
            "materials": materials, "source": text("source"), "status": text("status"),
        }))
    };
    let limits: Vec<Value> = (0..MOST).filter(|row| is_meant(sent, *row)).map(row).collect();
    let mut document = Map::from_iter([("limit".to_owned(), json!(limits))]);
    document.insert("fact".to_owned(), facts.clone());
    Value::Object(document)
}

/// The form with the limits that stand, for what was typed last: it has room for both.
fn form(words: &'static Words, now: &Sent, typed: &Sent) -> Form {
    let last = (0..MOST).rev().find(|row| is_meant(now, *row) || is_meant(typed, *row));
    let rows = (last.map_or(0, |last| last + 1) + SPARE).min(MOST);
    Form::new(words, words.get("limits.save"), (0..rows).map(|row| limit(words, now, typed, row)).collect())
        .filled(now)
}

fn limit(words: &'static Words, now: &Sent, typed: &Sent, row: usize) -> Group {
    // Its place among those that were sent, which the API counts.
    let place = (0..row).filter(|before| is_meant(typed, *before)).count();
    let at = |field: &str| format!("/limit/{place}/{field}");
    let said = |what: What| match what {
        // Of the first two the unit is chosen, and the third takes no figure.
        What::Warmest | What::Coldest | What::BeeQuiet => what.spoken().to_owned(),
        what => format!("{},{}", what.spoken(), what.unit()),
    };
    let whats = What::SET.map(|what| (what.word().to_owned(), said(what)));
    let nothing = (String::new(), words.get("limits.none").to_owned());
    let units =
        [("", "limits.other_unit"), ("celsius", "readings.celsius"), ("fahrenheit", "readings.fahrenheit")];
    let choices = |all: &[(&str, &'static str)]| {
        all.iter().map(|(value, key)| ((*value).to_owned(), words.get(key).to_owned())).collect::<Vec<_>>()
    };
    let fields = vec![
        Field::choice(
            &name(row, "what"),
            words.get("materials.what"),
            std::iter::once(nothing).chain(whats).collect(),
        )
        .at(at("what")),
        Field::number(&name(row, "at"), words.get("materials.limit")).at(at("at")),
        Field::choice(&name(row, "unit"), words.get("limits.unit"), choices(&units)).at(at("unit")),
        Field::number(&name(row, "spread"), words.get("limits.spread")).at(at("spread")),
        Field::line(&name(row, "materials"), words.get("limits.materials")).at(at("materials")),
        Field::line(&name(row, "source"), words.get("limits.source")).at(at("source")),
        Field::choice(&name(row, "status"), words.get("limits.status"), choices(&STATUS)).at(at("status")),
    ];
    let group = Group::headed(&words.fill("limits.row", &[("n", &(row + 1))]), fields);
    if row == 0 || is_meant(now, row) || is_meant(typed, row) { group } else { group.folded() }
}

async fn shown_page(signed: &Signed, farm: &Farm, tried: Option<&Tried>) -> Result<FormPage, Stop> {
    let words = signed.words();
    let held = signed.0.ask(Asked::get(&["farms", &farm.id, "slot-limits"])).await?;
    let now = sent_of(&held.document);
    let form = form(words, &now, tried.map_or(&now, Tried::sent)).held(held.tag.clone()).after(tried);
    let mut page = FormPage::new(words, words.fill("limits.title", &[("farm", &farm.name)]), form);
    let own = held.document["own"] == true;
    page.said.push(words.get(if own { "limits.are_own" } else { "limits.are_shipped" }).to_owned());
    page.cautions.push(words.get("limits.what_they_are").to_owned());
    let ids: Vec<String> = signed
        .0
        .catalogue()
        .await?
        .materials
        .iter()
        .map(|one| format!("{} ({})", one.id, one.name))
        .collect();
    page.said.push(words.fill("limits.known", &[("ids", &ids.join(", "))]));
    if own {
        let form = Form::deed(words, "shipped", words.get("limits.shipped_now"), &farm.name)
            .to(format!("/farms/{}/slot-limits/shipped", farm.id))
            .held(held.tag)
            .after(tried);
        let means = words.get("limits.shipped_means").to_owned();
        page.deeds.push(Deed { head: words.get("limits.shipped").to_owned(), means, form });
    }
    Ok(page.back(format!("/farms/{}/materials#limits", farm.id), words.get("limits.to_materials")))
}

/// The form.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    let mut page = shown_page(&signed, &farm, None).await?;
    page.done = asked.has("saved").then(|| signed.words().get("settings.saved").to_owned());
    Ok(page.shown())
}

/// Sets the farm's own.
pub(crate) async fn save(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    let path = ["farms", &farm.id, "slot-limits"];
    // The facts beside them stay; the tag says that they are those that were there.
    let facts = signed.0.read(&path, &[]).await?["fact"].take();
    match signed.0.ask(Asked::put(&path, &document(&sent, &facts), Some(sent.raw("tag")))).await {
        Ok(_) => on_to(&format!("/farms/{}/slot-limits?saved=1", farm.id)),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(shown_page(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// Goes back to those that ship.
pub(crate) async fn shipped(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    match signed.0.ask(Asked::delete(&["farms", &farm.id, "slot-limits"], sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/farms/{}/slot-limits?saved=1", farm.id)),
        Err(undone) => {
            let tried = Tried::new("shipped", sent, undone)?;
            Ok(shown_page(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_form_shows_of_limits_makes_the_same_limits_again() {
        let limits = json!([
            {"what": "wind", "at": 4.5, "source": "our sprayer", "status": "own"},
            {"what": "warmest", "at": 85, "unit": "fahrenheit", "materials": ["sulfur", "oil"], "source": "x",
                "status": "from-memory"},
            {"what": "coldest", "at": 5.0, "source": "x", "status": "constructed"},
            {"what": "dew-free-after", "at": 2, "spread": 1.5, "source": "x", "status": "published"},
            {"what": "bee-quiet", "source": "x", "status": "published"},
        ]);
        let read = |document: &Value| model::slot::Limits::read(document).unwrap();
        let kept = read(&json!({"limit": limits, "fact": []})).document();
        let typed = sent_of(&kept);
        assert_eq!((typed.raw("limit1.at"), typed.raw("limit1.unit")), ("85", "fahrenheit"));
        let again = document(&typed, &json!([]));
        let (kept, again) = (read(&kept), read(&again));
        assert!((kept.limits[1].at - again.limits[1].at).abs() < 1e-12);
        assert_eq!(kept.limits.len(), again.limits.len());
        for (kept, again) in kept.limits.iter().zip(&again.limits) {
            assert_eq!(
                (kept.what, &kept.materials, kept.spread),
                (again.what, &again.materials, again.spread)
            );
        }
    }
}
