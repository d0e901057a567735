//! Twenty dots for a phone.

use charts::dots::{Dots, picture, table};
use model::odds::Odds;
use model::sun::Sun;
use model::time::{DAY, Instant};

use crate::checked::{at, count, held, odds, sound, texts};

const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

fn now() -> Instant {
    at("2013-05-01T15:00:00-04:00")
}

fn shown(odds: &Odds) -> Dots<'_> {
    Dots { name: "North Bench, leg 1 at 60 %", odds, zone: ZONE, now: now(), sun: Some(Sun::at(40.7, -74.2)) }
}

#[test]
fn each_case_has_its_dot_wherever_they_fall() {
    for (first, apart, never) in [
        (20.0, 1.5, 0),
        (20.0, 0.01, 0),
        (5.0, 6.0, 2),
        (0.0, 12.0, 13),
        (20.0, 1.0, 20),
        (-60.0, 2.0, 0),
        (500.0, 0.5, 0),
    ] {
        let odds = odds(now(), first, apart, never);
        let svg = picture(&shown(&odds));
        sound(&svg);
        held(&svg);
        assert_eq!(count(&svg, "circle"), 20);
        let said = texts(&svg);
        let missing = format!("{never} of 20 not within the forecast (hollow)");
        assert_eq!(said.contains(&missing), never > 0, "{said:?}");
        let now = if first > 100.0 { "← now is earlier" } else { "now" };
        for words in [now, "Early (1 in 10)", "Likely (even odds)", "Late (1 in 10)"] {
            assert!(said.iter().any(|text| text == words), "{words} is missing in {said:?}");
        }
        assert_eq!(svg, picture(&shown(&odds)));
    }
}

#[test]
fn no_dot_covers_another() {
    for (first, apart, never) in
        [(20.0, 1.5, 0), (20.0, 0.01, 0), (5.0, 6.0, 2), (0.0, 12.0, 13), (20.0, 1.0, 20)]
    {
        let odds = odds(now(), first, apart, never);
        let svg = picture(&shown(&odds));
        let document = roxmltree::Document::parse(&svg).unwrap();
        let number =
            |node: &roxmltree::Node<'_, '_>, name| node.attribute(name).unwrap().parse::<f64>().unwrap();
        let dots: Vec<(f64, f64)> = document
            .descendants()
            .filter(|node| node.has_tag_name("circle"))
            .map(|node| (number(&node, "cx"), number(&node, "cy")))
            .collect();
        for (n, a) in dots.iter().enumerate() {
            assert!(dots[..n].iter().all(|b| (a.0 - b.0).hypot(a.1 - b.1) > 9.2), "{a:?} in {dots:?}");
        }
    }
}

#[test]
fn the_table_rounds_each_dot_as_far_as_it_is_known() {
    let sure = odds(now(), 20.0, 0.2, 0);
    let rows = table(&shown(&sure));
    assert_eq!(rows.len(), 21);
    assert_eq!(rows[1], ["1 of 20", "Thu 2 May, 11:00"]);
    let vague = odds(now(), 20.0, 6.0, 2);
    let rows = table(&shown(&vague));
    assert_eq!(rows[1], ["1 of 20", "Thu 2 May, before noon"]);
    assert_eq!(rows[20], ["20 of 20", "later than Sat 11 May, after noon, or not at all"]);
}

#[test]
fn any_name_and_odds_without_dots_are_drawn() {
    let mut none = odds(now(), 20.0, 1.0, 20);
    none.dots.clear();
    let name = "</text><script>&\"'\u{1} a very long name of a block on the far side of the hill";
    let svg = picture(&Dots { name, odds: &none, zone: ZONE, now: now(), sun: None });
    sound(&svg);
    held(&svg);
    assert!(texts(&svg)[0].starts_with("</text><script>&\"'"));
    let far = odds(now(), 20.0, 10_000.0, 0);
    let svg = picture(&Dots { now: now().plus(-900 * DAY), ..shown(&far) });
    sound(&svg);
}
