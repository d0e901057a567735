//! Hours joined to slots, and the one that a leg is looking for.

use serde::{Deserialize, Serialize};

use super::judged::{Beside, HourStand, Margin, Stand, judge};
use super::limits::{Fact, Limit};
use super::reason::Reason;
use super::what::What;
use super::{Ask, LOOK_AFTER, Wanted};
use crate::plan::MarkBound;
use crate::time::{HOUR, Instant};

/// So long before the mark hours are listed, though none of them is for a leg that
/// must not go before it, seconds (constructed).
const LIST_BEFORE: i64 = 6 * HOUR;

/// A stretch of practical hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slot {
    /// When it begins.
    pub begin: Instant,
    /// When it ends.
    pub end: Instant,
    /// Its length, hours.
    pub hours: f64,
    /// The limit of the air that it comes nearest to.
    pub least: Option<Margin>,
    /// Whether honey bees stay in all through it: sun down or under 10 °C.
    pub bee_quiet: bool,
    /// Whether some of it lies at night, when spray dries slowly.
    pub at_night: bool,
}

/// Which edge of the mark's time a slot was looked for with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Edge {
    /// The early one.
    Early,
    /// The likely time.
    Likely,
    /// The late one.
    Late,
}

/// The slot for one edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EdgeSlot {
    /// Which edge.
    pub edge: Edge,
    /// When the mark is reached by it.
    pub at: Instant,
    /// The slot; none where none comes.
    pub slot: Option<Slot>,
}

/// How the search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A slot is named.
    Named,
    /// Practical hours come, but no stretch is long enough for the work.
    TooShort,
    /// No hour is practical.
    Never,
    /// No hour is practical by what is known, and of some not enough is known.
    NotKnown,
    /// No limit is set.
    NoLimits,
    /// When the mark is reached is not known.
    NoTime,
    /// No hour of weather lies where a slot would have to.
    NoWeather,
}

/// How often one thing stands in the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Way {
    /// What.
    pub what: What,
    /// Hours that it speaks against.
    pub hours: usize,
    /// Hours that nothing else speaks against, and of which all is known.
    pub alone: usize,
}

/// What came of looking for a leg's slot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// What was asked.
    pub wanted: Wanted,
    /// How it ended.
    pub outcome: Outcome,
    /// The slot by the likely time of the mark.
    pub slot: Option<Slot>,
    /// The same by each edge that is known, the likely one among them.
    pub edges: Vec<EdgeSlot>,
    /// For a not-after leg without a slot ahead of its mark: the first one after it.
    pub beyond: Option<Slot>,
    /// From when to when a slot was looked for, by the likely time.
    pub searched: Option<(Instant, Instant)>,
    /// Every stretch of practical hours on the right side of the likely mark.
    pub slots: Vec<Slot>,
    /// Each hour around the mark.
    pub hours: Vec<HourStand>,
    /// What stood in the way between [`Self::searched`], the most first.
    pub in_the_way: Vec<Way>,
    /// The limits that held.
    pub limits: Vec<Limit>,
    /// What no limit is set for.
    pub not_set: Vec<What>,
    /// Facts of the material.
    pub facts: Vec<Fact>,
    /// Whether the last spray has no recorded re-entry time.
    pub reentry_unrecorded: bool,
    /// How long the work takes, seconds.
    pub needed: i64,
}

impl Answer {
    /// The same without its hours.
    #[must_use]
    pub fn brief(&self) -> Answer {
        Answer { hours: Vec::new(), ..self.clone() }
    }
}

/// Looks for the slot of a leg.
pub fn find(ask: &Ask<'_>) -> Answer {
    let held = ask.limits.held(ask.material);
    let mut answer = Answer {
        wanted: ask.wanted,
        outcome: Outcome::NoTime,
        slot: None,
        edges: Vec::new(),
        beyond: None,
        searched: None,
        slots: Vec::new(),
        hours: Vec::new(),
        in_the_way: Vec::new(),
        not_set: What::SET.into_iter().filter(|what| held.iter().all(|limit| limit.what != *what)).collect(),
        limits: held.iter().map(|limit| (*limit).clone()).collect(),
        facts: ask.limits.facts_for(ask.material).into_iter().cloned().collect(),
        reentry_unrecorded: ask.last_spray.is_some_and(|spray| spray.reentry_until.is_none()),
        needed: ask.needed.max(0),
    };
    let Some(likely) = ask.wanted.likely else { return answer };
    let Wanted { early, late, bound, .. } = ask.wanted;
    let first = early.map_or(likely, |early| early.min(likely));
    let last = late.map_or(likely, |late| late.max(likely)).max(ask.now);
    let from = match bound {
        MarkBound::NotBefore => ask.now.max(first.plus(-LIST_BEFORE)),
        MarkBound::NotAfter => ask.now,
    };
    let (hours, _) = ask.hours.within(from, last.plus(LOOK_AFTER));
    let mut judged: Vec<HourStand> = hours.iter().map(|hour| judge(ask, &held, hour)).collect();
    let reach = judged.last().map_or(ask.now, |hour| hour.to);

    let searched = searched(ask, likely, reach);
    answer.searched = Some(searched);
    let edges = [(Edge::Early, early), (Edge::Likely, Some(likely)), (Edge::Late, late)];
    for (edge, at) in edges {
        let Some(at) = at else { continue };
        let slots = joined(&judged, self::searched(ask, at, reach));
        answer.edges.push(EdgeSlot { edge, at, slot: pick(ask, at, &slots) });
    }
    answer.slots = joined(&judged, searched);
    answer.slot = pick(ask, likely, &answer.slots);
    if answer.slot.is_none() && bound == MarkBound::NotAfter && likely > ask.now {
        let after = joined(&judged, (likely, reach));
        answer.beyond = after.into_iter().find(|slot| long_enough(slot, ask.needed));
    }
    answer.outcome = outcome(&answer, &judged, held.is_empty());
    answer.in_the_way = in_the_way(&judged, searched);
    for hour in &mut judged {
        beside_mark(ask, likely, hour);
    }
    answer.hours = judged;
    answer
}

