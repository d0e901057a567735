//! The curves and materials that blocks and plans may name: those that ship,
//! and behind them those that users added.

use std::sync::Arc;

use model::catalogue::Catalogue;
use model::curve::Curve;
use model::input;
use model::materials::Material;

use crate::desk::Desk;
use crate::problem::Problem;

impl Desk {
    /// Everything known at this moment. What shipped holds against an own one
    /// of the same id.
    pub(crate) async fn catalogue(&self) -> Result<Catalogue, Problem> {
        let store = &self.app.store;
        let (curves, materials) = (store.curves().await?, store.materials().await?);
        let own = Catalogue {
            curves: curves.iter().filter_map(own_curve).collect(),
            materials: Arc::new(materials.iter().filter_map(own_material).collect()),
        };
        Ok(self.app.catalogue.and(own))
    }
}

/// A stored curve. One that an earlier program took and this one does not read
/// is left out with a line in the log, so that it costs nobody else's block.
pub(crate) fn own_curve(row: &store::Curve) -> Option<Arc<Curve>> {
    match input::read(&row.doc, |fields| Curve::from_fields(&row.id, fields)) {
        Ok(curve) => Some(Arc::new(curve)),
        Err(faults) => {
            tracing::error!(curve = row.id, %faults, "a stored curve does not read back");
            None
        }
    }
}

/// A stored material, as [`own_curve`].
pub(crate) fn own_material(row: &store::Material) -> Option<Material> {
    match input::read(&row.doc, |fields| Material::from_fields(&row.id, fields)) {
        Ok(material) => Some(material),
        Err(faults) => {
            tracing::error!(material = row.id, %faults, "a stored material does not read back");
            None
        }
    }
}
