//! Materials that thin, and those that are known to act on flowers.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::input::{self, Faults, Fields};

/// What a material does to open flowers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Put on to thin.
    Thinner,
    /// Put on for something else, but known to act on flowers.
    ActsOnFlowers,
    /// Put on for something else.
    Other,
}

/// A material by its common name; no product is meant, and nothing here says
/// that it may be used anywhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Material {
    /// Name under which plans and sprays refer to it.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// What it does to open flowers.
    pub role: Role,
}

impl Material {
    /// Reads a table of materials by their ids, as `config/materials.toml` has
    /// it.
    ///
    /// # Errors
    /// All that is wrong with any of them.
    pub fn read_all(document: &Value) -> Result<Vec<Material>, Faults> {
        input::read_all(document, Material::from_fields)
    }

    /// Reads `name` and `role` (`thinner`, `acts-on-flowers`, `other`).
    pub fn from_fields(id: &str, fields: &Fields<'_>) -> Option<Material> {
        let name = fields.required_text("name");
        let role = fields.word("role", &["thinner", "acts-on-flowers", "other"]);
        if role.is_none() && !fields.has("role") {
            fields.fault("role", "is missing");
        }
        Some(Material {
            id: id.to_owned(),
            name: name?,
            role: match role? {
                "thinner" => Role::Thinner,
                "acts-on-flowers" => Role::ActsOnFlowers,
                _ => Role::Other,
            },
        })
    }
}
