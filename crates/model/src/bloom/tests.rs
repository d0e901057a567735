use super::*;
use crate::series::{Reading, Series};
use crate::time::HOUR;

const BEGIN: i64 = 1_367_107_200;

fn at(hours: f64) -> Instant {
    Instant(BEGIN + (hours * 3_600.0) as i64)
}

/// `(hours after the begin, open flowers on each tree)`.
fn counts(counts: &[(f64, &[i64])]) -> Vec<Count> {
    counts.iter().map(|(hours, open)| Count::of(at(*hours), open)).collect()
}

/// Two days at 14.5 °C: ten degree-hours an hour.
fn mild() -> Course {
    let readings = (0..=48).map(|n| Reading::instant(Instant(BEGIN + n * HOUR), 14.5)).collect();
    Course::new(Series::join(&[readings], None, Instant::MAX))
}

/// Seconds between a moment and so many hours after the begin.
fn off(moment: Instant, hours: f64) -> f64 {
    moment.0 as f64 - BEGIN as f64 - hours * 3_600.0
}

#[test]
fn a_count_is_its_mean_and_standard_error() {
    let count = Count::of(at(0.0), &[2, 4, 4, 4, 5, 5, 7, 9]);
    assert_eq!((count.mean, count.trees), (5.0, 8));
    // Squares of the deviations add up to 32: sd² = 32/7, error² = 32/56.
    assert!((count.error - (32.0_f64 / 56.0).sqrt()).abs() < 1e-15);
    assert_eq!(Count::of(at(0.0), &[7]).error, 0.0);
}

/// The worked case, by hand: y = ln c, counts 40 (error 4) and 160 (error 20)
/// a day apart, threshold 100. Way s = ln(2.5)/ln 4; its error by the delta
/// method is √(((1−s)·4/40)² + (s·20/160)²)/ln 4.
#[test]
fn the_interval_by_the_delta_method() {
    let counts = counts(&[(0.0, &[36, 44]), (24.0, &[140, 180])]);
    assert_eq!((counts[0].error, counts[1].error), (4.0, 20.0));
    let start = from_counts(&counts, 100.0, None, &mild()).unwrap();
    let rise = 4.0_f64.ln();
    let share = 2.5_f64.ln() / rise;
    let error = ((1.0 - share) * 0.1).hypot(share * 0.125) / rise;
    assert!(off(start.at, 24.0 * share).abs() <= 1.0);
    assert!(off(start.earliest.unwrap(), 24.0 * (share - 1.645 * error)).abs() <= 1.0);
    assert!(off(start.latest.unwrap(), 24.0 * (share + 1.645 * error)).abs() <= 1.0);
}

/// The same with the flowers of the tree known: y = ln(c/(F−c)), whose error is
/// that of c times F/(c(F−c)).
#[test]
fn with_the_flowers_of_the_tree_known() {
    let counts = counts(&[(0.0, &[36, 44]), (24.0, &[140, 180])]);
    let flowers = 400.0;
    let start = from_counts(&counts, 100.0, Some(flowers), &mild()).unwrap();
    let y = |open: f64| (open / (flowers - open)).ln();
    let slope = |open: f64| flowers / (open * (flowers - open));
    let rise = y(160.0) - y(40.0);
    let share = (y(100.0) - y(40.0)) / rise;
    let error = ((1.0 - share) * slope(40.0) * 4.0).hypot(share * slope(160.0) * 20.0) / rise;
    assert!(off(start.at, 24.0 * share).abs() <= 1.0);
    assert!(off(start.earliest.unwrap(), 24.0 * (share - 1.645 * error)).abs() <= 1.0);
    assert!(off(start.latest.unwrap(), 24.0 * (share + 1.645 * error)).abs() <= 1.0);
}

/// Flowers that do not reach the threshold, or fewer than were counted, are not
/// used: ln c as if they were not known.
#[test]
fn flowers_that_cannot_be_right_are_not_used() {
    let counts = counts(&[(0.0, &[36, 44]), (24.0, &[140, 180])]);
    let plain = from_counts(&counts, 100.0, None, &mild());
    for flowers in [50.0, 100.0, 160.0] {
        assert_eq!(from_counts(&counts, 100.0, Some(flowers), &mild()), plain, "{flowers}");
    }
    assert_ne!(from_counts(&counts, 100.0, Some(161.0), &mild()), plain);
}

/// However far trees differ, the interval ends at the two counts.
#[test]
fn the_interval_is_clipped_to_the_counts() {
    let start = from_counts(&counts(&[(0.0, &[1, 180]), (24.0, &[1, 300])]), 100.0, None, &mild()).unwrap();
    assert_eq!((start.earliest, start.latest), (Some(at(0.0)), Some(at(24.0))));
}

/// The first count at or above decides, with the last below before it.
#[test]
fn which_two_counts() {
    let rows = counts(&[
        (0.0, &[10, 10]),
        (10.0, &[50, 50]),
        (20.0, &[200, 200]),
        (30.0, &[60, 60]),
        (40.0, &[300, 300]),
    ]);
    let start = from_counts(&rows, 100.0, None, &mild()).unwrap();
    assert!(off(start.at, 15.0).abs() <= 1.0, "{start:?}");
    let none_below = from_counts(&rows[2..], 100.0, None, &mild()).unwrap();
    assert_eq!((none_below.at, none_below.basis), (at(20.0), Basis::NoLaterThan));
}

/// The threshold may be reached before the readings begin, or after they end:
/// the nearest temperature is held there.
#[test]
fn counts_that_reach_beyond_the_readings() {
    let early =
        from_counts(&counts(&[(-48.0, &[50, 50]), (0.0, &[200, 200])]), 100.0, None, &mild()).unwrap();
    assert!(off(early.at, -24.0).abs() <= 1.0, "{early:?}");
    let late = from_counts(&counts(&[(40.0, &[50, 50]), (80.0, &[200, 200])]), 100.0, None, &mild()).unwrap();
    assert!(off(late.at, 60.0).abs() <= 1.0, "{late:?}");
    let across =
        from_counts(&counts(&[(-12.0, &[50, 50]), (12.0, &[200, 200])]), 100.0, None, &mild()).unwrap();
    assert!(off(across.at, 0.0).abs() <= 1.0, "{across:?}");
}

/// Two rising counts below foretell; one, falling ones, or cold hours do not.
#[test]
fn what_is_expected() {
    let rising = counts(&[(0.0, &[25, 25]), (10.0, &[50, 50])]);
    let start = from_counts(&rising, 100.0, None, &mild()).unwrap();
    assert_eq!((start.basis, start.earliest, start.latest), (Basis::Expected, None, None));
    assert!(off(start.at, 20.0).abs() <= 1.0, "{start:?}");
    // As many flowers as there are open already slow the rise.
    assert!(from_counts(&rising, 100.0, Some(110.0), &mild()).unwrap().at > start.at);
    assert_eq!(from_counts(&rising[..1], 100.0, None, &mild()), None);
    let falling = counts(&[(0.0, &[50, 50]), (10.0, &[25, 25])]);
    assert_eq!(from_counts(&falling, 100.0, None, &mild()), None);
    assert_eq!(from_counts(&rising, 1e6, None, &mild()), None, "beyond the hours at hand");
    assert_eq!(from_counts(&rising, 100.0, None, &Course::default()), None);
    assert_eq!(from_counts(&[], 100.0, None, &mild()), None);
}
