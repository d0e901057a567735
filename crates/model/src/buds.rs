//! Flower buds counted on the tree, against the fruit wanted: the first place
//! where the crop is set, with shears.

use serde::{Deserialize, Serialize};

use crate::block::MOST_PER_TREE;
use crate::cropload;
use crate::cultivar::Cultivar;
use crate::input::Fields;
use crate::stats;
use crate::wood::Wood;

mod tally;
mod told;

use tally::Tally;

/// Share of the mean that a bud count should come within, 95 times in 100
/// (common practice, no source).
pub const WITHIN: f64 = 0.10;
/// Above so many buds a fruit more pruning is worth the walk, until pink (common
/// practice, no source).
pub const PRUNE_MORE_ABOVE: f64 = 3.0;
/// BBCH of pink, from which on pruning comes too late (common practice, no
/// source; the code itself is published).
pub const PINK_BBCH: u8 = 57;
/// Most branches taken for a tree.
const MOST_BRANCHES: f64 = 1_000.0;
/// Nearer to the line than this share of it is at the line: what is left of
/// rounding in a mean.
const ROUNDING: f64 = 1e-9;

/// Flower buds counted on some trees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudCount {
    /// Flower buds on each tree.
    pub buds_per_tree: Vec<i64>,
    /// The wood they were counted on; none means all of the tree.
    pub wood: Option<Wood>,
    /// Fruiting branches on a tree, where counted.
    pub branches_per_tree: Option<f64>,
}

impl BudCount {
    /// Reads `buds_per_tree`, and optionally `wood` and `branches_per_tree`.
    pub fn from_fields(fields: &Fields<'_>) -> Option<BudCount> {
        let wood = Wood::from_fields(fields);
        let branches_per_tree = fields.number("branches_per_tree", 1.0, MOST_BRANCHES);
        let buds_per_tree = fields
            .require("buds_per_tree")
            .then(|| fields.wholes("buds_per_tree", 0, MOST_PER_TREE as i64))
            .flatten();
        Some(BudCount { buds_per_tree: buds_per_tree?, wood, branches_per_tree })
    }
}

/// Where the buds stand against the cultivar's line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Fewer buds a fruit than the cultivar wants.
    Below,
    /// As many.
    At,
    /// More.
    Above,
}

/// Whether shears can still follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pruning {
    /// The last stage logged lies before pink.
    StillPossible,
    /// Pink is reached.
    TooLate,
    /// No stage is logged.
    StageUnknown,
}

impl Pruning {
    /// By the BBCH code of the last stage logged.
    pub fn at(stage_bbch: Option<u8>) -> Pruning {
        match stage_bbch {
            Some(code) if code < PINK_BBCH => Pruning::StillPossible,
            Some(_) => Pruning::TooLate,
            None => Pruning::StageUnknown,
        }
    }
}

/// The latest bud counts, summed up and held against the target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Buds {
    /// Flower buds a tree, over all wood counted.
    pub per_tree: f64,
    /// Trees counted; of two woods the fewer.
    pub trees: usize,
    /// 95 % interval of the buds a tree by Student's t; none for one tree.
    pub low: Option<f64>,
    /// High end of the same.
    pub high: Option<f64>,
    /// Half of it as a share of the mean: what the trees counted give.
    pub within: Option<f64>,
    /// Spread between the trees: standard deviation as a share of the mean.
    pub spread: Option<f64>,
    /// Trees that bring the mean to ±10 % at that spread, 95 times in 100.
    pub trees_needed: Option<usize>,
    /// Wood that was not counted while the other was.
    pub uncounted: Option<Wood>,
    /// Fruit wanted on a tree.
    pub target: f64,
    /// Cultivar that the line is of.
    pub cultivar: String,
    /// Buds to keep for each fruit wanted.
    pub line: f64,
    /// Buds for each fruit wanted; none at a target of 0.
    pub ratio: Option<f64>,
    /// Low end of its 95 % interval, by the buds alone.
    pub ratio_low: Option<f64>,
    /// High end of the same.
    pub ratio_high: Option<f64>,
    /// Where the ratio lies against the line.
    pub standing: Option<Standing>,
    /// Whether the interval leaves that open.
    pub close: bool,
    /// Buds that the line leaves on a tree.
    pub wanted_per_tree: Option<f64>,
    /// Buds to take off a tree to come down to the line; 0 at and below it.
    pub to_remove_per_tree: Option<f64>,
    /// Fruiting branches on a tree.
    pub branches_per_tree: Option<f64>,
    /// Fruit wanted on a branch.
    pub fruit_per_branch: Option<f64>,
    /// Buds that the line leaves on a branch.
    pub wanted_per_branch: Option<f64>,
    /// Buds to take off a branch.
    pub to_remove_per_branch: Option<f64>,
    /// Whether shears can still follow.
    pub pruning: Pruning,
    /// Whether there are so many buds that more pruning is worth it.
    pub prune_more: bool,
}

