//! The sprayers' round.

use charts::round::{RoundPicture, picture, table};
use model::round::{Round, Run, Visit};
use model::time::{DAY, Instant};

use crate::checked::{at, held, round, sound, texts};

const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

fn now() -> Instant {
    at("2013-05-01T15:00:00-04:00")
}

fn visit(visit: &Visit) -> String {
    let clock = |at: Instant| at.utc().with_timezone(&ZONE).format("%H:%M").to_string();
    format!("{}–{}", clock(visit.begin), clock(visit.finish))
}

#[test]
fn each_visit_has_its_row_with_its_times() {
    let (stops, round) = round(now());
    let shown = RoundPicture { name: "Home <farm>", round: &round, stops: &stops, zone: ZONE };
    let svg = picture(&shown);
    sound(&svg);
    held(&svg);
    let said = texts(&svg);
    assert_eq!(said[0], "Sprayers' round, Home <farm>");
    let visits: Vec<&Visit> = round.runs.iter().flat_map(|run| &run.visits).collect();
    assert_eq!(visits.len(), 5);
    for found in visits {
        assert!(said.iter().any(|text| text.starts_with(&visit(found))), "{} in {said:#?}", found.block);
    }
    for words in ["Shade cannot be reached in time: it has no slot ahead.", "slot", "spraying", "on the way"]
    {
        assert!(said.iter().any(|text| text == words), "{words} is missing in {said:#?}");
    }
    assert!(said.iter().any(|text| text.ends_with("before its mark") || text.ends_with("after its mark")));
    assert_eq!(svg, picture(&shown));
}

#[test]
fn the_table_has_visits_in_order_and_then_what_is_left_out() {
    let (stops, round) = round(now());
    let rows = table(&RoundPicture { name: "", round: &round, stops: &stops, zone: ZONE });
    assert_eq!(rows[0], ["Sprayer", "Block", "Set out", "Begin", "Finish", "Mark", "What else"]);
    assert!(rows.iter().all(|row| row.len() == 7));
    assert_eq!(rows.len(), 7);
    assert_eq!(rows[6][1], "Shade");
    assert_eq!(rows[6][6], "Shade cannot be reached in time: it has no slot ahead.");
}

#[test]
fn an_empty_round_and_one_over_months_are_drawn() {
    let (_, mut planned) = round(now());
    let empty = Round { runs: Vec::new(), left_out: Vec::new(), ..planned.clone() };
    let svg = picture(&RoundPicture { name: "", round: &empty, stops: &[], zone: ZONE });
    sound(&svg);
    assert!(texts(&svg).iter().any(|text| text == "No block is on the round"));
    let one = planned.runs.iter().flat_map(|run| &run.visits).next().cloned().expect("a visit");
    let far = |n: i64| Visit {
        go: one.go.plus(n * DAY),
        begin: one.begin.plus(n * DAY),
        finish: one.finish.plus(n * DAY),
        ..one.clone()
    };
    planned.runs = vec![Run {
        sprayer: "</text>\u{1} and more than fits".to_owned(),
        visits: (0..120).map(far).collect(),
    }];
    let svg = picture(&RoundPicture { name: "</title>", round: &planned, stops: &[], zone: ZONE });
    sound(&svg);
    held(&svg);
}
