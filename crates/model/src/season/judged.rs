//! What stands before the clock and beside it: cold nights, damage, buds, styles,
//! and what the table says of them.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::State;
use super::seen::Seen;
use crate::bloom::{Alive, Basis, Count, Start};
use crate::buds::{self, Buds};
use crate::damage::{Damage, Share, Tally};
use crate::frost::{self, Ahead, COLD_MARGIN_C, Night, SAME_K, cold_ahead, kill_line};
use crate::growth::Growth;
use crate::legs::Leg;
use crate::odds::Outlook;
use crate::plan::Plan;
use crate::stage::Stage;
use crate::style::{StyleLength, style_length};
use crate::time::{DAY, HOUR, Instant};
use crate::verdict::{Figures, Measured, Verdict};

/// Frost matters until so long after the intended spray (common practice, no
/// source).
const FROST_MATTERS_AFTER: i64 = 48 * HOUR;
/// From the threshold to the first spray (60 % of the style: usually 1.5 to 2.5
/// days; common practice, no source).
const START_TO_SPRAY: i64 = 60 * HOUR;
/// Nights are looked at from so long before the first entry.
const NIGHTS_BEFORE: i64 = 2 * DAY;
/// On the wall clock, when someone can go and look after a night.
const MORNING_HOUR: u32 = 7;

/// Cold nights of a season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrostSeen {
    /// The last stage logged, or borrowed; first bloom once open flowers were counted
    /// and no later stage was logged.
    pub stage: Option<Stage>,
    /// Its BBCH code.
    pub bbch: Option<u8>,
    /// Nights that came near the kill line, earliest first.
    pub nights: Vec<Night>,
    /// The night whose damage nobody has counted since.
    pub look_after: Option<String>,
    /// What the forecast says.
    pub ahead: Option<Ahead>,
    /// Until when it was asked.
    pub asked_until: Option<Instant>,
    /// Whether frost has no say any more.
    #[serde(skip)]
    over: bool,
}

/// What a season's frost and damage are judged from.
pub(super) struct Facts {
    nights: Vec<Night>,
    /// What the newest walk found.
    pub damage: Option<Damage>,
    /// What was alive by each damage count, in order of time.
    alive: Vec<AliveBy>,
    /// Stages with when they began.
    stages: Vec<(Instant, Stage)>,
    zone: Tz,
}

/// What a damage count tells of flowers.
struct AliveBy {
    /// Of those open from here on: when the frost came that it is of.
    from: Instant,
    /// When it was made.
    counted_at: Instant,
    alive: Alive,
}

impl Facts {
    pub(super) fn of(plan: &Plan, seen: &Seen<'_>, growth: &Growth, now: Instant) -> Facts {
        let course = growth.course();
        let until = course.as_of().unwrap_or(now).min(now);
        let first = [
            seen.stages.first().map(|(at, _)| *at),
            seen.opens.first().map(|(entry, _)| entry.at),
            seen.starts.first().map(|entry| entry.at),
            seen.tallies.first().map(|(at, _)| *at),
            plan.lent.start.as_ref().map(|lent| lent.value.at),
            plan.lent.stages.as_ref().and_then(|lent| lent.value.first()).map(|(at, _)| *at),
        ];
        let from = first.into_iter().flatten().min().map(|at| at.plus(-NIGHTS_BEFORE));
        let stages = seen.stages(plan);
        let nights = match from {
            Some(from) if course.may_freeze(from, until) => {
                frost::nights(course, &stages, plan.zone, from, until)
            }
            _ => Vec::new(),
        };
        let mut facts = Facts { nights, damage: None, alive: Vec::new(), stages, zone: plan.zone };
        facts.count(plan, seen);
        facts
    }

