//! From entries of open flowers to counts of live ones: several kinds of wood
//! summed, trees in and out of their bearing year told apart, dead flowers taken
//! off.

use serde::{Deserialize, Serialize};

use super::Count;
use crate::field_log::{OpenCount, Standing, TreeClass};
use crate::stats::{Sample, apart};
use crate::time::{HOUR, Instant};
use crate::wood::Wood;

/// Entries that name their wood or trees belong to one walk within so long.
const ONE_WALK: i64 = 6 * HOUR;

/// With a larger spread between trees (standard deviation over mean) bearing and
/// resting trees are told apart (constructed: at 50 % five trees give a mean to
/// within 60 % only).
pub const WIDE_SPREAD: f64 = 0.5;

/// All of a tree, or one of its woods.
const WOODS: [Option<Wood>; 3] = [None, Some(Wood::Spur), Some(Wood::OneYear)];

/// What is taken of flowers that frost left alive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alive {
    /// Clusters on a tree, where they were counted.
    pub clusters: Option<f64>,
    /// Share of the kings alive.
    pub kings: f64,
    /// Share of the laterals alive.
    pub laterals: f64,
}

impl Alive {
    /// The live ones of so many open flowers: kings open first, up to one for each
    /// cluster, then laterals. Without a count of clusters all are taken as kings.
    pub fn of(&self, open: f64) -> f64 {
        let kings = open.min(self.clusters.unwrap_or(open));
        kings * self.kings + (open - kings) * self.laterals
    }

    /// The same of a count.
    pub fn scaled(&self, count: Count) -> Count {
        let mean = self.of(count.mean);
        let share = if count.mean > 0.0 { mean / count.mean } else { 1.0 };
        Count { mean, error: count.error * share, ..count }
    }
}

/// One walk through the block with its count.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk<'a> {
    /// The entry that it is known by: the last of the walk.
    pub entry: &'a Standing<'a>,
    /// Live open flowers on a tree.
    pub count: Count,
    /// What was seen beside.
    pub seen: WalkSeen,
}

/// What a walk shows beside its mean.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct WalkSeen {
    /// Standard deviation between trees over their mean.
    pub spread: Option<f64>,
    /// Means of bearing and resting trees, where they were told apart and the clock
    /// goes by the bearing ones.
    pub apart: Option<(f64, f64)>,
    /// A tree far from all others.
    pub odd_tree: Option<i64>,
    /// Whether dead flowers were taken off by the damage count.
    pub dead_taken_off: bool,
}

/// The walks of a log in order of time. `alive` gives what a damage count says of
/// flowers counted at a moment, where all were counted.
pub fn walks<'a>(
    entries: &[(&'a Standing<'a>, &'a OpenCount)],
    alive: impl Fn(Instant) -> Option<Alive>,
) -> Vec<Walk<'a>> {
    let mut walks = Vec::with_capacity(entries.len());
    let mut rest = entries;
    while let Some(((first, count), _)) = rest.split_first() {
        let named = |count: &OpenCount| count.wood.is_some() || count.class.is_some();
        // The same wood and trees again are another walk.
        let mut met = Vec::new();
        let together = |(entry, count): &&(&Standing<'_>, &OpenCount)| {
            let kind = (count.wood, count.class);
            let new = !met.contains(&kind);
            met.push(kind);
            new && named(count) && entry.at.since(first.at) <= ONE_WALK
        };
        let length = if named(count) { rest.iter().take_while(together).count().max(1) } else { 1 };
        let (group, after) = rest.split_at(length);
        walks.push(walk(group, &alive));
        rest = after;
    }
    // Of several at one moment the lower comes first: flowers open.
    walks.sort_by(|a, b| a.count.at.cmp(&b.count.at).then(a.count.mean.total_cmp(&b.count.mean)));
    walks
}

fn walk<'a>(
    group: &[(&'a Standing<'a>, &'a OpenCount)],
    alive: &impl Fn(Instant) -> Option<Alive>,
) -> Walk<'a> {
    let entry = group[group.len() - 1].0;
    let at = entry.at;
    let mut seen = WalkSeen::default();
    // Trees are held against each other within one kind of wood: spurs and long
    // shoots bear differently on every tree.
    for wood in WOODS {
        let trees = trees(group, |count| count.wood == wood);
        if trees.is_empty() {
            continue;
        }
        let spread = Sample::of_counts(&trees).and_then(|sample| sample.spread());
        seen.spread = match (seen.spread, spread) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        seen.odd_tree = seen.odd_tree.or_else(|| odd(&trees));
    }
    let whole = class_mean(group, at, |_| true);
    let class = |class| class_mean(group, at, |count| count.class == Some(class));
    let wide = seen.spread.is_some_and(|spread| spread > WIDE_SPREAD);
    let apart = wide.then(|| class(TreeClass::On).zip(class(TreeClass::Off))).flatten();
    let count = match apart {
        Some((on, off)) => {
            seen.apart = Some((on.mean, off.mean));
            Some(on)
        }
        _ => whole,
    };
    let count = count.unwrap_or(Count { at, mean: 0.0, trees: 0, error: 0.0 });
    let all_counted = group.iter().any(|(_, count)| !count.live_only);
    let count = match alive(at).filter(|_| all_counted) {
        Some(alive) => {
            seen.dead_taken_off = true;
            alive.scaled(count)
        }
        None => count,
    };
    Walk { entry, count, seen }
}

/// Open flowers of each tree of some entries.
fn trees(group: &[(&Standing<'_>, &OpenCount)], wanted: impl Fn(&OpenCount) -> bool) -> Vec<i64> {
    let wanted = group.iter().filter(|(_, count)| wanted(count));
    wanted.flat_map(|(_, count)| &count.open_per_tree).copied().collect()
}

/// Mean of the trees of some entries: those of one wood pooled, the woods summed.
fn class_mean(
    group: &[(&Standing<'_>, &OpenCount)],
    at: Instant,
    wanted: impl Fn(&OpenCount) -> bool,
) -> Option<Count> {
    let of = |wood: Option<Wood>| -> Option<Count> {
        let trees = trees(group, |count| count.wood == wood && wanted(count));
        (!trees.is_empty()).then(|| Count::of(at, &trees))
    };
    WOODS.into_iter().filter_map(of).reduce(|a, b| Count {
        at,
        mean: a.mean + b.mean,
        trees: a.trees.min(b.trees),
        error: libm::sqrt(a.error * a.error + b.error * b.error),
    })
}

/// The tree farthest from the mean, of those that stand apart from the rest.
fn odd(trees: &[i64]) -> Option<i64> {
    if trees.len() < 4 {
        return None;
    }
    let open: Vec<f64> = trees.iter().map(|tree| *tree as f64).collect();
    let middle = Sample::of(&open)?.mean;
    // Of several the one that lies farthest.
    let far = |a: &f64, b: &f64| (a - middle).abs().total_cmp(&(b - middle).abs());
    apart(&open, 0.0).into_iter().max_by(far).map(|open| open as i64)
}
