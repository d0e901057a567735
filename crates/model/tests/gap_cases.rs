//! Hours without readings: joined, filled from another source, or unknown with
//! a low and a high; and the forecast after the last reading.

use model::growth::Hours;
use model::legs::Leg;
use model::season::{Season, State};
use model::series::{Flag, Forecast, Reading, Series};
use model::time::{HOUR, Instant};
use serde_json::Value;

use crate::kit::{self, begin, hour, hourly, log, noted, season, season_of, start, steady, two_sprays};

/// Leaves out the readings strictly between two hours after the begin.
fn without(readings: &[Reading], from: f64, to: f64) -> Vec<Reading> {
    readings.iter().filter(|reading| reading.at <= hour(from) || reading.at >= hour(to)).copied().collect()
}

fn one_leg(readings: &[Reading], now: Instant) -> Season {
    season(&two_sprays(), &[start(hour(0.0))], readings, now)
}

fn hours(observed: f64, filled: f64, forecast: f64, unknown: f64) -> Hours {
    Hours { observed, filled, forecast, unknown }
}

/// Days that swing between 10 and 20 °C: 10 °C at 00Z, 20 °C at 12Z.
fn swinging(days: usize) -> Vec<Reading> {
    hourly((0..=days * 24).map(|n| 15.0 - 5.0 * (std::f64::consts::TAU * n as f64 / 24.0).cos()))
}

#[test]
fn a_gap_of_two_to_three_hours_is_filled() {
    for (to, filled) in [(12.0, 2.0), (13.0, 3.0)] {
        let season = one_leg(&without(&steady(15.0, 24), 10.0, to), hour(24.0));
        assert_eq!(season.hours, hours(24.0 - filled, filled, 0.0, 0.0));
        assert!((season.legs[0].progress - 0.5).abs() < 1e-8);
        assert_eq!(season.legs[0].progress_low, season.legs[0].progress_high);
    }
}

/// More than three hours are unknown. Ten days before swung between 10 and
/// 20 °C, so each missing hour lies between what its hour of day was then.
#[test]
fn unknown_hours_have_a_low_and_a_high() {
    let whole = swinging(14);
    let began = hour(11.0 * 24.0);
    let reckoned = |readings: &[Reading]| season(&two_sprays(), &[start(began)], readings, hour(14.0 * 24.0));
    // From 06Z to 18Z of the twelfth day; every day alike, so the range at an
    // hour is one value, the hour's own.
    let gap = reckoned(&without(&whole, 11.0 * 24.0 + 6.0, 11.0 * 24.0 + 18.0));
    assert_eq!(gap.hours, hours(60.0, 0.0, 0.0, 12.0));
    assert!(noted(&gap, "hours-unknown", None));
    let curve = kit::curve("reference");
    let unknown: f64 = (6..18).map(|n| curve.rate_per_day(whole[n].celsius) / 24.0).sum();
    let known = kit::growth(curve, &whole);
    let units = |h: f64| {
        known.units_at(hour(11.0 * 24.0 + h), model::growth::Bound::Low) as f64 / model::growth::UNITS
    };
    let expected = units(72.0) - units(18.0) + units(6.0) - units(0.0) + unknown;
    assert!((gap.legs[0].progress_low - expected).abs() < 1e-9, "{} {expected}", gap.legs[0].progress_low);
    assert!((gap.legs[0].progress_high - expected).abs() < 1e-9);
}

/// With one reading at 15 °C and nothing else in ten days, the range is that
/// one value; with nothing at all before, from 0 to the curve's greatest rate.
#[test]
fn what_an_unknown_hour_is_bounded_by() {
    // Two days alternate: fewer than three days at any hour, so all readings
    // of those days bound every missing hour.
    let days = hourly((0..=60).map(|n| if n < 24 { 10.0 } else { 20.0 }));
    let gap = season(&two_sprays(), &[start(hour(36.0))], &without(&days, 40.0, 50.0), hour(60.0));
    let leg = &gap.legs[0];
    let curve = kit::curve("reference");
    let (slow, fast) = (curve.rate_per_day(10.0) / 24.0, curve.rate_per_day(20.0) / 24.0);
    assert!((leg.progress_low - (14.0 * fast + 10.0 * slow)).abs() < 1e-9, "{}", leg.progress_low);
    assert!((leg.progress_high - 24.0 * fast).abs() < 1e-9, "{}", leg.progress_high);
}

#[test]
fn readings_that_start_after_the_leg() {
    let late: Vec<Reading> =
        steady(15.0, 48).into_iter().filter(|reading| reading.at >= hour(24.0)).collect();
    let season = one_leg(&late, hour(48.0));
    let leg = &season.legs[0];
    // Low: nothing before the readings. High: the curve's greatest rate, 1.05.
    assert!((leg.progress_low - 0.5).abs() < 1e-8 && (leg.progress_high - 1.55).abs() < 1e-8, "{leg:?}");
    assert_eq!(season.hours, hours(24.0, 0.0, 0.0, 24.0));
    assert_eq!(leg.reached_at, None);
    // 0.60 at 1.05 a day.
    let fastest = begin().plus((0.6 / 1.05 * 86_400.0_f64).ceil() as i64);
    assert_eq!(leg.may_be_reached_since, Some(fastest));
    assert_eq!(season.state, State::Growing, "the state goes by low");
    assert!(noted(&season, "may-be-reached", None));
}

