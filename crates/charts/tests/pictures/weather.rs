//! A site's sources.

use charts::weather::{Lane, Seen, Sources, gaps, picture, table};
use model::series::{Flag, Reading, Series};
use model::time::{DAY, HOUR, Instant};

use crate::checked::{at, held, site, sound, texts};

const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

fn from() -> Instant {
    at("2013-05-01T00:00:00-04:00")
}

#[test]
fn sources_show_what_is_missing_and_what_was_found() {
    let (station, feed, series) = site(from());
    let to = from().plus(7 * DAY);
    let (first, second) = (gaps(&station, from(), to), gaps(&feed, from(), to));
    assert_eq!(
        first,
        [
            (from().plus(50 * HOUR), from().plus(64 * HOUR)),
            (from().plus(110 * HOUR), from().plus(130 * HOUR))
        ]
    );
    assert_eq!(second, [(from().plus(110 * HOUR), from().plus(124 * HOUR))]);
    let lanes = [
        Lane { name: "Lower yard station", readings: &station, gaps: &first },
        Lane { name: "A feed & its grid cell with a long name", readings: &feed, gaps: &second },
    ];
    let sources =
        Sources { site: "Home <farm>", zone: ZONE, from: from(), to, lanes: &lanes, joined: &series };
    let svg = picture(&sources);
    sound(&svg);
    held(&svg);
    let said = texts(&svg);
    for words in [
        "Weather sources of Home <farm>",
        "Lower yard station",
        "unknown",
        "F",
        "S",
        "T",
        "× not used, + doubtful but used; F flat-line, S spike, T step",
    ] {
        assert!(said.iter().any(|text| text == words), "{words} is missing in {said:#?}");
    }
    assert!(said[1].contains("14 h unknown") && said[1].contains("34 h without"), "{}", said[1]);
    let rows = table(&sources);
    assert_eq!(rows[0], ["Source", "From", "To", "What"]);
    let has =
        |cells: [&str; 4]| assert!(rows.iter().any(|row| row == &cells), "{cells:?} is missing in {rows:#?}");
    has(["Lower yard station", "Fri 3 May, 02:00", "Fri 3 May, 16:00", "no usable readings for 14 h"]);
    has(["Lower yard station", "Thu 2 May, 06:00", "Thu 2 May, 06:00", "spike: not used"]);
    has([
        "Lower yard station",
        "Sat 4 May, 06:00",
        "Sat 4 May, 11:00",
        "flat-line: doubtful but used, 6 readings",
    ]);
    has(["Temperature used", "Sun 5 May, 14:00", "Mon 6 May, 04:00", "unknown"]);
    assert_eq!(svg, picture(&sources));
}

#[test]
fn no_source_and_senseless_readings_are_drawn() {
    let nothing = Series::default();
    let bare = Sources { site: "", zone: ZONE, from: from(), to: from(), lanes: &[], joined: &nothing };
    sound(&picture(&bare));
    assert_eq!(table(&bare).len(), 1);
    let wild: Vec<Seen<'_>> = (0..400)
        .map(|n| Seen {
            at: from().plus(n * HOUR - 10 * DAY),
            celsius: [f64::NAN, 1e300, f64::NEG_INFINITY, 3.0][n as usize % 4],
            usable: n % 3 == 0,
            flag: [None, Some("<b>"), Some(""), Some("spike"), Some("s")][n as usize % 5],
        })
        .collect();
    let readings =
        wild.iter().map(|seen| Reading { flag: Flag::Pass, ..Reading::instant(seen.at, seen.celsius) });
    let series = Series::join(&[readings.collect()], None, from().plus(DAY));
    let lanes: Vec<Lane<'_>> = (0..30)
        .map(|_| Lane { name: "</text>\u{1}", readings: &wild, gaps: &[(Instant::MAX, Instant::MIN)] })
        .collect();
    let (start, to) = (from().plus(-3 * DAY), from().plus(DAY));
    let sources = Sources { site: "x", zone: ZONE, from: start, to, lanes: &lanes, joined: &series };
    let svg = picture(&sources);
    sound(&svg);
    assert!(texts(&svg).iter().any(|text| text == "</text>\u{fffd}"));
}
