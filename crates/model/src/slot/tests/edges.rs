//! Nights over a change of clocks, the poles, and orchards in the south.

use proptest::prelude::*;

use super::*;

fn at_place(sun: Sun, begin: Instant, days: i64, celsius: f64) -> (Hours, Sun) {
    let readings = (0..=days * 24).map(|n| Reading::instant(begin.plus(n * HOUR), celsius)).collect();
    let series = Series::join(&[readings], None, begin.plus(days * 24 * HOUR));
    (Hours::of(&series, &[], begin, begin.plus(days * 24 * HOUR)), sun)
}

fn quiet(sun: Sun, begin: Instant, celsius: f64, limits: &Limits) -> Answer {
    let (hours, sun) = at_place(sun, begin, 2, celsius);
    let wanted = wanted(MarkBound::NotBefore, begin);
    find(&Ask { sun, now: begin, ..ask(&hours, limits, wanted) })
}

/// New York puts its clocks forward on 10 March 2013 at 2 in the morning.
#[test]
fn a_night_over_the_change_of_clocks_has_its_own_hours() {
    let limits = limits(&[("bee-quiet", 0.0)]);
    let noon = at("2013-03-09T12:00:00-05:00");
    let answer = quiet(Sun::at(40.7, -74.2), noon, 15.0, &limits);
    let slot = answer.slot.unwrap();
    assert_eq!(slot.begin, at("2013-03-09T18:00:00-05:00"), "sunset 17:55");
    assert_eq!(slot.end, at("2013-03-10T07:00:00-04:00"), "sunrise 7:15 by the new clock");
    assert_eq!(slot.hours, 12.0, "13 on the clock");
    assert!(slot.bee_quiet && slot.at_night);
    assert!(
        slot.told(ZONE).starts_with("Sat 9 Mar, 18:00 to Sun 10 Mar, 07:00 (12 h"),
        "{}",
        slot.told(ZONE)
    );
}

#[test]
fn the_sun_that_never_sets_leaves_no_quiet_hour_but_a_cold_one() {
    let limits = limits(&[("bee-quiet", 0.0)]);
    let tromso = Sun::at(69.65, 18.96);
    let june = at("2013-06-20T12:00:00Z");
    assert_eq!(quiet(tromso, june, 15.0, &limits).outcome, Outcome::Never);
    assert_eq!(quiet(tromso, june, 9.9, &limits).slot.unwrap().hours, 48.0);
    let december = at("2013-12-20T12:00:00Z");
    assert_eq!(quiet(tromso, december, 15.0, &limits).slot.unwrap().hours, 48.0, "it never rises");
}

#[test]
fn a_southern_orchard_has_its_night_by_its_own_sun() {
    let limits = limits(&[("bee-quiet", 0.0)]);
    let zone = chrono_tz::Pacific::Auckland;
    let noon = at("2013-10-05T12:00:00+13:00");
    let slot = quiet(Sun::at(-39.6, 176.8), noon, 15.0, &limits).slot.unwrap();
    assert_eq!(slot.begin, at("2013-10-05T20:00:00+13:00"), "{}", slot.told(zone));
    assert_eq!(slot.end, at("2013-10-06T06:00:00+13:00"), "{}", slot.told(zone));
}

#[test]
fn flowers_are_looked_at_in_daylight_and_not_before_re_entry() {
    let slot = |begin: &str| Slot {
        begin: at(begin),
        end: at(begin).plus(4 * HOUR),
        hours: 4.0,
        least: None,
        bee_quiet: false,
        at_night: false,
    };
    let now = at("2013-05-01T08:00:00-04:00");
    let check = |begin: &str, reentry: Option<&str>| {
        bloom_check(2, &slot(begin), reentry.map(at), ZONE, now).map(|at| at.rfc3339_in(ZONE))
    };
    let is = |text: &str| Some(text.to_owned());
    assert_eq!(check("2013-05-02T17:00:00-04:00", None), is("2013-05-02T11:00:00-04:00"));
    assert_eq!(
        check("2013-05-02T09:00:00-04:00", None),
        is("2013-05-01T19:00:00-04:00"),
        "the evening before"
    );
    assert_eq!(
        check("2013-05-02T09:00:00-04:00", Some("2013-05-01T23:00:00-04:00")),
        is("2013-05-02T07:00:00-04:00"),
        "closed that evening"
    );
    assert_eq!(check("2013-05-02T06:00:00-04:00", Some("2013-05-01T23:00:00-04:00")), None);
    assert_eq!(check("2013-05-01T10:00:00-04:00", None), is("2013-05-01T08:00:00-04:00"), "at once");
    assert_eq!(bloom_check(1, &slot("2013-05-02T17:00:00-04:00"), None, ZONE, now), None);
}

