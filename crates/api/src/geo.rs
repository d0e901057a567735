//! Blocks on the map, as RFC 7946 writes them.

use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::IntoResponse;
use model::input::Fields;
use serde_json::{Value, json};

use crate::answer::Answer;
use crate::query::Span;

/// The media type of GeoJSON.
pub(crate) const GEO_JSON: &str = "application/geo+json";
/// Positions of one geometry: an orchard's outline has some dozens.
const POSITIONS: usize = 2_000;

/// Whether GeoJSON is accepted.
pub(crate) fn asks_for_it(headers: &HeaderMap) -> bool {
    let accept = headers.get_all(header::ACCEPT).iter().filter_map(|value| value.to_str().ok());
    accept
        .flat_map(|value| value.split(','))
        .any(|range| range.split(';').next().unwrap_or_default().trim() == GEO_JSON)
}

/// `geometry` of a block: a point, or the outline of its area; null and absent
/// are none.
pub(crate) fn geometry(fields: &Fields<'_>) -> Option<Value> {
    let given = fields.value("geometry").filter(|given| !given.is_null())?;
    match check(given) {
        Ok(()) => Some(given.clone()),
        Err(fault) => {
            fields.fault("geometry", fault);
            None
        }
    }
}

fn check(geometry: &Value) -> Result<(), String> {
    let Some(kind) = geometry.get("type").and_then(Value::as_str) else {
        return Err("expected a GeoJSON geometry with its type".into());
    };
    let Some(coordinates) = geometry.get("coordinates") else {
        return Err("has no coordinates".into());
    };
    let mut left = POSITIONS;
    match kind {
        "Point" => position(coordinates, &mut left),
        "Polygon" => polygon(coordinates, &mut left),
        "MultiPolygon" => each(coordinates, "a list of polygons", |one| polygon(one, &mut left)),
        other => Err(format!("`{other}` is no geometry of a block; expected Point, Polygon or MultiPolygon")),
    }
}

fn each(
    list: &Value,
    expected: &str,
    mut check: impl FnMut(&Value) -> Result<(), String>,
) -> Result<(), String> {
    match list.as_array() {
        Some(items) if !items.is_empty() => items.iter().try_for_each(&mut check),
        _ => Err(format!("expected {expected}")),
    }
}

fn polygon(rings: &Value, left: &mut usize) -> Result<(), String> {
    each(rings, "a list of rings", |ring| {
        each(ring, "a ring of positions", |one| position(one, left))?;
        let positions = ring.as_array().map(Vec::as_slice).unwrap_or_default();
        if positions.len() < 4 || positions.first() != positions.last() {
            return Err("a ring has at least four positions, of which the last is the first again".into());
        }
        Ok(())
    })
}

fn position(position: &Value, left: &mut usize) -> Result<(), String> {
    *left = left.checked_sub(1).ok_or_else(|| format!("has more than {POSITIONS} positions"))?;
    let numbers: Option<Vec<f64>> =
        position.as_array().and_then(|numbers| numbers.iter().map(Value::as_f64).collect());
    match numbers.as_deref() {
        Some([longitude, latitude] | [longitude, latitude, _]) => {
            if !(-180.0..=180.0).contains(longitude) || !(-90.0..=90.0).contains(latitude) {
                return Err(format!(
                    "[{longitude}, {latitude}] lies on no map; a position is longitude, then latitude, in degrees"
                ));
            }
            Ok(())
        }
        _ => Err("a position is longitude and latitude, in degrees".into()),
    }
}

/// Blocks as features; `next` stands beside them as it does in other lists.
pub(crate) fn collection(
    blocks: impl Iterator<Item = (String, Option<Value>, Value)>,
    span: &Span,
    next: Option<String>,
) -> Answer {
    let features: Vec<Value> = blocks
        .map(|(id, geometry, mut properties)| {
            if let Some(fields) = properties.as_object_mut() {
                fields.shift_remove("id");
                fields.shift_remove("geometry");
            }
            json!({"type": "Feature", "id": id, "geometry": geometry, "properties": properties})
        })
        .collect();
    let document = json!({"type": "FeatureCollection", "features": features, "next": next});
    let headers = [(header::CONTENT_TYPE, GEO_JSON), (header::VARY, "accept")];
    let mut response = (StatusCode::OK, headers, document.to_string()).into_response();
    if let Some(next) = next {
        span.write_link(&next, response.headers_mut());
    }
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(GEO_JSON));
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of the examples in RFC 7946, appendix A.
    #[test]
    fn geometries_of_the_rfc_are_taken() {
        for good in [
            json!({"type": "Point", "coordinates": [100.0, 0.0]}),
            json!({"type": "Polygon", "coordinates": [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]]}),
            json!({"type": "Polygon", "coordinates": [
                [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
                [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]]}),
            json!({"type": "MultiPolygon", "coordinates": [
                [[[102.0, 2.0], [103.0, 2.0], [103.0, 3.0], [102.0, 3.0], [102.0, 2.0]]],
                [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
                 [[100.2, 0.2], [100.2, 0.8], [100.8, 0.8], [100.8, 0.2], [100.2, 0.2]]]]}),
        ] {
            assert_eq!(check(&good), Ok(()), "{good}");
        }
    }

    #[test]
    fn what_is_no_place_is_refused() {
        for (bad, says) in [
            (json!({"coordinates": [1, 2]}), "type"),
            (json!({"type": "Point"}), "coordinates"),
            (json!({"type": "Point", "coordinates": [40.7]}), "longitude and latitude"),
            (json!({"type": "Point", "coordinates": [-74.2, 91]}), "no map"),
            (json!({"type": "LineString", "coordinates": [[1, 2], [2, 3]]}), "LineString"),
            (json!({"type": "Polygon", "coordinates": []}), "rings"),
            (json!({"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1]]]}), "first again"),
            (json!({"type": "MultiPolygon", "coordinates": [[[1, 2]]]}), "position"),
        ] {
            let said = check(&bad).unwrap_err();
            assert!(said.contains(says), "{bad}: {said}");
        }
    }
}
