//! Materials by their common names: what a logged spray does to the clock.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input;
use model::materials::Material;
use model::words;
use serde_json::{Value, json};

use crate::answer::{Answer, created, ok, whole};
use crate::curves::without_id;
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

pub(crate) async fn list(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let shipped = &desk.app.catalogue.materials;
    let all = desk.catalogue().await?.materials;
    whole(all.iter().map(|material| render(material, ships(shipped, &material.id))).collect())
}

pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let catalogue = desk.catalogue().await?;
    let Some(material) = catalogue.materials.iter().find(|material| material.id == id) else {
        return Err(Problem::not_found(format!("There is no material `{id}`.")));
    };
    ok(render(material, ships(&desk.app.catalogue.materials, &id)))
}

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
    let rendered = render(&material, false);
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

fn render(material: &Material, shipped: bool) -> Value {
    json!({
        "id": material.id,
        "name": material.name,
        "role": material.role,
        "shipped": shipped,
        "caution": words::CAUTION,
    })
}
