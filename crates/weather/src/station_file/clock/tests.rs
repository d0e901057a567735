use chrono::NaiveDateTime;
use serde_json::Value;

use super::*;

fn seconds(wall: &Value) -> i64 {
    let wall: NaiveDateTime = wall.as_str().unwrap().parse().unwrap();
    wall.and_utc().timestamp()
}

/// Python's zoneinfo is the other side: 23 zones round both changes of a year,
/// each quarter of an hour (derived by `tests/reference/zones.py`).
#[test]
fn wall_clocks_agree_with_zoneinfo() {
    let golden = std::fs::read_to_string("../../tests/reference/zones.json").unwrap();
    let golden: Value = serde_json::from_str(&golden).unwrap();
    let zones = golden["zones"].as_array().unwrap();
    assert!(zones.len() >= 20);
    let (mut never, mut twice) = (0, 0);
    for case in zones {
        let name = case["zone"].as_str().unwrap();
        let zone: chrono_tz::Tz = name.parse().unwrap();
        for pair in case["to_utc"].as_array().unwrap() {
            let utc: Vec<i64> = serde_json::from_value(pair[1].clone()).unwrap();
            let expected = match utc.as_slice() {
                [] => Moment::Never,
                [once] => Moment::Once(*once),
                [before, after] => Moment::Twice { before: *before, after: *after },
                more => panic!("{name}: {more:?}"),
            };
            never += usize::from(expected == Moment::Never);
            twice += usize::from(utc.len() == 2);
            assert_eq!(moment(WallClock::Zone(zone), seconds(&pair[0])), expected, "{name} {}", pair[0]);
        }
        for pair in case["to_local"].as_array().unwrap() {
            let local = Instant(pair[0].as_i64().unwrap()).utc().with_timezone(&zone).naive_local();
            assert_eq!(local.and_utc().timestamp(), seconds(&pair[1]), "{name} {}", pair[0]);
        }
    }
    assert!(never > 50 && twice > 50, "{never} never, {twice} twice");
}
