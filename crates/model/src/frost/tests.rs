use chrono_tz::America::New_York;

use super::*;
use crate::series::{Forecast, Reading, Series};
use crate::time::{DAY, HOUR};

/// 2013-04-29T00:00:00-04:00: the middle of the night of 28 April.
const MIDNIGHT: Instant = Instant(1_367_208_000);

fn minutes(minutes: i64) -> Instant {
    MIDNIGHT.plus(minutes * MINUTE)
}

fn day(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2013, 4, day).unwrap()
}

fn instants(readings: &[(i64, f64)]) -> Vec<Reading> {
    readings.iter().map(|(at, celsius)| Reading::instant(minutes(*at), *celsius)).collect()
}

fn course(readings: &[(i64, f64)]) -> Course {
    Course::new(Series::join(&[instants(readings)], None, Instant::MAX))
}

/// The nights round midnight with a stage logged two days before.
fn at_stage(course: &Course, stage: Stage) -> Vec<Night> {
    let logged = [(minutes(-2_880), stage)];
    nights(course, &logged, New_York, MIDNIGHT.plus(-5 * DAY), MIDNIGHT.plus(5 * DAY))
}

fn full_bloom(readings: &[(i64, f64)]) -> Night {
    let found = at_stage(&course(readings), Stage::FullBloom);
    assert_eq!(found.len(), 1, "{found:?}");
    found[0].clone()
}

/// Ten-minute readings at `celsius` for so many minutes from midnight on, with 3 °C
/// a minute before and after.
fn dip(celsius: f64, long: i64) -> Vec<(i64, f64)> {
    let held = (0..=long / 10).map(|n| n * 10).chain((long % 10 > 0).then_some(long));
    let mut readings = vec![(-60, 3.0), (-1, 3.0)];
    readings.extend(held.map(|at| (at, celsius)));
    readings.extend([(long + 1, 3.0), (long + 60, 3.0)]);
    readings
}

/// 28 °F is −2.22 °C by definition; readings in tenths show −2.2 for it.
#[test]
fn a_feed_of_tenths_counts_at_minus_2_2_and_not_at_minus_2_1() {
    let hit = full_bloom(&dip(-2.2, 30));
    assert_eq!((hit.line_c, hit.minutes, hit.hit_at), (Some(-2.2), 30, Some(minutes(30))));
    let miss = full_bloom(&dip(-2.1, 300));
    assert_eq!((miss.minutes, miss.hit_at, miss.minimum_c), (0, None, Some(-2.1)));
}

/// Every line of the table counts at its own °F, whether the feed has whole °F,
/// tenths of °C or hundredths, and not a tenth of a degree above.
#[test]
fn each_line_counts_at_its_own_fahrenheit() {
    for stage in Stage::ALL {
        for exact in [stage.kill_10_c(), stage.kill_90_c()] {
            let line = line_c(exact, false);
            let tenths = (exact * 10.0).round() / 10.0;
            for read in [exact, tenths, (exact * 100.0).round() / 100.0] {
                assert!(read <= line + SAME_K, "{}: {read} beside {line}", stage.word());
            }
            assert!(tenths + 0.1 > line + SAME_K, "{}: {line}", stage.word());
        }
    }
}

/// A feed of whole degrees shows −2 for 28 °F; one reading with a tenth makes it
/// a feed of tenths.
#[test]
fn a_feed_of_whole_degrees() {
    let whole = full_bloom(&dip(-2.0, 30));
    assert_eq!((whole.line_c, whole.hit_at), (Some(-2.0), Some(minutes(30))));
    let mut readings = dip(-2.0, 30);
    readings[0].1 = 3.1;
    let tenths = full_bloom(&readings);
    assert_eq!((tenths.line_c, tenths.hit_at), (Some(-2.2), None));
}