/// Sums the counts up, in the order they were made, for a target in fruit a tree
/// and the BBCH code of the last stage logged; none where nothing was counted.
///
/// A newest count of all wood stands alone. Else the newest of each wood are
/// added: means by sum, standard errors in quadrature, the interval by Student's
/// t with the degrees of freedom of the fewer trees, which errs on the wide side.
pub fn buds(counts: &[&BudCount], target: f64, cultivar: &Cultivar, stage_bbch: Option<u8>) -> Option<Buds> {
    let (used, uncounted) = tally::latest(counts);
    let tally = Tally::of(&used)?;
    let line = cultivar.buds_per_fruit.value;
    let fruiting = target > 0.0;
    let per_fruit = |buds: f64| fruiting.then(|| cropload::bud_ratio(buds, target));
    let ratio = per_fruit(tally.mean);
    let (ratio_low, ratio_high) = (tally.low().and_then(per_fruit), tally.high().and_then(per_fruit));
    let wanted_per_tree = fruiting.then_some(line * target);
    let to_remove_per_tree = wanted_per_tree.map(|wanted| (tally.mean - wanted).max(0.0));
    let branches_per_tree = used.iter().rev().find_map(|count| count.branches_per_tree);
    let on_a_branch = |number: Option<f64>| Some(number? / branches_per_tree?);
    Some(Buds {
        per_tree: tally.mean,
        trees: tally.trees,
        low: tally.low(),
        high: tally.high(),
        within: tally.half.map(|half| half / tally.mean).filter(|share| share.is_finite()),
        spread: tally.spread(),
        trees_needed: tally.spread().map(|spread| stats::needed(spread, WITHIN)),
        uncounted,
        target,
        cultivar: cultivar.name.clone(),
        line,
        ratio,
        ratio_low,
        ratio_high,
        standing: ratio.map(|ratio| standing(ratio, line)),
        close: ratio_low.zip(ratio_high).is_some_and(|(low, high)| low <= line && line <= high),
        wanted_per_tree,
        to_remove_per_tree,
        branches_per_tree,
        fruit_per_branch: on_a_branch(fruiting.then_some(target)),
        wanted_per_branch: on_a_branch(wanted_per_tree),
        to_remove_per_branch: on_a_branch(to_remove_per_tree),
        pruning: Pruning::at(stage_bbch),
        prune_more: ratio.is_some_and(|ratio| ratio > PRUNE_MORE_ABOVE),
    })
}

/// Flower buds a tree by the newest counts, as [`buds`] takes them; none where
/// nothing was counted.
pub fn per_tree(counts: &[&BudCount]) -> Option<f64> {
    let (used, _) = tally::latest(counts);
    Tally::of(&used).map(|tally| tally.mean)
}

fn standing(ratio: f64, line: f64) -> Standing {
    if (ratio - line).abs() <= ROUNDING * line {
        Standing::At
    } else if ratio < line {
        Standing::Below
    } else {
        Standing::Above
    }
}

#[cfg(test)]
mod tests;
