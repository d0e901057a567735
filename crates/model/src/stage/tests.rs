use serde_json::{Value, json};

use super::*;
use crate::input::{self, Faults};

fn read(document: Value) -> Result<StageSeen, Faults> {
    input::read(&document, StageSeen::from_fields)
}

/// Penn State Extension and Michigan State Extension after Washington State
/// University (published), °F; beside it the same in °C by definition of the
/// scales (derived).
#[test]
fn every_cell_of_the_kill_table() {
    let cells = [
        ("silver-tip", 15.0, 2.0, -9.444, -16.667),
        ("green-tip", 18.0, 10.0, -7.778, -12.222),
        ("half-inch-green", 23.0, 15.0, -5.0, -9.444),
        ("tight-cluster", 27.0, 21.0, -2.778, -6.111),
        ("first-pink", 28.0, 24.0, -2.222, -4.444),
        ("full-pink", 28.0, 25.0, -2.222, -3.889),
        ("first-bloom", 28.0, 25.0, -2.222, -3.889),
        ("full-bloom", 28.0, 25.0, -2.222, -3.889),
        ("post-bloom", 28.0, 25.0, -2.222, -3.889),
    ];
    assert_eq!(cells.map(|cell| cell.0), Stage::WORDS);
    for (stage, (word, ten_f, ninety_f, ten_c, ninety_c)) in Stage::ALL.into_iter().zip(cells) {
        assert_eq!((stage.word(), Stage::named(word)), (word, Some(stage)));
        assert_eq!((stage.kill_10_f(), stage.kill_90_f()), (ten_f, ninety_f), "{word}");
        assert!((stage.kill_10_c() - ten_c).abs() < 5e-4, "{word}");
        assert!((stage.kill_90_c() - ninety_c).abs() < 5e-4, "{word}");
    }
}

/// Silver tip 51, green tip 53, half-inch green 54, tight cluster 56, first pink
/// 57, full pink 59, first bloom 60 and 61, full bloom 65, post bloom 67 to 69
/// (derived, approximate); codes between take the earlier.
#[test]
fn every_code_has_its_stage() {
    let crosswalk = [
        (51..=52, SilverTip),
        (53..=53, GreenTip),
        (54..=55, HalfInchGreen),
        (56..=56, TightCluster),
        (57..=58, FirstPink),
        (59..=59, FullPink),
        (60..=64, FirstBloom),
        (65..=66, FullBloom),
        (67..=79, PostBloom),
    ];
    for (codes, stage) in crosswalk {
        assert_eq!(stage.bbch(), *codes.start());
        for code in codes {
            assert_eq!(Stage::at_bbch(code), Some(stage), "{code}");
        }
    }
    for code in [0, 10, 50, 80, 91, 99] {
        assert_eq!(Stage::at_bbch(code), None, "{code}");
    }
}

#[test]
fn a_name_outranks_the_code_and_neither_gives_a_share() {
    let both = read(json!({ "bbch": 61, "stage": "full-bloom" })).unwrap();
    assert_eq!((both.stage(), both.bbch(), both.share_open), (Some(FullBloom), Some(61), None));
    let code = read(json!({ "bbch": 63, "share_open": 0.25 })).unwrap();
    assert_eq!((code.stage(), code.bbch(), code.share_open), (Some(FirstBloom), Some(63), Some(0.25)));
    let name = read(json!({ "stage": "tight-cluster" })).unwrap();
    assert_eq!((name.stage(), name.bbch()), (Some(TightCluster), Some(56)));
    let leaves = read(json!({ "bbch": 10 })).unwrap();
    assert_eq!((leaves.stage(), leaves.bbch()), (None, Some(10)));
}

#[test]
fn bad_input_by_field() {
    for (document, pointer, says) in [
        (json!({}), "/bbch", "give bbch or stage"),
        (json!({ "share_open": 0.2 }), "/bbch", "give bbch or stage"),
        (json!({ "bbch": 100 }), "/bbch", "0 to 99"),
        (json!({ "bbch": -1 }), "/bbch", "0 to 99"),
        (json!({ "bbch": 60.5 }), "/bbch", "whole number"),
        (json!({ "stage": "king-bloom" }), "/stage", "first-bloom"),
        (json!({ "bbch": 60, "share_open": 1.1 }), "/share_open", "0 to 1"),
        (json!({ "bbch": 60, "share_open": -0.1 }), "/share_open", "0 to 1"),
        (json!({ "bbch": 60, "stadium": 3 }), "/stadium", "not a field"),
    ] {
        let Faults(faults) = read(document.clone()).unwrap_err();
        assert_eq!((faults.len(), faults[0].pointer.as_str()), (1, pointer), "{document}");
        assert!(faults[0].detail.contains(says), "{document}: {}", faults[0].detail);
    }
}
