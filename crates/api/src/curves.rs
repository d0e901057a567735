//! Growth curves: those that ship, and those that users add. A curve is never
//! changed; a better one gets an id of its own.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::curve::{Curve, Measure};
use model::input;
use serde_json::{Value, json};

use crate::answer::{Answer, created, ok, whole};
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

/// The id under which a block's inline curve goes.
const INLINE: &str = "inline";

pub(crate) async fn list(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let shipped = &desk.app.catalogue.curves;
    let all = desk.catalogue().await?.curves;
    whole(all.iter().map(|curve| render(curve, ships(shipped, &curve.id))).collect())
}

pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let shipped = ships(&desk.app.catalogue.curves, &id);
    let catalogue = desk.catalogue().await?;
    let Some(curve) = catalogue.curves.iter().find(|curve| curve.id == id) else {
        return Err(Problem::not_found(format!("There is no curve `{id}`.")));
    };
    let mut document = render(curve, shipped);
    // In the model's own numbers: a beta curve comes as the table it runs on.
    document["rates_per_day"] =
        curve.table.nodes().map(|(celsius, _)| json!([celsius, curve.rate_per_day(celsius)])).collect();
    ok(document)
}

pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    desk.allow_sharing()?;
    let curve = input::read(&document, |fields| {
        let id = fields::required_id(fields);
        if id.as_deref() == Some(INLINE) {
            fields.fault("id", "`inline` stands for curves that are written in a block; give another");
        }
        Curve::from_fields(id.as_deref().unwrap_or_default(), fields)
    })?;
    if ships(&desk.app.catalogue.curves, &curve.id) {
        let detail =
            format!("Curve `{}` ships with the program and stays as it is; give yours another id.", curve.id);
        return Err(Problem::conflict_at("/id", detail));
    }
    let known = desk.store.curves().await?.iter().any(|row| row.id == curve.id);
    desk.store.add_curve(&curve.id, &without_id(document), desk.now()).await?;
    let rendered = render(&curve, false);
    if known {
        return Ok((StatusCode::OK, axum::Json(rendered)).into_response());
    }
    created(&format!("/api/v1/curves/{}", curve.id), rendered)
}

/// A document as the store keeps it: its id stands beside it, as in the tables
/// of `config/`.
pub(crate) fn without_id(mut document: Value) -> Value {
    if let Some(fields) = document.as_object_mut() {
        fields.shift_remove("id");
    }
    document
}

fn ships(shipped: &[std::sync::Arc<Curve>], id: &str) -> bool {
    shipped.iter().any(|curve| curve.id == id)
}

fn render(curve: &Curve, shipped: bool) -> Value {
    let mut document = provenance(curve);
    document["shipped"] = shipped.into();
    document
}

/// A curve's provenance, which stands wherever it is used.
pub(crate) fn provenance(curve: &Curve) -> Value {
    json!({
        "id": curve.id,
        "source": curve.source,
        "status": curve.status,
        "covered": [curve.covered.0, curve.covered.1],
        "lag_inside": curve.lag_inside,
        "end_point": curve.end_point,
        "unit": unit(curve),
        "cultivars": curve.cultivars,
    })
}

/// Unit of the curve's rate per day, in the words that curves are written in.
pub(crate) fn unit(curve: &Curve) -> &'static str {
    match curve.measure {
        Measure::Millimetre => "mm-per-day",
        Measure::Style => "fraction-per-day",
    }
}
