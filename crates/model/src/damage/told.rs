//! A damage count in sentences.

use super::shares::{Figure, Share};
use super::walk::{Damage, Live, Worse};

impl Damage {
    /// What it found and what that leaves open, a sentence or two each.
    pub fn told(&self) -> Vec<String> {
        let mut told = vec![format!("{}.", share(&self.kings, "kings"))];
        told.push(match &self.laterals {
            Some(laterals) => format!(
                "{}. Flowers of one cluster freeze together, so each cluster is taken to count once.",
                share(laterals, "laterals")
            ),
            None => {
                "Living and dead laterals were not both counted, so how many flowers are alive is not known: \
                     cut the laterals of each cluster too."
                    .into()
            }
        });
        told.push(match &self.live {
            Some(live) => on_a_tree(live),
            None => "How many clusters a tree carries is not known, so no number for a tree can be given: \
                     count clusters or flower buds on a few trees."
                .into(),
        });
        told.extend(self.heights.and_then(|heights| heights.worse).map(|worse| by_height(worse).into()));
        if self.early {
            told.push(
                "Counted within 12 hours of the coldest moment: browning may not show yet, and more may be dead \
                 than was seen. Cut again later."
                    .into(),
            );
        }
        told
    }
}

fn share(share: &Share, flowers: &str) -> String {
    let percent = |share: f64| (share * 100.0).round();
    format!(
        "{} of {} {flowers} examined are alive: {} % (95 % interval {} to {} %)",
        share.alive,
        share.examined,
        percent(share.point),
        percent(share.low),
        percent(share.high)
    )
}

fn figure(figure: &Figure) -> String {
    format!("{} ({} to {})", figure.point.round(), figure.low.round(), figure.high.round())
}

fn on_a_tree(live: &Live) -> String {
    let tree = format!("On a tree of {} clusters", rounded(live.clusters_per_tree));
    match (&live.flowers, &live.fruit_at_one_in_six) {
        (Some(flowers), Some(fruit)) => format!(
            "{tree} with {} flowers each that is {} live flowers, {} of them kings. In a normal year one flower \
             in six sets; that would be {} fruit, but set varies, and after frost it is not known.",
            rounded(live.flowers_per_cluster),
            figure(flowers),
            figure(&live.kings),
            figure(fruit)
        ),
        _ => format!("{tree} that is {} live kings.", figure(&live.kings)),
    }
}

/// To a tenth, and without one where it is whole.
fn rounded(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

fn by_height(worse: Worse) -> &'static str {
    match worse {
        Worse::Low => {
            "Fewer are alive low in the trees than high: cold air lies low, and the crop hangs in the tops. The \
             figure for the whole tree depends on how many clusters hang at each height."
        }
        Worse::High => {
            "Fewer are alive high in the trees than low, which cold air lying low does not explain: cut a few more \
             at both heights. The figure for the whole tree depends on how many clusters hang at each height."
        }
    }
}
