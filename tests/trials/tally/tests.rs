//! The tally itself: each class is seen, and none where there is none.

use super::*;

const AT: i64 = 1_777_593_600;

fn called() -> Vec<Expected> {
    vec![Expected { block: "bench".into(), kind: "due", tells: AT, from: AT, called: AT }]
}

fn taken(at: i64, alert: &str, id: &str) -> Event {
    let words = "bench: spray due since Thu 30 Apr, 20:00 - look, then spray".to_owned();
    let alerts = vec![("due".to_owned(), alert.to_owned())];
    Event::Taken(at, Letter { id: id.into(), alerts, words, date: at, bytes: id.as_bytes().to_vec() })
}

fn counted(log: &[Event]) -> Tally {
    let key = |block: &str| (block.to_owned(), "due".to_owned());
    let keys = HashMap::from([("one".to_owned(), key("bench")), ("two".to_owned(), key("terrace"))]);
    let names = Names { keys, takes_back: HashMap::new() };
    Tally::count(log, &names, &called(), |one| one.from + 60, 600)
}

#[test]
fn one_mail_in_time_is_clean() {
    let tally = counted(&[taken(AT + 60, "one", "a"), Event::Quiet]);
    assert!(tally.clean() && tally.copies == 0 && tally.called == 1, "{tally}");
}

#[test]
fn each_class_is_told_from_the_others() {
    let classes = |log: &[Event]| {
        let tally = counted(log);
        [tally.missed, tally.late, tally.false_, tally.duplicate, tally.wrong_time]
    };
    assert_eq!(classes(&[Event::Quiet]), [1, 0, 0, 0, 0]);
    assert_eq!(classes(&[taken(AT + 61, "one", "a")]), [0, 1, 0, 0, 0]);
    assert_eq!(classes(&[taken(AT - 1, "one", "a")]), [0, 0, 1, 0, 0], "before it could be known");
    let other_block = [taken(AT, "one", "a"), taken(AT, "two", "b")];
    assert_eq!(classes(&other_block), [0, 0, 1, 0, 0]);
    let unheard_of = [taken(AT, "one", "a"), taken(AT, "three", "b")];
    assert_eq!(classes(&unheard_of), [0, 0, 1, 0, 0]);
    let twice = [taken(AT, "one", "a"), Event::Quiet, taken(AT, "one", "a")];
    assert_eq!(classes(&twice), [0, 0, 0, 1, 0]);
    let mut wrong = taken(AT, "one", "a");
    if let Event::Taken(_, letter) = &mut wrong {
        letter.words = letter.words.replace("20:00", "20:02");
    }
    assert_eq!(classes(&[wrong]), [0, 0, 0, 0, 1]);
}

#[test]
fn only_the_same_bytes_after_an_unknown_outcome_are_a_copy() {
    let pair = |second: &str, between: &[Event]| {
        let log = [&[taken(AT, "one", "a")], between, &[taken(AT, "one", second)]].concat();
        let tally = counted(&log);
        (tally.copies, tally.duplicate)
    };
    assert_eq!(pair("a", &[Event::Killed]), (1, 0));
    assert_eq!(pair("a", &[Event::Killed, Event::Quiet]), (1, 0), "its lease ran on");
    assert_eq!(pair("b", &[Event::Killed]), (0, 1), "another message");
    assert_eq!(pair("a", &[]), (0, 1));
    assert_eq!(pair("a", &[Event::Quiet, Event::Killed]), (0, 1), "the outcome was known by then");
    let stopped = [Event::Stopped, taken(AT, "one", "a"), taken(AT, "one", "a")];
    assert_eq!((counted(&stopped).copies, counted(&stopped).duplicate), (1, 0));
}

#[test]
fn a_kill_gives_time() {
    let log = [Event::Killed, taken(AT + 600, "one", "a")];
    assert!(counted(&log).clean());
}
