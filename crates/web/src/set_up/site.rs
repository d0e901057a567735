//! A site: a point on the map, typed or pointed at, with where its weather comes from.

use api::{Amiss, Asked, Undone};
use axum::extract::{Form as Body, Path};
use chrono_tz::TZ_VARIANTS;
use serde_json::{Value, json};
use store::Farm;

use super::coordinates::{Axis, degrees};
use super::map::{PIXELS, Window};
use super::{FormPage, MapShown, source};
use crate::fields::{Field, Form, Group, Sent, Tried, told_of, without_nulls};
use crate::visit::{Shown, Signed, on_to};
use crate::words::Words;

fn form(signed: &Signed) -> Form {
    let words = signed.words();
    let fields = vec![
        Field::line("name", words.get("site_form.name")).hint(words.get("site_form.name_hint")).needed(),
        Field::line("latitude", words.get("site_form.latitude"))
            .hint(words.get("site_form.latitude_hint"))
            .needed(),
        Field::line("longitude", words.get("site_form.longitude"))
            .hint(words.get("site_form.longitude_hint"))
            .needed(),
        Field::line("time_zone", words.get("site_form.time_zone"))
            .hint(words.get("site_form.time_zone_hint"))
            .listed("zones")
            .needed(),
        Field::number("elevation_m", words.get("site_form.elevation"))
            .hint(words.get("site_form.elevation_hint")),
        source::field(&signed.0, words),
    ];
    let zones = TZ_VARIANTS.iter().map(|zone| zone.name().to_owned()).collect();
    Form::new(words, words.get("site_form.save"), vec![Group::of(fields)]).suggesting("zones", zones)
}

fn page(signed: &Signed, farm: &Farm, mut form: Form, window: Window) -> FormPage {
    let words = signed.words();
    form.groups[0].fields.extend(window.fields().map(|(name, value)| Field::hidden(name, value)));
    let said = if window.is_closest() { words.get("map.last_click") } else { words.get("map.click") };
    let page = FormPage::new(words, words.fill("site_form.new", &[("farm", &farm.name)]), form);
    let map =
        MapShown { picture: window.picture(), width: PIXELS.0, height: PIXELS.1, said: said.to_owned() };
    FormPage { said: vec![words.get("site_form.what_it_is").to_owned()], map: Some(map), ..page }
        .back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps"))
}

/// The form.
pub(crate) async fn new(signed: Signed, Path(farm): Path<String>) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    Ok(page(&signed, &farm, form(&signed), Window::WORLD).shown())
}

/// Adds the site with its source; or, where the map was clicked, takes the place over
/// into the form and adds nothing.
pub(crate) async fn add(signed: Signed, Path(farm): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&farm).await?;
    signed.sets_up(&farm.id)?;
    let words = signed.words();
    let window = Window::of(&sent);
    if sent.has("point.x") {
        return Ok(pointed(&signed, &farm, sent, window).shown());
    }
    let (document, unread) = document(&sent, &farm.id, words);
    let tried = match unread.is_empty() {
        true => signed.0.ask(Asked::post(&["sites"], &document)).await,
        // What is not read here is told with all that the API finds wrong.
        false => Err(signed.0.ask(Asked::post(&["sites"], &document)).await.err().map_or_else(
            || Undone { status: 422, detail: String::new(), errors: unread.clone() },
            |undone| told_of(undone, &unread),
        )),
    };
    match tried {
        Ok(added) => {
            let id = added.document["id"].as_str().unwrap_or_default();
            let next = source::add(&signed.0, words, id, &sent).await;
            // The site is there: what is wrong with its source is put right on its own page.
            on_to(&next.unwrap_or_else(|_| format!("/sites/{id}/feed-test")))
        }
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(page(&signed, &farm, form(&signed).after(Some(&tried)), window).shown())
        }
    }
}

/// The document of a site, and what of it could not be read. A coordinate that is not
/// read goes as the text that it is, so that nothing can be stored of it.
fn document(sent: &Sent, farm_id: &str, words: &Words) -> (Value, Vec<Amiss>) {
    let mut unread = Vec::new();
    let mut read = |name: &str, axis| match sent.text(name).map(|text| degrees(text, axis, words)) {
        None => Value::Null,
        Some(Ok(degrees)) => json!(degrees),
        Some(Err(detail)) => {
            unread.push(Amiss { pointer: format!("/{name}"), detail });
            sent.text_value(name)
        }
    };
    let document = json!({
        "farm_id": farm_id,
        "name": sent.raw("name"),
        "latitude": read("latitude", Axis::Latitude),
        "longitude": read("longitude", Axis::Longitude),
        "elevation_m": sent.number_value("elevation_m"),
        "time_zone": sent.raw("time_zone").trim(),
    });
    (without_nulls(document), unread)
}

fn pointed(signed: &Signed, farm: &Farm, mut sent: Sent, window: Window) -> FormPage {
    let at = |name| sent.text(name).and_then(|text| text.parse::<f64>().ok());
    let inside = |at: Option<f64>, most: u32| at.filter(|at| (0.0..=f64::from(most)).contains(at));
    let point = inside(at("point.x"), PIXELS.0).zip(inside(at("point.y"), PIXELS.1));
    // A key pressed on the map points nowhere and sends its corner.
    let Some((x, y)) = point.filter(|point| *point != (0.0, 0.0)) else {
        let mut page = page(signed, farm, form(signed).filled(&sent), window);
        page.done = Some(signed.words().get("map.no_point").to_owned());
        return page;
    };
    let (latitude, longitude) = window.under(x, y);
    sent.set("latitude", latitude.to_string());
    sent.set("longitude", longitude.to_string());
    let mut page = page(signed, farm, form(signed).filled(&sent), window.closer(latitude, longitude));
    page.done =
        Some(signed.words().fill("map.pointed", &[("latitude", &latitude), ("longitude", &longitude)]));
    page
}
