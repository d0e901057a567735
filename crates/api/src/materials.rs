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
        shipped,
        caution: words::CAUTION,
    }
}
