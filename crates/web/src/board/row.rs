//! One block of the board, from the season as it was last reckoned.

use charts::fan;
use chrono_tz::Tz;
use model::odds::{LegOdds, Odds};
use model::season::{Season, State};
use model::time::Instant;
use model::waiting::{self, Waits, Wanted};
use serde::Deserialize;
use store::BoardRow;

use super::zone_of;
use crate::said;
use crate::words::Words;

/// One block.
pub(crate) struct Row {
    pub(crate) block_id: String,
    pub(crate) name: String,
    pub(crate) farm_id: String,
    pub(crate) farm: String,
    pub(crate) cultivar: String,
    pub(crate) site_id: String,
    pub(crate) site: String,
    /// Where the site lies, degrees north and east.
    pub(crate) place: (f64, f64),
    pub(crate) zone: Tz,
    /// None before the first reckoning.
    pub(crate) state: Option<State>,
    /// The same for people.
    pub(crate) state_told: String,
    /// When the next mark is likely, in words, and its edges.
    pub(crate) next: String,
    pub(crate) edges: Option<String>,
    /// By what `next` is sorted.
    pub(crate) next_at: Option<Instant>,
    pub(crate) fan: Fan,
    /// The fan as it stands in the page.
    pub(crate) picture: Option<String>,
    pub(crate) as_of: Option<Instant>,
    /// Age of the newest reading.
    pub(crate) read: String,
    pub(crate) counted_at: Option<Instant>,
    pub(crate) counted: String,
    pub(crate) waits: Vec<Waits>,
    /// The most pressing of them in a sentence.
    pub(crate) waits_told: String,
    /// How many more there are.
    pub(crate) waits_more: Option<String>,
}

/// What is drawn of a row.
#[derive(Debug, Default)]
pub(crate) struct Fan {
    odds: Option<Odds>,
    reached_at: Option<Instant>,
    sprayed_at: Option<Instant>,
}

/// What the board takes of a season's document beside the season.
#[derive(Deserialize)]
struct Ahead {
    odds: Option<OddsAhead>,
}

#[derive(Deserialize)]
struct OddsAhead {
    start: Option<Odds>,
    legs: Vec<LegOdds>,
}

/// What the board takes of a block.
#[derive(Deserialize, Default)]
struct Planted {
    cultivar: Option<String>,
}

impl Fan {
    pub(crate) fn late(&self) -> Option<Instant> {
        let odds = self.odds.as_ref();
        odds.and_then(|odds| odds.late.or(Some(odds.horizon))).or(self.reached_at)
    }

    /// Whether any of it lies between two moments.
    pub(crate) fn lies_between(&self, from: Instant, to: Instant) -> bool {
        let within = |at: Option<Instant>| at.is_some_and(|at| from <= at && at <= to);
        self.odds.is_some() || within(self.reached_at) || within(self.sprayed_at)
    }

    pub(crate) fn shown(&self) -> fan::Row<'_> {
        fan::Row { odds: self.odds.as_ref(), reached_at: self.reached_at, sprayed_at: self.sprayed_at }
    }
}

impl Row {
    pub(crate) fn read(row: BoardRow, farm: String, now: Instant, words: &Words) -> Row {
        let zone = zone_of(&row.time_zone);
        let planted: Planted = serde_json::from_str(&row.details).unwrap_or_default();
        let season = row.doc.as_deref().map(serde_json::from_str::<Season>);
        let ahead: Option<Ahead> = row.doc.as_deref().and_then(|doc| serde_json::from_str(doc).ok());
        let broken = matches!(season, Some(Err(_)));
        let season = season.and_then(Result::ok);
        let waits = season.as_ref().map(|season| waiting::of(season, zone, now)).unwrap_or_default();
        let waits_told = match waits.first() {
            // Its whole sentence stands on the block's own page and would fill the table.
            Some(first) if first.what == Wanted::Confirm => words.get("board.confirm").to_owned(),
            Some(first) => first.text.clone(),
            None if broken => words.get("board.unreadable").to_owned(),
            None => words.get("board.nothing").to_owned(),
        };
        let state = season.as_ref().map(|season| season.state);
        let next = Next::of(season.as_ref(), ahead.and_then(|ahead| ahead.odds), zone, words);
        let as_of = season.as_ref().and_then(|season| season.as_of);
        let more = waits.len().saturating_sub(1);
        Row {
            cultivar: planted.cultivar.unwrap_or_default(),
            state,
            state_told: match (state, row.state) {
                (Some(state), _) => charts::season::state(state).to_owned(),
                (None, Some(word)) => word,
                (None, None) => words.get("board.not_reckoned").to_owned(),
            },
            next: next.told,
            edges: next.edges,
            next_at: next.at,
            fan: next.fan,
            picture: None,
            read: as_of.map_or(words.get("board.none_read").to_owned(), |at| {
                words.fill("board.ago", &[("age", &said::lasting(now.since(at), words))])
            }),
            as_of,
            counted: row.counted_at.map_or(words.get("board.not_counted").to_owned(), |at| at.spoken(zone)),
            counted_at: row.counted_at,
            waits,
            waits_told,
            waits_more: (more > 0).then(|| words.fill("board.and_more", &[("n", &more)])),
            block_id: row.block_id,
            name: row.name,
            farm_id: row.farm_id,
            farm,
            site_id: row.site_id,
            site: row.site,
            place: row.place,
            zone,
        }
    }

