//! Readings typed in by hand, several at once.

use access::Deed;
use api::{Amiss, Asked};
use axum::extract::{Form as Body, Path, Query};
use chrono_tz::Tz;
use model::units::Units;
use serde_json::{Value, json};
use store::{Site, Source, Way};

use super::FormPage;
use crate::fields::{Field, Form, Group, Sent, Tried, told_of, without_nulls};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::wall;

/// Rows of the form.
const ROWS: usize = 12;
/// Rows that stand open before anything is typed.
const OPEN: usize = 3;

/// A site of a farm whose readings the caller may write, with its sources that are typed
/// in and the zone of its clock.
async fn site(signed: &Signed, id: &str) -> Result<(Site, Tz, Vec<Source>), Stop> {
    let (site, zone) = signed.site(id).await?;
    let Some(farm) = &site.farm_id else {
        return Err(Stop::NotAllowed(signed.words().get("readings.of_the_server").to_owned()));
    };
    if !signed.0.caller().may(Deed::Log, farm) {
        return Err(Stop::NotAllowed(signed.words().get("import.not_theirs").to_owned()));
    }
    let all = signed.0.store().sources_of(&site.id).await?;
    Ok((site, zone, all.into_iter().filter(|source| source.way == Way::Hand).collect()))
}

fn name(row: usize, field: &str) -> String {
    format!("row{row}.{field}")
}

/// Whether a row says anything; a day alone does not.
fn is_meant(sent: &Sent, row: usize) -> bool {
    ["time", "value"].iter().any(|field| sent.text(&name(row, field)).is_some())
}

/// The form; `typed` tells which rows the API has counted.
fn form(signed: &Signed, sources: &[Source], zone: Tz, typed: &Sent) -> Form {
    let words = signed.words();
    let choices = sources.iter().map(|source| (source.id.clone(), source.name.clone())).collect();
    let units = [("celsius", "readings.celsius"), ("fahrenheit", "readings.fahrenheit")];
    let units = units.map(|(unit, key)| (unit.to_owned(), words.get(key).to_owned())).to_vec();
    let unit = match signed.0.caller().units {
        Units::Us => "fahrenheit",
        Units::Metric | Units::Both => "celsius",
    };
    let each = [("", "readings.at_the_moment"), ("60", "readings.mean_of_hour")];
    let each = each.map(|(minutes, key)| (minutes.to_owned(), words.get(key).to_owned())).to_vec();
    let mut groups = vec![Group::of(vec![
        Field::choice("source", words.get("import.source"), choices),
        Field::choice("unit", words.get("readings.unit"), units).value(unit),
        Field::choice("minutes", words.get("readings.each_is"), each),
    ])];
    let today = signed.0.now().local_date(zone).to_string();
    for row in 0..ROWS {
        let place = (0..row).filter(|before| is_meant(typed, *before)).count();
        let at = |field: &str| format!("/readings/{place}/{field}");
        let mut day = Field::date(&name(row, "day"), words.get("readings.day"));
        if row == 0 {
            day = day.value(today.as_str());
        } else {
            day = day.hint(words.get("readings.day_hint"));
        }
        let time = Field::line(&name(row, "time"), words.get("readings.time"));
        let value = Field::number(&name(row, "value"), words.get("readings.temperature"));
        let fields = vec![day.at(at("day")), time.at(at("at")), value.at(at("value"))];
        let group = Group::headed(&words.fill("readings.row", &[("n", &(row + 1))]), fields);
        groups.push(if row < OPEN || is_meant(typed, row) { group } else { group.folded() });
    }
    Form::new(words, words.get("readings.store"), groups)
}

