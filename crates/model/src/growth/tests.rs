use serde_json::json;

use super::*;
use crate::input;
use crate::series::Reading;
use crate::time::HOUR;

const BEGIN: i64 = 1_367_107_200;

fn at(hours: f64) -> Instant {
    Instant(BEGIN + (hours * 3_600.0) as i64)
}

/// One style a day at every temperature from 0 to 40 °C, twice that at 20.
fn curve() -> Arc<Curve> {
    let document = json!({
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[0, 1], [19, 1], [20, 2], [21, 1], [40, 1]],
        "source": "for tests", "status": "constructed", "covered": [5, 30],
    });
    Arc::new(input::read(&document, |fields| Curve::from_fields("own", fields)).unwrap())
}

fn course(celsius: &[f64]) -> Course {
    let readings = (0..)
        .zip(celsius)
        .map(|(n, celsius)| Reading::instant(Instant(BEGIN + n * HOUR), *celsius))
        .collect();
    Course::new(Series::join(&[readings], None, Instant::MAX))
}

fn growth(celsius: &[f64]) -> Growth {
    Growth::new(Arc::new(course(celsius)), curve())
}

/// A day, in whole units.
const STYLE: i64 = 1 << 40;

#[test]
fn growth_counts_in_whole_units_of_the_style() {
    let growth = growth(&[10.0; 25]);
    assert!((growth.units_at(at(24.0), Bound::Low) - STYLE).abs() <= 12, "half a unit an hour at most");
    assert!((growth.units_at(at(6.5), Bound::Low) - STYLE * 13 / 48).abs() <= 7);
    assert_eq!(growth.units_at(at(24.0), Bound::Low), growth.units_at(at(24.0), Bound::High));
    assert!(!growth.uncertain_from(at(0.0)) && growth.uncertain_from(at(-1.0)));
}

/// After the last hour growth stands still; before the first nothing is known.
#[test]
fn outside_the_course() {
    let growth = growth(&[10.0; 25]);
    assert_eq!(growth.units_at(at(99.0), Bound::Low), growth.units_at(at(24.0), Bound::Low));
    assert_eq!(growth.units_at(at(-12.0), Bound::Low), 0);
    // The curve's greatest rate is two styles a day.
    assert_eq!(growth.units_at(at(-12.0), Bound::High), -STYLE);
    assert_eq!(growth.reached(at(-12.0), STYLE / 2, Bound::High), Some(at(-6.0)));
    assert_eq!(growth.reached(at(-12.0), STYLE / 2 - 64, Bound::Low), Some(at(12.0)));
    assert_eq!(growth.reached(at(30.0), 1, Bound::Low), None);
    assert_eq!(growth.reached(at(3.0), 0, Bound::Low), Some(at(3.0)));
}

#[test]
fn without_readings_nothing_grows() {
    let growth = growth(&[]);
    assert_eq!((growth.units_at(at(0.0), Bound::Low), growth.units_at(at(0.0), Bound::High)), (0, 0));
    assert_eq!(growth.reached(at(0.0), 1, Bound::High), None);
    assert!(!growth.outside_between(at(0.0), at(9.0)));
    assert_eq!(growth.course().hours(at(0.0), at(2.0)), Hours { unknown: 2.0, ..Hours::default() });
}

/// A crossing is rounded up to the second: at a style a day a unit more than
/// what an hour grows comes a second after it.
#[test]
fn a_crossing_is_rounded_up() {
    let growth = growth(&[10.0; 25]);
    let hour = growth.units_at(at(7.0), Bound::Low);
    assert_eq!(growth.reached(at(0.0), hour, Bound::Low), Some(at(7.0)));
    assert_eq!(growth.reached(at(0.0), hour + 1, Bound::Low), Some(at(7.0).plus(1)));
    assert_eq!(growth.reached(at(0.0), hour - 1, Bound::Low), Some(at(7.0)));
    let second = growth.units_at(at(0.0).plus(1), Bound::Low);
    assert_eq!(growth.reached(at(0.0), second, Bound::Low), Some(at(0.0).plus(1)));
}

