//! What was made of a file before anything of it is kept.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use model::time::{self, Instant};
use model::units::Units;
use serde_json::Value;
use store::{Site, Source};

use super::sent::FileSent;
use crate::fields::Sent;
use crate::visit::Signed;
use crate::words::Words;
use crate::{pages, said};

/// What was understood, in words.
#[derive(Debug, Default)]
pub(super) struct LookedAt {
    pub(super) is_understood: bool,
    /// Keys of the layout that a person is to settle, each with why.
    pub(super) to_settle: Vec<(String, String)>,
    facts: Vec<(String, String)>,
    /// Name, or number, of each column and what it is used for.
    columns: Vec<(String, String)>,
    counts: Vec<(String, u64)>,
    /// Line and reason of refused rows.
    refused: Vec<(u64, String)>,
    more_refused: u64,
    /// Line, time, temperature as they stand, and as they were read.
    first: Vec<[String; 5]>,
    has_rows: bool,
}

#[derive(Template)]
#[template(path = "looked_at.html")]
struct Page<'a> {
    words: &'static Words,
    title: String,
    back: String,
    site_id: &'a str,
    source: &'a Source,
    seen: &'a LookedAt,
    file_name: &'a str,
    packed: String,
    /// What the button says.
    store: String,
    more_refused: Option<String>,
    /// What was said of the layout, carried along.
    said: Vec<(String, String)>,
}

impl LookedAt {
    pub(super) fn of(document: &Value, words: &Words, site: &Site) -> LookedAt {
        let file = &document["file"];
        let mut seen = LookedAt::default();
        for fault in file["to_give"].as_array().into_iter().flatten() {
            let key = fault["pointer"].as_str().unwrap_or_default().trim_start_matches('/');
            seen.settle(key, &fault["detail"]);
        }
        for doubt in file["doubts"].as_array().into_iter().flatten() {
            seen.settle(doubt["key"].as_str().unwrap_or_default(), &doubt["detail"]);
        }
        let understood = &file["understood"];
        seen.is_understood = understood.is_object();
        if !seen.is_understood {
            return seen;
        }
        let zone = time::zone(&site.time_zone).unwrap_or(chrono_tz::Tz::UTC);
        let at = |value: &Value| value.as_str().and_then(|text| Instant::parse(text).ok());
        let dated = |value: &Value| at(value).map(|at| said::dated(at, zone));
        let mut fact = |key: &'static str, value: Option<String>| {
            seen.facts.extend(value.map(|value| (words.get(key).to_owned(), value)));
        };
        fact("import.station", understood["station"].as_str().map(str::to_owned));
        fact("import.unit", understood["unit"].as_str().map(str::to_owned));
        fact("import.zone", understood["zone"].as_str().map(str::to_owned));
        let minutes = understood["cadence_seconds"].as_i64().map(|seconds| seconds as f64 / 60.0);
        fact(
            "import.cadence",
            minutes.map(|minutes| words.fill("import.minutes", &[("n", &said::number(minutes))])),
        );
        fact("import.first", dated(&understood["first"]));
        fact("import.last", dated(&understood["last"]));
        fact("import.gaps", understood["gaps"]["count"].as_u64().map(|count| count.to_string()));
        for column in understood["columns"].as_array().into_iter().flatten() {
            let number = format!("#{}", column["number"]);
            let name = column["name"].as_str().map_or(number, str::to_owned);
            let used = match column["used_for"].as_str() {
                Some("time") => words.get("import.used_time"),
                Some("date") => words.get("import.used_date"),
                Some("temperature") => words.get("import.used_temperature"),
                Some(_) => words.get("import.used_where"),
                None => words.get("import.unused"),
            };
            seen.columns.push((name, used.to_owned()));
        }
        let would_be = &document["would_be"];
        let rows = &understood["rows"];
        let mut count = |key: &'static str, value: &Value| {
            seen.counts.extend(value.as_u64().map(|count| (words.get(key).to_owned(), count)));
        };
        count("import.rows_seen", &rows["seen"]);
        count("import.would_store", &would_be["stored"]);
        count("import.would_leave", &would_be["unchanged"]);
        count("import.would_correct", &would_be["corrected"]);
        count("import.would_refuse", &rows["refused"]);
        count("import.missing", &rows["missing"]);
        count("import.superseded", &rows["superseded"]);
        seen.has_rows = rows["taken"].as_u64().is_some_and(|taken| taken > 0);
        for row in understood["refused"].as_array().into_iter().flatten() {
            let reason = row["reason"].as_str().unwrap_or_default().to_owned();
            seen.refused.push((row["line"].as_u64().unwrap_or_default(), reason));
        }
        seen.more_refused =
            rows["refused"].as_u64().unwrap_or_default().saturating_sub(seen.refused.len() as u64);
        for row in understood["first_readings"].as_array().into_iter().flatten() {
            let text = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
            let celsius =
                row["celsius"].as_f64().map(|value| said::celsius(value, Units::Both)).unwrap_or_default();
            let at = dated(&row["at"]).unwrap_or_default();
            seen.first.push([row["line"].to_string(), text("time"), text("temperature"), at, celsius]);
        }
        seen
    }

    fn settle(&mut self, key: &str, detail: &Value) {
        self.to_settle.push((key.to_owned(), detail.as_str().unwrap_or_default().to_owned()));
    }
}

/// The page with what was understood, and the button that stores it.
pub(super) fn shown(
    signed: &Signed,
    site: &Site,
    source: &Source,
    sent: &Sent,
    file: &FileSent,
    seen: &LookedAt,
) -> Response {
    let words = signed.words();
    let name = if file.name.is_empty() { words.get("import.pasted") } else { &file.name };
    let said = sent.under("as.").map(|(key, text)| (format!("as.{key}"), text.to_owned())).collect();
    let page = Page {
        words,
        title: words.fill("import.looked_at", &[("file", &name)]),
        back: format!("/sites/{}/import", site.id),
        site_id: &site.id,
        source,
        seen,
        file_name: &file.name,
        packed: file.packed(),
        store: words.fill("import.store", &[("source", &source.name)]),
        more_refused: (seen.more_refused > 0)
            .then(|| words.fill("import.more_refused", &[("n", &seen.more_refused)])),
        said,
    };
    pages::page(StatusCode::OK, &page)
}
