//! How a season ended: what set, against the target and against trees left
//! unsprayed, and whether bloom returned.

use serde::{Deserialize, Serialize};

use super::seen::Seen;
use crate::field_log::SetCount;
use crate::plan::Plan;
use crate::stats::Sample;
use crate::time::Instant;

/// More fruit than so many times the target, left for weeks, costs next year's
/// bloom (common practice, no source).
pub const TOO_MANY: f64 = 2.5;

/// What set on some trees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SetOn {
    /// When it was counted.
    pub at: Instant,
    /// Fruit a tree.
    pub fruit: Sample,
    /// 95 % interval of the mean by Student's t; none for one tree.
    pub low: Option<f64>,
    /// High end of the same.
    pub high: Option<f64>,
}

/// How a season ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Newest count on sprayed trees.
    pub treated: Option<SetOn>,
    /// Newest count on trees left without a spray.
    pub unsprayed: Option<SetOn>,
    /// Fruit wanted on a tree.
    pub target: f64,
    /// Share by which sprayed trees carry fewer than unsprayed ones.
    pub fewer_by: Option<f64>,
    /// Fruit a tree that is left for later thinning.
    pub left_to_thin: Option<f64>,
    /// Share of the buds that flowered in the spring after.
    pub return_bloom: Option<f64>,
    /// The same in sentences.
    pub told: Vec<String>,
}

pub(super) fn of(seen: &Seen<'_>, plan: &Plan) -> Option<Outcome> {
    if seen.sets.is_empty() && seen.return_bloom.is_none() {
        return None;
    }
    let newest = |unsprayed: bool| {
        seen.sets
            .iter()
            .rev()
            .find(|(_, set)| set.unsprayed == unsprayed)
            .and_then(|(at, set)| set_on(*at, set))
    };
    let (treated, unsprayed) = (newest(false), newest(true));
    let target = plan.block.target_fruit_per_tree;
    let fewer_by = treated.zip(unsprayed).and_then(|(treated, unsprayed)| {
        (unsprayed.fruit.mean > 0.0).then(|| 1.0 - treated.fruit.mean / unsprayed.fruit.mean)
    });
    let left_to_thin = treated.map(|set| (set.fruit.mean - target).max(0.0));
    let mut outcome = Outcome {
        treated,
        unsprayed,
        target,
        fewer_by,
        left_to_thin,
        return_bloom: seen.return_bloom,
        told: Vec::new(),
    };
    outcome.told = outcome.tell();
    Some(outcome)
}

fn set_on(at: Instant, set: &SetCount) -> Option<SetOn> {
    let fruit = Sample::of_counts(&set.fruit_per_tree)?;
    let half = fruit.half_width();
    let low = half.map(|half| (fruit.mean - half).max(0.0));
    Some(SetOn { at, fruit, low, high: half.map(|half| fruit.mean + half) })
}

impl SetOn {
    fn told(&self) -> String {
        let Sample { n, mean, .. } = self.fruit;
        match (self.low, self.high) {
            (Some(low), Some(high)) => {
                format!("{mean:.0} fruit a tree ({low:.0} to {high:.0}, 95 times in 100), mean of {n} trees")
            }
            _ => format!("{mean:.0} fruit on one tree: nothing is known of how much trees differ"),
        }
    }
}

impl Outcome {
    fn tell(&self) -> Vec<String> {
        let mut told = Vec::new();
        if let Some(set) = &self.treated {
            told.push(format!("Sprayed trees: {}.", set.told()));
            let mean = set.fruit.mean;
            match self.left_to_thin {
                Some(left) if left > 0.0 => told.push(format!(
                    "The target is {:.0}: {left:.0} a tree are left for later thinning.",
                    self.target
                )),
                _ => told.push(format!("The target is {:.0}: nothing is left to thin.", self.target)),
            }
            if self.target > 0.0 && mean > TOO_MANY * self.target {
                told.push(format!(
                    "That is {:.1} times the target. Left on for weeks, more than about {TOO_MANY} times costs next \
                     year's bloom (common practice, no source).",
                    mean / self.target
                ));
            }
        }
        if let Some(set) = &self.unsprayed {
            told.push(format!("Trees left unsprayed: {}.", set.told()));
        }
        match (self.fewer_by, &self.treated, &self.unsprayed) {
            (Some(by), Some(treated), Some(unsprayed)) => {
                let apart = match (treated.high, unsprayed.low, treated.low, unsprayed.high) {
                    (Some(high), Some(low), ..) if high < low => "",
                    (.., Some(low), Some(high)) if low > high => "",
                    _ => " The intervals overlap, so the sprays may have done more or less than that.",
                };
                let word = if by < 0.0 { "more" } else { "fewer" };
                told.push(format!("Sprayed trees carry {:.0} % {word} than unsprayed ones.{apart}", by.abs() * 100.0));
            }
            (_, Some(_), None) => told.push(
                "No tree was left unsprayed and counted, so what the sprays did cannot be told from what set by itself."
                    .to_owned(),
            ),
            _ => {}
        }
        if let Some(share) = self.return_bloom {
            told.push(format!("{:.0} % of the buds flowered in the spring after.", share * 100.0));
        }
        told
    }
}
