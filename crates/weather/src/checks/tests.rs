//! Readings made up for one point each; the real ones are in `injection`.

use model::series::{Flag, Reading};
use model::time::{DAY, HOUR, Instant, MINUTE};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{Check, Checked, Thresholds, check};

/// 2013-04-20T00:00:00Z.
const BEGIN: Instant = Instant(1_366_416_000);

/// A warm day and a cool night, hour by hour: no two days alike.
fn usual(hour: i64) -> f64 {
    let day = (hour as f64 - 9.0) * std::f64::consts::TAU / 24.0;
    let weather = (hour as f64 / 37.0).sin() * 3.0;
    ((11.0 + 6.0 * day.sin() + weather) * 10.0).round() / 10.0
}

fn hourly(hours: i64) -> Vec<Reading> {
    (0..hours).map(|hour| Reading::instant(BEGIN.plus(hour * HOUR), usual(hour))).collect()
}

fn changed(hours: i64, change: impl Fn(i64, f64) -> f64) -> Vec<Reading> {
    let mut readings = hourly(hours);
    for (hour, reading) in (0..).zip(&mut readings) {
        reading.celsius = change(hour, reading.celsius);
    }
    readings
}

fn now() -> Instant {
    BEGIN.plus(60 * DAY)
}

fn alone(readings: &[Reading]) -> Vec<Checked> {
    check(readings, &[], now(), &Thresholds::default())
}

fn beside(readings: &[Reading], others: &[&[Reading]]) -> Vec<Checked> {
    check(readings, others, now(), &Thresholds::default())
}

fn flags(checked: &[Checked]) -> Vec<Flag> {
    checked.iter().map(|checked| checked.reading.flag).collect()
}

fn faulty(checked: &[Checked], by: Check) -> usize {
    checked.iter().filter(|checked| checked.faults.iter().any(|fault| fault.check == by)).count()
}

fn none_fails(checked: &[Checked]) {
    for checked in checked {
        assert_ne!(checked.reading.flag, Flag::Fail, "{} {:?}", checked.reading.at, checked.faults);
    }
}

#[test]
fn words_come_back() {
    for check in Check::ALL {
        assert_eq!(Check::named(check.word()), Some(check));
        assert_eq!(json!(check), json!(check.word()));
    }
    assert_eq!(Check::named("tide"), None);
}

#[test]
fn whoever_stands_alone_is_not_evaluated() {
    assert!(alone(&[]).is_empty());
    assert_eq!(flags(&alone(&hourly(1))), [Flag::NotEvaluated]);
    let three = hourly(3);
    assert_eq!(flags(&alone(&three)), [Flag::NotEvaluated, Flag::Pass, Flag::NotEvaluated]);
    let four_hours_apart: Vec<Reading> = hourly(24).into_iter().step_by(4).collect();
    assert!(flags(&alone(&four_hours_apart)).iter().all(|flag| *flag == Flag::NotEvaluated));
}

#[test]
fn order_does_not_matter_and_comes_out_by_time() {
    let readings = changed(200, |hour, celsius| if hour == 90 { -celsius - 9.0 } else { celsius });
    let mut backwards = readings.clone();
    backwards.reverse();
    let checked = alone(&readings);
    assert_eq!(checked, alone(&backwards));
    assert!(checked.is_sorted_by_key(|checked| checked.reading.at));
    assert_eq!(faulty(&checked, Check::Spike), 1);
}

#[test]
fn a_providers_own_word_is_never_made_better() {
    let mut readings = hourly(48);
    readings[10].flag = Flag::Suspect;
    readings[20].flag = Flag::Fail;
    readings[30].flag = Flag::Missing;
    readings[47].flag = Flag::Pass;
    // One that its provider failed is nobody's neighbour.
    readings[20].celsius = 55.0;
    let checked = alone(&readings);
    assert_eq!(checked[10].reading.flag, Flag::Suspect);
    assert_eq!(checked[20].reading.flag, Flag::Fail);
    assert_eq!(checked[30].reading.flag, Flag::Missing);
    assert_eq!(checked[47].reading.flag, Flag::Pass);
    let others = |n: &usize| ![10, 20, 30].contains(n);
    assert!((1..47).filter(others).all(|n| checked[n].reading.flag == Flag::Pass));
}

