use std::sync::Arc;

use proptest::collection::vec;
use proptest::prelude::*;
use serde_json::json;

use super::*;
use crate::curve::Curve;
use crate::growth::{Bound, Course, Growth};
use crate::input;
use crate::series::{Forecast, Quality, Reading};
use crate::time::{DAY, HOUR, MINUTE};

/// 28 April 2013, 00Z.
const BEGIN: Instant = Instant(1_367_107_200);

fn offset(day_c: f64, night_c: f64) -> Offset {
    Offset { day_c, night_c, note: "for tests".to_owned(), author: "nobody".to_owned() }
}

fn place(latitude: f64, longitude: f64) -> Place {
    Place { latitude, longitude, elevation_m: None, zone: chrono_tz::UTC }
}

fn newark() -> Place {
    place(40.69, -74.17)
}

/// One style in three days at 20 °C, nothing below 4 °C.
fn growth(series: &Series) -> Growth {
    let document = json!({
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [12, 0.1], [20, 0.33], [30, 0.4], [40, 0]],
        "source": "for tests", "status": "constructed",
    });
    let curve = input::read(&document, |fields| Curve::from_fields("own", fields)).unwrap();
    Growth::new(Arc::new(Course::new(series.clone())), Arc::new(curve))
}

/// Bounds of temperature at a moment within a stretch, and where it comes from.
fn known(series: &Series, at: i64) -> (Option<(f64, f64)>, Quality) {
    let span = &series.spans[series.spans.partition_point(|span| span.to <= at)];
    assert!(span.from <= at);
    let bounds = match span.law {
        Law::Line(a, b) => {
            let celsius = a + (b - a) * (at - span.from) as f64 / (span.to - span.from) as f64;
            Some((celsius, celsius))
        }
        Law::Within(low, high) => Some((low, high)),
        Law::Anything => None,
    };
    (bounds, span.quality)
}

#[test]
fn a_line_is_cut_at_sunrise() {
    let night = Reading::instant(BEGIN.plus(9 * HOUR), 6.0);
    let day = Reading::instant(BEGIN.plus(11 * HOUR), 10.0);
    let series = Series::join(&[vec![night, day]], None, Instant::MAX);
    let [(rise, true)] = Sun::at(40.69, -74.17).changes(night.at, day.at)[..] else {
        panic!("the sun rises once");
    };
    assert_eq!(rise.since(BEGIN) / HOUR, 9, "in the tenth hour");
    let there = 6.0 + 4.0 * rise.since(night.at) as f64 / 7_200.0;
    let span = |from: Instant, to: Instant, a, b| Span {
        from: from.0,
        to: to.0,
        law: Law::Line(a, b),
        quality: Quality::Filled,
    };
    let block = series.at_block(&offset(-0.5, -1.75), &newark());
    assert_eq!(block.spans, [span(night.at, rise, 4.25, there - 1.75), span(rise, day.at, there - 0.5, 9.5)]);
    assert_eq!((block.as_of, block.ahead), (series.as_of, series.ahead));
    // By day and night alike nothing is cut, nor where the sun stays up.
    assert_eq!(series.at_block(&offset(-1.0, -1.0), &newark()).spans, [span(night.at, day.at, 5.0, 9.0)]);
    let june = |reading: Reading| Reading { at: reading.at.plus(50 * DAY), ..reading };
    let summer = Series::join(&[vec![june(night), june(day)]], None, Instant::MAX);
    assert_eq!(
        summer.at_block(&offset(1.0, -9.0), &place(69.65, 18.96)).spans,
        [span(june(night).at, june(day).at, 7.0, 11.0)]
    );
}

/// A change of the sun on a reading cuts nothing and holds from there on.
#[test]
fn sunrise_on_a_reading() {
    let (rise, _) = Sun::at(40.69, -74.17).changes(BEGIN.plus(6 * HOUR), BEGIN.plus(12 * HOUR))[0];
    let readings = [-1, 0, 1].map(|hours| Reading::instant(rise.plus(hours * HOUR), 10.0)).to_vec();
    let block = Series::join(&[readings], None, Instant::MAX).at_block(&offset(1.0, -2.0), &newark());
    let laws: Vec<Law> = block.spans.iter().map(|span| span.law).collect();
    assert_eq!(laws, [Law::Line(8.0, 8.0), Law::Line(11.0, 11.0)]);
}

#[test]
fn what_nothing_bounds_stays_so_and_is_not_cut() {
    let law = Law::Anything;
    let unknown = Span { from: BEGIN.0, to: BEGIN.plus(2 * DAY).0, law, quality: Quality::Unknown };
    let night = Span {
        from: unknown.to,
        to: unknown.to + 3 * HOUR,
        law: Law::Within(4.0, 9.0),
        quality: Quality::Unknown,
    };
    let series = Series { spans: vec![unknown, night], ..Series::default() };
    // At 00Z the sun is down at Newark.
    let block = series.at_block(&offset(-0.5, -1.75), &newark());
    assert_eq!(block.spans, [unknown, Span { law: Law::Within(2.25, 7.25), ..night }]);
    assert_eq!(Series::default().at_block(&offset(1.0, 2.0), &newark()), Series::default());
}

/// The hours in which bloom opens are those of the block's own air.
#[test]
fn degree_hours_are_those_of_the_block() {
    let readings = (0..=24).map(|n| Reading::instant(BEGIN.plus(n * HOUR), 10.0)).collect();
    let series = Series::join(&[readings], None, Instant::MAX);
    let degrees = |series: Series| Course::new(series).degrees(BEGIN, BEGIN.plus(DAY)) as f64;
    let share = degrees(series.at_block(&offset(-2.5, -2.5), &newark())) / degrees(series);
    assert!((share - (7.5 - 4.5) / (10.0 - 4.5)).abs() < 1e-9, "{share}");
}

