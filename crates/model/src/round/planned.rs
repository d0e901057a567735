//! The round itself, and what is said of each block.

use serde::{Deserialize, Serialize};

use super::asked::Asked;
use super::problem::{Problem, Rig, UNITS, more_through};
use super::table::Table;
use super::{Ask, MOST_EXACT, STEP, Stop, exact, search};
use crate::plan::MarkBound;
use crate::time::{HOUR, Instant};

/// Why a block is left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "why")]
pub enum Why {
    /// Frost came over its leg, and nobody has looked at the flowers yet.
    Hold {
        /// Since when.
        since: Instant,
    },
    /// Its area is none, or no number.
    NoArea {
        /// The area, ha, where it is a number.
        hectares: Option<f64>,
    },
    /// Its position is no place on the earth.
    NoPlace,
    /// Its spray per area is no number above 0.
    NoRate,
    /// Its growth or its flowers cannot be reckoned with.
    NoPace,
    /// When its mark is reached is not known.
    NoMark,
    /// It has no slot ahead.
    NoSlot,
    /// Its slots lie outside the working day.
    OutsideDay,
    /// There is no sprayer.
    NoSprayer,
    /// No sprayer can be planned.
    NoCapacity,
    /// Ways cannot be reckoned.
    NoWays,
    /// There are more blocks than a round takes.
    TooMany,
    /// The work takes longer than its longest slot.
    SlotTooShort {
        /// What the fastest sprayer needs, seconds.
        needs: i64,
        /// The longest slot, seconds.
        longest: i64,
    },
    /// No sprayer gets there in time, even if it goes there first.
    TooFar {
        /// The soonest that one can be there.
        there: Instant,
    },
    /// Sprayers are at other blocks in its slots.
    Busy,
}

/// Why a block is sprayed after a not-after mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyLate {
    /// No sprayer could finish it before, even if it went there first.
    SlotOrWay,
    /// Sprayers are at other blocks before.
    Busy,
}

/// A block that is left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Which.
    pub block: String,
    /// Why.
    #[serde(flatten)]
    pub why: Why,
}

/// One block of a sprayer's run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Visit {
    /// Which.
    pub block: String,
    /// When to set out for it at the latest.
    pub go: Instant,
    /// When spraying begins.
    pub begin: Instant,
    /// When it is finished.
    pub finish: Instant,
    /// Fillings of the tank in between.
    pub fills: i64,
    /// Length of the way to it, km; none where it is not known.
    pub way_km: Option<f64>,
    /// Side of the mark to stay on.
    pub bound: MarkBound,
    /// When the mark is likely reached.
    pub mark: Instant,
    /// Early edge of that, where one is known.
    pub mark_early: Option<Instant>,
    /// Late edge of that.
    pub mark_late: Option<Instant>,
    /// Seconds by which it begins before the mark, 0 or more.
    pub early: i64,
    /// Seconds by which it finishes after the mark, 0 or more.
    pub late: i64,
    /// Share of the style that grows after the mark before it is finished.
    pub style_late: f64,
    /// Live flowers a tree that come through after the mark before it is finished, where
    /// counts allow it.
    pub flowers_late: Option<f64>,
    /// For a not-after mark that cannot be kept: why.
    pub why_late: Option<WhyLate>,
    /// What it costs, in styles on one hectare.
    pub cost: f64,
}

/// What one sprayer does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// Which.
    pub sprayer: String,
    /// Its blocks in order.
    pub visits: Vec<Visit>,
}

/// The round of a farm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Round {
    /// What each sprayer does; those without work and those that cannot be planned too.
    pub runs: Vec<Run>,
    /// Blocks that nobody gets to, in the order asked.
    pub left_out: Vec<LeftOut>,
    /// What all visits cost, in styles on one hectare.
    pub cost: f64,
    /// Whether no other round costs less.
    pub exact: bool,
    /// What else is to be known.
    pub notes: Vec<String>,
}

/// Plans the round.
pub fn plan(ask: &Ask) -> Round {
    let Asked { problem, mut left_out, notes } = Asked::of(ask);
    let exact = problem.jobs.len() <= MOST_EXACT;
    let routes = if exact { exact::routes(&problem) } else { search::routes(&problem).routes };
    let mut runs: Vec<Run> = ask
        .sprayers
        .iter()
        .map(|sprayer| Run { sprayer: sprayer.name.clone(), visits: Vec::new() })
        .collect();
    let mut reached = vec![false; problem.jobs.len()];
    for (rig, route) in problem.rigs.iter().zip(&routes) {
        runs[rig.sprayer].visits = visits(ask, &problem, rig, route);
        route.iter().for_each(|job| reached[*job] = true);
    }
    let busy = problem.jobs.iter().zip(reached).filter(|(_, reached)| !reached);
    left_out.extend(busy.map(|(job, _)| (job.stop, Why::Busy)));
    left_out.sort_by_key(|(place, _)| *place);
    let left_out =
        left_out.into_iter().map(|(place, why)| LeftOut { block: ask.stops[place].block.clone(), why });
    Round {
        cost: runs.iter().flat_map(|run| &run.visits).map(|visit| visit.cost).sum(),
        left_out: left_out.collect(),
        runs,
        exact,
        notes,
    }
}