#[test]
fn what_is_no_temperature_fails() {
    for celsius in [f64::NAN, f64::INFINITY, -273.15, 61.0] {
        let checked = alone(&changed(48, |hour, usual| if hour == 20 { celsius } else { usual }));
        assert_eq!(checked[20].reading.flag, Flag::Fail);
        assert_eq!(checked[20].faults[0].check, Check::Range);
        assert_eq!(checked.iter().filter(|checked| checked.reading.flag == Flag::Fail).count(), 1);
    }
}

/// A cold front, the end of an inversion, a night of −4 °C after a warm day, a
/// foehn that breaks through: common practice has seen each of them.
#[test]
fn real_weather_never_fails() {
    let front = changed(96, |hour, celsius| if hour >= 44 { celsius - 9.0 } else { celsius });
    let inversion =
        changed(96, |hour, celsius| if (24..36).contains(&hour) { celsius - 7.0 } else { celsius });
    let frost =
        changed(96, |hour, celsius| if (1..11).contains(&(hour % 24)) { celsius - 9.0 } else { celsius });
    let foehn =
        changed(
            96,
            |hour, celsius| {
                if hour < 40 { 1.0 + (celsius - 11.0) / 6.0 } else { 12.5 + (celsius - 11.0) / 2.0 }
            },
        );
    let turned = changed(96, |hour, celsius| celsius - 9.0 - if hour >= 44 { 8.0 } else { 0.0 });
    for weather in [front, inversion, frost, foehn, turned] {
        none_fails(&alone(&weather));
        none_fails(&beside(&weather, &[&hourly(96)]));
    }
}

#[test]
fn a_step_that_another_source_shows_too_is_weather() {
    let front = |at: i64| changed(96, |hour, celsius| if hour >= at { celsius - 8.0 } else { celsius });
    assert_eq!(faulty(&alone(&front(44)), Check::Step), 1);
    assert_eq!(faulty(&beside(&front(44), &[&front(42)]), Check::Step), 0);
    assert_eq!(faulty(&beside(&front(44), &[&hourly(96)]), Check::Step), 1);
}

#[test]
fn melting_snow_holds_zero_for_days_but_nothing_holds_twelve() {
    let held =
        |celsius: f64| changed(120, |hour, usual| if (40..80).contains(&hour) { celsius } else { usual });
    let snow = alone(&held(0.0));
    none_fails(&snow);
    assert_eq!(faulty(&snow, Check::FlatLine), 39);
    let stuck = alone(&held(12.0));
    assert_eq!(stuck.iter().filter(|checked| checked.reading.flag == Flag::Fail).count(), 39);
    assert_ne!(stuck[40].reading.flag, Flag::Fail, "the first one was measured");
}

#[test]
fn a_whole_file_in_another_unit_is_told() {
    let fahrenheit = changed(96, |_, celsius| celsius * 1.8 + 32.0);
    let kelvin = changed(96, |_, celsius| celsius + 273.15);
    let turned = changed(96, |_, celsius| -celsius);
    for file in [&fahrenheit, &kelvin] {
        assert_eq!(faulty(&alone(file), Check::UnitMixUp), 96);
    }
    // Nothing in the file itself speaks against a winter.
    none_fails(&alone(&turned));
    for file in [fahrenheit, kelvin, turned] {
        let checked = beside(&file, &[&hourly(96)]);
        let failed = checked.iter().filter(|checked| checked.reading.flag == Flag::Fail).count();
        assert!(failed >= 94, "{failed}");
    }
}

#[test]
fn the_newest_reading_in_another_unit_fails_at_once() {
    let checked =
        alone(&changed(60, |hour, celsius| if hour == 59 { celsius * 1.8 + 32.0 } else { celsius }));
    assert_eq!(checked[59].faults[0].check, Check::UnitMixUp);
    assert_eq!(checked[59].reading.flag, Flag::Fail);
}

