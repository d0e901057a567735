use super::*;
use crate::time::{DAY, MINUTE};

fn at(hours: f64) -> Instant {
    Instant(1_367_107_200 + (hours * 3_600.0) as i64)
}

fn instant(hours: f64, celsius: f64) -> Reading {
    Reading::instant(at(hours), celsius)
}

fn mean(hours: f64, celsius: f64) -> Reading {
    Reading::mean_ending(at(hours), HOUR, celsius)
}

fn span(from: f64, to: f64, law: Law, quality: Quality) -> Span {
    Span { from: at(from).0, to: at(to).0, law, quality }
}

fn join(readings: &[Reading]) -> Series {
    Series::join(&[readings.to_vec()], None, Instant::MAX)
}

#[test]
fn instants_are_joined_and_means_stand() {
    use Law::Line;
    use Quality::{Filled, Observed};
    let instants = join(&[instant(0.0, 10.0), instant(1.0, 12.0), instant(3.0, 9.0)]);
    assert_eq!(
        instants.spans,
        [span(0.0, 1.0, Line(10.0, 12.0), Observed), span(1.0, 3.0, Line(12.0, 9.0), Filled)]
    );
    let means = join(&[mean(1.0, 10.0), mean(2.0, 12.0), mean(4.0, 9.0)]);
    assert_eq!(
        means.spans,
        [
            span(0.0, 1.0, Line(10.0, 10.0), Observed),
            span(1.0, 2.0, Line(12.0, 12.0), Observed),
            span(2.0, 3.0, Line(12.0, 9.0), Filled),
            span(3.0, 4.0, Line(9.0, 9.0), Observed),
        ]
    );
    assert_eq!((means.begin(), means.end(), means.as_of), (Some(at(0.0)), Some(at(4.0)), Some(at(4.0))));
}

#[test]
fn three_hours_are_joined_and_a_second_more_is_not() {
    let joined = join(&[instant(0.0, 10.0), instant(3.0, 13.0)]);
    assert_eq!(joined.spans, [span(0.0, 3.0, Law::Line(10.0, 13.0), Quality::Filled)]);
    let apart = join(&[instant(0.0, 10.0), Reading::instant(at(3.0).plus(1), 13.0)]);
    assert!(apart.spans.iter().all(|span| span.quality == Quality::Unknown), "{:?}", apart.spans);
    // A station some minutes late is still at its own cadence.
    let late = join(&[instant(0.0, 10.0), Reading::instant(at(1.0).plus(30 * MINUTE), 13.0)]);
    assert_eq!(late.spans[0].quality, Quality::Observed);
    let later = join(&[instant(0.0, 10.0), Reading::instant(at(1.0).plus(31 * MINUTE), 13.0)]);
    assert_eq!(later.spans[0].quality, Quality::Filled);
}

#[test]
fn what_cannot_be_used_is_left_out() {
    let with = |celsius, flag| Reading { celsius, flag, ..instant(1.0, 0.0) };
    let plain = [instant(0.0, 10.0), instant(2.0, 12.0)];
    let whole = join(&plain);
    for bad in [
        with(30.0, Flag::Fail),
        with(30.0, Flag::Missing),
        with(f64::NAN, Flag::Pass),
        with(f64::INFINITY, Flag::Pass),
    ] {
        assert_eq!(join(&[plain[0], bad, plain[1]]), whole, "{bad:?}");
    }
    for usable in [Flag::Pass, Flag::NotEvaluated, Flag::Suspect] {
        assert_eq!(join(&[plain[0], with(11.0, usable), plain[1]]).spans.len(), 2, "{usable:?}");
    }
    let now = Series::join(&[plain.to_vec()], None, at(1.5));
    assert_eq!((now.spans.len(), now.as_of, now.ahead), (0, Some(at(0.0)), Some(at(2.0))));
}

/// Readings that overlap or repeat are trimmed or dropped, so that no moment
/// has two temperatures.
#[test]
fn no_moment_has_two_temperatures() {
    let overlapping = join(&[
        Reading::mean_ending(at(2.0), 2 * HOUR, 10.0),
        Reading::mean_ending(at(3.0), 2 * HOUR, 14.0),
        instant(3.0, 20.0),
    ]);
    assert_eq!(overlapping.spans[0], span(0.0, 2.0, Law::Line(10.0, 10.0), Quality::Observed));
    assert_eq!(overlapping.end(), Some(at(3.0)));
    assert!(overlapping.spans.windows(2).all(|pair| pair[0].to == pair[1].from));
}