#[test]
fn no_readings_at_all() {
    let season = one_leg(&[], hour(48.0));
    let leg = &season.legs[0];
    assert_eq!((season.as_of, season.state), (None, State::Growing));
    assert_eq!((leg.progress_low, leg.progress_high, leg.reached_at), (0.0, 0.0, None));
    assert_eq!((leg.may_be_reached_since, leg.expected_at), (None, None));
    assert_eq!(season.hours, Hours::default());
    // Counts alone still give a start, by the clock.
    let counts = [kit::count("c1", hour(0.0), &[50, 50]), kit::count("c2", hour(24.0), &[200, 200])];
    let season = kit::season(&two_sprays(), &counts, &[], hour(48.0));
    assert!(season.start.unwrap().at.since(hour(12.0)).abs() <= 1);
}

/// Due goes by low: while high is at the mark and low is not, the leg says
/// since when, and nothing is due.
#[test]
fn may_be_reached_since() {
    let mut readings = hourly((0..=70).map(|n| if n % 24 < 12 { 10.0 } else { 20.0 }));
    readings.truncate(61);
    let began = hour(48.0);
    let gap: Vec<Reading> = without(&readings, 49.0, 60.0);
    let reckoned = |readings: &[Reading], now| season(&two_sprays(), &[start(began)], readings, now);
    let more: Vec<Reading> =
        gap.iter().copied().chain((61..=120).map(|n| Reading::instant(hour(f64::from(n)), 20.0))).collect();
    let mut seen = Vec::new();
    for n in 60..=120 {
        let season = reckoned(&more, hour(f64::from(n)));
        let leg = &season.legs[0];
        assert!(leg.progress_low < leg.progress_high);
        match (leg.reached_at, leg.may_be_reached_since) {
            (None, Some(since)) => {
                assert!(
                    leg.progress_high >= 0.6 - 1e-9 && leg.progress_low < 0.6 && since <= hour(f64::from(n))
                );
                assert_eq!(season.state, State::Growing);
                assert!(noted(&season, "may-be-reached", None));
                seen.push(since);
            }
            (Some(_), None) => {
                assert!(leg.progress_low >= 0.6 - 1e-9);
                assert!(season.state == State::Due || season.state == State::Overrun);
                assert!(!noted(&season, "may-be-reached", None));
            }
            (None, None) => assert!(leg.progress_high < 0.6),
            (Some(_), Some(_)) => panic!("reached and not: {leg:?}"),
        }
    }
    assert!(seen.len() > 3, "the case must come about: {seen:?}");
    assert!(seen.windows(2).all(|pair| pair[0] == pair[1]), "one moment, whenever it is looked at");
}

// ---- the next source

/// A second source fills the gap, corrected for its mean difference over the
/// last seven days of overlap, whatever it was before.
#[test]
fn the_second_source_fills_with_its_mean_difference_of_seven_days() {
    let first = steady(15.0, 24 * 12);
    let gap = without(&first, 240.0, 264.0);
    // 3 °C colder than the first over the last seven days, 9 °C before that.
    let second = hourly((0..=24 * 12).map(|n| if n < 24 * 3 - 1 { 6.0 } else { 12.0 }));
    let reckoned = |sources: &[Vec<Reading>]| {
        season_of(&two_sprays(), &log(&[start(hour(236.0))]), sources, None, hour(288.0))
    };
    let filled = reckoned(&[gap.clone(), second]);
    assert_eq!(filled.hours, hours(28.0, 24.0, 0.0, 0.0));
    assert!((filled.legs[0].progress - 52.0 / 48.0).abs() < 1e-8, "{}", filled.legs[0].progress);
    assert_eq!(filled.legs[0].progress_low, filled.legs[0].progress_high);
    let alone = reckoned(&[gap]);
    assert_eq!(alone.hours, hours(28.0, 0.0, 0.0, 24.0));
}

/// At both edges of a gap the trusted source's own readings hold.
#[test]
fn the_trusted_source_holds_at_the_edges_of_its_gap() {
    let first = without(&steady(15.0, 24 * 8), 180.0, 190.0);
    let mut second = steady(15.0, 24 * 8);
    second[180].celsius = 40.0;
    second[190].celsius = -40.0;
    let series = Series::join(&[first, second], None, Instant::MAX);
    for span in &series.spans {
        let model::series::Law::Line(a, b) = span.law else { panic!("nothing is unknown here") };
        for celsius in [a, b] {
            // Shifted by the mean difference, but near 15 °C throughout.
            assert!((celsius - 15.0).abs() < 1.0, "{span:?}");
        }
    }
}

