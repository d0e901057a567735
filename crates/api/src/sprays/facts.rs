//! What is known of a block beside its records.

use chrono_tz::Tz;
use model::catalogue::Catalogue;
use model::mixing::Area;
use model::plan::Plan;
use model::record::BlockFacts;
use serde_json::Value;
use store::{Block, Farm};

/// What this program times is one crop alone.
const CROP: &str = "apple";

/// The facts of one block.
pub struct Facts {
    pub(crate) id: String,
    pub(crate) name: String,
    farm: String,
    pub(crate) cultivar: Option<String>,
    pub(crate) location: Option<String>,
    /// Its area, ha.
    pub(crate) hectares: Option<f64>,
    area: Option<String>,
    pub(crate) zone: Tz,
}

impl Facts {
    /// The facts of a block in its zone. One that no longer fits the catalogue keeps
    /// its records; it only lacks an area.
    pub fn of(block: &Block, farm: &Farm, zone: Tz, catalogue: &Catalogue) -> Facts {
        let planted = Plan::assemble(None, zone, &block.details, None, catalogue).ok();
        let hectares = planted.and_then(|plan| plan.block.hectares);
        Facts {
            id: block.id.clone(),
            name: block.name.clone(),
            farm: farm.name.clone(),
            cultivar: block.details.get("cultivar").and_then(Value::as_str).map(str::to_owned),
            location: block.geometry.as_ref().and_then(location),
            hectares,
            area: hectares.map(|hectares| Area::of(hectares).to_string()),
            zone,
        }
    }

    /// As records and sheets take them.
    pub fn block(&self) -> BlockFacts<'_> {
        BlockFacts {
            name: &self.name,
            farm: Some(&self.farm),
            cultivar: self.cultivar.as_deref(),
            location: self.location.as_deref(),
            crop: Some(CROP),
            area: self.area.as_deref(),
            zone: Some(self.zone),
        }
    }
}

/// Where a geometry lies, in words: its point, or the middle of the box around it.
fn location(geometry: &Value) -> Option<String> {
    let mut positions = Vec::new();
    gather(geometry.get("coordinates")?, &mut positions);
    let range = |each: fn(&[f64; 2]) -> f64| {
        let all = positions.iter().map(each);
        let (low, high) =
            all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
        (low <= high).then_some((low + high) / 2.0)
    };
    let (longitude, latitude) = (range(|position| position[0])?, range(|position| position[1])?);
    let middle = if positions.len() > 1 { "the middle of its outline: " } else { "" };
    Some(format!("{middle}latitude {latitude:.5}, longitude {longitude:.5}"))
}

fn gather(coordinates: &Value, into: &mut Vec<[f64; 2]>) {
    let Some(items) = coordinates.as_array() else { return };
    match (items.first().and_then(Value::as_f64), items.get(1).and_then(Value::as_f64)) {
        (Some(longitude), Some(latitude)) => into.push([longitude, latitude]),
        _ => items.iter().for_each(|item| gather(item, into)),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_block_lies_at_its_point_or_in_the_middle() {
        let point = json!({"type": "Point", "coordinates": [-74.17, 40.69]});
        assert_eq!(location(&point).unwrap(), "latitude 40.69000, longitude -74.17000");
        let outline = json!({"type": "Polygon", "coordinates": [[[1, 50], [3, 50], [3, 51], [1, 50]]]});
        assert_eq!(
            location(&outline).unwrap(),
            "the middle of its outline: latitude 50.50000, longitude 2.00000"
        );
        assert_eq!(location(&json!({"type": "MultiPolygon", "coordinates": []})), None);
    }
}
