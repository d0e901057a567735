//! The curves and materials that blocks and plans may name.

use std::sync::Arc;

use serde_json::Value;

use crate::curve::Curve;
use crate::input::Faults;
use crate::materials::Material;

/// Curves and materials known here.
#[derive(Debug, Clone, Default)]
pub struct Catalogue {
    /// Curves, those that ship first.
    pub curves: Vec<Arc<Curve>>,
    /// Materials.
    pub materials: Arc<Vec<Material>>,
}

impl Catalogue {
    /// Reads the tables of `config/curves.toml` and `config/materials.toml`,
    /// given as JSON values.
    ///
    /// # Errors
    /// All that is wrong with any curve or material.
    pub fn read(curves: &Value, materials: &Value) -> Result<Catalogue, Faults> {
        Ok(Catalogue {
            curves: Curve::read_all(curves)?,
            materials: Arc::new(Material::read_all(materials)?),
        })
    }

    /// This catalogue with those of another behind it; what stands here first
    /// holds.
    pub fn and(&self, more: Catalogue) -> Catalogue {
        let mut all = self.clone();
        for curve in more.curves {
            if all.curves.iter().all(|known| known.id != curve.id) {
                all.curves.push(curve);
            }
        }
        let mut materials = all.materials.to_vec();
        for material in more.materials.iter() {
            if materials.iter().all(|known| known.id != material.id) {
                materials.push(material.clone());
            }
        }
        all.materials = Arc::new(materials);
        all
    }
}