/// Through a bend inside the hour the crossing is still the first second.
#[test]
fn a_crossing_within_a_bent_hour() {
    let growth = growth(&[15.0, 25.0, 15.0, -20.0, 20.0]);
    for n in 1..400 {
        let wanted = growth.units_at(at(4.0), Bound::Low) * n / 400;
        let reached = growth.reached(at(0.0), wanted, Bound::Low).unwrap();
        assert!(growth.units_at(reached, Bound::Low) >= wanted);
        assert!(growth.units_at(reached.plus(-1), Bound::Low) < wanted, "{wanted}");
    }
}

#[test]
fn degree_hours_gather_above_their_base() {
    let course = course(&[4.5, 4.5, 14.5, -5.5, -5.5]);
    let degree_hour = (3_600.0 * DEGREE_UNITS) as i64;
    assert_eq!(course.degrees(at(0.0), at(1.0)), 0);
    assert_eq!(course.degrees(at(1.0), at(2.0)), 5 * degree_hour);
    // Falling through the base halfway: half an hour of 5 degrees on average.
    assert!((course.degrees(at(2.0), at(3.0)) - 5 * degree_hour / 2).abs() <= 1);
    assert_eq!(course.degrees(at(3.0), at(4.0)), 0);
    assert_eq!(course.gathered(at(0.0), 5 * degree_hour), Some(at(2.0)));
    assert_eq!(course.gathered(at(0.0), 5 * degree_hour / 4), Some(at(1.5)));
    assert_eq!(course.gathered(at(0.0), 8 * degree_hour), None);
}

/// Before the first and after the last reading the nearest temperature is held.
#[test]
fn degree_hours_outside_the_course() {
    let course = course(&[14.5, 14.5, 24.5]);
    let degree_hour = (3_600.0 * DEGREE_UNITS) as i64;
    assert_eq!(course.degrees(at(-3.0), at(0.0)), 30 * degree_hour);
    assert_eq!(course.degrees(at(2.0), at(4.0)), 40 * degree_hour);
    assert_eq!(course.gathered(at(-3.0), 10 * degree_hour), Some(at(-2.0)));
    assert_eq!(course.gathered(at(-3.0), 40 * degree_hour), Some(at(1.0)));
    assert!(course.covers(at(0.0)) && course.covers(at(2.0)) && !course.covers(at(2.1)));
}

#[test]
fn hours_by_quality_add_up() {
    let readings: Vec<Reading> =
        [0, 1, 2, 4, 9, 10].map(|n| Reading::instant(Instant(BEGIN + n * HOUR), 10.0)).into();
    let course = Course::new(Series::join(&[readings], None, Instant::MAX));
    let hours = course.hours(at(-2.0), at(12.0));
    assert_eq!(hours, Hours { observed: 3.0, filled: 2.0, forecast: 0.0, unknown: 5.0 + 2.0 + 2.0 });
    let part = course.hours(at(1.5), at(4.5));
    assert_eq!(part, Hours { observed: 0.5, filled: 2.0, forecast: 0.0, unknown: 0.5 });
    assert_eq!(course.hours(at(4.0), at(4.0)), Hours::default());
}

#[test]
fn what_the_curve_does_not_cover_is_told() {
    let growth = growth(&[10.0, 10.0, 4.0, 10.0, 10.0, 31.0]);
    assert!(!growth.outside_between(at(0.0), at(1.0)));
    assert!(growth.outside_between(at(0.5), at(1.5)));
    assert!(!growth.outside_between(at(3.0), at(4.0)));
    assert!(growth.outside_between(at(4.0), at(5.0)));
    // Beyond the last reading nothing was read, so nothing was outside.
    assert!(!growth.outside_between(at(5.0), at(9.0)) && !growth.outside_between(at(-9.0), at(0.0)));
}
