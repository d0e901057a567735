//! A spring under way, with odds of what is to come.

use model::odds::{LegOdds, Odds, SeasonOdds};
use model::plan::MarkBound;
use model::slot::{Answer, Limit, Outcome, Slot, Status, Wanted, What};
use model::time::{HOUR, Instant};
use serde_json::Value;
use store::Block;

use crate::house::House;
use crate::orchard::{log, plan};

/// While leg 1 of North Bench runs, a day before its mark.
pub const GROWING: &str = "2013-04-30T16:00:00Z";

/// Odds around a moment, as wide as is asked for.
pub fn odds(likely: Instant, hours: i64) -> Odds {
    let dot = |n: i64| Some(likely.plus((2 * n - 19) * hours * HOUR / 16));
    Odds {
        early: Some(likely.plus(-hours * HOUR)),
        likely: Some(likely),
        late: Some(likely.plus(hours * HOUR)),
        never: 0.0,
        horizon: likely.plus(120 * HOUR),
        dots: (0..20).map(dot).collect(),
        ends: dot(0).zip(dot(19)),
        draws: 1_000,
        weighs: None,
    }
}

impl House {
    /// The farm `alder` with two blocks in leg 1 with odds, and one that nobody counts.
    pub async fn growing() -> House {
        let house = House::planted().await;
        house.set_clock(GROWING);
        let now = house.now();
        let bench = house.store.block("bench").await.unwrap().unwrap();
        for (id, name, cultivar) in [("cove", "Alder Cove", "Fuji"), ("dale", "Dale", "Gala")] {
            let mut details = bench.details.clone();
            (details["name"], details["cultivar"]) = (name.into(), cultivar.into());
            let block = Block { id: id.into(), name: name.into(), details, ..bench.clone() };
            house.store.add_block(&block).await.unwrap();
        }
        let early: Vec<Value> =
            log().into_iter().filter(|entry| entry["at"].as_str() < Some("2013-04-30")).collect();
        for id in ["bench", "cove", "dale"] {
            house.store.set_plan(id, 2013, 0, &plan(), now).await.unwrap();
        }
        house.write("bench", &early).await;
        let counts: Vec<Value> = early.into_iter().filter(|entry| entry["kind"] == "open-count").collect();
        house.write("cove", &counts).await;
        house.reckon().await;
        house.foretell("bench", now.plus(30 * HOUR), 9).await;
        house.foretell("cove", now.plus(20 * HOUR), 5).await;
        house
    }

    /// Gives leg 1 of a block odds and six hours to spray in from its mark on, as the loops
    /// do under a forecast.
    pub async fn foretell(&self, block: &str, likely: Instant, hours: i64) {
        let leg = LegOdds {
            number: 1,
            mark: 0.6,
            bound: MarkBound::NotBefore,
            after_unlogged: false,
            odds: odds(likely, hours),
        };
        let odds = SeasonOdds {
            asked_at: self.now(),
            issued_at: Some(self.now()),
            start: None,
            legs: vec![leg],
            notes: Vec::new(),
        };
        self.amend(block, "odds", serde_json::to_value(odds).unwrap()).await;
        let slots = serde_json::to_value([slots(likely)]).unwrap();
        self.amend(block, "slots", slots).await;
    }
}

/// Six hours from a mark of leg 1 on, by a limit that somebody set.
fn slots(likely: Instant) -> Answer {
    let end = likely.plus(6 * HOUR);
    let slot = Slot { begin: likely, end, hours: 6.0, least: None, bee_quiet: false, at_night: false };
    let bound = MarkBound::NotBefore;
    let limit = Limit {
        what: What::Wind,
        at: 4.5,
        source: "what our sprayer bears".into(),
        status: Status::Own,
        spread: None,
        materials: Vec::new(),
    };
    Answer {
        wanted: Wanted { leg: 1, mark: 0.6, bound, early: None, likely: Some(likely), late: None },
        outcome: Outcome::Named,
        slot: Some(slot),
        edges: Vec::new(),
        beyond: None,
        searched: Some((likely, end)),
        slots: vec![slot],
        hours: Vec::new(),
        in_the_way: Vec::new(),
        limits: vec![limit],
        not_set: vec![What::Gust],
        facts: Vec::new(),
        reentry_unrecorded: false,
        needed: 2 * HOUR,
    }
}