#[test]
fn temperature_is_taken_at_its_worst_within_the_hour() {
    let noon = noon();
    let readings = vec![Reading::instant(noon, 10.0), Reading::instant(noon.plus(5_400), 16.0)];
    let hours = Hours::of(&Series::join(&[readings], None, hour(3)), &[], noon, hour(3));
    assert_eq!(hours.all().len(), 3);
    assert_eq!(hours.all()[0].celsius, Some((10.0, 14.0)));
    assert_eq!(hours.all()[1].celsius, None, "known for half of it only");
    // Nearest to its dew point, and dampest, where it is coldest.
    let air = Air { dew_point_c: Some(8.0), ..Air::at(hour(1)) };
    let warming = Hour { air, ..hours.all()[0] };
    assert_eq!(warming.dew_point_spread(), Some(2.0));
    assert_eq!(warming.humidity_percent(), Some(humidity(10.0, 8.0)));
    assert_eq!(Hour { air, ..hours.all()[1] }.dew_point_spread(), None, "no temperature");
}

#[test]
fn one_source_fills_what_another_leaves_out() {
    let wind = Air { wind_m_s: Some(3.0), humidity_percent: Some(70.0), ..Air::at(hour(1)) };
    let later = Air { wind_m_s: Some(5.0), ..Air::at(hour(1).plus(-600)) };
    let all = Air { dew_point_c: Some(5.0), rain_mm: Some(0.2), wind_m_s: Some(9.0), ..Air::at(hour(1)) };
    let hours = Hours::of(&Series::default(), &[vec![wind, later], vec![all]], noon(), hour(1));
    let air = hours.all()[0].air;
    assert_eq!((air.wind_m_s, air.rain_mm), (Some(5.0), Some(0.2)));
    assert_eq!((air.humidity_percent, air.dew_point_c), (Some(70.0), None));
}

fn airs() -> impl Strategy<Value = Vec<(Option<f64>, Option<f64>)>> {
    let value = |most: f64| prop_oneof![1 => Just(None), 5 => (0.0..most).prop_map(Some)];
    prop::collection::vec((value(8.0), value(0.3).prop_map(|mm| mm.map(|mm: f64| (mm - 0.25).max(0.0)))), 96)
}

proptest! {
    /// Whatever the weather: slots are made of practical hours only, lie apart and on the
    /// right side of the mark, and a stricter limit never opens an hour.
    #[test]
    fn slots_hold_what_they_promise(air in airs(), mark in -10_i64..60, before: bool, wind in 1.0_f64..7.0) {
        let mut weather = Weather::calm(15.0);
        for (n, (wind, rain)) in air.into_iter().enumerate() {
            let air = weather.air.iter_mut().find(|air| air.at == hour(n as i64 + 1)).unwrap();
            (air.wind_m_s, air.rain_mm) = (wind, rain);
        }
        let hours = weather.hours();
        let bound = if before { MarkBound::NotBefore } else { MarkBound::NotAfter };
        let set = limits(&[("wind", wind), ("rain-free-after", 3.0)]);
        let asked = ask(&hours, &set, wanted(bound, hour(mark).plus(900)));
        let answer = find(&asked);
        for pair in answer.slots.windows(2) {
            prop_assert!(pair[0].end < pair[1].begin);
        }
        for slot in answer.slots.iter().chain(&answer.slot) {
            prop_assert!(slot.begin < slot.end && slot.begin >= noon());
            match bound {
                MarkBound::NotBefore => prop_assert!(slot.begin >= hour(mark).plus(900)),
                MarkBound::NotAfter => prop_assert!(mark < 0 || slot.end <= hour(mark).plus(900)),
            }
            for stand in answer.hours.iter().filter(|hour| hour.to > slot.begin && hour.from < slot.end) {
                prop_assert!(stand.stand == Stand::Practical && stand.not_known.is_empty());
            }
            prop_assert_eq!(slot_lost(&asked, slot).is_lost(), slot.end.since(slot.begin) < HOUR);
        }
        let stricter = limits(&[("wind", wind - 0.5), ("rain-free-after", 4.0)]);
        let fewer = find(&Ask { limits: &stricter, ..asked });
        for (one, other) in answer.hours.iter().zip(&fewer.hours) {
            prop_assert!(one.stand == Stand::Practical || other.stand != Stand::Practical);
        }
    }
}
