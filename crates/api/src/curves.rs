//! Growth curves: those that ship, and those that users add. A curve is never
//! changed; a better one gets an id of its own.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::curve::{Curve, Measure};
use model::input;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::answer::{Answer, created, ok, whole};
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::Page;

/// Where a curve comes from, which stands wherever it is used.
#[derive(Serialize, ToSchema)]
pub(crate) struct Provenance {
    id: String,
    source: String,
    /// `published`, `from-memory`, `constructed` or `measured`.
    #[schema(value_type = String)]
    status: Value,
    /// Temperatures that its data covered, °C.
    #[schema(value_type = Vec<f64>, min_items = 2, max_items = 2)]
    covered: [f64; 2],
    /// Whether the start lag is inside.
    lag_inside: bool,
    /// `style-base`, `ovule` or `unknown`.
    #[schema(value_type = String)]
    end_point: Value,
    /// Of its rate: `fraction-per-day` or `mm-per-day`.
    unit: &'static str,
    /// Cultivars that it was measured on.
    cultivars: Vec<String>,
}

/// A growth curve.
#[derive(Serialize, ToSchema)]
pub(crate) struct CurveShown {
    #[serde(flatten)]
    provenance: Provenance,
    /// Whether it ships with the program.
    shipped: bool,
}

/// A growth curve with its rates.
#[derive(Serialize, ToSchema)]
pub(crate) struct CurveWhole {
    #[serde(flatten)]
    curve: CurveShown,
    /// Temperature in °C and rate per day, joined by straight lines.
    #[schema(value_type = Vec<Vec<f64>>)]
    rates_per_day: Vec<[f64; 2]>,
}

/// A growth curve as it is added: joined nodes, or a beta function by its
/// cardinal temperatures.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct CurveAdded {
    #[schema(pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: String,
    /// `nodes` or `beta`.
    form: String,
    /// `mm-per-hour`, `mm-per-day`, `fraction-per-hour` or `fraction-per-day`.
    unit: String,
    /// Temperature in °C and rate, of the form `nodes`.
    #[schema(nullable = false)]
    nodes: Option<Vec<Vec<f64>>>,
    #[schema(nullable = false)]
    tmin: Option<f64>,
    #[schema(nullable = false)]
    topt: Option<f64>,
    #[schema(nullable = false)]
    tmax: Option<f64>,
    #[schema(nullable = false)]
    rate_at_topt: Option<f64>,
    source: String,
    /// `published`, `from-memory`, `constructed` or `measured`.
    status: String,
}

/// The id under which a block's inline curve goes.
const INLINE: &str = "inline";

/// All growth curves.
#[utoipa::path(get, path = "/curves", tag = "curves and materials", operation_id = "list-curves",
    responses((status = 200, body = Page<CurveShown>)))]
pub(crate) async fn list(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let shipped = &desk.app.catalogue.curves;
    let all = desk.catalogue().await?.curves;
    whole(all.iter().map(|curve| shown(curve, ships(shipped, &curve.id))).collect())
}

/// One growth curve with its rates.
#[utoipa::path(get, path = "/curves/{id}", tag = "curves and materials", operation_id = "read-curve",
    params(("id" = String, Path)), responses((status = 200, body = CurveWhole)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let shipped = ships(&desk.app.catalogue.curves, &id);
    let catalogue = desk.catalogue().await?;
    let Some(curve) = catalogue.curves.iter().find(|curve| curve.id == id) else {
        return Err(Problem::not_found(format!("There is no curve `{id}`.")));
    };
    // In the model's own numbers: a beta curve comes as the table it runs on.
    let rates_per_day =
        curve.table.nodes().map(|(celsius, _)| [celsius, curve.rate_per_day(celsius)]).collect();
    ok(CurveWhole { curve: shown(curve, shipped), rates_per_day })
}

/// Adds a growth curve, for all farms; the same again changes nothing (200).
#[utoipa::path(post, path = "/curves", tag = "curves and materials", operation_id = "add-curve",
    request_body = CurveAdded, responses((status = 200, body = CurveShown), (status = 201, body = CurveShown)))]
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
    let rendered = shown(&curve, false);
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

fn shown(curve: &Curve, shipped: bool) -> CurveShown {
    CurveShown { provenance: provenance(curve), shipped }
}

pub(crate) fn provenance(curve: &Curve) -> Provenance {
    Provenance {
        id: curve.id.clone(),
        source: curve.source.clone(),
        status: json!(curve.status),
        covered: [curve.covered.0, curve.covered.1],
        lag_inside: curve.lag_inside,
        end_point: json!(curve.end_point),
        unit: unit(curve),
        cultivars: curve.cultivars.clone(),
    }
}

/// Unit of the curve's rate per day, in the words that curves are written in.
pub(crate) fn unit(curve: &Curve) -> &'static str {
    match curve.measure {
        Measure::Millimetre => "mm-per-day",
        Measure::Style => "fraction-per-day",
    }
}
