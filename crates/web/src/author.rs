//! Who wrote an entry down, and who corrected it, where they said so.

use serde_json::Value;

/// Who wrote an entry.
pub(crate) fn of(doc: &Value) -> Option<String> {
    doc["by"].as_str().or(doc["author"].as_str()).map(str::to_owned)
}

/// Who wrote a correction of an entry. Where it does not say so itself, a name within it
/// that the entry did not bear is its writer's; one that it did bear is the first writer's.
pub(crate) fn of_correction(correction: &Value, first: &Value) -> Option<String> {
    let first = of(first);
    of(correction).or_else(|| of(&correction["entry"]).filter(|by| Some(by) != first.as_ref()))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_correction_is_its_own_writers() {
        let first = json!({"kind": "note", "by": "Nils"});
        let of = |correction: Value| of_correction(&correction, &first);
        assert_eq!(of(json!({"by": "Ann", "entry": {"by": "Nils"}})).as_deref(), Some("Ann"));
        assert_eq!(of(json!({"entry": {"by": "Nils"}})), None);
        assert_eq!(of(json!({"entry": {"by": "Ann"}})).as_deref(), Some("Ann"));
        let unsigned = of_correction(&json!({"entry": {"author": "Tom"}}), &json!({}));
        assert_eq!(unsigned.as_deref(), Some("Tom"));
    }
}