/// Readings over some days at a cadence of their own, instants or means, some
/// after a hole of many hours.
fn readings() -> impl Strategy<Value = Vec<Reading>> {
    (vec((1_i64..=150, -5.0..45.0_f64, 0_u8..20), 2..90), any::<bool>()).prop_map(|(steps, means)| {
        let mut at = BEGIN;
        let one = |(minutes, celsius, odd): (i64, f64, u8)| {
            at = at.plus(minutes * MINUTE * if odd == 0 { 12 } else { 1 });
            Reading::mean_ending(at, if means { minutes.min(60) * MINUTE } else { 0 }, celsius)
        };
        steps.into_iter().map(one).collect()
    })
}

/// A course of two sources and a forecast.
fn series() -> impl Strategy<Value = Series> {
    (readings(), readings(), readings()).prop_map(|(first, second, hours)| {
        let forecast = Forecast { issued_at: BEGIN, hours };
        Series::join(&[first, second], Some(&forecast), BEGIN.plus(3 * DAY))
    })
}

fn offsets() -> impl Strategy<Value = Offset> {
    (-10.0..=10.0_f64, -10.0..=10.0_f64).prop_map(|(day_c, night_c)| offset(day_c, night_c))
}

/// Anywhere but where days of some minutes are.
fn places() -> impl Strategy<Value = Place> {
    (-65.0..65.0_f64, -180.0..=180.0_f64).prop_map(|(latitude, longitude)| place(latitude, longitude))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// At any moment it is as warm as it was, and the offset of that moment.
    #[test]
    fn at_any_moment_the_offset_is_added(
        series in series(), offset in offsets(), place in places(), moments in vec(0.0..1.0_f64, 50),
    ) {
        let block = series.at_block(&offset, &place);
        prop_assert_eq!(
            (block.begin(), block.end(), block.as_of, block.ahead),
            (series.begin(), series.end(), series.as_of, series.ahead)
        );
        for pair in block.spans.windows(2) {
            prop_assert_eq!(pair[0].to, pair[1].from);
        }
        prop_assert!(block.spans.iter().all(|span| span.from < span.to));
        let Some((begin, end)) = series.begin().zip(series.end()) else { return Ok(()) };
        let sun = Sun::at(place.latitude, place.longitude);
        let drawn = moments.iter().map(|share| begin.0 + (end.since(begin) as f64 * share) as i64);
        let knots = block.spans.iter().map(|span| span.from);
        for at in drawn.chain(knots).filter(|at| *at < end.0) {
            let ((site, from), (here, here_from)) = (known(&series, at), known(&block, at));
            prop_assert_eq!(from, here_from);
            prop_assert_eq!(site.is_some(), here.is_some());
            if let (Some(site), Some(here)) = (site, here) {
                let shift = offset.celsius(sun.is_up(Instant(at)));
                prop_assert!((here.0 - site.0 - shift).abs() < 1e-9, "{at}: {here:?}, site {site:?}");
                prop_assert!((here.1 - site.1 - shift).abs() < 1e-9, "{at}: {here:?}, site {site:?}");
            }
        }
    }

    /// Where hours come from does not change.
    #[test]
    fn hours_by_quality_stay(
        series in series(), offset in offsets(), place in places(), from in 0..9 * DAY, long in 0..9 * DAY,
    ) {
        let block = Course::new(series.at_block(&offset, &place));
        let (from, to) = (BEGIN.plus(from), BEGIN.plus(from + long));
        prop_assert_eq!(block.hours(from, to), Course::new(series).hours(from, to));
    }

    /// An offset of nothing gives the same growth to the bit, since nothing is
    /// cut; cutting alone moves it by last digits only.
    #[test]
    fn an_offset_of_nothing_grows_the_same(series in series(), place in places(), at in 0..20 * DAY) {
        let same = series.at_block(&offset(0.0, 0.0), &place);
        prop_assert_eq!(&same, &series);
        let cut = series.at_block(&offset(0.0, 1e-13), &place);
        let [site, same, cut] = [&series, &same, &cut].map(growth);
        for bound in [Bound::Low, Bound::High] {
            let grown = |growth: &Growth| growth.units_at(BEGIN.plus(at), bound);
            prop_assert_eq!(grown(&same), grown(&site));
            prop_assert!((grown(&cut) - grown(&site)).abs() <= 500, "{} {}", grown(&cut), grown(&site));
        }
    }

    /// An offset alike by day and night gives the same as colder readings do.
    #[test]
    fn colder_readings_give_the_same(readings in readings(), celsius in -10.0..10.0_f64) {
        let join = |readings| Series::join(&[readings], None, Instant::MAX);
        let moved: Vec<Reading> =
            readings.iter().map(|one| Reading { celsius: one.celsius + celsius, ..*one }).collect();
        let block = join(readings).at_block(&offset(celsius, celsius), &newark());
        prop_assert_eq!(block, join(moved));
    }

    /// The order in which readings came changes no bit of it.
    #[test]
    fn order_changes_nothing(
        (readings, stirred) in readings().prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle())),
        offset in offsets(), place in places(),
    ) {
        let block = |readings| Series::join(&[readings], None, Instant::MAX).at_block(&offset, &place);
        prop_assert_eq!(block(readings), block(stirred));
    }
}