#[test]
fn thirty_minutes_are_full_and_29_are_not() {
    assert_eq!(full_bloom(&dip(-2.5, 28)).hit_at, None);
    // −2.5 to 3 °C in a minute: the line is passed 3.3 s after the last reading,
    // and as long before the first one.
    let short = full_bloom(&dip(-2.5, 29));
    assert_eq!((short.hit_at, short.minutes), (None, 29));
    let full = full_bloom(&dip(-2.5, 30));
    assert_eq!((full.hit_at, full.minutes), (Some(minutes(30).plus(-3)), 30));
}

#[test]
fn joined_readings_are_solved_for_the_line() {
    // From 1.8 °C down to −6.2 in an hour: at −2.2 after half an hour, and back
    // there half an hour after the minimum.
    let night = full_bloom(&[(-60, 1.8), (0, -6.2), (60, 1.8)]);
    assert_eq!((night.minimum_at, night.minimum_c), (Some(MIDNIGHT), Some(-6.2)));
    assert_eq!((night.hit_at, night.minutes, night.ninety), (Some(MIDNIGHT), 60, true));
    // −3.9 is the 90 % line (25 °F): passed for 2 × 17 minutes.
    let ten_only = full_bloom(&[(-60, 1.8), (0, -5.2), (60, 1.8)]);
    assert!(ten_only.hit_at.is_some() && !ten_only.ninety, "{ten_only:?}");
}

#[test]
fn an_hourly_mean_counts_as_its_hour() {
    let means = |celsius| {
        let hours = [2.3, celsius, 2.3];
        let mean = |(n, celsius): (i64, f64)| Reading::mean_ending(minutes(n * 60), HOUR, celsius);
        let readings: Vec<Reading> = (0..).zip(hours).map(mean).collect();
        at_stage(&Course::new(Series::join(&[readings], None, Instant::MAX)), Stage::FullBloom)
    };
    let hit = &means(-2.2)[0];
    assert_eq!((hit.minutes, hit.hit_at), (60, Some(minutes(30))));
    let miss = &means(-2.1)[0];
    assert_eq!((miss.minutes, miss.hit_at), (0, None));
}

#[test]
fn listed_from_two_degrees_above_the_line_down() {
    assert_eq!(full_bloom(&[(-60, 5.5), (0, -0.2), (60, 5.5)]).minimum_c, Some(-0.2));
    assert_eq!(at_stage(&course(&[(-60, 5.5), (0, -0.1), (60, 5.5)]), Stage::FullBloom), []);
    // Silver tip, 15 °F: −9.4 °C.
    assert_eq!(at_stage(&course(&[(-60, 5.5), (0, -7.3), (60, 5.5)]), Stage::SilverTip), []);
    assert_eq!(at_stage(&course(&[(-60, 5.5), (0, -7.4), (60, 5.5)]), Stage::SilverTip).len(), 1);
}

#[test]
fn a_night_has_the_stage_last_logged_before_its_minimum() {
    let cold = course(&dip(-3.0, 40));
    let stages = [
        (minutes(-900), Stage::HalfInchGreen),
        (minutes(0), Stage::TightCluster),
        (minutes(1), Stage::FullBloom),
    ];
    let found = nights(&cold, &stages, New_York, minutes(-900), minutes(900));
    assert_eq!(
        (found[0].stage, found[0].line_c),
        (Some(Stage::TightCluster), Some(Stage::TightCluster.kill_10_c()))
    );
}

#[test]
fn a_night_of_no_logged_stage_is_listed_from_freezing_down_without_a_hit() {
    let later = [(minutes(600), Stage::FullBloom)];
    let look = |celsius| nights(&course(&dip(celsius, 60)), &later, New_York, minutes(-900), minutes(900));
    let found = look(-4.0);
    assert_eq!((found[0].stage, found[0].line_c, found[0].hit_at, found[0].minutes), (None, None, None, 0));
    assert_eq!((look(0.0).len(), look(0.1).len()), (1, 0));
}

