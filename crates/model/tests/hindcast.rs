//! Past springs through the same growth as a season of now.

use std::sync::Arc;

use chrono::{NaiveDate, NaiveTime};
use chrono_tz::America::New_York;
use model::growth::{Course, Growth};
use model::hindcast::{StartRule, ranges, spring};
use model::series::{Reading, Series};
use model::time::{HOUR, Instant};

use crate::kit::{at as moment, curve, spring as read};

fn day(month: u32, day: u32, hour: u32) -> StartRule {
    StartRule::Day { month, day, time: NaiveTime::from_hms_opt(hour, 0, 0).expect("an hour of the day") }
}

fn growth_of(readings: Vec<Reading>) -> Growth {
    let series = Series::join(&[readings], None, Instant::MAX);
    Growth::new(Arc::new(Course::new(series)), curve("reference"))
}

/// 15 °C from 20 April 2013 on.
fn steady(hours: i64) -> Growth {
    let begin = moment("2013-04-20T00:00:00Z");
    growth_of((0..hours).map(|hour| Reading::instant(begin.plus(hour * HOUR), 15.0)).collect())
}

fn at(text: &str) -> Option<Instant> {
    Some(moment(text))
}

/// The reference run: a start on 29 April 2013, 10:00, at EWR on `reference`
/// (integrated apart in steps of five seconds; `tests/reference` has it by scipy).
#[test]
fn the_spring_of_2013_goes_as_the_reference_run() {
    let growth = growth_of(read("EWR"));
    let of = |mark: f64| spring(&growth, 2013, New_York, &day(4, 29, 10), &[mark], 1.0).legs[0].reached_at;
    for (mark, expected) in [(0.6, "2013-05-01T13:50:07Z"), (1.0, "2013-05-02T15:10:37Z")] {
        let apart = of(mark).unwrap().since(at(expected).unwrap());
        assert!(apart.abs() <= 5, "{mark}: {apart} s");
    }
}

#[test]
fn each_leg_begins_at_the_mark_before() {
    let past = spring(&steady(30 * 24), 2013, New_York, &day(4, 25, 8), &[0.6, 1.0], 1.0);
    // Half a style a day at 15 °C.
    let hours: Vec<Option<f64>> = past.legs.iter().map(|leg| leg.hours).collect();
    assert_eq!(hours, [Some(28.8), Some(48.0)]);
    assert_eq!(past.start, at("2013-04-25T12:00:00Z"));
    assert_eq!(past.legs[1].from, past.legs[0].reached_at.unwrap());
    assert!(past.unknown_hours.abs() < 1e-9);
}

#[test]
fn degree_hours_gather_from_the_begin_of_the_day() {
    let rule = StartRule::DegreeHours { month: 4, day: 22, sum: 105.0 };
    let past = spring(&steady(30 * 24), 2013, New_York, &rule, &[0.6], 1.0);
    // 10.5 an hour from midnight on the wall.
    assert_eq!(past.start, at("2013-04-22T14:00:00Z"));
    assert!(rule.window(2013, New_York).unwrap().0 < at("2013-04-22T04:00:00Z").unwrap());
}

#[test]
fn what_was_not_read_is_no_time() {
    let short = steady(6 * 24);
    let past = spring(&short, 2013, New_York, &day(4, 25, 8), &[0.6, 1.0], 1.0);
    assert_eq!((past.legs.len(), past.legs[0].reached_at), (1, None), "the readings end");
    let other = spring(&short, 2012, New_York, &day(4, 25, 8), &[0.6], 1.0);
    assert_eq!((other.start, other.legs.len()), (None, 0));
    let wall = NaiveDate::from_ymd_opt(2013, 4, 21).unwrap().and_hms_opt(6, 0, 0).unwrap();
    let logged = StartRule::Logged(vec![wall]);
    assert_eq!(spring(&short, 2013, New_York, &logged, &[0.6], 1.0).start, at("2013-04-21T10:00:00Z"));
    assert_eq!(spring(&short, 2014, New_York, &logged, &[0.6], 1.0).start, None);
}

#[test]
fn hours_that_were_not_read_part_early_and_late() {
    let mut readings: Vec<Reading> = Vec::new();
    let begin = moment("2013-04-20T00:00:00Z");
    for hour in (0..30 * 24).filter(|hour| !(130..140).contains(hour)) {
        // Days differ, so that a missing hour may have been any of them.
        let warm = 12.0 + (hour / 24 % 3) as f64 * 2.0;
        readings.push(Reading::instant(begin.plus(hour * HOUR), warm));
    }
    let past = spring(&growth_of(readings), 2013, New_York, &day(4, 25, 8), &[0.6], 1.0);
    assert!(past.legs[0].reached_earliest < past.legs[0].reached_at);
    assert!((past.unknown_hours - 8.0).abs() < 1e-9, "{}", past.unknown_hours);
}

#[test]
fn the_middle_of_all_springs_counts_those_that_ended() {
    let springs: Vec<_> = [(4, 25), (4, 26), (5, 19)]
        .map(|(month, of)| spring(&steady(30 * 24), 2013, New_York, &day(month, of, 8), &[0.6], 1.0))
        .into();
    let ranges = ranges(&springs);
    assert_eq!((ranges[0].leg, ranges[0].n, ranges[0].hours), (1, 2, (28.8, 28.8, 28.8)));
}

#[test]
fn a_time_that_clocks_skip_is_when_they_do() {
    let wall = NaiveDate::from_ymd_opt(2013, 3, 10).unwrap().and_hms_opt(2, 30, 0).unwrap();
    assert_eq!(Instant::on_wall(wall, New_York), at("2013-03-10T07:00:00Z").unwrap());
    let twice = NaiveDate::from_ymd_opt(2013, 11, 3).unwrap().and_hms_opt(1, 30, 0).unwrap();
    assert_eq!(Instant::on_wall(twice, New_York), at("2013-11-03T05:30:00Z").unwrap());
}

#[test]
fn rules_are_read_as_people_write_them() {
    assert_eq!(StartRule::on("04-29T10:00"), Ok(day(4, 29, 10)));
    assert_eq!(StartRule::on("04-29"), Ok(day(4, 29, 12)));
    let sum = StartRule::DegreeHours { month: 2, day: 1, sum: 2_000.0 };
    assert_eq!(StartRule::degree_hours(2_000.0, "02-01"), Ok(sum));
    assert!(StartRule::logged(["2013-04-29T10:00", "2014-05-03T09:00"]).is_ok());
    for (fault, expected) in [
        (StartRule::on("29.4."), "as 04-29"),
        (StartRule::on("02-30"), "as 04-29"),
        (StartRule::on("04-29T25:00"), "as 10:00"),
        (StartRule::degree_hours(0.0, "02-01"), "more than 0"),
        (StartRule::degree_hours(f64::NAN, "02-01"), "more than 0"),
        (StartRule::logged(["2013-04-29"]), "as 2013-04-29T10:00"),
        (StartRule::logged(["2013-04-29T10:00", "2013-05-01T10:00"]), "one a year"),
    ] {
        assert!(fault.clone().unwrap_err().contains(expected), "{fault:?}");
    }
    // A year without such a day has the last of the month.
    let leap = StartRule::on("02-29").unwrap();
    let begin = |year| leap.window(year, New_York).unwrap().0.rfc3339_in(New_York);
    assert!(begin(2024).starts_with("2024-02-28") && begin(2023).starts_with("2023-02-27"));
}
