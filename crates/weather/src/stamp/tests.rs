use model::time::Instant;
use proptest::prelude::*;

use super::*;

fn layout(pattern: &str) -> Layout {
    Layout::of(&TimeFormat::Pattern(pattern.to_owned())).unwrap()
}

fn local(text: &str) -> Option<Stamp> {
    Some(Stamp::Local(Instant::parse(&format!("{text}Z")).unwrap().0))
}

#[test]
fn patterns_of_stations_and_loggers() {
    let table = [
        ("%Y-%m-%d %H:%M", "2013-04-28 17:10", "2013-04-28T17:10:00"),
        ("%Y-%m-%d %H:%M:%S", "2013-04-28 17:10:59", "2013-04-28T17:10:59"),
        ("%Y-%m-%dT%H:%M", "2013-04-28T17:10", "2013-04-28T17:10:00"),
        ("%F %T", "2013-04-28 07:08:09", "2013-04-28T07:08:09"),
        ("%Y %m %d %H", "2013 4 28 24", "2013-04-29T00:00:00"),
        ("%Y-%m-%d %H%M", "2013-4-28 0130", "2013-04-28T01:30:00"),
        ("%Y%m%d%H", "2013042817", "2013-04-28T17:00:00"),
        ("%m/%d/%y %I:%M:%S %p", "07/29/16 10:26:34 AM", "2016-07-29T10:26:34"),
        ("%m/%d/%Y %H:%M", "7/9/2016 8:05", "2016-07-09T08:05:00"),
        ("%m/%d/%y %I:%M%p", "4/28/13 12:30a", "2013-04-28T00:30:00"),
        ("%m/%d/%y %I:%M %p", "4/28/13 12:30 PM", "2013-04-28T12:30:00"),
        ("%d/%m/%Y %H:%M", "02/08/2022   15:30", "2022-08-02T15:30:00"),
        ("%d.%m.%y %H:%M", "28.04.13 05:00", "2013-04-28T05:00:00"),
        ("%Y-%m-%d %H:%M:%S%.f", "2004-11-11 15:03:45.2", "2004-11-11T15:03:46"),
        ("%Y-%m-%d %H:%M", "2013-12-31 24:00", "2014-01-01T00:00:00"),
        ("%Y-%m-%d %H:%M", "2012-02-29 00:00", "2012-02-29T00:00:00"),
        // Through chrono: names of months, days of the year.
        ("%d-%b-%Y %H:%M", "28-Apr-2013 17:10", "2013-04-28T17:10:00"),
        ("%d-%b-%Y %H", "28-Apr-2013 17", "2013-04-28T17:00:00"),
        ("%Y/%j %H:%M", "2013/118 17:10", "2013-04-28T17:10:00"),
    ];
    for (pattern, text, expected) in table {
        assert_eq!(layout(pattern).read(text.as_bytes()), local(expected), "{pattern} on {text}");
    }
}

#[test]
fn what_is_no_time_is_not_read() {
    let table = [
        ("%Y-%m-%d %H:%M", "2013-02-29 00:00"),
        ("%Y-%m-%d %H:%M", "2013-13-01 00:00"),
        ("%Y-%m-%d %H:%M", "2013-04-31 00:00"),
        ("%Y-%m-%d %H:%M", "2013-04-28 24:01"),
        ("%Y-%m-%d %H:%M", "2013-04-28 17:60"),
        ("%Y-%m-%d %H:%M", "2013-04-28 17:10:00"),
        ("%Y-%m-%d %H:%M", "2013-04-28"),
        ("%Y-%m-%d %H:%M", "28.04.2013 17:10"),
        ("%Y-%m-%d %H:%M", ""),
        ("%Y-%m-%d %H%M", "2013-04-28 130"),
        ("%Y%m%d%H", "201342817"),
        ("%m/%d/%y %I:%M %p", "4/28/13 13:30 PM"),
        ("%m/%d/%y %I:%M %p", "4/28/13 0:30 AM"),
        ("%m/%d/%y %I:%M %p", "4/28/13 11:30 XM"),
    ];
    for (pattern, text) in table {
        assert_eq!(layout(pattern).read(text.as_bytes()), None, "{pattern} on {text}");
    }
}

#[test]
fn offsets_in_the_time_hold() {
    let at = Some(Stamp::Absolute(Instant::parse("2013-04-28T14:00:00Z").unwrap().0));
    assert!(layout("%Y-%m-%d %H:%M%z").carries_offset());
    assert_eq!(layout("%Y-%m-%d %H:%M%z").read(b"2013-04-28 10:00-0400"), at);
    assert_eq!(layout("%Y-%m-%d %H:%M %:z").read(b"2013-04-28 19:30 +05:30"), at);
    assert_eq!(layout("%s").read(b"1367157600"), at);
    assert!(!layout("%Y-%m-%d %H:%M").carries_offset());
}

#[test]
fn rfc3339_is_read_as_elsewhere() {
    let layout = Layout::of(&TimeFormat::Rfc3339).unwrap();
    let texts = [
        "2013-04-01T04:00:00Z",
        "2013-04-01t04:00:00z",
        "2013-04-01 04:00:00Z",
        "2013-04-01T04:00:00.001-04:00",
        "2013-04-01T04:00:00.000+05:30",
        "2016-12-31T23:59:60Z",
        "2013-04-01T04:00Z",
        "2013-04-01T04:00:00",
        "2013-04-01T04:00:00+0400",
        "2013-04-01T24:00:00Z",
        "2013-4-01T04:00:00Z",
        "2013-04-01T04:00:00.Z",
        "2013-02-29T04:00:00Z",
        "2013-04-01T04:00:00Z ",
        "",
    ];
    for text in texts {
        let expected = Instant::parse(text).ok().map(|at| Stamp::Absolute(at.0));
        assert_eq!(layout.read(text.trim().as_bytes()), expected, "{text}");
    }
}

proptest! {
    /// chrono is the other side here: it writes, this module reads.
    #[test]
    fn what_chrono_writes_is_read(at in Instant::MIN.0..Instant::MAX.0, pattern in 0_usize..5) {
        let patterns = ["%Y-%m-%d %H:%M:%S", "%F %T", "%d/%m/%Y %I:%M:%S %p", "%Y%m%d%H%M%S", "%e.%m.%Y %k:%M:%S"];
        let written = Instant(at).utc().format(patterns[pattern]).to_string();
        prop_assert_eq!(layout(patterns[pattern]).read(written.trim().as_bytes()), Some(Stamp::Local(at)));
        let rfc3339 = Layout::of(&TimeFormat::Rfc3339).unwrap();
        prop_assert_eq!(rfc3339.read(Instant(at).to_string().as_bytes()), Some(Stamp::Absolute(at)));
    }
}
