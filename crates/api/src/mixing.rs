//! How much goes into each tank. Nothing is kept of what is asked here.

use model::input::{self, Faults};
use model::materials::Material;
use model::mixing::{Mix, MixAsked};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::query::Query;
use crate::request::Document;

/// A rate, the finished spray on an area, the area and the tank.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct MixWanted {
    /// Id of a material whose usual rate stands in for one that is not given.
    #[schema(nullable = false)]
    material: Option<String>,
    /// Only with `rate_unit` and `rate_basis`.
    #[schema(nullable = false)]
    rate: Option<f64>,
    /// `percent`, `g/L`, `lb/100-US-gal`, `L/ha`, `kg/ha`, `US-gal/acre`, `lb/acre` or
    /// `US-fl-oz/acre`.
    #[schema(nullable = false)]
    rate_unit: Option<String>,
    /// `product-by-volume`, `weight-by-volume` or `per-area`.
    #[schema(nullable = false)]
    rate_basis: Option<String>,
    /// Finished spray on an area.
    volume_per_area: f64,
    /// `L/ha` or `US-gal/acre`.
    volume_unit: String,
    area: f64,
    /// `ha` or `acre`.
    area_unit: String,
    /// What the tank holds.
    tank: f64,
    /// `L` or `US-gal`.
    tank_unit: String,
}

/// What goes into the tanks; every quantity in metric and in US units.
#[derive(Serialize, ToSchema)]
pub(crate) struct Mixed {
    /// The material, where one was named.
    material: Option<String>,
    /// Whether its usual rate stood in.
    usual_rate: bool,
    /// Where that rate comes from.
    basis: Option<String>,
    #[serde(flatten)]
    #[schema(inline)]
    mix: MixShown,
}

/// A mix as the document has it.
#[derive(Serialize)]
#[serde(transparent)]
pub(crate) struct MixShown(pub(crate) Mix);

/// Its fields.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for mixes in the document")]
pub(crate) struct MixFields {
    #[schema(value_type = Object)]
    asked: Value,
    #[schema(value_type = Object)]
    spray_per_area: Value,
    #[schema(value_type = Object)]
    area: Value,
    #[schema(value_type = Object)]
    spray: Value,
    #[schema(value_type = Object)]
    product: Value,
    #[schema(value_type = Object)]
    product_per_hectare: Value,
    #[schema(value_type = Object)]
    product_per_acre: Value,
    #[schema(value_type = Object)]
    strength: Value,
    #[schema(value_type = Object)]
    tank: Value,
    full_tanks: i64,
    #[schema(value_type = Object)]
    product_per_full_tank: Value,
    /// The last tank, when it is not a full one.
    #[schema(value_type = Option<Object>)]
    part_tank: Value,
    /// The same in words.
    sentences: Vec<String>,
    caution: String,
}

impl utoipa::PartialSchema for MixShown {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
        MixFields::schema()
    }
}

impl ToSchema for MixShown {}

/// Reckons how much goes into each tank. It changes nothing.
#[utoipa::path(post, path = "/mixing", tag = "curves and materials", operation_id = "reckon-mix",
    request_body = MixWanted, responses((status = 200, body = Mixed)))]
pub(crate) async fn mix(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let materials = desk.catalogue().await?.materials;
    ok(mixed(&document, &materials)?)
}

fn mixed(document: &Value, materials: &[Material]) -> Result<Mixed, Faults> {
    input::read(document, |fields| {
        let named = fields.text("material");
        let material = named.as_ref().and_then(|id| materials.iter().find(|known| known.id == *id));
        if let (Some(id), None) = (&named, material) {
            let known: Vec<&str> = materials.iter().map(|material| material.id.as_str()).collect();
            fields.fault("material", format!("there is no material `{id}`; known: {}", known.join(", ")));
        }
        let usual = material.and_then(|material| material.rate);
        let usual_rate = usual.is_some() && !model::materials::Rate::asked(fields);
        let asked = MixAsked::with_usual(fields, usual)?;
        Some(Mixed {
            material: named,
            usual_rate,
            basis: material.filter(|_| usual_rate).and_then(|material| material.basis.clone()),
            mix: MixShown(asked.mix()),
        })
    })
}