#[test]
fn stamps_are_measured_by_the_clock() {
    let readings = hourly(48);
    let now = readings[47].at;
    let mut ahead = readings.clone();
    ahead.push(Reading::instant(now.plus(10 * MINUTE), 11.0));
    ahead.push(Reading::instant(now.plus(11 * MINUTE), 11.0));
    let checked = check(&ahead, &[], now, &Thresholds::default());
    assert_eq!(faulty(&checked, Check::Ahead), 1);
    assert_eq!(checked[49].reading.flag, Flag::Fail);
}

#[test]
fn a_clock_that_began_anew_fails_and_another_year_stays() {
    let mut anew = hourly(200);
    let y2k = Instant(946_684_800);
    anew.extend((0..24).map(|hour| Reading::instant(y2k.plus(hour * HOUR), 11.0)));
    let checked = alone(&anew);
    assert_eq!(faulty(&checked, Check::LongPast), 24);
    assert!(checked[..24].iter().all(|checked| checked.reading.flag == Flag::Fail));
    let mut years = hourly(24 * 40);
    years.extend(
        hourly(24 * 59).iter().map(|reading| Reading { at: reading.at.plus(-800 * DAY), ..*reading }),
    );
    none_fails(&alone(&years));
}

#[test]
fn the_better_one_of_two_that_disagree_is_kept() {
    let mut readings = hourly(48);
    let wrong = Reading { celsius: readings[20].celsius + 7.0, ..readings[20] };
    let close = Reading { celsius: readings[30].celsius + 1.0, ..readings[30] };
    let rounded = Reading { celsius: readings[40].celsius + 0.3, ..readings[40] };
    readings.extend([wrong, close, rounded]);
    let checked = alone(&readings);
    let of = |hour: i64| checked.iter().filter(move |checked| checked.reading.at == BEGIN.plus(hour * HOUR));
    assert_eq!(of(20).map(|checked| checked.reading.flag).collect::<Vec<_>>(), [Flag::Suspect, Flag::Fail]);
    assert!(of(30).all(|checked| checked.reading.flag == Flag::Suspect));
    assert!(of(40).all(|checked| checked.reading.flag == Flag::Pass));
}

#[test]
fn one_other_source_that_agrees_is_enough() {
    let warm = changed(24 * 30, |hour, celsius| if hour > 24 * 20 { celsius + 5.0 } else { celsius });
    let usual = hourly(24 * 30);
    assert!(faulty(&beside(&warm, &[&usual]), Check::Neighbours) > 0);
    assert!(faulty(&beside(&warm, &[&usual, &usual]), Check::Neighbours) > 0);
    assert_eq!(faulty(&beside(&warm, &[&usual, &warm]), Check::Neighbours), 0);
    none_fails(&beside(&warm, &[&usual]));
}

#[test]
fn means_are_checked_like_instants() {
    let mut means = hourly(96);
    means.iter_mut().for_each(|reading| reading.span = HOUR);
    means[50].celsius += 12.0;
    let checked = alone(&means);
    assert_eq!(checked[50].reading.flag, Flag::Fail);
    assert_eq!(checked[50].reading.span, HOUR);
    assert_eq!(checked.iter().filter(|checked| !checked.faults.is_empty()).count(), 1);
}

/// A year of readings each five minutes with the noise of a sensor, beside an
/// hourly source; built in release it is done in a fraction of a second.
#[test]
fn a_year_of_five_minutes() {
    let readings: Vec<Reading> = (0..105_120)
        .map(|n: i64| {
            let day = (n as f64 - 108.0) * std::f64::consts::TAU / 288.0;
            let weather = (n as f64 / 437.0).sin() * 3.0 + (n as f64 / 7_100.0).sin() * 5.0;
            let noise = (n * 7_919 % 13 - 6) as f64 / 40.0;
            let celsius = ((11.0 + 6.0 * day.sin() + weather + noise) * 10.0).round() / 10.0;
            Reading::instant(BEGIN.plus(n * 5 * MINUTE), celsius + if n == 50_000 { 10.0 } else { 0.0 })
        })
        .collect();
    let other: Vec<Reading> = readings
        .iter()
        .step_by(12)
        .map(|reading| Reading { celsius: reading.celsius - 1.0, ..*reading })
        .collect();
    let checked = check(&readings, &[&other], BEGIN.plus(366 * DAY), &Thresholds::default());
    let faulty: Vec<&Checked> = checked.iter().filter(|checked| !checked.faults.is_empty()).collect();
    assert_eq!(faulty.len(), 1, "{faulty:?}");
    assert_eq!((faulty[0].reading.at, faulty[0].reading.flag), (readings[50_000].at, Flag::Fail));
}

