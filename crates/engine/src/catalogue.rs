//! Curves and materials: those that ship, and those that were added.

use model::catalogue::Catalogue;
use serde_json::{Map, Value};
use store::Store;

use crate::PassError;

/// What ships with what was added behind it.
///
/// # Errors
/// When the database fails, or holds a curve or material that cannot be read.
pub async fn whole(shipped: &Catalogue, store: &Store) -> Result<Catalogue, PassError> {
    let curves: Map<String, Value> =
        store.curves().await?.into_iter().map(|curve| (curve.id, curve.doc)).collect();
    let materials: Map<String, Value> =
        store.materials().await?.into_iter().map(|material| (material.id, material.doc)).collect();
    let added =
        Catalogue::read(&Value::Object(curves), &Value::Object(materials)).map_err(PassError::Catalogue)?;
    Ok(shipped.and(added))
}
