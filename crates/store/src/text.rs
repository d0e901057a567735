//! Documents as text columns.

use model::series::{Flag, Reading};
use model::time::Instant;
use serde_json::Value;

use crate::{Result, StoreError};

/// A document as it is stored. Finite numbers come back to the bit.
pub(crate) fn of(doc: &Value) -> String {
    doc.to_string()
}

/// A stored document.
pub(crate) fn doc(text: &str, what: impl FnOnce() -> String) -> Result<Value> {
    serde_json::from_str(text)
        .map_err(|error| StoreError::Unreadable { what: what(), why: error.to_string() })
}

/// A list of words as it is stored.
pub(crate) fn of_list(list: &[String]) -> String {
    of(&Value::from(list.to_vec()))
}

/// A stored list of words.
pub(crate) fn list(text: &str, what: impl FnOnce() -> String) -> Result<Vec<String>> {
    serde_json::from_str(text)
        .map_err(|error| StoreError::Unreadable { what: what(), why: error.to_string() })
}

/// The hours of a forecast: `[[at, span, °C, flag], …]`.
pub(crate) fn of_hours(hours: &[Reading]) -> String {
    let hours: Vec<Value> = hours
        .iter()
        .map(|hour| {
            // Adding zero makes -0.0 the 0.0 that readings are stored with.
            Value::from(vec![
                Value::from(hour.at.0),
                Value::from(hour.span),
                Value::from(hour.celsius + 0.0),
                Value::from(hour.flag as u8),
            ])
        })
        .collect();
    of(&Value::from(hours))
}

/// The stored hours of a forecast.
pub(crate) fn hours(text: &str) -> Result<Vec<Reading>> {
    let bad = |why: String| StoreError::Unreadable { what: "hours of a forecast".into(), why };
    let rows: Vec<(i64, i64, f64, i64)> =
        serde_json::from_str(text).map_err(|error| bad(error.to_string()))?;
    rows.into_iter()
        .map(|(at, span, celsius, flag)| {
            let flag = Flag::numbered(flag).ok_or_else(|| bad(format!("flag {flag}")))?;
            Ok(Reading { at: Instant(at), span, celsius, flag })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn temperatures_of_a_forecast_come_back_to_the_bit() {
        let celsius = [9.1, -2.22, 0.1 + 0.2, 1.0 / 3.0, f64::from_bits(0x4022_3333_3333_3334)];
        let given: Vec<Reading> = celsius
            .into_iter()
            .enumerate()
            .map(|(hour, celsius)| Reading::instant(Instant(hour as i64 * 3_600), celsius))
            .collect();
        let back = hours(&of_hours(&given)).unwrap();
        for (given, back) in given.iter().zip(&back) {
            assert_eq!(given.celsius.to_bits(), back.celsius.to_bits());
        }
        assert_eq!(back, given);
    }

    #[test]
    fn numbers_of_a_document_come_back_to_the_bit() {
        // Shortest forms of 17 digits, which a reader that takes short cuts
        // gets wrong in the last bit.
        let mut bits = 0x3ff0_0000_0000_0001_u64;
        for _ in 0..20_000 {
            bits = bits.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let number = f64::from_bits(0x3f00_0000_0000_0000 | (bits >> 12));
            let back = doc(&of(&Value::from(number)), || "number".into()).unwrap();
            assert_eq!(back.as_f64().map(f64::to_bits), Some(number.to_bits()));
        }
    }

    #[test]
    fn a_document_that_does_not_read_back_is_named() {
        let error = doc("{", || "plan of block `b`".into()).unwrap_err();
        assert!(error.to_string().contains("plan of block `b`"));
        assert!(hours("[[0,0,1.0,7]]").is_err());
    }
}