fn read(table: Value) -> Result<Thresholds, String> {
    model::input::read(&table, Thresholds::from_fields).map_err(|faults| faults.to_string())
}

#[test]
fn settings_override_each_threshold() {
    assert_eq!(read(json!({})), Ok(Thresholds::default()));
    let set = read(json!({ "spike_fail_c": 6.5, "ahead_minutes": 3, "step_c": [3, 5, 7, 9, 11] })).unwrap();
    assert_eq!((set.spike_fail_c, set.ahead_minutes, set.step_c[4]), (6.5, 3, 11.0));
    assert_eq!(set.lag_hours, Thresholds::default().lag_hours);
    // Every field that is printed can be read.
    let names: Vec<String> = format!("{:?}", Thresholds::default())
        .split([' ', '{', '}'])
        .filter_map(|word| word.strip_suffix(':').map(str::to_owned))
        .collect();
    assert_eq!(names.len(), 34);
    for name in names {
        let error = read(json!({ name.clone(): "much" })).unwrap_err();
        assert!(error.contains(&name) && !error.contains("not a field"), "{error}");
    }
}

#[test]
fn settings_that_cannot_be_meant_are_refused() {
    for (table, place, detail) in [
        (json!({ "spike_fail_c": 3.0 }), "/spike_suspect_c", "beyond `spike_fail_c`"),
        (json!({ "range_suspect_below_c": -70.0 }), "/range_suspect_below_c", "beyond `range_fail_below_c`"),
        (json!({ "step_c": [4, 7] }), "/step_c", "five rising limits"),
        (json!({ "flat_tolerance_c": -1 }), "/flat_tolerance_c", "outside 0 to 5"),
        (json!({ "spikes": 3 }), "/spikes", "not a field"),
    ] {
        let error = read(table).unwrap_err();
        assert!(error.contains(place) && error.contains(detail), "{error}");
    }
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let celsius = prop_oneof![-40.0..45.0_f64, Just(f64::NAN), -1e300..1e300_f64];
    let flag = prop_oneof![Just(1_i64), Just(2), Just(3), Just(4), Just(9)];
    let at = prop_oneof![4 => 0..40 * 24_i64, 1 => -300_000..1_700_000_i64];
    (at, 0..4_i64, celsius, flag).prop_map(|(hour, span, celsius, flag)| Reading {
        at: BEGIN.plus(hour * HOUR),
        span: span * 30 * MINUTE,
        celsius,
        flag: Flag::numbered(flag).unwrap(),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn whatever_comes_each_reading_comes_back_once(
        readings in prop::collection::vec(any_reading(), 0..300),
        other in prop::collection::vec(any_reading(), 0..300),
    ) {
        let checked = beside(&readings, &[&other]);
        prop_assert_eq!(checked.len(), readings.len());
        prop_assert!(checked.is_sorted_by_key(|checked| checked.reading.at));
        let flagged = |flag| checked.iter().filter(|checked| checked.reading.flag == flag).count();
        let given = |flag| readings.iter().filter(|reading| reading.flag == flag).count();
        prop_assert_eq!(flagged(Flag::Missing), given(Flag::Missing));
        prop_assert!(flagged(Flag::Fail) >= given(Flag::Fail));
        prop_assert!(flagged(Flag::Fail) + flagged(Flag::Suspect) >= given(Flag::Fail) + given(Flag::Suspect));
        for checked in &checked {
            prop_assert!(checked.reading.celsius.is_finite() || !checked.reading.flag.usable());
        }
    }
}
