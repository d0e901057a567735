use std::path::PathBuf;

use serde_json::Value;

use super::*;
use crate::time::HOUR;

fn at(text: &str) -> Instant {
    text.parse().unwrap()
}

/// Meeus, example 25.a: 13 October 1992, 0h TD, declination -7.78507°
/// (published; quoted from memory). Its dynamical time is 59 s ahead of UTC.
#[test]
fn declination_of_an_example_in_print() {
    let declination = Apparent::at(at("1992-10-12T23:59:01Z")).declination.to_degrees();
    assert!((declination + 7.78507).abs() < 0.0005, "{declination}");
}

/// Meeus, example 28.b: on the same day the equation of time is
/// 13 min 42.7 s by the low-accuracy formula (published; quoted from memory).
#[test]
fn equation_of_time_of_an_example_in_print() {
    let ahead = Apparent::at(at("1992-10-12T23:59:01Z")).ahead_min;
    assert!((ahead - (13.0 + 42.7 / 60.0)).abs() < 1.0 / 60.0, "{ahead}");
}

#[test]
fn the_sun_of_an_orchard() {
    let newark = Sun::at(40.69, -74.17);
    let noon = newark.elevation(at("2013-06-21T17:00:00Z"));
    assert!((noon - (90.0 - 40.69 + 23.44)).abs() < 0.2, "{noon}");
    assert!(newark.elevation(at("2013-06-21T05:00:00Z")) < -20.0);
    let day = newark.changes(at("2013-04-28T04:00:00Z"), at("2013-04-29T04:00:00Z"));
    assert_eq!(day.iter().map(|(_, up)| *up).collect::<Vec<_>>(), [true, false]);
    for (change, up) in day {
        assert_eq!((newark.is_up(change.plus(-1)), newark.is_up(change)), (!up, up));
    }
}

/// A change at the begin is not told, one at the end is: so spans of time
/// put end to end tell each once.
#[test]
fn each_change_is_told_once() {
    let sun = Sun::at(-41.3, 173.2);
    let (begin, end) = (at("2013-09-01T00:00:00Z"), at("2013-10-01T00:00:00Z"));
    let whole = sun.changes(begin, end);
    assert_eq!(whole.len(), 60);
    let cuts: Vec<Instant> =
        std::iter::once(begin).chain(whole.iter().map(|(at, _)| *at)).chain([end]).collect();
    let parts: Vec<_> = cuts.windows(2).flat_map(|pair| sun.changes(pair[0], pair[1])).collect();
    assert_eq!(parts, whole);
    assert!(sun.changes(end, begin).is_empty() && sun.changes(begin, begin).is_empty());
}

#[test]
fn polar_day_and_polar_night_have_no_changes() {
    for (latitude, june) in [(69.65, true), (-77.8, false), (90.0, true), (-90.0, false)] {
        let sun = Sun::at(latitude, 18.96);
        for (begin, up) in [(at("2024-06-11T00:00:00Z"), june), (at("2024-12-11T00:00:00Z"), !june)] {
            assert!(sun.changes(begin, begin.plus(10 * DAY)).is_empty(), "{latitude} {begin}");
            assert!((0..240).all(|n| sun.is_up(begin.plus(n * HOUR)) == up), "{latitude} {begin}");
        }
    }
    // At the pole the sun comes up once a year.
    let pole = Sun::at(90.0, 0.0).changes(at("2024-01-01T00:00:00Z"), at("2025-01-01T00:00:00Z"));
    assert_eq!(pole.iter().map(|(_, up)| *up).collect::<Vec<_>>(), [true, false]);
}

/// Rises and sets that programs of others found (`tests/reference/sun.json`;
/// how, in the README beside it). Status: derived. `astral` solves the same
/// equations, so that all but a slip agrees; `ephem` has the full theory.
#[test]
fn rises_and_sets_are_those_of_others() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/sun.json");
    let golden: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    assert_eq!(golden["horizon_degrees"], HORIZON_DEGREES);
    let mut compared = 0;
    for day in golden["days"].as_array().unwrap() {
        let place = &golden["places"][day[0].as_str().unwrap()];
        let sun = Sun::at(place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        let noon = Instant(day[2].as_i64().unwrap());
        let found = |from: Instant, rise: bool| {
            let changes = sun.changes(from, from.plus(DAY / 2));
            changes.into_iter().find(|(_, up)| *up == rise).map(|(at, _)| at.0)
        };
        for (rise, found) in [(true, found(noon.plus(-DAY / 2), true)), (false, found(noon, false))] {
            let column = if rise { 3 } else { 4 };
            for (told, within_s) in [(day[column].as_i64(), 3), (day[column + 2].as_i64(), 7)] {
                assert_eq!(found.is_some(), told.is_some(), "{day}");
                if let (Some(found), Some(told)) = (found, told) {
                    assert!((found - told).abs() <= within_s, "{day}: {found}, not {told}");
                    compared += 1;
                }
            }
        }
    }
    assert_eq!(compared, 1_824);
}
