//! What lies ahead of a season: the odds of its times, and the slots around them.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::frost::line_c;
use crate::materials::Material;
use crate::odds::{Odds, SeasonOdds};
use crate::plan::{Plan, PlannedSpray};
use crate::season::{Season, State};
use crate::slot::{self, Answer, Ask, Hours, Kept, LastSpray, Limits, Slot, Wanted};
use crate::stage::Stage;
use crate::sun::Sun;
use crate::time::{HOUR, Instant};

/// How long a spray is taken to need where nobody says: a shorter stretch is not named
/// as a slot (constructed).
pub const NEEDED: i64 = 2 * HOUR;

/// What lies ahead.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ahead {
    /// When, with its odds.
    pub odds: SeasonOdds,
    /// Slots around it, a leg each.
    #[serde(default)]
    pub slots: Vec<Answer>,
}

impl Ahead {
    /// In sentences: what will be when, which doubt weighs most, and the hours around it.
    pub fn told(&self, zone: Tz) -> Vec<String> {
        let mut told: Vec<String> = Vec::new();
        let of = |what: String, odds: &Odds| {
            let weighs = odds.weighs.as_ref().map(|weighs| format!(" {}", weighs.told())).unwrap_or_default();
            format!("{what}: {}{weighs}", odds.told(zone))
        };
        told.extend(self.odds.start.iter().map(|odds| of("the start".to_owned(), odds)));
        for leg in &self.odds.legs {
            let unlogged = if leg.after_unlogged { ", if the spray before goes on at its mark" } else { "" };
            told.push(of(format!("leg {}, {:.2} of the style{unlogged}", leg.number, leg.mark), &leg.odds));
        }
        told.extend(self.slots.iter().map(|answer| answer.told_short(zone)));
        told.extend(self.odds.notes.iter().map(|note| note.text.to_string()));
        told
    }
}

/// The air and sun over a block.
#[derive(Debug, Clone, Copy)]
pub struct Sky<'a> {
    /// The air hour by hour, from some days before now on.
    pub hours: &'a Hours,
    /// The sun.
    pub sun: Sun,
}

/// What the legs ahead ask for: the one that runs, and those after it by their odds.
pub fn wanted(season: &Season, odds: &SeasonOdds) -> Vec<Wanted> {
    let running = season.running().and_then(Wanted::of);
    let mut all: Vec<Wanted> = Vec::new();
    for leg in &odds.legs {
        all.push(Wanted {
            leg: leg.number,
            mark: leg.mark,
            bound: leg.bound,
            early: leg.odds.early,
            likely: leg.odds.likely,
            late: leg.odds.late,
        });
    }
    // A mark that is past has no odds any more, and without a forecast none has.
    all.extend(running.filter(|running| odds.legs.iter().all(|leg| leg.number != running.leg)));
    all.sort_by_key(|wanted| wanted.leg);
    all
}

/// The slots of a season, a leg each.
pub fn slots(plan: &Plan, season: &Season, odds: &SeasonOdds, sky: &Sky<'_>, now: Instant) -> Vec<Answer> {
    if matches!(season.state, State::Done | State::StoodDown) {
        return Vec::new();
    }
    let round = Beside::of(plan, season);
    wanted(season, odds).into_iter().map(|wanted| slot::find(&round.ask(wanted, sky, now))).collect()
}

/// Whether a slot that was named for a leg still stands; none where the leg has none any
/// more.
pub fn kept(
    plan: &Plan,
    season: &Season,
    odds: &SeasonOdds,
    sky: &Sky<'_>,
    (leg, named): (usize, &Slot),
    now: Instant,
) -> Option<Kept> {
    let wanted = wanted(season, odds).into_iter().find(|wanted| wanted.leg == leg)?;
    Some(slot::slot_lost(&Beside::of(plan, season).ask(wanted, sky, now), named))
}

/// Moments at which frosts of a season were full.
pub fn frosts(season: &Season) -> Vec<Instant> {
    season.frost.nights.iter().filter_map(|night| night.hit_at).collect()
}

/// The moment to look at the flowers before a later leg's slot, with the slot.
pub fn bloom_check(season: &Season, answer: &Answer, zone: Tz, now: Instant) -> Option<(Instant, Slot)> {
    let slot = answer.slot?;
    let until = season.reentry.as_ref().and_then(|reentry| reentry.until);
    Some((slot::bloom_check(answer.wanted.leg, &slot, until, zone, now)?, slot))
}

/// What stands round the slots of a season.
struct Beside<'a> {
    plan: &'a Plan,
    /// Of the farm, and of the planned materials' own entries.
    limits: Limits,
    frosts: Vec<Instant>,
    kill_line_c: f64,
    last_spray: Option<LastSpray>,
}

impl<'a> Beside<'a> {
    fn of(plan: &'a Plan, season: &Season) -> Beside<'a> {
        let planned = |material: &&Material| {
            let named = |spray: &PlannedSpray| [&material.id, &material.name].contains(&&spray.material);
            plan.sprays.iter().any(named)
        };
        let own = plan.materials.iter().filter(planned).flat_map(Limits::of_material);
        let stage = season.frost.stage.unwrap_or(Stage::FullBloom);
        Beside {
            plan,
            limits: plan.slot_limits.as_ref().clone().and(own),
            frosts: season.frost.nights.iter().filter_map(|night| night.hit_at).collect(),
            kill_line_c: line_c(stage.kill_10_c(), false),
            last_spray: season.reentry.as_ref().and_then(|reentry| {
                Some(LastSpray { finished_at: reentry.finished_at?, reentry_until: reentry.until })
            }),
        }
    }

    fn ask(&self, wanted: Wanted, sky: &Sky<'a>, now: Instant) -> Ask<'_> {
        Ask {
            wanted,
            hours: sky.hours,
            sun: sky.sun,
            limits: &self.limits,
            material: self.plan.sprays.get(wanted.leg - 1).map(|spray| spray.material.as_str()),
            last_spray: self.last_spray,
            frosts: &self.frosts,
            kill_line_c: self.kill_line_c,
            needed: NEEDED,
            now,
        }
    }
}
