//! A round in whole steps and whole costs, so that sums never hang on their order.

use super::way::Ways;
use super::{EARLY_AFTER, EARLY_BEFORE, STEP, Sprayer, Stop};
use crate::plan::MarkBound;
use crate::time::{HOUR, Instant};

/// Costs are counted in millionths of a style on one hectare.
pub(super) const UNITS: f64 = 1e6;
/// Dearer than any round.
pub(super) const NEVER: i64 = 1 << 60;
/// What leaving a block out costs: more than all others together ever do.
pub(super) const LEFT_OUT: i64 = 1_000_000_000_000_000;
/// Most that one block costs.
const DEAREST: f64 = 100_000_000_000.0;
/// A step of way costs this: it only decides between rounds that are as good.
pub(super) const WAY_COST: i64 = 100;

/// A block that can be planned.
#[derive(Debug, Clone)]
pub(super) struct Job {
    /// Its place among the stops.
    pub stop: usize,
    /// Its slots in steps, in order and apart.
    pub windows: Vec<(usize, usize)>,
    /// Cost of beginning at each step.
    pub early: Vec<i64>,
    /// Cost of finishing at each step.
    pub late: Vec<i64>,
}

/// A sprayer that can be planned.
#[derive(Debug, Clone)]
pub(super) struct Rig {
    /// Its place among the sprayers.
    pub sprayer: usize,
    /// First step at which it may set out.
    pub free: usize,
    /// What its tank holds, mL; 0: filling is not reckoned.
    pub tank: i64,
    /// Of each job: spray that goes on, mL.
    pub litres: Vec<i64>,
    /// Of each job: seconds without filling.
    pub spraying: Vec<i64>,
    /// Of each job: seconds of one filling with the way there and back.
    pub filling: Vec<i64>,
    /// Of each job: steps from where it stands first.
    pub first: Vec<usize>,
}

impl Rig {
    /// Steps that a job takes, and fillings in it, after so much has gone through the
    /// tank.
    pub fn work(&self, job: usize, before: i64) -> (usize, i64) {
        let by = |litres: i64| if self.tank > 0 { ((litres - 1).max(0)) / self.tank } else { 0 };
        let fills = by(before + self.litres[job]) - by(before);
        (steps(self.spraying[job] + fills * self.filling[job]).max(1), fills)
    }
}

/// A round in steps.
#[derive(Debug, Clone)]
pub(super) struct Problem {
    /// The moment of step 0.
    pub origin: Instant,
    /// The blocks.
    pub jobs: Vec<Job>,
    /// The sprayers.
    pub rigs: Vec<Rig>,
    /// Steps from one job to another.
    pub ways: Vec<Vec<usize>>,
}

/// Seconds in whole steps, rounded up.
pub(super) fn steps(seconds: i64) -> usize {
    usize::try_from((seconds + STEP - 1).div_euclid(STEP)).unwrap_or(0)
}

impl Problem {
    /// The moment of a step.
    pub fn at(&self, step: usize) -> Instant {
        self.origin.plus(step as i64 * STEP)
    }

    /// Steps and cost of the way to a job from the one before, or from the start.
    pub fn way(&self, rig: &Rig, before: Option<usize>, job: usize) -> (usize, i64) {
        let way = before.map_or(rig.first[job], |before| self.ways[before][job]);
        (way, way as i64 * WAY_COST)
    }

    /// The soonest step by which a sprayer that goes there first has finished a job; none
    /// where its slots do not allow it.
    pub fn soonest(&self, rig: &Rig, job: usize) -> Option<usize> {
        let (work, there) = (rig.work(job, 0).0, rig.free + rig.first[job]);
        let fits = |(begin, end): &(usize, usize)| {
            let done = there.max(*begin) + work;
            (done <= *end).then_some(done)
        };
        self.jobs[job].windows.iter().find_map(fits)
    }
}

/// What it costs to begin and to finish a block at each of `count` steps from `origin`.
pub(super) fn costs(stop: &Stop, likely: Instant, origin: Instant, count: usize) -> (Vec<i64>, Vec<i64>) {
    let weight = match stop.bound {
        MarkBound::NotBefore => EARLY_BEFORE,
        MarkBound::NotAfter => EARLY_AFTER,
    };
    let moment = |step: usize| origin.plus(step as i64 * STEP);
    let early = |at: Instant| weight * style(stop, likely.since(at));
    let late = |at: Instant| more_through(stop, likely, at).unwrap_or_else(|| style(stop, at.since(likely)));
    let whole = |cost: f64| (cost * stop.hectares * UNITS).clamp(0.0, DEAREST).round() as i64;
    (
        (0..count).map(|step| whole(early(moment(step)))).collect(),
        (0..count).map(|step| whole(late(moment(step)))).collect(),
    )
}

/// Share of the style that grows in so many seconds; none in less than none.
fn style(stop: &Stop, seconds: i64) -> f64 {
    stop.style_per_hour * seconds.max(0) as f64 / HOUR as f64
}

/// Flowers that come through between the mark and a moment, as a share of the fruit
/// wanted; none without counts.
pub(super) fn more_through(stop: &Stop, likely: Instant, at: Instant) -> Option<f64> {
    let flowers = stop.flowers.as_ref()?;
    if at <= likely {
        return Some(0.0);
    }
    let by = |at| through(&flowers.through, at);
    Some((by(at) - by(likely)).max(0.0) / flowers.target)
}

/// Flowers through by a moment.
fn through(points: &[(Instant, f64)], at: Instant) -> f64 {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return 0.0 };
    let after = points.partition_point(|(moment, _)| *moment <= at);
    if after == 0 {
        return first.1;
    }
    let (from, to) = match (points.get(after), points.len()) {
        (Some(next), _) => (points[after - 1], *next),
        (None, 1) => return last.1,
        (None, count) => (points[count - 2], *last),
    };
    from.1 + (to.1 - from.1) * at.since(from.0) as f64 / to.0.since(from.0).max(1) as f64
}

/// Seconds of a block's spraying by a sprayer.
pub(super) fn spraying(stop: &Stop, sprayer: &Sprayer) -> i64 {
    (stop.hectares / sprayer.hectares_per_hour * HOUR as f64).round() as i64
}

/// Seconds of one filling at a block, with the way there and back.
pub(super) fn filling(stop: &Stop, sprayer: &Sprayer, ways: &Ways) -> i64 {
    let way = ways.seconds(stop.spot, sprayer.fill_at) + ways.seconds(sprayer.fill_at, stop.spot);
    way + (sprayer.fill_minutes * 60.0).round() as i64
}