/// Where a slot may lie when the mark is reached at `mark`. A not-after mark that has
/// passed already leaves what comes next.
pub(super) fn searched(ask: &Ask<'_>, mark: Instant, reach: Instant) -> (Instant, Instant) {
    match ask.wanted.bound {
        MarkBound::NotBefore => (ask.now.max(mark), reach),
        MarkBound::NotAfter if mark > ask.now => (ask.now, mark.min(reach)),
        MarkBound::NotAfter => (ask.now, reach),
    }
}

/// The slot that the leg wants of those on the right side of `mark`: from a not-before
/// mark on the first, up to a not-after mark the last.
fn pick(ask: &Ask<'_>, mark: Instant, slots: &[Slot]) -> Option<Slot> {
    let mut fit = slots.iter().filter(|slot| long_enough(slot, ask.needed));
    match ask.wanted.bound {
        MarkBound::NotAfter if mark > ask.now => fit.next_back().copied(),
        _ => fit.next().copied(),
    }
}

fn long_enough(slot: &Slot, needed: i64) -> bool {
    slot.end.since(slot.begin) >= needed.max(1)
}

/// Practical hours in a row, cut to the stretch that is looked at.
pub(super) fn joined(hours: &[HourStand], stretch: (Instant, Instant)) -> Vec<Slot> {
    runs(hours, stretch, |hour| hour.stand == Stand::Practical)
}

/// The same of hours that `counts`.
pub(super) fn runs(
    hours: &[HourStand],
    (from, to): (Instant, Instant),
    counts: impl Fn(&HourStand) -> bool,
) -> Vec<Slot> {
    let mut slots: Vec<Slot> = Vec::new();
    for hour in hours.iter().filter(|hour| counts(hour)) {
        let (begin, end) = (hour.from.max(from), hour.to.min(to));
        if begin >= end {
            continue;
        }
        let quiet = hour.beside.contains(&Beside::BeeQuiet);
        let night = hour.beside.contains(&Beside::DriesSlowly);
        match slots.last_mut().filter(|slot| slot.end == begin) {
            Some(slot) => {
                slot.end = end;
                slot.least = Margin::nearer(slot.least, hour.least);
                slot.bee_quiet &= quiet;
                slot.at_night |= night;
            }
            None => slots.push(Slot {
                begin,
                end,
                hours: 0.0,
                least: hour.least,
                bee_quiet: quiet,
                at_night: night,
            }),
        }
    }
    for slot in &mut slots {
        slot.hours = slot.end.since(slot.begin) as f64 / HOUR as f64;
    }
    slots
}

fn outcome(answer: &Answer, judged: &[HourStand], no_limits: bool) -> Outcome {
    let Some((from, to)) = answer.searched else { return Outcome::NoTime };
    let mut looked_at = judged.iter().filter(|hour| hour.to > from && hour.from < to).peekable();
    if looked_at.peek().is_none() {
        return Outcome::NoWeather;
    }
    match () {
        () if no_limits => Outcome::NoLimits,
        () if answer.slot.is_some() => Outcome::Named,
        () if looked_at.any(|hour| hour.stand == Stand::NotKnown) => Outcome::NotKnown,
        () if !answer.slots.is_empty() => Outcome::TooShort,
        () => Outcome::Never,
    }
}

/// Counts what stands in the way, the most hours first, then the most alone.
fn in_the_way(judged: &[HourStand], (from, to): (Instant, Instant)) -> Vec<Way> {
    let mut ways: Vec<Way> = Vec::new();
    for hour in judged.iter().filter(|hour| hour.to > from && hour.from < to) {
        let mut whats: Vec<What> = hour.against.iter().map(|reason| reason.what).collect();
        whats.dedup();
        let alone = usize::from(whats.len() == 1 && hour.not_known.is_empty());
        for what in whats {
            match ways.iter_mut().find(|way| way.what == what) {
                Some(way) => (way.hours, way.alone) = (way.hours + 1, way.alone + alone),
                None => ways.push(Way { what, hours: 1, alone }),
            }
        }
    }
    ways.sort_by_key(|way| (std::cmp::Reverse((way.hours, way.alone)), way.what));
    ways
}

/// What the mark makes of an hour: on the wrong side of its likely time it speaks
/// against it, between likely time and edge it stands beside.
fn beside_mark(ask: &Ask<'_>, likely: Instant, hour: &mut HourStand) {
    let Wanted { bound, early, late, .. } = ask.wanted;
    match bound {
        MarkBound::NotBefore if hour.to <= likely => hour.oppose(Reason::by(What::Mark, likely)),
        MarkBound::NotBefore if late.is_some_and(|late| hour.from < late) => {
            hour.beside.push(Beside::MarkMayBeLater);
        }
        MarkBound::NotAfter if likely > ask.now && hour.from >= likely => {
            hour.oppose(Reason::by(What::Mark, likely));
        }
        MarkBound::NotAfter if early.is_some_and(|early| hour.to > early) => {
            hour.beside.push(Beside::MarkMayHavePassed);
        }
        _ => {}
    }
}