/// On 10 March 2013 the clocks of New York went forward at two: noon came an
/// hour early (published: the IANA database).
#[test]
fn nights_run_from_noon_to_noon_over_a_clock_change() {
    let noon = Instant::parse("2013-03-10T12:00:00-04:00").unwrap();
    let ninth = NaiveDate::from_ymd_opt(2013, 3, 9).unwrap();
    assert_eq!(
        (night_of(noon.plus(-1), New_York), night_of(noon, New_York)),
        (ninth, ninth.succ_opt().unwrap())
    );
    let before = noon.plus(-23 * HOUR);
    assert_eq!(
        (night_of(before, New_York), night_of(before.plus(-1), New_York)),
        (ninth, ninth.pred_opt().unwrap())
    );

    let hourly = |hour: i64| Reading::instant(before.plus(hour * HOUR), -12.5);
    let readings: Vec<Reading> = (0..=23).map(hourly).collect();
    let course = Course::new(Series::join(&[readings], None, Instant::MAX));
    let found = nights(&course, &[(before, Stage::SilverTip)], New_York, before, noon);
    let held: Vec<_> = found.iter().map(|night| (night.date, night.minutes)).collect();
    assert_eq!(held, [(ninth, 23 * 60)]);
}

#[test]
fn each_night_is_reckoned_apart_and_cut_to_the_range() {
    let readings: Vec<(i64, f64)> = [-1_440, 0, 1_440]
        .into_iter()
        .flat_map(|base| dip(-3.0, 60).into_iter().map(move |(at, celsius)| (base + at, celsius)))
        .collect();
    let course = course(&readings);
    let dates = |found: &[Night]| found.iter().map(|night| night.date).collect::<Vec<_>>();
    assert_eq!(dates(&at_stage(&course, Stage::FullBloom)), [day(27), day(28), day(29)]);
    let stages = [(minutes(-2_880), Stage::FullBloom)];
    let cut = nights(&course, &stages, New_York, minutes(31), minutes(720));
    assert_eq!((dates(&cut), cut[0].minutes, cut[0].hit_at), (vec![day(28)], 29, None));
    assert_eq!(nights(&course, &stages, New_York, minutes(900), minutes(900)), []);
    assert_eq!(nights(&Course::default(), &stages, New_York, Instant::MIN, Instant::MAX), []);
}

#[test]
fn unknown_hours_end_a_run_and_are_told() {
    // Twenty minutes at the line either side of five hours without a reading.
    let night = full_bloom(&[(-30, 3.4), (-20, -3.0), (0, -3.0), (300, -3.0), (320, -3.0), (330, 3.4)]);
    assert_eq!((night.unknown, night.hit_at), (true, None));
    assert!((20..30).contains(&night.minutes), "{night:?}");
}

#[test]
fn a_night_whose_unknown_hours_may_have_been_cold_is_listed() {
    // Nothing is read from 18:00 to 10:00; before six in the nights before it was
    // `then`.
    let look = |then: f64| {
        let air = move |hour| if hour < 6 { then } else { 9.3 };
        let days = (-5..0).flat_map(|day| (0..24).map(move |hour| (day * 1_440 + hour * 60, air(hour))));
        let mut readings: Vec<(i64, f64)> = days.filter(|(at, _)| *at <= -360).collect();
        readings.extend([(600, 9.3), (660, 9.3)]);
        nights(
            &course(&readings),
            &[(minutes(-7_200), Stage::FullBloom)],
            New_York,
            minutes(-720),
            minutes(660),
        )
    };
    let found = look(-2.2);
    assert_eq!(
        (found.len(), found[0].unknown, found[0].minimum_c, found[0].hit_at),
        (1, true, Some(9.3), None)
    );
    assert_eq!(look(-2.1), []);
    let never_read = course(&[(-1_440, 4.0), (-1_380, -2.2), (-1_320, 4.0), (1_440, 4.0)]);
    let found =
        nights(&never_read, &[(minutes(-7_200), Stage::FullBloom)], New_York, minutes(-720), minutes(720));
    assert_eq!((found[0].minimum_c, found[0].minimum_at, found[0].unknown), (None, None, true));
}