/// Where the next source has nothing either, the one after it fills in, before
/// the first reading, in a gap and after the last one.
#[test]
fn a_dead_second_source_does_not_block_the_third() {
    let whole = steady(15.0, 72);
    let part = |from: f64, to: f64| -> Vec<Reading> {
        whole.iter().filter(|reading| (hour(from)..=hour(to)).contains(&reading.at)).copied().collect()
    };
    let first = [part(20.0, 24.0), part(34.0, 40.0)].concat();
    let second = part(18.0, 26.0);
    let season = season_of(
        &two_sprays(),
        &log(&[start(hour(0.0))]),
        &[first, second, whole.clone()],
        None,
        hour(72.0),
    );
    assert_eq!(season.as_of, Some(hour(72.0)));
    assert_eq!(season.hours, hours(10.0, 62.0, 0.0, 0.0));
    assert!((season.legs[0].progress - 1.5).abs() < 1e-8, "{}", season.legs[0].progress);
}

#[test]
fn failed_readings_grow_nothing() {
    let mut readings = steady(15.0, 24);
    readings[12] = Reading { celsius: 55.0, flag: Flag::Fail, ..readings[12] };
    readings[13] = Reading { celsius: 15.0, flag: Flag::Suspect, ..readings[13] };
    let season = one_leg(&readings, hour(24.0));
    assert!((season.legs[0].progress - 0.5).abs() < 1e-8);
    assert_eq!(season.hours, hours(22.0, 2.0, 0.0, 0.0));
}

// ---- forecast

fn forecast(celsius: f64, from: f64, to: f64) -> Forecast {
    let count = (to - from) as i64;
    let hours = (0..=count).map(|n| Reading::instant(hour(from).plus(n * HOUR), celsius)).collect();
    Forecast { issued_at: hour(from), hours }
}

fn foretold(readings: usize, forecast: &Forecast, now: f64) -> (Season, Leg) {
    let entries: [Value; 1] = [start(hour(0.0))];
    let season =
        season_of(&two_sprays(), &log(&entries), &[steady(15.0, readings)], Some(forecast), hour(now));
    let leg = season.legs[0].clone();
    (season, leg)
}

/// After the last reading a forecast gives an expected time and never a
/// reached one, however long its hours are past.
#[test]
fn a_forecast_gives_expected_and_never_reached() {
    for now in [20.0, 40.0] {
        let (season, leg) = foretold(20, &forecast(15.0, 0.0, 60.0), now);
        assert_eq!((leg.reached_at, leg.expected_at), (None, Some(hour(28.8))));
        assert_eq!((leg.reached_earliest, leg.reached_latest, leg.may_be_reached_since), (None, None, None));
        assert_eq!((season.state, season.as_of), (State::Growing, Some(hour(20.0))));
        assert_eq!(season.hours, hours(20.0, 0.0, 0.0, 0.0));
        assert!((leg.progress - 20.0 / 48.0).abs() < 1e-8, "progress is what readings show");
    }
    // A heads-up comes 24 h before: that is when to look again.
    let (season, leg) = foretold(2, &forecast(15.0, 0.0, 60.0), 2.0);
    assert_eq!((leg.expected_at, season.look_again_at), (Some(hour(28.8)), Some(hour(4.8))));
    // Once it is read, the forecast no longer counts.
    let (season, leg) = foretold(30, &forecast(-10.0, 0.0, 60.0), 30.0);
    assert_eq!((leg.reached_at, leg.expected_at, season.state), (Some(hour(28.8)), None, State::Due));
}

/// The stretch from the last reading to the first forecast hour: joined up to
/// three hours, beyond that unknown, of which the expected time takes the low.
#[test]
fn a_gap_between_the_last_reading_and_the_forecast() {
    let (_, joined) = foretold(20, &forecast(15.0, 23.0, 80.0), 20.0);
    assert_eq!(joined.expected_at, Some(hour(28.8)));
    let later = forecast(15.0, 26.0, 80.0);
    let (season, leg) = foretold(20, &later, 20.0);
    // All readings stood at 15 °C, so the range is one value here as well.
    assert_eq!((leg.reached_at, leg.expected_at), (None, Some(hour(28.8))));
    assert_eq!(season.hours, hours(20.0, 0.0, 0.0, 0.0), "hours count up to the last reading");
    let growth = kit::growth_of(kit::curve("reference"), &[steady(15.0, 20)], Some(&later), hour(20.0));
    assert_eq!(growth.course().hours(hour(0.0), hour(80.0)), hours(20.0, 0.0, 54.0, 6.0));
}

/// A mean's interval that reaches back over the last reading counts from there.
#[test]
fn a_forecast_of_means_goes_on_from_the_last_reading() {
    let hours = (1..=60).map(|n| Reading::mean_ending(hour(f64::from(n) + 0.5), HOUR, 15.0)).collect();
    let (_, leg) = foretold(20, &Forecast { issued_at: hour(0.0), hours }, 20.0);
    assert_eq!(leg.expected_at, Some(hour(28.8)));
}
