//! How the legs would have gone in past springs of a site, by a rule that is typed.

use askama::Template;
use axum::extract::{Path, Query};
use chrono_tz::Tz;
use model::hindcast::{Range, Spring};
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::fields::{Field, Form, Group, Sent, Tried, status};
use crate::pages;
use crate::tables::{Table, drawn};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;

/// The fields of the form, which the API takes under the same names.
const FIELDS: [&str; 8] = ["start", "degree_hours", "since", "marks", "curve", "style_mm", "from", "to"];

#[derive(Template)]
#[template(path = "springs.html")]
struct Page {
    words: &'static Words,
    title: String,
    site_id: String,
    site: String,
    form: Form,
    found: Option<Found>,
}

/// The springs as they would have gone.
struct Found {
    head: String,
    about: String,
    picture: Option<String>,
    table: Table,
}

/// The page; without anything typed the form alone.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let (site, zone) = signed.site(&id).await?;
    let words = signed.words();
    let mut form = form(&signed).await?;
    let (mut tried, mut springs) = (None, None);
    if !asked.is_empty() {
        let query: Vec<_> = FIELDS.iter().filter_map(|name| Some((*name, asked.text(name)?))).collect();
        form = form.filled(&asked);
        match signed.0.read(&["sites", &site.id, "hindcast"], &query).await {
            Ok(answer) => springs = Some(found(&answer, &site.name, zone, words)?),
            Err(undone) => tried = Some(Tried::new("springs", asked, undone)?),
        }
    }
    let page = Page {
        words,
        title: words.fill("springs.title", &[("site", &site.name)]),
        form: form.after(tried.as_ref()),
        found: springs,
        site_id: site.id,
        site: site.name,
    };
    Ok(pages::page(status(tried.as_ref()), &page))
}

async fn form(signed: &Signed) -> Result<Form, Stop> {
    let words = signed.words();
    let curves = signed.0.catalogue().await?.curves;
    let curves = curves.iter().map(|curve| (curve.id.clone(), curve.id.clone())).collect();
    let line = |name: &'static str, key: &'static str| Field::line(name, words.get(key));
    let fields = vec![
        line("start", "springs.start"),
        line("degree_hours", "springs.degree_hours"),
        line("since", "springs.since"),
        line("marks", "springs.marks").value("0.60, 0.60").needed(),
        Field::choice("curve", words.get("springs.curve"), curves).value("reference"),
        line("style_mm", "springs.style_mm"),
        line("from", "springs.from"),
        line("to", "springs.to"),
    ];
    Ok(Form::new(words, words.get("springs.show"), vec![Group::of(fields)]).named("springs").asking())
}

fn found(answer: &Value, site: &str, zone: Tz, words: &Words) -> Result<Found, Stop> {
    let (springs, ranges): (Vec<Spring>, Vec<Range>) = (read(&answer["springs"])?, read(&answer["ranges"])?);
    let text = |name: &str| answer[name].as_str().unwrap_or_default().to_owned();
    let (rule, curve) = (text("rule"), text("curve"));
    let name = format!("{site}: {rule}");
    let picture = charts::hindcast::picture(&name, &springs, &ranges, zone);
    Ok(Found {
        head: words.fill("springs.head", &[("rule", &rule), ("curve", &curve), ("n", &springs.len())]),
        about: text("about"),
        picture: (!springs.is_empty()).then(|| drawn(&picture)),
        table: Table::of(words.get("springs.table"), charts::hindcast::table(&springs, zone)),
    })
}

fn read<T: DeserializeOwned>(value: &Value) -> Result<T, Stop> {
    serde_json::from_value(value.clone()).map_err(|error| Stop::Failed(error.to_string()))
}
