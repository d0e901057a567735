//! How the legs would have gone in past springs of a site, by a rule that is typed.

use askama::Template;
use axum::extract::{Path, Query};
use chrono_tz::Tz;
use model::hindcast::{Range, Spring};
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::pages;
use crate::tables::{Table, drawn};
use crate::typed::{Field, Typed};
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
    /// What was wrong and stands beside no field.
    wrong: Option<String>,
    fields: Vec<Field>,
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
pub(crate) async fn page(
    signed: Signed,
    Path(id): Path<String>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Shown {
    let (site, zone) = signed.site(&id).await?;
    let words = signed.words();
    let asked = Typed::of(pairs);
    let (typed, found) = if asked.is_empty() {
        (Typed::proposed(&[("marks", "0.60, 0.60"), ("curve", "reference")]), None)
    } else {
        let given = asked.document(&FIELDS);
        let query: Vec<(&str, &str)> =
            FIELDS.iter().filter_map(|name| Some((*name, given[*name].as_str()?))).collect();
        match signed.0.read(&["sites", &site.id, "hindcast"], &query).await {
            Ok(answer) => (asked, Some(found(&answer, &site.name, zone, words)?)),
            Err(refused) => (asked.refused(refused)?, None),
        }
    };
    let fields = fields(&signed, &typed).await?;
    let page = Page {
        words,
        title: words.fill("springs.title", &[("site", &site.name)]),
        wrong: typed.left(&FIELDS),
        fields,
        found,
        site_id: site.id,
        site: site.name,
    };
    Ok(pages::page(typed.status(), &page))
}

async fn fields(signed: &Signed, typed: &Typed) -> Result<Vec<Field>, Stop> {
    let words = signed.words();
    let curves = signed.0.catalogue().await?.curves;
    let curves = curves.iter().map(|curve| (curve.id.clone(), curve.id.clone())).collect();
    let text = |name: &'static str, key: &'static str| typed.field("springs", name, "text", words.get(key));
    Ok(vec![
        text("start", "springs.start"),
        text("degree_hours", "springs.degree_hours"),
        text("since", "springs.since"),
        text("marks", "springs.marks"),
        typed.field("springs", "curve", "select", words.get("springs.curve")).of(curves),
        text("style_mm", "springs.style_mm"),
        text("from", "springs.from"),
        text("to", "springs.to"),
    ])
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
