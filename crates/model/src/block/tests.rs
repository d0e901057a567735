use serde_json::{Value, json};

use super::*;
use crate::input::{self, Faults};

/// A block with that offset.
fn block(offset: Value) -> Result<Block, Faults> {
    let curve = json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[0, 1], [40, 1]],
        "source": "for tests", "status": "constructed"});
    let document = json!({"name": "Far Field", "cultivar": "Gala", "curve": curve,
        "target_fruit_per_tree": 100, "offset": offset});
    input::read(&document, |fields| Block::from_fields(fields, &[]))
}

fn sound() -> Value {
    json!({"day_c": -0.5, "night_c": -1.8, "note": "logger in row 12", "author": "Ines Kolbe"})
}

#[test]
fn an_offset_is_read_with_who_says_so() {
    let offset = block(sound()).unwrap().offset.unwrap();
    let whole = Offset {
        day_c: -0.5,
        night_c: -1.8,
        note: "logger in row 12".to_owned(),
        author: "Ines Kolbe".to_owned(),
    };
    assert_eq!(offset, whole);
    assert_eq!(block(Value::Null).unwrap().offset, None);
}

/// One fault each, at its place, in words that say what was expected.
#[test]
fn what_is_wrong_with_an_offset_is_named_at_its_place() {
    for (field, value, words) in [
        ("day_c", json!(-10.1), "-10.1 is outside -10 to 10"),
        ("night_c", json!("cold"), "the text `cold`"),
        ("night_c", Value::Null, "is missing"),
        ("day_c", Value::Null, "is missing"),
        ("note", Value::Null, "is missing"),
        ("author", Value::Null, "is missing"),
        ("author", json!("  "), "is blank"),
        ("note", json!("two\nlines"), "on one line"),
        ("note", json!("x".repeat(201)), "at most 200 characters"),
        ("evening_c", json!(1), "is not a field here; known: author, day_c, night_c, note"),
    ] {
        let mut offset = sound();
        offset[field] = value;
        let faults = block(offset).unwrap_err();
        assert_eq!(faults.0.len(), 1, "{field}: {faults}");
        assert_eq!(faults.0[0].pointer, format!("/offset/{field}"));
        assert!(faults.0[0].detail.contains(words), "{faults}");
    }
    let faults = block(json!(-1.5)).unwrap_err();
    assert_eq!(faults.0[0].pointer, "/offset");
    assert_eq!(block(json!({})).unwrap_err().0.len(), 4);
    for edge in [-10.0, 0.0, 10.0] {
        let mut offset = sound();
        offset["day_c"] = json!(edge);
        assert_eq!(block(offset).unwrap().offset.unwrap().day_c, edge);
    }
}
