//! Bud counts in words.

use super::{Buds, PRUNE_MORE_ABOVE, Pruning, Standing};

impl Buds {
    /// What was counted, what it means for the target and what can still be
    /// done, in sentences.
    pub fn told(&self) -> String {
        let mut said = vec![self.counted()];
        if let Some(wood) = self.uncounted {
            said.push(format!("Buds on {} were not counted, so a tree has more.", wood.spoken()));
        }
        match self.ratio {
            None => said.push("The target is 0 fruit, so there is no ratio of buds to fruit.".to_owned()),
            Some(ratio) => {
                said.push(self.against(ratio));
                if self.close {
                    said.push("The count leaves open on which side it lies: count more trees.".to_owned());
                }
                said.extend(self.branch());
                said.extend(self.shears());
            }
        }
        said.join(" ")
    }

    /// The sample, with what it gives beside what ±10 % needs.
    fn counted(&self) -> String {
        let (buds, trees) = (self.per_tree, self.trees);
        let mean = format!("{buds:.0} flower buds a tree");
        match (trees, self.within, self.spread, self.trees_needed) {
            (1, ..) => format!(
                "{mean}, counted on one tree: nothing is known of how much the trees differ, so count more."
            ),
            (_, Some(within), Some(spread), Some(needed)) => format!(
                "{mean}, known within ±{:.0} % from {trees} trees that differ by {:.0} %; ±10 % {}.",
                100.0 * within,
                100.0 * spread,
                if trees >= needed { "is reached".to_owned() } else { format!("needs {needed} trees") }
            ),
            _ => format!("{mean} on {trees} trees."),
        }
    }

    fn against(&self, ratio: f64) -> String {
        let range = match (self.ratio_low, self.ratio_high) {
            (Some(low), Some(high)) => format!(" ({low:.1} to {high:.1}, 95 times in 100)"),
            _ => String::new(),
        };
        let (line, cultivar) = (self.line, &self.cultivar);
        let side = match self.standing {
            Some(Standing::Below) => "below",
            Some(Standing::Above) => "above",
            _ => "at",
        };
        let off = match self.to_remove_per_tree {
            Some(buds) if self.standing == Some(Standing::Above) => {
                format!(": {buds:.0} buds a tree to take off")
            }
            _ => String::new(),
        };
        format!(
            "That is {ratio:.1} for each of {:.0} fruit wanted{range}, {side} the line of {line} for {cultivar}{off}.",
            self.target
        )
    }

    /// Fruit and buds on a branch, each as the two whole numbers it lies
    /// between, as they are counted in the orchard.
    fn branch(&self) -> Option<String> {
        let ((few, many), (least, most)) = (self.fruit_on_a_branch()?, self.buds_on_a_branch()?);
        let off = self.to_remove_per_branch.filter(|buds| *buds > 0.0);
        let off = off.map_or_else(String::new, |buds| format!(", {buds:.1} fewer than now"));
        let to = |low: i64, high: i64| if low == high { low.to_string() } else { format!("{low} to {high}") };
        Some(format!("On a branch: {} fruit, so {} buds{off}.", to(few, many), to(least, most)))
    }

    /// The two whole numbers between which the fruit wanted on a branch lies.
    pub fn fruit_on_a_branch(&self) -> Option<(i64, i64)> {
        let fruit = self.fruit_per_branch?;
        Some((fruit.floor() as i64, fruit.ceil() as i64))
    }

    /// The buds that these fruit want, in whole numbers.
    pub fn buds_on_a_branch(&self) -> Option<(i64, i64)> {
        let (few, many) = self.fruit_on_a_branch()?;
        let buds = |fruit: i64| (fruit as f64 * self.line).round() as i64;
        Some((buds(few), buds(many)))
    }

    /// What shears can still do; nothing at and below the line.
    fn shears(&self) -> Option<String> {
        if self.standing != Some(Standing::Above) {
            return None;
        }
        let more = if self.prune_more {
            format!("Above {PRUNE_MORE_ABOVE} buds a fruit more pruning is worth it. ")
        } else {
            String::new()
        };
        let still = match self.pruning {
            Pruning::StillPossible => "Pruning can still follow, until pink.",
            Pruning::TooLate => "Pink is reached: pruning comes too late now.",
            Pruning::StageUnknown => "No stage is logged; pruning can follow until pink, so log the stage.",
        };
        Some(format!("{more}{still}"))
    }
}
