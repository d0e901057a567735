//! How good a forecast was, once the truth is known.
//!
//! All scores have the unit of the forecast (hours here) and are the better the
//! smaller. An ensemble's CRPS comes by one of two estimators, which differ for few
//! members: a score is told with its estimator's name. `tests/reference/score.py`
//! holds them against other programs.

use serde::{Deserialize, Serialize};

use crate::stats::{self, normal_below, normal_density};

/// Fewest forecasts that a share of hits is told of (practice).
pub const FEWEST_TO_JUDGE: usize = 20;

/// How the CRPS of an ensemble is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Estimator {
    /// The members are taken for the whole distribution.
    Empirical,
    /// The members are taken for a sample of it, as large ones as may be: the spread
    /// between them is divided by n(n−1) and not by n².
    Fair,
}

impl Estimator {
    /// Its name for people.
    pub fn spoken(self) -> &'static str {
        match self {
            Estimator::Empirical => "empirical distribution",
            Estimator::Fair => "fair",
        }
    }
}

/// CRPS of an ensemble: mean |x−y| less half of the mean |x−x'| (Gneiting and Raftery
/// 2007, J. Amer. Stat. Assoc. 102:359; fair form Ferro 2014, Q. J. R. Meteorol. Soc.
/// 140:1917; published). None for no members, or for one under the fair estimator.
pub fn crps(members: &[f64], truth: f64, estimator: Estimator) -> Option<f64> {
    let n = members.len() as f64;
    let pairs = match estimator {
        Estimator::Empirical => n * n,
        Estimator::Fair => n * (n - 1.0),
    };
    if pairs <= 0.0 {
        return None;
    }
    let mut sorted = members.to_vec();
    sorted.sort_by(f64::total_cmp);
    let away = sorted.iter().map(|member| (member - truth).abs()).sum::<f64>() / n;
    // Half the sum of |x−x'| over all ordered pairs.
    let apart: f64 =
        sorted.iter().enumerate().map(|(rank, member)| (2.0 * rank as f64 + 1.0 - n) * member).sum();
    Some(away - apart / pairs)
}

/// CRPS of a normal forecast with a positive standard deviation, in closed form
/// (Gneiting and others 2005, Mon. Weather Rev. 133:1098; published).
pub fn crps_normal(mean: f64, sd: f64, truth: f64) -> f64 {
    let z = (truth - mean) / sd;
    let root = libm::sqrt(std::f64::consts::PI);
    sd * (z * (2.0 * normal_below(z) - 1.0) + 2.0 * normal_density(z) - 1.0 / root)
}

/// Pinball loss of the point below which the truth was to lie with the chance `share`
/// (Koenker and Bassett 1978, Econometrica 46:33; published).
pub fn pinball(point: f64, share: f64, truth: f64) -> f64 {
    if truth >= point { share * (truth - point) } else { (1.0 - share) * (point - truth) }
}

/// Interval score of a central interval that the truth was to miss with the chance
/// `alpha`: its width, and 2/α times the miss (Gneiting and Raftery 2007; published).
pub fn interval_score(low: f64, high: f64, alpha: f64, truth: f64) -> f64 {
    let missed = (low - truth).max(0.0) + (truth - high).max(0.0);
    high - low + 2.0 / alpha * missed
}

/// One forecast beside what came.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Scored {
    /// CRPS of its sample by [`Estimator::Empirical`], hours.
    pub crps_h: f64,
    /// Mean pinball loss of early, likely and late, hours.
    pub pinball_h: f64,
    /// Whether the truth lay from early to late.
    pub held: bool,
}

/// The scores of some forecasts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// How many.
    pub n: usize,
    /// Mean CRPS, hours.
    pub crps_h: f64,
    /// Estimator of the same.
    pub estimator: Estimator,
    /// Mean pinball loss of early, likely and late, hours.
    pub pinball_h: f64,
    /// Share of windows from early to late that held the truth; 0.8 is wanted.
    pub coverage: f64,
    /// Wilson's 95 % interval of that, as if the forecasts were independent.
    pub coverage_low: f64,
    /// High end of the same.
    pub coverage_high: f64,
}

impl Summary {
    /// Sums forecasts up; none for none.
    pub fn of(scored: &[Scored]) -> Option<Summary> {
        let n = scored.len();
        if n == 0 {
            return None;
        }
        let mean = |value: fn(&Scored) -> f64| scored.iter().map(value).sum::<f64>() / n as f64;
        let coverage = mean(|scored| f64::from(u8::from(scored.held)));
        let (coverage_low, coverage_high) = stats::wilson(coverage, n as f64);
        Some(Summary {
            n,
            crps_h: mean(|scored| scored.crps_h),
            estimator: Estimator::Empirical,
            pinball_h: mean(|scored| scored.pinball_h),
            coverage,
            coverage_low,
            coverage_high,
        })
    }

    /// Whether there are too few to say how often the windows hold.
    pub fn too_few(&self) -> bool {
        self.n < FEWEST_TO_JUDGE
    }

    /// The same in a sentence; `when` opens it, as "Last spring".
    pub fn told(&self, when: &str) -> String {
        let n = self.n;
        if self.too_few() {
            return format!("{when}: too few to judge, n = {n}.");
        }
        let in_ten = libm::round(self.coverage * 10.0);
        format!("{when} {in_ten:.0} of 10 windows held the true time, n = {n}.")
    }
}