#[test]
fn an_unknown_stretch_is_split_at_the_hours() {
    // Ten days of 8 °C by night and 18 °C by day (06Z to 17Z), then a gap from
    // half past four to half past seven and a bit more.
    let warmth = |n: i64| if (6..18).contains(&(n % 24)) { 18.0 } else { 8.0 };
    let mut readings: Vec<Reading> =
        (0..=240).map(|n| Reading::instant(at(0.0).plus(n * HOUR), warmth(n))).collect();
    readings.push(instant(244.5, 8.0));
    readings.push(instant(248.0, 18.0));
    let series = join(&readings);
    let unknown: Vec<&Span> = series.spans.iter().filter(|span| span.from >= at(244.5).0).collect();
    let ends: Vec<f64> = unknown.iter().map(|span| (span.to - at(0.0).0) as f64 / 3_600.0).collect();
    assert_eq!(ends, [245.0, 246.0, 247.0, 248.0]);
    let laws: Vec<Law> = unknown.iter().map(|span| span.law).collect();
    assert_eq!(laws[..2], [Law::Within(8.0, 8.0), Law::Within(8.0, 8.0)]);
    assert_eq!(laws[2..], [Law::Within(18.0, 18.0), Law::Within(18.0, 18.0)]);
}

/// Ten days back and no further; fewer than three days at the hour, and all
/// readings of those days count; none, and nothing bounds it.
#[test]
fn how_far_back_the_range_is_looked_up() {
    let law = |readings: &[Reading]| {
        let series = join(readings);
        series.spans.iter().rev().find(|span| span.quality == Quality::Unknown).unwrap().law
    };
    let day = |days: i64, hour: i64, celsius: f64| {
        Reading::instant(at(0.0).plus(days * DAY + hour * HOUR), celsius)
    };
    // 12Z of days 7 to 9, then a gap that ends at 13Z of day 11.
    let three = [day(7, 12, 11.0), day(8, 12, 13.0), day(9, 12, 12.0), day(10, 0, 30.0), day(11, 13, 20.0)];
    assert_eq!(law(&three), Law::Within(11.0, 13.0));
    let two = [day(8, 12, 13.0), day(9, 12, 12.0), day(10, 0, 30.0), day(11, 13, 20.0)];
    assert_eq!(law(&two), Law::Within(12.0, 30.0));
    // A reading ten days before the gap or more is too old to count.
    let old = [day(0, 0, -20.0), day(0, 1, 12.0), day(10, 0, 30.0), day(11, 13, 20.0)];
    assert_eq!(law(&old), Law::Within(12.0, 30.0));
}

#[test]
fn a_source_without_readings_is_passed_over() {
    let one = vec![instant(0.0, 10.0), instant(1.0, 12.0)];
    let alone = Series::join(std::slice::from_ref(&one), None, Instant::MAX);
    assert_eq!(Series::join(&[Vec::new(), one, Vec::new()], None, Instant::MAX), alone);
    assert_eq!(Series::join(&[], None, Instant::MAX), Series::default());
}

/// The next source goes on once the first is left behind by more than three
/// hours, and not before.
#[test]
fn the_next_source_goes_on_after_three_hours() {
    let first: Vec<Reading> = (0..5).map(|n| instant(f64::from(n), 10.0)).collect();
    let second: Vec<Reading> = (0..9).map(|n| instant(f64::from(n), 10.0)).collect();
    let as_of = |now| Series::join(&[first.clone(), second.clone()], None, at(now)).as_of;
    assert_eq!(as_of(7.0), Some(at(4.0)));
    assert_eq!(as_of(8.0), Some(at(8.0)));
}

/// Each gap has its own difference, over the seven days before it.
#[test]
fn the_difference_is_that_of_the_seven_days_before_the_gap() {
    let first: Vec<Reading> =
        (0..=480).filter(|n| !(300..310).contains(n)).map(|n| instant(f64::from(n), 10.0)).collect();
    // 2 °C warmer up to the 140th hour, 1 °C colder in the week before the gap.
    let second: Vec<Reading> =
        (0..=480).map(|n| instant(f64::from(n), if n <= 130 { 12.0 } else { 9.0 })).collect();
    let series = Series::join(&[first, second], None, Instant::MAX);
    for span in series.spans.iter().filter(|span| span.quality == Quality::Filled) {
        assert_eq!(span.law, Law::Line(10.0, 10.0));
    }
    assert_eq!(series.spans.iter().filter(|span| span.quality == Quality::Filled).count(), 11);
}

#[test]
fn words_and_numbers_of_kinds_and_flags() {
    for kind in [Kind::Station, Kind::ModelAnalysis, Kind::Hand] {
        assert_eq!(Kind::named(kind.word()), Some(kind));
    }
    assert_eq!(Kind::named("satellite"), None);
    for (number, usable) in [(1, true), (2, true), (3, true), (4, false), (9, false)] {
        assert_eq!(Flag::numbered(number).map(Flag::usable), Some(usable));
    }
    assert_eq!(Flag::numbered(5), None);
}