    /// Whether a person is wanted here for that.
    pub(crate) fn waits_for(&self, what: Wanted) -> bool {
        self.waits.iter().any(|waits| waits.what == what)
    }
}

/// The next mark of a block.
struct Next {
    at: Option<Instant>,
    told: String,
    edges: Option<String>,
    fan: Fan,
}

impl Next {
    fn of(season: Option<&Season>, odds: Option<OddsAhead>, zone: Tz, words: &Words) -> Next {
        let nothing = || Next {
            at: None,
            told: words.get("board.nothing").to_owned(),
            edges: None,
            fan: Fan::default(),
        };
        let Some(season) = season else { return nothing() };
        if matches!(season.state, State::Done | State::StoodDown) {
            return nothing();
        }
        let when = |key: &str, at: Instant| words.fill(key, &[("when", &at.spoken(zone))]);
        let by_odds = |of: Odds, key: Option<&str>| {
            let points = of.points(zone);
            let likely = match &points {
                Some([_, likely, _]) => likely.clone(),
                None => words.get("board.far").to_owned(),
            };
            let edges = points.map(|[early, _, late]| {
                words.fill("board.early_late", &[("early", &early), ("late", &late)])
            });
            let told = key.map_or(likely.clone(), |key| words.fill(key, &[("when", &likely)]));
            let at = of.likely.or(of.early).or(Some(of.horizon));
            Next { at, told, edges, fan: Fan { odds: Some(of), ..Fan::default() } }
        };
        let Some(leg) = season.running() else {
            return match odds.and_then(|odds| odds.start) {
                Some(start) => by_odds(start, Some("board.start")),
                None => match season.start {
                    Some(start) => {
                        Next { at: Some(start.at), told: when("board.start", start.at), ..nothing() }
                    }
                    None => nothing(),
                },
            };
        };
        if leg.mark.is_none() {
            // Nothing more is planned: the last spray is what there is to see.
            let sprayed = (leg.number > 1).then_some(leg.from);
            let fan = Fan { sprayed_at: sprayed, ..Fan::default() };
            let told = sprayed.map_or_else(|| nothing().told, |at| when("board.sprayed", at));
            return Next { told, fan, ..nothing() };
        }
        if let Some(at) = leg.reached_at {
            let fan = Fan { reached_at: Some(at), ..Fan::default() };
            return Next { at: Some(at), told: when("board.reached", at), edges: None, fan };
        }
        let of_leg = odds.and_then(|odds| odds.legs.into_iter().find(|of| of.number == leg.number));
        match (leg.may_be_reached_since, of_leg, leg.expected_at) {
            (Some(at), odds, _) => {
                let fan = Fan { odds: odds.map(|of| of.odds), ..Fan::default() };
                Next { at: Some(at), told: when("board.maybe", at), edges: None, fan }
            }
            (None, Some(of), _) => by_odds(of.odds, None),
            (None, None, Some(at)) => Next { at: Some(at), told: when("board.foretold", at), ..nothing() },
            (None, None, None) => Next { told: words.get("board.far").to_owned(), ..nothing() },
        }
    }
}
