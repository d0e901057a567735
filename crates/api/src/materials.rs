//! Materials by their common names: what a logged spray does to the clock.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input;
use model::materials::Material;
use model::words;
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::answer::{Answer, created, ok, whole};
use crate::curves::without_id;
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::Page;

/// A spray material by its common name. Nothing here says that it is registered
/// or may be used.
#[derive(Serialize, ToSchema)]
pub(crate) struct MaterialShown {
    id: String,
    name: String,
    /// What a logged spray of it does to the clock.
    #[schema(value_type = String)]
    role: Value,
    /// `yes`, `no` or `unknown`.
    #[schema(value_type = String)]
    acts_on_flowers: Value,
    /// The mark at which it usually goes on, and its side; as `basis` says.
    usual_mark: Option<f64>,
    #[schema(value_type = Option<String>)]
    usual_bound: Value,
    /// How much of it usually goes on, with its unit, and of what.
    rate: Option<f64>,
    rate_unit: Option<&'static str>,
    rate_basis: Option<&'static str>,
    /// Hours after a spray in which nobody goes in, read off the label by who added it.
    reentry_hours: Option<f64>,
    /// Most applications in one season.
    season_maximum: Option<i64>,
    minimum_interval_hours: Option<f64>,
    /// Where marks and rates come from, with the status of each.
    basis: Option<String>,
    max_wind_m_s: Option<f64>,
    max_gust_m_s: Option<f64>,
    rain_free_hours_after: Option<f64>,
    max_celsius: Option<f64>,
    min_celsius: Option<f64>,
    /// Whether it ships with the program.
    shipped: bool,
    caution: &'static str,
}

/// A material as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct MaterialAdded {
    #[schema(pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: String,
    #[schema(max_length = 200)]
    name: String,
    /// `thinner`, `acts-on-flowers` or `other`.
    role: String,
    /// `yes`, `no` or `unknown`; by default as the role has it.
    #[schema(nullable = false)]
    acts_on_flowers: Option<String>,
    #[schema(nullable = false, minimum = 0.05, maximum = 1.5)]
    usual_mark: Option<f64>,
    #[schema(nullable = false)]
    usual_bound: Option<String>,
    /// Only with `rate_unit` and `rate_basis`.
    #[schema(nullable = false)]
    rate: Option<f64>,
    #[schema(nullable = false)]
    rate_unit: Option<String>,
    #[schema(nullable = false)]
    rate_basis: Option<String>,
    #[schema(nullable = false)]
    reentry_hours: Option<f64>,
    #[schema(nullable = false)]
    season_maximum: Option<i64>,
    #[schema(nullable = false)]
    minimum_interval_hours: Option<f64>,
    #[schema(nullable = false)]
    basis: Option<String>,
    #[schema(nullable = false)]
    max_wind_m_s: Option<f64>,
    #[schema(nullable = false)]
    max_gust_m_s: Option<f64>,
    #[schema(nullable = false)]
    rain_free_hours_after: Option<f64>,
    #[schema(nullable = false)]
    max_celsius: Option<f64>,
    #[schema(nullable = false)]
    min_celsius: Option<f64>,
}

/// All materials.
#[utoipa::path(get, path = "/materials", tag = "curves and materials", operation_id = "list-materials",
    responses((status = 200, body = Page<MaterialShown>)))]
pub(crate) async fn list(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let shipped = &desk.app.catalogue.materials;
    let all = desk.catalogue().await?.materials;
    whole(all.iter().map(|material| shown(material, ships(shipped, &material.id))).collect())
}

/// One material.
#[utoipa::path(get, path = "/materials/{id}", tag = "curves and materials", operation_id = "read-material",
    params(("id" = String, Path)), responses((status = 200, body = MaterialShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let catalogue = desk.catalogue().await?;
    let Some(material) = catalogue.materials.iter().find(|material| material.id == id) else {
        return Err(Problem::not_found(format!("There is no material `{id}`.")));
    };
    ok(shown(material, ships(&desk.app.catalogue.materials, &id)))
}

/// Adds a material, for all farms; the same again changes nothing (200).
#[utoipa::path(post, path = "/materials", tag = "curves and materials", operation_id = "add-material",
    request_body = MaterialAdded,
    responses((status = 200, body = MaterialShown), (status = 201, body = MaterialShown)))]
pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    desk.allow_sharing()?;
    let material = input::read(&document, |fields| {
        let id = fields::required_id(fields);
        let material = Material::from_fields(id.as_deref().unwrap_or_default(), fields)?;
        fields::check_name(fields, "name", &material.name);
        Some(material)
    })?;
    if ships(&desk.app.catalogue.materials, &material.id) {
        let detail = format!(
            "Material `{}` ships with the program and stays as it is; give yours another id.",
            material.id
        );
        return Err(Problem::conflict_at("/id", detail));
    }
    let known = desk.store.materials().await?.iter().any(|row| row.id == material.id);
    desk.store.add_material(&material.id, &without_id(document), desk.now()).await?;
    let rendered = shown(&material, false);
    if known {
        return Ok((StatusCode::OK, axum::Json(rendered)).into_response());
    }
    // A spray of it may thin where before it asked the person.
    desk.poke();
    created(&format!("/api/v1/materials/{}", material.id), rendered)
}

fn ships(shipped: &[Material], id: &str) -> bool {
    shipped.iter().any(|material| material.id == id)
}

fn shown(material: &Material, shipped: bool) -> MaterialShown {
    MaterialShown {
        id: material.id.clone(),
        name: material.name.clone(),
        role: json!(material.role),
        acts_on_flowers: json!(material.acts_on_flowers),
        usual_mark: material.usual_mark,
        usual_bound: json!(material.usual_bound),
        rate: material.rate.map(|rate| rate.value),
        rate_unit: material.rate.map(|rate| rate.unit.word()),
        rate_basis: material.rate.map(|rate| rate.basis.word()),
        reentry_hours: material.reentry_hours,
        season_maximum: material.season_maximum,
        minimum_interval_hours: material.minimum_interval_hours,
        basis: material.basis.clone(),
        max_wind_m_s: material.max_wind_m_s,
        max_gust_m_s: material.max_gust_m_s,
        rain_free_hours_after: material.rain_free_hours_after,
        max_celsius: material.max_celsius,
        min_celsius: material.min_celsius,
        shipped,
        caution: words::CAUTION,
    }
}
