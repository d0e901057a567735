//! Documents as text columns.

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

#[cfg(test)]
mod tests {
    use super::*;

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
    }
}
