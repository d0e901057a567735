//! Who did what on a farm, the latest first.

use askama::Template;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use chrono_tz::Tz;
use serde::Deserialize;
use serde_json::Value;
use store::{Audit, AuditPart};

use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

/// Deeds on one page.
const ON_A_PAGE: u32 = 50;

#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    /// Number of the last one on the page before.
    before: Option<String>,
}

#[derive(Template)]
#[template(path = "audit.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    /// How the list is sorted, and on which wall clock its times are.
    order: String,
    rows: Vec<Row>,
    /// Where the next page begins.
    older: Option<i64>,
    /// Whether this is not the first page.
    later: bool,
}

/// One deed.
struct Row {
    at: String,
    who: String,
    deed: String,
    /// What it was done to, by its name where it has one here.
    what: String,
    /// The block's page.
    block: Option<String>,
    year: String,
    more: String,
}

/// The page. For the farm's advisors.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Asked>) -> Shown {
    let farm = signed.farm(&id).await?;
    let (view, words) = (&signed.0, signed.words());
    if !view.caller().may_review(&farm.id) {
        return Ok(pages::refused(StatusCode::FORBIDDEN, words.get("audit.advisors")));
    }
    let before = match asked.before.as_deref().filter(|text| !text.is_empty()) {
        None => None,
        Some(text) => Some(
            text.parse().map_err(|_| Stop::NotThere(words.fill("audit.no_place", &[("before", &text)])))?,
        ),
    };
    let part = AuditPart::Before(before.unwrap_or(i64::MAX));
    let mut deeds = view.store().audit(Some(&farm.id), part, ON_A_PAGE + 1).await?;
    let more = deeds.len() > ON_A_PAGE as usize;
    deeds.truncate(ON_A_PAGE as usize);
    let older = deeds.last().filter(|_| more).map(|last| last.number);
    let zone = signed.farm_zone(Some(&farm)).await?;
    let mut rows = Vec::with_capacity(deeds.len());
    for deed in deeds {
        rows.push(row(&signed, deed, zone).await?);
    }
    let page = Page {
        words,
        title: words.fill("audit.title", &[("farm", &farm.name)]),
        order: words.fill("audit.latest_first", &[("zone", &zone.name())]),
        rows,
        older,
        later: before.is_some(),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(StatusCode::OK, &page))
}

async fn row(signed: &Signed, deed: Audit, zone: Tz) -> Result<Row, Stop> {
    let store = signed.0.store();
    let is_block = matches!(deed.kind.as_str(), "block" | "season");
    let block = if is_block { store.block(&deed.subject).await? } else { None };
    let person = if deed.kind == "person" { store.person(&deed.subject).await? } else { None };
    let named = block.as_ref().map(|block| block.name.clone()).or(person.map(|person| person.name));
    Ok(Row {
        at: said::dated(deed.at, zone),
        who: deed.person.unwrap_or_else(|| signed.words().get("audit.nobody").to_owned()),
        deed: deed.deed,
        what: format!("{} {}", deed.kind, named.unwrap_or(deed.subject)),
        block: block.map(|block| block.id),
        year: deed.year.map(|year| year.to_string()).unwrap_or_default(),
        more: deed.detail.as_ref().map(told).unwrap_or_default(),
    })
}

/// What is noted with a deed, without the signs of a document for programs.
fn told(detail: &Value) -> String {
    match detail {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(all) => all.iter().map(told).collect::<Vec<_>>().join(", "),
        Value::Object(fields) => {
            let known = fields.iter().filter(|(_, value)| !value.is_null());
            known.map(|(name, value)| format!("{name}: {}", told(value))).collect::<Vec<_>>().join("; ")
        }
        plain => plain.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_noted_reads_like_words() {
        let detail = serde_json::json!({"entries": ["open-1", "open-2"], "version": 2, "by": null});
        assert_eq!(told(&detail), "entries: open-1, open-2; version: 2");
    }
}
