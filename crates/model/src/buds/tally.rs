//! Counts of the two woods added up.

use super::BudCount;
use crate::stats::{self, Sample};
use crate::wood::Wood;

/// The counts that hold, and the wood that none of them is of.
pub(super) fn latest<'a>(counts: &[&'a BudCount]) -> (Vec<&'a BudCount>, Option<Wood>) {
    let newest = |wood| counts.iter().rev().find(|count| count.wood == Some(wood)).copied();
    match counts.last() {
        None => (Vec::new(), None),
        Some(whole) if whole.wood.is_none() => (vec![*whole], None),
        Some(_) => match (newest(Wood::Spur), newest(Wood::OneYear)) {
            (Some(spur), Some(young)) => (vec![spur, young], None),
            (Some(spur), None) => (vec![spur], Some(Wood::OneYear)),
            (None, Some(young)) => (vec![young], Some(Wood::Spur)),
            (None, None) => (Vec::new(), None),
        },
    }
}

/// Counts added up.
pub(super) struct Tally {
    /// Mean a tree.
    pub mean: f64,
    /// Standard deviation between trees.
    sd: f64,
    /// Fewest trees of any count.
    pub trees: usize,
    /// Half of the 95 % interval of the mean.
    pub half: Option<f64>,
}

impl Tally {
    pub fn of(counts: &[&BudCount]) -> Option<Tally> {
        let samples: Option<Vec<Sample>> =
            counts.iter().map(|count| Sample::of_counts(&count.buds_per_tree)).collect();
        let samples = samples?;
        let trees = samples.iter().map(|sample| sample.n).min()?;
        let squares = |of: fn(&Sample) -> f64| {
            libm::sqrt(samples.iter().map(|sample| of(sample) * of(sample)).sum::<f64>())
        };
        Some(Tally {
            mean: samples.iter().map(|sample| sample.mean).sum(),
            sd: squares(|sample| sample.sd),
            trees,
            half: (trees > 1).then(|| stats::student_95(trees - 1) * squares(Sample::error)),
        })
    }

    pub fn low(&self) -> Option<f64> {
        self.half.map(|half| (self.mean - half).max(0.0))
    }

    pub fn high(&self) -> Option<f64> {
        self.half.map(|half| self.mean + half)
    }

    pub fn spread(&self) -> Option<f64> {
        (self.trees > 1 && self.mean != 0.0).then(|| self.sd / self.mean)
    }
}