#[test]
fn readings_that_stopped_in_the_night_leave_it_unknown() {
    let course = course(&[(-600, 9.0), (-540, 8.0), (-420, 6.0), (-300, 3.0), (-120, 1.0), (0, -1.0)]);
    let until = |at| {
        let stages = [(minutes(-2_880), Stage::FullBloom)];
        nights(&course, &stages, New_York, minutes(-600), minutes(at))[0].unknown
    };
    assert_eq!((until(180), until(181)), (false, true));
}

#[test]
fn a_forecast_never_counts_as_a_reading() {
    let read = instants(&[(-120, 4.0), (-60, 3.0)]);
    let forecast =
        Forecast { issued_at: minutes(-90), hours: instants(&[(0, -4.0), (60, -4.0), (120, 4.0)]) };
    let course = Course::new(Series::join(&[read], Some(&forecast), minutes(-60)));
    assert_eq!(at_stage(&course, Stage::FullBloom), []);
}

/// A course read up to midnight, with a forecast of those hours.
fn foretold(hours: &[(i64, f64)]) -> Course {
    let forecast = Forecast { issued_at: MIDNIGHT, hours: instants(hours) };
    Course::new(Series::join(&[instants(&[(-60, 6.0), (0, 5.0)])], Some(&forecast), MIDNIGHT))
}

#[test]
fn cold_ahead_from_line_and_margin_down() {
    let look = |celsius, stage, margin| {
        let course = foretold(&[(60, 3.3), (120, celsius), (180, 3.3)]);
        cold_ahead(&course, stage, MIDNIGHT, minutes(180), margin)
    };
    let bloom = Some(Stage::FullBloom);
    // 28 °F is −2.2 °C, and 1.5 K above it −0.7.
    assert_eq!(look(-0.6, bloom, COLD_MARGIN_C), Ahead::None);
    let just =
        Ahead::Cold { at: minutes(120), lowest_c: -0.7, lowest_at: minutes(120), line_c: -2.2, chance: None };
    assert_eq!(look(-0.7, bloom, COLD_MARGIN_C), just);
    assert_eq!(look(-0.7, None, COLD_MARGIN_C), just);
    assert_eq!(look(-0.7, bloom, 0.0), Ahead::None);
    assert_eq!(look(-0.7, Some(Stage::TightCluster), COLD_MARGIN_C), Ahead::None);
    // From 3.3 to −4.7 °C in an hour: −0.7 after half of it.
    let deep =
        Ahead::Cold { at: minutes(90), lowest_c: -4.7, lowest_at: minutes(120), line_c: -2.2, chance: None };
    assert_eq!(look(-4.7, bloom, COLD_MARGIN_C), deep);
}

#[test]
fn a_forecast_with_hours_left_out_is_not_no_frost() {
    let warm = foretold(&[(60, 5.0), (120, 5.0)]);
    let bloom = Some(Stage::FullBloom);
    let look = |course: &Course, until| cold_ahead(course, bloom, MIDNIGHT, minutes(until), COLD_MARGIN_C);
    assert_eq!((look(&warm, 120), look(&warm, 121)), (Ahead::None, Ahead::NoForecast));
    assert_eq!(look(&course(&[(-60, 5.0), (0, 5.0)]), 60), Ahead::NoForecast);
    assert_eq!(look(&Course::default(), 60), Ahead::NoForecast);
    let holed = foretold(&[(60, 5.0), (300, 5.0)]);
    assert_eq!(look(&holed, 300), Ahead::NoForecast);
    let cold = foretold(&[(60, -2.0), (300, 5.0)]);
    assert!(matches!(look(&cold, 600), Ahead::Cold { .. }));
}

#[test]
fn a_night_is_written_and_read_again() {
    let night = full_bloom(&dip(-2.2, 30));
    let text = serde_json::to_value(&night).unwrap();
    assert_eq!((&text["date"], &text["stage"]), (&"2013-04-28".into(), &"full-bloom".into()));
    assert_eq!(serde_json::from_value::<Night>(text).unwrap(), night);
}
