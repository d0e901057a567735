//! Where a block stands and when it is time, in one sentence.

use chrono_tz::Tz;
use model::ahead::Ahead;
use model::legs::Leg;
use model::odds::Odds;
use model::season::{Season, State};
use model::time::Instant;

use crate::said;
use crate::words::Words;

/// What is told of a block.
pub(super) struct Told {
    pub(super) sentence: String,
    /// Early, likely and late, where there are odds.
    pub(super) range: Option<String>,
    /// The moment that it is about.
    pub(super) at: Option<Instant>,
}

/// Of a season and what lies ahead of it.
pub(super) fn told(season: &Season, ahead: Option<&Ahead>, zone: Tz, words: &'static Words) -> Told {
    let plain = |key: &'static str| Told { sentence: words.get(key).to_owned(), range: None, at: None };
    if season.state == State::Done {
        return plain("today.over");
    }
    if season.state == State::StoodDown {
        return plain("today.stood_down");
    }
    if season.threshold <= 0.0 {
        return plain("today.no_clock");
    }
    match season.running() {
        None => start(season, ahead.and_then(|ahead| ahead.odds.start.as_ref()), zone, words),
        Some(leg) => {
            let odds = ahead.and_then(|ahead| ahead.odds.legs.iter().find(|one| one.number == leg.number));
            running(season, leg, odds.map(|one| &one.odds), zone, words)
        }
    }
}

fn start(season: &Season, odds: Option<&Odds>, zone: Tz, words: &'static Words) -> Told {
    let likely = odds.and_then(|odds| odds.likely_told(zone));
    let expected = season.start.map(|start| start.at);
    let sentence = match (likely, expected) {
        (Some(likely), _) => words.fill("today.starts_likely", &[("likely", &likely)]),
        (None, Some(at)) => words.fill("today.starts_by_forecast", &[("at", &at.spoken(zone))]),
        (None, None) => words.get("today.not_started").to_owned(),
    };
    Told {
        sentence,
        range: odds.map(|odds| odds.told(zone)),
        at: odds.and_then(|odds| odds.likely).or(expected),
    }
}

fn running(season: &Season, leg: &Leg, odds: Option<&Odds>, zone: Tz, words: &'static Words) -> Told {
    let progress = said::style(leg.progress_low);
    let Some(mark) = leg.mark.map(said::style) else {
        // Without any mark at all nothing was ever planned.
        let planned = season.legs.iter().any(|leg| leg.mark.is_some());
        let key = if planned { "today.all_on" } else { "today.nothing_planned" };
        let sentence = words.fill(key, &[("leg", &leg.number), ("progress", &progress)]);
        return Told { sentence, range: None, at: None };
    };
    let of = |key: &'static str, when: &str| {
        words.fill(key, &[("leg", &leg.number), ("progress", &progress), ("mark", &mark), ("when", &when)])
    };
    let at = leg.reached_at.or(leg.may_be_reached_since);
    if let State::Hold = season.state {
        let since = season.hold.as_ref().map(|hold| hold.since.spoken(zone)).unwrap_or_default();
        return Told { sentence: of("today.hold", &since), range: leg.likely(zone), at };
    }
    if let Some(reached) = leg.reached_at {
        let key = if season.state == State::Overrun { "today.overrun" } else { "today.due" };
        let range = match (leg.reached_earliest, leg.reached_latest) {
            (Some(early), Some(late)) if early < late => Some(words.fill(
                "today.reached_between",
                &[("early", &early.spoken(zone)), ("late", &late.spoken(zone))],
            )),
            _ => None,
        };
        return Told { sentence: of(key, &reached.spoken(zone)), range, at };
    }
    if let Some(since) = leg.may_be_reached_since {
        return Told { sentence: of("today.may_be_due", &since.spoken(zone)), range: None, at };
    }
    let likely = odds.and_then(|odds| odds.likely_told(zone));
    let sentence = match (likely, leg.expected_at) {
        (Some(likely), _) => of("today.grows_likely", &likely),
        (None, Some(expected)) => of("today.grows_by_forecast", &expected.spoken(zone)),
        (None, None) => of("today.grows", ""),
    };
    Told {
        sentence,
        range: odds.map(|odds| odds.told(zone)),
        at: odds.and_then(|odds| odds.likely).or(leg.expected_at),
    }
}
