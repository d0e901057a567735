//! The newest walk through a block: its counts pooled, and what the heights in
//! the trees say.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::shares::{Figure, SETS_ONE_IN, Share, kings, laterals, live_flowers};
use super::{Place, Tally};
use crate::stats::Sample;
use crate::time::{DAY, HOUR, Instant};
use crate::wood::Wood;

/// Counts this close to the newest one, after the same night, are of one walk,
/// seconds (constructed).
pub(crate) const ONE_WALK: i64 = DAY;
/// Time after a night's minimum before which a dead flower may not have turned
/// brown, seconds (common practice, no source).
pub const BROWNING: i64 = 12 * HOUR;

/// What the newest walk found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Damage {
    /// When the last of its counts was made.
    pub at: Instant,
    /// Local date on which the night begins that it was made after, where given.
    #[serde(with = "crate::frost::date::option")]
    pub after_night: Option<NaiveDate>,
    /// Clusters cut in all.
    pub clusters_examined: i64,
    /// Kings alive.
    pub kings: Share,
    /// Laterals alive, where both alive and dead were counted.
    pub laterals: Option<Share>,
    /// Live flowers on a tree, where its clusters are known.
    pub live: Option<Live>,
    /// What the heights say, where any was given.
    pub heights: Option<Heights>,
    /// Whether it was made so soon that browning may not show yet.
    pub early: bool,
}

/// Live flowers on a tree. The intervals are those of the shares; how trees
/// differ in clusters is not in them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Live {
    /// Clusters on a tree.
    pub clusters_per_tree: f64,
    /// Flowers in a cluster.
    pub flowers_per_cluster: f64,
    /// Kings alive on a tree.
    pub kings: Figure,
    /// Flowers alive on a tree, where laterals were counted.
    pub flowers: Option<Figure>,
    /// Fruit, if one live flower in six sets as in a normal year
    /// ([`SETS_ONE_IN`]); after frost set is not known.
    pub fruit_at_one_in_six: Option<Figure>,
}

/// Counts at one height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Height {
    /// Kings alive there.
    pub kings: Share,
    /// Laterals alive there, where counted.
    pub laterals: Option<Share>,
}

/// Counts by height in the trees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Heights {
    /// The lowest limbs.
    pub low: Option<Height>,
    /// Between.
    pub mid: Option<Height>,
    /// The tops.
    pub high: Option<Height>,
    /// Which of low and high is worse, where their intervals do not overlap.
    pub worse: Option<Worse>,
}

/// Where in the trees fewer flowers are alive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Worse {
    /// Low, where cold air lies: the crop hangs in the tops.
    Low,
    /// High.
    High,
}

/// Whether a count was made so soon after a night's minimum that browning may
/// not show yet. One made before the minimum is not early: it does not tell of
/// that night at all.
pub fn early(at: Instant, minimum_at: Option<Instant>) -> bool {
    minimum_at.is_some_and(|minimum| (0..BROWNING).contains(&at.since(minimum)))
}

impl Damage {
    /// Sums up the newest walk of all damage counts of a season; none when there
    /// are none. Counts of one walk are pooled as they were cut, whatever height
    /// and wood they are from.
    ///
    /// `clusters_per_tree` stands in where the walk did not count them (flower
    /// buds a tree: each opens as one cluster); `minimum_at` is when the newest
    /// cold night was coldest.
    pub fn of(
        tallies: &[(Instant, Tally)],
        clusters_per_tree: Option<f64>,
        flowers_per_cluster: f64,
        minimum_at: Option<Instant>,
    ) -> Option<Damage> {
        // Of two at one moment the later in the list is the newer.
        let (at, newest) = tallies.iter().max_by_key(|(at, _)| *at)?;
        let same = |(other, tally): &&(Instant, Tally)| {
            at.since(*other) <= ONE_WALK && tally.after_night == newest.after_night
        };
        let walk: Vec<&(Instant, Tally)> = tallies.iter().filter(same).collect();
        let tallies: Vec<&Tally> = walk.iter().map(|(_, tally)| tally).collect();
        let whole = pooled(tallies.iter().copied())?;
        let per_tree = clusters_on_a_tree(tallies.iter().copied()).or(clusters_per_tree);
        Some(Damage {
            at: *at,
            after_night: newest.after_night,
            clusters_examined: whole.kings.examined,
            kings: whole.kings,
            laterals: whole.laterals,
            live: per_tree.map(|clusters| live(&whole, clusters, flowers_per_cluster)),
            heights: heights(&tallies),
            early: walk.iter().any(|(at, _)| early(*at, minimum_at)),
        })
    }
}

