use proptest::prelude::*;

use super::*;

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    at("2026-05-01T12:20:00Z")
}

fn read(text: &str) -> Option<(String, String)> {
    Interval::read(text, now()).map(|interval| (interval.from.to_string(), interval.to.to_string()))
}

#[test]
fn every_form_of_the_schema_is_read() {
    let cases = [
        ("2026-05-01T06:00:00+00:00/PT3H", "2026-05-01T06:00:00Z", "2026-05-01T09:00:00Z"),
        ("2026-05-01T06:00:00Z/PT1H", "2026-05-01T06:00:00Z", "2026-05-01T07:00:00Z"),
        ("2026-05-01T06:00:00+0000/P1DT2H", "2026-05-01T06:00:00Z", "2026-05-02T08:00:00Z"),
        ("2026-05-01T06:00:00+00/P7DT21H", "2026-05-01T06:00:00Z", "2026-05-09T03:00:00Z"),
        ("2026-05-01T02:00:00-0400/PT90M", "2026-05-01T06:00:00Z", "2026-05-01T07:30:00Z"),
        ("2026-05-01T06:00:00Z/PT1H30M15S", "2026-05-01T06:00:00Z", "2026-05-01T07:30:15Z"),
        // A calendar month from the last day of January ends with February.
        ("2026-01-31T00:00:00Z/P1M", "2026-01-31T00:00:00Z", "2026-02-28T00:00:00Z"),
        ("2026-05-01T06:00:00Z/P0Y0M2D", "2026-05-01T06:00:00Z", "2026-05-03T06:00:00Z"),
        ("2026-05-01T06:00:00Z/2026-05-01T08:00:00Z", "2026-05-01T06:00:00Z", "2026-05-01T08:00:00Z"),
        ("PT3H/2026-05-01T08:00:00Z", "2026-05-01T05:00:00Z", "2026-05-01T08:00:00Z"),
        ("NOW/PT2H", "2026-05-01T12:20:00Z", "2026-05-01T14:20:00Z"),
        ("P1D/NOW", "2026-04-30T12:20:00Z", "2026-05-01T12:20:00Z"),
    ];
    for (text, from, to) in cases {
        assert_eq!(read(text), Some((from.to_owned(), to.to_owned())), "{text}");
    }
}

#[test]
fn what_is_no_interval_or_an_absurd_one_is_none() {
    let start = "2026-05-01T06:00:00Z/";
    let lengths = [
        "",
        "P",
        "PT",
        "PT0H",
        "T3H",
        "3H",
        "PT3",
        "PH",
        "PTH",
        "PT-3H",
        "PT1.5H",
        "PT3H1H",
        "PT1M1H",
        "P1H",
        "P3W",
        "PT 3H",
        "P1Y",
        "P2M",
        "P32D",
        "PT745H",
        "PT999999H",
        "P999999Y999999M999999D",
        "P9999999D",
        "PT99999999999999999999H",
        "pt3h",
        "P1D/PT1H",
        "PT٣H",
    ];
    for length in lengths {
        assert_eq!(read(&format!("{start}{length}")), None, "{length}");
    }
    let whole = [
        "2026-05-01T06:00:00Z",
        "PT1H/PT2H",
        "2026-05-01T06:00:00/PT1H",
        "2026-02-30T06:00:00Z/PT1H",
        "2026-05-01T06:00:00Z/2026-05-01T06:00:00Z",
        "2026-05-01T06:00:00Z/2026-05-01T05:00:00Z",
        "1899-05-01T06:00:00Z/PT1H",
        "2200-05-01T06:00:00Z/PT1H",
        "2999-05-01T06:00:00Z/PT1H",
        "2199-12-31T23:00:00Z/P1D",
        "now/PT1H",
        "//",
        "\u{0}/PT1H",
    ];
    for text in whole {
        assert_eq!(read(text), None, "{text}");
    }
}

#[test]
fn hours_are_those_that_lie_whole_in_it() {
    let hours = |text: &str| {
        Interval::read(text, now()).unwrap().hours().map(|hour| hour.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(
        hours("2026-05-01T06:00:00Z/PT3H"),
        ["2026-05-01T06:00:00Z", "2026-05-01T07:00:00Z", "2026-05-01T08:00:00Z"]
    );
    assert_eq!(hours("2026-05-01T06:10:00Z/PT2H"), ["2026-05-01T07:00:00Z"]);
    assert_eq!(hours("2026-05-01T06:10:00Z/PT1H"), Vec::<String>::new());
}

/// Offsets are those of the time itself, so a change of the clock within an
/// interval makes it an hour shorter or longer on the wall only.
#[test]
fn a_change_of_the_clock_neither_loses_nor_doubles_an_hour() {
    let count = |text: &str| Interval::read(text, now()).unwrap().hours().count();
    // New York, 8 March 2026: 02:00 to 03:00 does not exist.
    assert_eq!(count("2026-03-08T00:00:00-05:00/2026-03-08T04:00:00-04:00"), 3);
    assert_eq!(count("2026-03-08T00:00:00-05:00/PT3H"), 3);
    // 1 November 2026: 01:00 to 02:00 comes twice.
    assert_eq!(count("2026-11-01T00:00:00-04:00/2026-11-01T03:00:00-05:00"), 4);
    assert_eq!(count("2026-11-01T00:00:00-04:00/P1D"), 24);
}

proptest! {
    #[test]
    fn no_text_breaks_the_reader(text in any::<String>()) {
        let _ = Interval::read(&text, now());
        let _ = moment(&text);
    }

    /// Texts near the grammar, with numbers of any length.
    #[test]
    fn an_interval_is_bounded(
        text in "(NOW|P|20[0-9]{2}-[01][0-9]-[0-3][0-9]T[0-9]{2}:00:00(Z|[+-][0-9]{2}:?[0-9]{0,2}))?/(P([0-9]{0,12}[YMD]){0,3}(T([0-9]{0,12}[HMS]){0,3})?|NOW)"
    ) {
        if let Some(interval) = Interval::read(&text, now()) {
            prop_assert!((1..=LONGEST).contains(&interval.seconds()));
            prop_assert!(interval.hours().count() as i64 <= LONGEST / HOUR);
            prop_assert!(interval.hours().all(|at| interval.from <= at && at.plus(HOUR) <= interval.to));
        }
    }

    /// Whole hours of any number come back as that many.
    #[test]
    fn hours_are_counted(days in 0_i64..30, hours in 1_i64..24) {
        let interval = Interval::read(&format!("2026-05-01T06:00:00+00:00/P{days}DT{hours}H"), now()).unwrap();
        prop_assert_eq!(interval.hours().count() as i64, days * 24 + hours);
    }
}
