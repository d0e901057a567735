use model::time::Instant;

use super::*;
use crate::fields::without_nulls;

fn block(details: Value) -> Block {
    Block {
        id: "bench".into(),
        farm_id: "alder".into(),
        site_id: "ridge".into(),
        name: details["name"].as_str().unwrap().into(),
        details,
        geometry: None,
        version: 1,
        created_at: Instant(0),
        archived_at: None,
    }
}

#[test]
fn what_the_form_shows_of_a_block_makes_the_same_block_again() {
    let all = [
        json!({"name": "Bench", "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 115.5,
            "area": 2, "area_unit": "acre", "style_lengths_mm": [8.1, 8.9], "flowers_per_cluster": 5,
            "last_crop_per_tree": 96, "offset": {"day_c": -0.5, "night_c": -2, "note": "logger", "author": "Ines"},
            "borrows": {"start": "bend"}}),
        json!({"name": "Bench", "cultivar": "Gala", "curve": "reference", "style_length_mm": 8.8,
            "target": {"yield_per_area": 50, "yield_unit": "t", "area_unit": "hectare", "fruit_weight_g": 180,
                "row_spacing": 3.5, "tree_spacing": 1, "spacing_unit": "m"}}),
        json!({"name": "Bench", "cultivar": "Gala", "curve": "reference",
            "target": {"fruit_per_cm2": 6, "girth_cm": 18.5}}),
    ];
    for details in all {
        let patch = patch(&sent_of(&block(details.clone())), Some(&details));
        assert_eq!(without_nulls(patch), details);
    }
}

#[test]
fn a_curve_written_out_in_the_block_stays_as_it_is() {
    let details = json!({"name": "Bench", "cultivar": "Gala", "curve": {"form": "nodes"}});
    let patch = patch(&sent_of(&block(details.clone())), Some(&details));
    assert!(patch.get("curve").is_none(), "{patch}");
}

#[test]
fn inputs_that_the_form_does_not_show_go_with_the_other_way_alone() {
    let details = json!({"name": "Bench", "cultivar": "Gala", "curve": "reference",
        "target": {"fruit_per_cm2": 6, "diameters": [5, 6], "trunk_unit": "cm"}});
    let mut sent = sent_of(&block(details.clone()));
    let kept = patch(&sent, Some(&details));
    assert!(kept["target"].get("diameters").is_none(), "left as they are: {kept}");
    sent.set("target.fruit_per_cm2", "");
    sent.set("target.boxes_per_area", "1500");
    let other = patch(&sent, Some(&details));
    assert_eq!(other["target"].get("diameters"), Some(&Value::Null), "{other}");
}

#[test]
fn what_is_emptied_is_taken_out_whole() {
    let mut sent = sent_of(&block(json!({"name": "Bench", "cultivar": "Gala", "curve": "reference",
        "offset": {"day_c": 1, "night_c": 1, "note": "a", "author": "b"}, "area": 2, "area_unit": "acre"})));
    for name in ["offset.day_c", "offset.night_c", "offset.note", "offset.author", "area"] {
        sent.set(name, " ");
    }
    let patch = patch(&sent, Some(&json!({})));
    assert_eq!(
        (&patch["offset"], &patch["area"], &patch["area_unit"]),
        (&Value::Null, &Value::Null, &Value::Null)
    );
}