    /// Sums the damage counts up, each with those before it.
    fn count(&mut self, plan: &Plan, seen: &Seen<'_>) {
        if seen.tallies.is_empty() {
            return;
        }
        let tallies: Vec<(Instant, Tally)> =
            seen.tallies.iter().map(|(at, tally)| (*at, (*tally).clone())).collect();
        let clusters = seen.clusters();
        for so_far in 1..=tallies.len() {
            let (at, newest) = &tallies[so_far - 1];
            let minimum = self.nights.iter().rev().filter(|night| night.hit_at.is_some());
            let minimum = minimum.filter_map(|night| night.minimum_at).find(|minimum| minimum <= at);
            // A frost between two counts parts them, however near they are.
            let hit = self.nights.iter().filter_map(|night| night.hit_at).rfind(|hit| hit <= at);
            let first = hit.map_or(0, |hit| tallies[..so_far].partition_point(|(counted, _)| *counted < hit));
            let walks = &tallies[first..so_far];
            let damage = Damage::of(walks, clusters, self.per_cluster(plan, seen), minimum);
            if let Some(damage) = &damage {
                // Without laterals the kings stand for them: they freeze first.
                let laterals = damage.laterals.map_or(damage.kings.point, |laterals| laterals.point);
                let clusters = damage.live.map(|live| live.clusters_per_tree);
                let alive = Alive { clusters, kings: damage.kings.point, laterals };
                let from = self.holds_from(*at, newest);
                self.alive.push(AliveBy { from, counted_at: *at, alive });
            }
            self.damage = damage;
        }
    }

    /// From when on a count tells of the flowers: from the night that it was made
    /// after, else from the last hit before it, else from itself.
    fn holds_from(&self, at: Instant, tally: &Tally) -> Instant {
        let night = tally.after_night.and_then(|date| self.nights.iter().find(|night| night.date == date));
        let night = night
            .or_else(|| self.nights.iter().rev().find(|night| night.hit_at.is_some_and(|hit| hit <= at)));
        night.and_then(|night| night.hit_at.or(night.minimum_at)).map_or(at, |frost| frost.min(at))
    }

    fn per_cluster(&self, plan: &Plan, seen: &Seen<'_>) -> f64 {
        seen.per_cluster(plan).unwrap_or(plan.cultivar.flowers_per_cluster.value)
    }

    /// What is alive of flowers counted at a moment, where damage was counted.
    pub(super) fn alive_at(&self, at: Instant) -> Option<Alive> {
        self.alive.iter().rev().find(|by| by.from <= at).map(|by| by.alive)
    }

    /// What a frost left alive, and when that was counted: by the last count before
    /// the `next` frost, else by the first one after that.
    pub(super) fn left_by(&self, frost_at: Instant, next: Option<Instant>) -> Option<(Instant, Alive)> {
        let after = &self.alive[self.alive.partition_point(|by| by.counted_at < frost_at)..];
        let before_next = after.iter().rev().find(|by| next.is_none_or(|next| by.counted_at < next));
        before_next.or(after.first()).map(|by| (by.counted_at, by.alive))
    }

    /// What of flowers counted before frost is alive by the newest damage count.
    pub(super) fn survivors(&self, count: Count) -> Count {
        match self.alive.last().filter(|by| count.at < by.from) {
            Some(by) => by.alive.scaled(count),
            None => count,
        }
    }

    pub(super) fn counted_at(&self) -> Option<Instant> {
        self.damage.as_ref().map(|damage| damage.at)
    }

    /// Nights with 30 minutes at the kill line, earliest first.
    pub(super) fn frosts(&self) -> Vec<&Night> {
        self.nights.iter().filter(|night| night.hit_at.is_some()).collect()
    }

    /// The newest of them that nobody has counted damage after.
    pub(super) fn uncounted(&self) -> Option<&Night> {
        let newest = self.nights.iter().rev().find(|night| night.hit_at.is_some())?;
        let hit = newest.hit_at?;
        self.counted_at().is_none_or(|at| at < hit).then_some(newest)
    }

    /// The mornings after frosts: when someone can go and look.
    pub(super) fn mornings(&self, zone: Tz) -> impl Iterator<Item = Instant> {
        self.frosts()
            .into_iter()
            .filter_map(|night| morning_after(night, zone))
            .collect::<Vec<_>>()
            .into_iter()
    }

