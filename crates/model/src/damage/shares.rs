//! Shares alive with their intervals, and live flowers on a tree by them.

use serde::{Deserialize, Serialize};

use crate::stats::wilson;

/// In a normal year one flower in six sets (NIAB; published).
pub const SETS_ONE_IN: f64 = 6.0;
/// How alike the laterals of one cluster are taken to fare, 0 to 1 (intra-class
/// correlation): 1, all live or die together, so that a cluster counts once.
/// Counts by cluster would give it, and none are kept (constructed, on the
/// cautious side).
const ALIKE: f64 = 1.0;

/// A share of flowers that are alive.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// Flowers alive.
    pub alive: i64,
    /// Flowers examined, more than none.
    pub examined: i64,
    /// Independent ones among them: what the interval goes by.
    pub n: f64,
    /// Share alive, 0 to 1.
    pub point: f64,
    /// Lower end of Wilson's 95 % interval.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
}

impl Share {
    fn of(alive: i64, examined: i64, design_effect: f64) -> Option<Share> {
        if examined <= 0 {
            return None;
        }
        let n = examined as f64 / design_effect;
        let point = alive as f64 / examined as f64;
        let (low, high) = wilson(point, n);
        Some(Share { alive, examined, n, point, low, high })
    }

    /// A number of things for each flower of this share, with its interval.
    pub(super) fn each(&self, number: f64) -> Figure {
        Figure { point: number * self.point, low: number * self.low, high: number * self.high }
    }

    /// Whether even the upper end lies under another share's lower end.
    pub(super) fn below(&self, other: &Share) -> bool {
        self.high < other.low
    }
}

/// A number with the ends that the 95 % intervals of its shares give it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// By the shares as counted.
    pub point: f64,
    /// By their lower ends.
    pub low: f64,
    /// By their upper ends.
    pub high: f64,
}

/// How many times fewer independent flowers a sample has than flowers, when it
/// was taken by clusters: 1 + (m − 1)·ρ for m flowers in each and a likeness ρ
/// between them (Kish 1965, Survey Sampling; from memory). At least 1.
pub fn design_effect(per_cluster: f64, likeness: f64) -> f64 {
    (1.0 + (per_cluster - 1.0) * likeness).max(1.0)
}

/// Share of the kings alive; each stands in a cluster of its own. None for
/// none.
pub fn kings(alive: i64, examined: i64) -> Option<Share> {
    Share::of(alive, examined, 1.0)
}

/// Share of the laterals alive, cut from so many clusters. Those of one cluster
/// freeze together, so each cluster counts once. None for none.
pub fn laterals(alive: i64, examined: i64, clusters: i64) -> Option<Share> {
    let per_cluster = examined as f64 / clusters.max(1) as f64;
    Share::of(alive, examined, design_effect(per_cluster, ALIKE))
}

/// Live flowers on a tree: each cluster has one king, and the rest of its
/// flowers are laterals. Shares are 0 to 1.
pub fn live_flowers(
    clusters_per_tree: f64,
    king_share: f64,
    flowers_per_cluster: f64,
    lateral_share: f64,
) -> f64 {
    clusters_per_tree * (king_share + (flowers_per_cluster - 1.0).max(0.0) * lateral_share)
}