fn page_of(signed: &Signed, site: &Site, sources: &[Source], form: Form) -> FormPage {
    let words = signed.words();
    let mut page = FormPage::new(words, words.fill("readings.title", &[("site", &site.name)]), form);
    page.said.push(words.fill("readings.what_it_is", &[("zone", &site.time_zone)]));
    if sources.is_empty() {
        page.form.button.clear();
        page.cautions.push(words.get("readings.no_source").to_owned());
        let sets_up = site.farm_id.as_ref().is_some_and(|farm| signed.sets_up(farm).is_ok());
        if sets_up {
            page.next
                .push((format!("/sites/{}/feed-test#more", site.id), words.get("feed.another").to_owned()));
        }
    }
    page.back(format!("/sites/{}", site.id), words.get("readings.to_site"))
}

/// The form, and what the last one gave.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let (site, zone, sources) = site(&signed, &id).await?;
    let form = form(&signed, &sources, zone, &Sent::default()).filled(&asked);
    let mut page = page_of(&signed, &site, &sources, form);
    let count = |name| asked.text(name).and_then(|text| text.parse::<u64>().ok());
    if let (Some(stored), Some(unchanged), Some(corrected)) =
        (count("stored"), count("unchanged"), count("corrected"))
    {
        let places: [(&str, &dyn std::fmt::Display); 3] =
            [("stored", &stored), ("unchanged", &unchanged), ("corrected", &corrected)];
        page.done = Some(signed.words().fill("readings.is_stored", &places));
    }
    Ok(page.shown())
}

/// Stores them, all or none.
pub(crate) async fn take(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let (site, zone, sources) = site(&signed, &id).await?;
    let words = signed.words();
    if !sources.iter().any(|source| source.id == sent.raw("source")) {
        let mut form = form(&signed, &sources, zone, &sent).filled(&sent);
        form.fault("/source", words.get("import.which_source"));
        return Ok(page_of(&signed, &site, &sources, form).shown());
    }
    let (document, unread) = document(&signed, zone, &sent);
    match signed.0.ask(Asked::post(&["sites", &site.id, "readings"], &document)).await {
        Ok(stored) => {
            let count = |name: &str| stored.document[name].as_u64().unwrap_or_default();
            on_to(&format!(
                "/sites/{}/readings?source={}&unit={}&minutes={}&stored={}&unchanged={}&corrected={}",
                site.id,
                sent.raw("source"),
                if sent.raw("unit") == "fahrenheit" { "fahrenheit" } else { "celsius" },
                if sent.raw("minutes") == "60" { "60" } else { "" },
                count("stored"),
                count("unchanged"),
                count("corrected")
            ))
        }
        Err(undone) => {
            let form = form(&signed, &sources, zone, &sent);
            let tried = Tried::new("", sent, told_of(undone, &unread))?;
            Ok(page_of(&signed, &site, &sources, form.after(Some(&tried))).shown())
        }
    }
}

/// The readings that were typed, and what of them could not be read. A time that is not
/// read goes as the text that it is, so that nothing can be stored of it.
fn document(signed: &Signed, zone: Tz, sent: &Sent) -> (Value, Vec<Amiss>) {
    let mut unread = Vec::new();
    let mut day = String::new();
    let mut readings = Vec::new();
    for row in (0..ROWS).filter(|row| is_meant(sent, *row)) {
        if let Some(typed) = sent.text(&name(row, "day")) {
            typed.clone_into(&mut day);
        }
        let time = sent.raw(&name(row, "time"));
        let at = match wall::instant(&day, time, zone, signed.words()) {
            Ok(at) => at.to_string(),
            Err(detail) => {
                unread.push(Amiss { pointer: format!("/readings/{}/at", readings.len()), detail });
                format!("{day} {time}")
            }
        };
        let value = sent.number_value(&name(row, "value"));
        if value.is_null() {
            let pointer = format!("/readings/{}/value", readings.len());
            unread.push(Amiss { pointer, detail: signed.words().get("readings.no_value").to_owned() });
        }
        let value = if value.is_null() { json!("") } else { value };
        readings.push(without_nulls(json!({
            "at": at,
            "value": value,
            "unit": sent.text_value("unit"),
            "minutes": sent.number_value("minutes"),
        })));
    }
    (json!({"source": sent.raw("source"), "readings": readings}), unread)
}