/// Begin and finish of each job of an order, at least cost and then as early as can be.
pub(super) fn timed(problem: &Problem, rig: &Rig, order: &[usize]) -> Vec<(usize, usize)> {
    let mut tables = vec![Table::free(rig.free)];
    let mut works = Vec::with_capacity(order.len());
    let (mut last, mut litres) = (None, 0);
    for job in order {
        let (work, _) = rig.work(*job, litres);
        let (way, cost) = problem.way(rig, last, *job);
        let mut table = Table::default();
        table.open(&problem.jobs[*job], work);
        if let Some(before) = tables.last() {
            table.relax(before, way, cost, &problem.jobs[*job], work);
        }
        table.settle();
        tables.push(table);
        works.push((work, way));
        (last, litres) = (Some(*job), litres + rig.litres[*job]);
    }
    let mut times = Vec::with_capacity(order.len());
    let mut free = usize::MAX;
    for ((work, way), table) in works.iter().zip(&tables[1..]).rev() {
        let wanted = table.by(free);
        let finish = table.first_at(wanted);
        let begin = finish.saturating_sub(*work);
        times.push((begin, finish));
        free = begin.saturating_sub(*way);
    }
    times.reverse();
    times
}

fn visits(ask: &Ask, problem: &Problem, rig: &Rig, order: &[usize]) -> Vec<Visit> {
    let sprayer = &ask.sprayers[rig.sprayer];
    let (mut last, mut litres, mut from) = (None, 0, sprayer.starts_at.or(sprayer.fill_at));
    let mut visits = Vec::with_capacity(order.len());
    for (job, (begin, finish)) in order.iter().zip(timed(problem, rig, order)) {
        let stop = &ask.stops[problem.jobs[*job].stop];
        let (_, fills) = rig.work(*job, litres);
        let (way, _) = problem.way(rig, last, *job);
        let cost = problem.jobs[*job].early[begin] + problem.jobs[*job].late[finish];
        visits.push(Visit {
            go: problem.at(begin).plus(-(way as i64) * STEP),
            fills,
            way_km: ask.ways.km(from, stop.spot),
            why_late: why_late(problem, *job, stop, finish),
            cost: cost as f64 / UNITS,
            ..Visit::at(stop, problem.at(begin), problem.at(finish))
        });
        (last, litres, from) = (Some(*job), litres + rig.litres[*job], stop.spot);
    }
    visits
}

impl Visit {
    fn at(stop: &Stop, begin: Instant, finish: Instant) -> Visit {
        let mark = stop.mark.map_or(begin, |mark| mark.likely);
        let late = finish.since(mark).max(0);
        let more = more_through(stop, mark, finish);
        Visit {
            block: stop.block.clone(),
            go: begin,
            begin,
            finish,
            fills: 0,
            way_km: None,
            bound: stop.bound,
            mark,
            mark_early: stop.mark.and_then(|mark| mark.early),
            mark_late: stop.mark.and_then(|mark| mark.late),
            early: mark.since(begin).max(0),
            late,
            style_late: stop.style_per_hour * late as f64 / HOUR as f64,
            flowers_late: stop.flowers.as_ref().zip(more).map(|(flowers, more)| more * flowers.target),
            why_late: None,
            cost: 0.0,
        }
    }

    /// Whether it lies on the right side of its mark: begun not before, or finished not
    /// after it.
    pub fn in_time(&self) -> bool {
        match self.bound {
            MarkBound::NotBefore => self.early == 0,
            MarkBound::NotAfter => self.late == 0,
        }
    }
}

/// Why a not-after mark is not kept.
fn why_late(problem: &Problem, job: usize, stop: &Stop, finish: usize) -> Option<WhyLate> {
    let mark = stop.mark?.likely;
    if stop.bound == MarkBound::NotBefore || problem.at(finish) <= mark {
        return None;
    }
    let soonest = problem.rigs.iter().filter_map(|rig| problem.soonest(rig, job)).min();
    let alone = soonest.is_some_and(|step| problem.at(step) <= mark);
    Some(if alone { WhyLate::Busy } else { WhyLate::SlotOrWay })
}
