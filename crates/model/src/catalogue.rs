//! The curves and materials that blocks and plans may name.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use serde_json::Value;

use crate::cultivar::Cultivars;
use crate::curve::Curve;
use crate::input::{self, Faults};
use crate::materials::Material;
use crate::record::Profiles;
use crate::season::MODEL_VERSION;
use crate::slot::Limits;
use crate::verdict::Table;

/// Curves and materials known here.
#[derive(Debug, Clone, Default)]
pub struct Catalogue {
    /// Differs whenever the model, or the curves and materials that it came
    /// with, would give another season; what is added behind them leaves it as
    /// it is.
    pub edition: i64,
    /// Curves, those that ship first.
    pub curves: Vec<Arc<Curve>>,
    /// Materials.
    pub materials: Arc<Vec<Material>>,
    /// What decisions and records go by.
    pub rules: Arc<Rules>,
}

/// Tables that decisions and records go by, each from a file in `config/`.
#[derive(Debug, Clone, Default)]
pub struct Rules {
    /// What is known of cultivars.
    pub cultivars: Cultivars,
    /// Whether to thin.
    pub verdict: Arc<Table>,
    /// Which fields of a spray record each jurisdiction names.
    pub profiles: Profiles,
    /// Limits of the hours to spray in.
    pub slots: Arc<Limits>,
}

impl Rules {
    /// Reads the tables of `config/cultivars.toml`, `config/verdict.toml` and
    /// `config/records.toml`, given as JSON values.
    ///
    /// # Errors
    /// All that is wrong with the first of them that is not sound.
    pub fn read(cultivars: &Value, verdict: &Value, records: &Value) -> Result<Rules, Faults> {
        Ok(Rules {
            cultivars: Cultivars::read(cultivars)?,
            verdict: Arc::new(Table::read(verdict)?),
            profiles: Profiles::read(records)?,
            slots: Arc::default(),
        })
    }
}

/// An added curve or material that does not read back.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} `{id}` does not read back and is left out: {faults}")]
pub struct Unread {
    /// `curve` or `material`.
    pub what: &'static str,
    /// Its id.
    pub id: String,
    /// What is wrong with it.
    pub faults: Faults,
}

impl Catalogue {
    /// This catalogue where readings are checked by these rules, in whatever form:
    /// other rules are another edition.
    pub fn under(mut self, rules: &str) -> Catalogue {
        let mut hasher = DefaultHasher::new();
        (self.edition, rules).hash(&mut hasher);
        self.edition = hasher.finish().cast_signed();
        self
    }

    /// This catalogue with the tables that decisions go by: others are another
    /// edition.
    #[must_use]
    pub fn ruled_by(self, rules: Rules) -> Catalogue {
        let words = format!("{rules:?}");
        Catalogue { rules: Arc::new(rules), ..self }.under(&words)
    }

    /// Reads the tables of `config/curves.toml` and `config/materials.toml`,
    /// given as JSON values.
    ///
    /// # Errors
    /// All that is wrong with any curve or material.
    pub fn read(curves: &Value, materials: &Value) -> Result<Catalogue, Faults> {
        // Another release of Rust may hash otherwise; then all is reckoned once
        // more, which does no harm.
        let mut hasher = DefaultHasher::new();
        (MODEL_VERSION, curves.to_string(), materials.to_string()).hash(&mut hasher);
        Ok(Catalogue {
            edition: hasher.finish().cast_signed(),
            curves: Curve::read_all(curves)?,
            materials: Arc::new(Material::read_all(materials)?),
            rules: Arc::default(),
        })
    }

    /// This catalogue with curves and materials behind it that were added one
    /// by one, each by its id. One that does not read is left out and named, so
    /// that it costs nobody else's block.
    pub fn and_added<'a>(
        &self,
        curves: impl IntoIterator<Item = (&'a str, &'a Value)>,
        materials: impl IntoIterator<Item = (&'a str, &'a Value)>,
    ) -> (Catalogue, Vec<Unread>) {
        let mut unread = Vec::new();
        let mut read = Catalogue::default();
        for (id, document) in curves {
            match input::read(document, |fields| Curve::from_fields(id, fields)) {
                Ok(curve) => read.curves.push(Arc::new(curve)),
                Err(faults) => unread.push(Unread { what: "curve", id: id.to_owned(), faults }),
            }
        }
        let mut added = Vec::new();
        for (id, document) in materials {
            match input::read(document, |fields| Material::from_fields(id, fields)) {
                Ok(material) => added.push(material),
                Err(faults) => unread.push(Unread { what: "material", id: id.to_owned(), faults }),
            }
        }
        read.materials = Arc::new(added);
        (self.and(read), unread)
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

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn curve(rate: f64) -> Value {
        json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [20, rate]],
            "source": "for tests", "status": "constructed"})
    }

    #[test]
    fn what_does_not_read_back_is_left_out_and_named() {
        let shipped = Catalogue::read(&json!({"a": curve(0.5)}), &json!({})).unwrap();
        let (good, bad, again) = (curve(0.7), json!({"form": "spline"}), curve(0.9));
        let oil = json!({"name": "Oil", "role": "acts-on-flowers"});
        let (all, unread) =
            shipped.and_added([("a", &again), ("b", &good), ("c", &bad)], [("oil", &oil), ("tar", &bad)]);
        let ids: Vec<&str> = all.curves.iter().map(|curve| curve.id.as_str()).collect();
        assert_eq!(ids, ["a", "b"]);
        assert_eq!(all.curves[0], shipped.curves[0], "what ships holds");
        assert_eq!(all.materials.len(), 1);
        let named: Vec<&str> = unread.iter().map(|unread| unread.id.as_str()).collect();
        assert_eq!(named, ["c", "tar"]);
        assert_eq!(all.edition, shipped.edition);
    }

    #[test]
    fn another_figure_is_another_edition() {
        let edition = |rate| Catalogue::read(&json!({"a": curve(rate)}), &json!({})).unwrap().edition;
        assert_eq!(edition(0.5), edition(0.5));
        assert_ne!(edition(0.5), edition(0.6));
        let under =
            |rules| Catalogue::read(&json!({"a": curve(0.5)}), &json!({})).unwrap().under(rules).edition;
        assert_eq!(under("spike 8"), under("spike 8"));
        assert_ne!(under("spike 8"), under("spike 9"));
    }
}