/// Clusters on a tree by the counts of one walk: trees of one kind of wood give a
/// mean, and spur and one-year wood add up. None where nobody counted them.
pub fn clusters_on_a_tree<'a>(tallies: impl Iterator<Item = &'a Tally> + Clone) -> Option<f64> {
    let of = |wood: Option<Wood>| {
        let own = tallies.clone().filter(|tally| tally.wood == wood);
        let trees: Vec<i64> = own.flat_map(|tally| &tally.clusters_per_tree).copied().collect();
        Sample::of_counts(&trees).map(|sample| sample.mean)
    };
    [of(None), of(Some(Wood::Spur)), of(Some(Wood::OneYear))].into_iter().flatten().reduce(|a, b| a + b)
}

/// The shares of several counts together; none of no count.
fn pooled<'a>(tallies: impl Iterator<Item = &'a Tally>) -> Option<Height> {
    let (mut alive, mut clusters) = (0, 0);
    let (mut laterals_alive, mut laterals_seen, mut laterals_clusters) = (0, 0, 0);
    for tally in tallies {
        alive += tally.kings_alive;
        clusters += tally.clusters_examined;
        if let Some((living, seen)) = tally.laterals() {
            laterals_alive += living;
            laterals_seen += seen;
            laterals_clusters += tally.clusters_examined;
        }
    }
    let laterals = laterals(laterals_alive, laterals_seen, laterals_clusters);
    Some(Height { kings: kings(alive, clusters)?, laterals })
}

fn live(whole: &Height, clusters: f64, flowers_per_cluster: f64) -> Live {
    let kings = whole.kings;
    let flowers = whole.laterals.map(|laterals| {
        let run = |king, lateral| live_flowers(clusters, king, flowers_per_cluster, lateral);
        Figure {
            point: run(kings.point, laterals.point),
            low: run(kings.low, laterals.low),
            high: run(kings.high, laterals.high),
        }
    });
    let fruit = |flowers: Figure| Figure {
        point: flowers.point / SETS_ONE_IN,
        low: flowers.low / SETS_ONE_IN,
        high: flowers.high / SETS_ONE_IN,
    };
    Live {
        clusters_per_tree: clusters,
        flowers_per_cluster,
        kings: kings.each(clusters),
        flowers,
        fruit_at_one_in_six: flowers.map(fruit),
    }
}

fn heights(tallies: &[&Tally]) -> Option<Heights> {
    let at = |place| pooled(tallies.iter().copied().filter(|tally| tally.place == Some(place)));
    let (low, mid, high) = (at(Place::Low), at(Place::Mid), at(Place::High));
    low.or(mid).or(high)?;
    Some(Heights { low, mid, high, worse: low.zip(high).and_then(|(low, high)| worse(&low, &high)) })
}

/// By the kings, since they come first; by the laterals where kings do not part
/// them.
fn worse(low: &Height, high: &Height) -> Option<Worse> {
    let parted = |low: &Share, high: &Share| match (low.below(high), high.below(low)) {
        (true, _) => Some(Worse::Low),
        (_, true) => Some(Worse::High),
        _ => None,
    };
    parted(&low.kings, &high.kings)
        .or_else(|| low.laterals.zip(high.laterals).and_then(|(low, high)| parted(&low, &high)))
}
