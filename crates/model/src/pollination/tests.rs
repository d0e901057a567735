use super::*;
use crate::series::Reading;

/// 1 May 2013, 00:00 UTC.
const BEGIN: i64 = 1_367_366_400;

fn at(hours: i64) -> Instant {
    Instant(BEGIN + hours * HOUR)
}

fn greenwich() -> Place {
    Place { latitude: 51.5, longitude: 0.0, elevation_m: None, zone: chrono_tz::UTC }
}

fn day(celsius: f64) -> Series {
    let readings = (0..=24).map(|n| Reading::instant(at(n), celsius)).collect();
    Series::join(&[readings], None, at(48))
}

fn air(wind: Option<f64>, rain: Option<f64>) -> Vec<Air> {
    (1..=24).map(|n| Air { wind_m_s: wind, rain_mm: rain, ..Air::at(at(n)) }).collect()
}

fn hours(celsius: f64, wind: Option<f64>, rain: Option<f64>) -> (f64, f64) {
    let bees = Bees::judge(&day(celsius), &[air(wind, rain)], &greenwich());
    let BeeHours { fit, unknown } = bees.between(at(0), at(24));
    (fit, unknown)
}

/// Both sides of each line of Williams & Sims (read second hand); the sun is up
/// over Greenwich from 4:33 to 19:23 UTC that day, so in the middle of 14 hours.
#[test]
fn each_line_from_both_sides() {
    let calm_and_dry = (Some(4.5), Some(0.0));
    assert_eq!(hours(12.6, calm_and_dry.0, calm_and_dry.1), (14.0, 0.0));
    assert_eq!(hours(12.5, calm_and_dry.0, calm_and_dry.1), (0.0, 0.0));
    assert_eq!(hours(18.0, Some(4.6), Some(0.0)), (0.0, 0.0));
    assert_eq!(hours(18.0, Some(2.0), Some(0.1)), (0.0, 0.0));
}

/// Without wind or rain a warm hour is unknown, a cold one still unfit.
#[test]
fn nothing_is_made_up_for_wind_and_rain() {
    assert_eq!(hours(18.0, None, Some(0.0)), (0.0, 14.0));
    assert_eq!(hours(18.0, Some(2.0), None), (0.0, 14.0));
    assert_eq!(hours(10.0, None, None), (0.0, 0.0));
    assert_eq!(hours(18.0, None, Some(2.0)), (0.0, 0.0), "rain alone keeps bees in");
}

/// What the first source does not tell the next one may.
#[test]
fn sources_stand_in_for_one_another() {
    let bees = Bees::judge(&day(18.0), &[air(Some(1.0), None), air(Some(9.0), Some(0.0))], &greenwich());
    assert_eq!(bees.between(at(0), at(24)), BeeHours { fit: 14.0, unknown: 0.0 });
    // Whole hours alone count, and none outside the course.
    assert_eq!(bees.between(at(12).plus(60), at(14)).fit, 1.0);
    assert_eq!(bees.between(at(30), at(40)), BeeHours::default());
    assert!(BeeHours { fit: 2.0, unknown: 0.0 }.too_few(FEWEST_HOURS));
    assert!(!BeeHours { fit: 2.0, unknown: 1.0 }.too_few(FEWEST_HOURS));
}