    /// The nights so far and ahead, for the season.
    #[expect(clippy::too_many_arguments, reason = "all that the intended spray hangs on")]
    pub(super) fn seen(
        &self,
        plan: &Plan,
        seen: &Seen<'_>,
        start: Option<&Start>,
        leg: Option<&Leg>,
        state: State,
        growth: &Growth,
        outlook: Option<&Outlook>,
        now: Instant,
    ) -> FrostSeen {
        let stage = self.stages.iter().rev().find(|(at, _)| *at <= now).map(|(_, stage)| *stage);
        let over = matches!(state, State::Done | State::StoodDown) || plan.threshold() <= 0.0;
        // From the last reading on, not from now: a season is a function of what was
        // read, and looks no other an hour later.
        let from = growth.course().as_of().unwrap_or(now);
        let spray = match (leg, start) {
            // A mark that no forecast reaches is taken to come as late as marks usually do.
            (Some(leg), _) => leg.expected_at.or(leg.reached_at).unwrap_or(leg.from.plus(START_TO_SPRAY)),
            (None, Some(start)) if start.basis == Basis::Expected => start.at.plus(START_TO_SPRAY),
            _ => from.plus(START_TO_SPRAY),
        };
        let until = spray.max(from).plus(FROST_MATTERS_AFTER);
        // Without a single reading there is nothing to ask.
        let asks = !over && growth.course().as_of().is_some();
        let night = self.uncounted().map(|night| spoken(night, self.zone));
        let foretold = || {
            let line_c = kill_line(stage);
            let members =
                outlook.and_then(|outlook| outlook.cold(from, until, line_c + COLD_MARGIN_C + SAME_K));
            cold_ahead(growth.course(), stage, from, until, COLD_MARGIN_C).by_members(line_c, members)
        };
        FrostSeen {
            stage,
            bbch: seen.bbch(plan),
            nights: self.nights.clone(),
            look_after: night,
            ahead: asks.then(foretold),
            asked_until: asks.then_some(until),
            over,
        }
    }

    /// What the plan's table says.
    pub(super) fn verdict(&self, plan: &Plan, seen: &Seen<'_>, frost: &FrostSeen) -> Verdict {
        let measured = |share: &Share, clusters: i64| Measured {
            share: share.point,
            n: share.n,
            per_cluster: share.n / clusters.max(1) as f64,
        };
        let damage = self.damage.as_ref();
        let figures = Figures {
            target: plan.block.target_fruit_per_tree,
            clusters: damage
                .and_then(|damage| damage.live)
                .map(|live| live.clusters_per_tree)
                .or(seen.clusters()),
            flowers_per_cluster: self.per_cluster(plan, seen),
            kings: damage.map(|damage| measured(&damage.kings, damage.clusters_examined)),
            laterals: damage.and_then(|damage| {
                damage.laterals.as_ref().map(|laterals| measured(laterals, damage.clusters_examined))
            }),
            frost_since_count: self.uncounted().is_some(),
            frost_night: frost.look_after.clone(),
            frost_ahead: match frost.ahead {
                Some(Ahead::Cold { .. }) => Some(true),
                Some(Ahead::None) => Some(false),
                Some(Ahead::NoForecast) => None,
                // Not asked any more, or nothing is there to ask.
                None => frost.over.then_some(false),
            },
            frost_asked_until: frost
                .asked_until
                .filter(|_| matches!(frost.ahead, Some(Ahead::Cold { .. })))
                .map(|until| until.spoken(plan.zone)),
            stand_down_line: plan.cultivar.stand_down_line.value,
        };
        plan.table.judge(&figures)
    }

    pub(super) fn buds(&self, plan: &Plan, seen: &Seen<'_>) -> Option<Buds> {
        if seen.buds.is_empty() {
            return None;
        }
        buds::buds(&seen.buds, plan.block.target_fruit_per_tree, &plan.cultivar, seen.bbch(plan))
    }

    pub(super) fn style(&self, plan: &Plan, seen: &Seen<'_>, growth: &Growth) -> Option<StyleLength> {
        let lengths = seen.style_lengths(plan);
        let mut style = style_length(lengths, growth.curve().measure)?;
        if seen.borrowed_style(plan).is_some() {
            style.widen(crate::lent::STYLE_WIDER);
        }
        Some(style)
    }
}

/// The morning after a night, at 7 on the wall clock.
pub fn morning_after(night: &Night, zone: Tz) -> Option<Instant> {
    use chrono::TimeZone;
    let wall = night.date.succ_opt()?.and_hms_opt(MORNING_HOUR, 0, 0)?;
    let morning = zone.from_local_datetime(&wall).earliest()?;
    let hit = night.hit_at.unwrap_or(Instant::MIN);
    Some(Instant(morning.timestamp()).max(hit))
}

/// `the night of 29 April (−2.4 °C)`.
pub fn spoken(night: &Night, _zone: Tz) -> String {
    let date = night.date.format("%-d %B");
    match night.minimum_c {
        Some(celsius) => format!("the night of {date} ({celsius:.1} °C)"),
        None => format!("the night of {date}"),
    }
}
