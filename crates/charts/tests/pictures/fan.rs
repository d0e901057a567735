//! The fans of a board's rows and their axis.

use charts::fan::{Axis, Row, axis, picture, row, table, told};
use model::sun::Sun;
use model::time::DAY;

use crate::checked::{at, count, held, odds, plain, sound, texts};

const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

fn week() -> Axis {
    let from = at("2013-05-01T00:00:00-04:00");
    let now = at("2013-05-01T15:00:00-04:00");
    Axis::new(from, from.plus(7 * DAY), now, ZONE).with_nights(&Sun::at(40.7, -74.2))
}

fn now() -> model::time::Instant {
    at("2013-05-01T15:00:00-04:00")
}

#[test]
fn a_row_of_a_week_is_at_most_900_bytes() {
    for (first, apart, never) in
        [(20.3, 1.7, 0), (30.0, 7.1, 0), (20.0, 6.3, 4), (100.0, 12.0, 15), (-40.0, 3.3, 0)]
    {
        let odds = odds(now(), first, apart, never);
        for (reached, sprayed) in [(false, false), (true, true)] {
            let shown = Row {
                odds: Some(&odds),
                reached_at: reached.then(|| now().plus(-7_000)),
                sprayed_at: sprayed.then(|| now().plus(-5_000)),
            };
            let svg = row(&week(), &shown);
            plain(&svg);
            assert!(svg.contains(r#"aria-hidden="true""#) && count(&svg, "title") == 0);
            let most = if sprayed { 1_100 } else { 900 };
            assert!(svg.len() <= most, "{} bytes: {svg}", svg.len());
        }
    }
    assert!(row(&week(), &Row::default()).len() < 600);
}

#[test]
fn no_odds_make_a_row_larger_or_leave_it() {
    let axis = week();
    for first in (-60..220).step_by(7) {
        for apart in [0.0, 0.013, 0.77, 3.3, 9.1, 31.7] {
            for never in 0..=20 {
                let odds = odds(now(), f64::from(first) + 0.37, apart, never);
                let svg = row(&axis, &Row { odds: Some(&odds), ..Row::default() });
                assert!(svg.len() <= 900, "{} bytes at {first}, {apart}, {never}", svg.len());
                if never % 5 == 0 {
                    plain(&svg);
                }
            }
        }
    }
}

#[test]
fn the_same_stands_by_itself_with_its_words() {
    let odds = odds(now(), 20.0, 1.5, 0);
    let shown = Row { odds: Some(&odds), ..Row::default() };
    let svg = picture(&week(), "North <Bench> & \"Co\"", &shown);
    sound(&svg);
    let said = texts(&svg);
    assert_eq!(said[0], "North <Bench> & \"Co\"");
    assert_eq!(
        said[1],
        "In 8 of 10 cases like this between Thu 2 May, 12:00 and Fri 3 May, 12:00; even odds by Fri 3 May, 00:00."
    );
    assert_eq!(svg, picture(&week(), "North <Bench> & \"Co\"", &shown));
}

/// How many triangles point over an edge.
fn arrows(svg: &str) -> (usize, usize) {
    (svg.matches("l-9 9 9 9z").count(), svg.matches("l9 9-9 9z").count())
}

#[test]
fn what_lies_beyond_the_axis_has_an_arrow() {
    let drawn = |first, apart, never| {
        let odds = odds(now(), first, apart, never);
        row(&week(), &Row { odds: Some(&odds), ..Row::default() })
    };
    assert_eq!(arrows(&drawn(20.0, 1.0, 0)), (0, 0));
    assert_eq!(arrows(&drawn(20.0, 9.0, 0)), (0, 1), "late lies beyond");
    assert_eq!(arrows(&drawn(20.0, 2.0, 3)), (0, 1), "late is none");
    assert_eq!(arrows(&drawn(400.0, 1.0, 0)), (0, 1), "all of it lies beyond");
    assert_eq!(arrows(&drawn(-90.0, 1.0, 0)), (1, 0), "all of it lies before");
    assert_eq!(arrows(&drawn(20.0, 1.0, 20)), (0, 1), "nothing comes");
    // Bands are drawn only where there is any of them on the axis.
    assert!(!drawn(400.0, 1.0, 0).contains("<g") && !drawn(-90.0, 1.0, 0).contains("<g"));
}

#[test]
fn rows_without_a_late_time_say_so() {
    let zone = ZONE;
    let said = |never| told(&Row { odds: Some(&odds(now(), 20.0, 6.0, never)), ..Row::default() }, zone);
    assert!(said(4).ends_with("in 2 of 10 later than Sat 11 May, after noon, or not at all."), "{}", said(4));
    assert_eq!(
        said(20),
        "In more than 9 of 10 cases like this later than Sat 11 May, after noon, or not at all."
    );
    assert_eq!(told(&Row::default(), zone), "No odds.");
    let reached = Row { reached_at: Some(now()), sprayed_at: Some(now().plus(DAY)), ..Row::default() };
    assert_eq!(told(&reached, zone), "Mark reached Wed 1 May, 15:00. Sprayed Thu 2 May, 15:00.");
}

#[test]
fn the_axis_names_its_days_over_the_rows() {
    let svg = axis(&week());
    sound(&svg);
    held(&svg);
    let said = texts(&svg);
    for words in ["Wed 1", "Thu 2", "Tue 7", "now"] {
        assert!(said.iter().any(|text| text == words), "{words} is missing in {said:?}");
    }
    // A midnight stands at the same place in the header and in a row.
    let midnights =
        |svg: &str| svg.split("<path d=\"").nth(3).map(|path| path.split('"').next().unwrap().to_owned());
    assert_eq!(midnights(&svg), midnights(&row(&week(), &Row::default())));
    let from = at("2013-05-01T00:00:00-04:00");
    for days in [0, 1, 3, 14, 60, 40_000] {
        let long = Axis::new(from, from.plus(days * DAY), from, ZONE).with_nights(&Sun::at(40.7, -74.2));
        let svg = axis(&long);
        sound(&svg);
        held(&svg);
        assert!(svg.len() < 6_000, "{days} days take {} bytes", svg.len());
    }
}

#[test]
fn the_table_has_a_row_a_block() {
    let odds = odds(now(), 20.0, 1.5, 0);
    let shown = Row { odds: Some(&odds), ..Row::default() };
    let rows =
        table(&week(), &[("North", shown), ("South", Row { reached_at: Some(now()), ..Row::default() })]);
    assert_eq!(
        rows[0],
        ["Block", "Early (1 in 10)", "Likely (even odds)", "Late (1 in 10)", "Reached", "Sprayed"]
    );
    assert_eq!(rows[1], ["North", "Thu 2 May, 12:00", "Fri 3 May, 00:00", "Fri 3 May, 12:00", "-", "-"]);
    assert_eq!(rows[2], ["South", "-", "-", "-", "Wed 1 May, 15:00", "-"]);
}
