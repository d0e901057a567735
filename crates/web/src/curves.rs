//! Growth curves with where they come from.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use model::curve::{Curve, EndPoint, Measure};
use model::units::Units;
use model::words::NOT_CULTIVAR_SPECIFIC;

use crate::tables::{Table, drawn};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

#[derive(Template)]
#[template(path = "curves.html")]
struct ListPage {
    words: &'static Words,
    title: String,
    curves: Vec<Row>,
}

/// One curve of the list.
struct Row {
    id: String,
    status: &'static str,
    source: String,
    covered: String,
    end_point: &'static str,
    unit: &'static str,
}

#[derive(Template)]
#[template(path = "curve.html")]
struct Page {
    words: &'static Words,
    title: String,
    /// Label and value of each fact.
    facts: Vec<(&'static str, String)>,
    /// What to keep in mind of a curve that was not measured on cultivars.
    caution: Option<&'static str>,
    picture: String,
    table: Table,
}

/// All of them.
pub(crate) async fn list(signed: Signed) -> Shown {
    let (words, units) = (signed.words(), signed.0.caller().units);
    let curves = signed.0.catalogue().await?.curves;
    let row = |curve: &Curve| Row {
        id: curve.id.clone(),
        status: curve.status.spoken(),
        source: curve.source.clone(),
        covered: covered(curve, units, words),
        end_point: end_point(curve, words),
        unit: unit(curve, words),
    };
    let page = ListPage {
        words,
        title: words.get("curves.title").to_owned(),
        curves: curves.iter().map(|curve| row(curve)).collect(),
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// One of them, drawn.
pub(crate) async fn one(signed: Signed, Path(id): Path<String>) -> Shown {
    let words = signed.words();
    let curves = signed.0.catalogue().await?.curves;
    let curve = curves
        .iter()
        .find(|curve| curve.id == id)
        .ok_or_else(|| Stop::NotThere(words.get("curves.not_there").to_owned()))?;
    let lag = if curve.lag_inside { "curves.lag_inside" } else { "curves.lag_outside" };
    let mut facts = vec![
        (words.get("curves.status"), curve.status.spoken().to_owned()),
        (words.get("curves.source"), curve.source.clone()),
        (words.get("curves.covered"), covered(curve, signed.0.caller().units, words)),
        (words.get("curves.end_point"), end_point(curve, words).to_owned()),
        (words.get("curves.unit"), unit(curve, words).to_owned()),
        (words.get("curves.lag"), words.get(lag).to_owned()),
    ];
    if !curve.cultivars.is_empty() {
        facts.push((words.get("curves.cultivars"), curve.cultivars.join(", ")));
    }
    let page = Page {
        words,
        title: words.fill("curves.one", &[("id", &curve.id)]),
        facts,
        caution: curve.cultivars.is_empty().then_some(NOT_CULTIVAR_SPECIFIC),
        picture: drawn(&charts::curve::picture(curve)),
        table: Table::of(words.get("curves.table"), charts::curve::table(curve)),
    };
    Ok(pages::page(StatusCode::OK, &page))
}

fn covered(curve: &Curve, units: Units, words: &Words) -> String {
    let (low, high) = curve.covered;
    said::range(said::celsius(low, units), said::celsius(high, units), words)
}

fn end_point(curve: &Curve, words: &'static Words) -> &'static str {
    words.get(match curve.end_point {
        EndPoint::StyleBase => "curves.style_base",
        EndPoint::Ovule => "curves.ovule",
        EndPoint::Unknown => "curves.end_unknown",
    })
}

fn unit(curve: &Curve, words: &'static Words) -> &'static str {
    words.get(match curve.measure {
        Measure::Millimetre => "curves.in_mm",
        Measure::Style => "curves.in_style",
    })
}
