//! When a start or a mark will be reached, with its odds.
//!
//! [`Errors`] say how far forecasts are off at a site. An [`Outlook`] is the weather
//! ahead of it as equally likely courses, [`Tubes`] the growth on one curve over them:
//! both are made once and shared by all seasons there. [`of`] then draws a season's
//! start and crossings from weather, style length, start, curve and unread hours, at
//! least 1,000 times, and [`Odds`] are what the draws say. The same input gives the
//! same bits, whatever was asked before.

use serde::{Deserialize, Serialize};

use crate::score::{self, Estimator, Scored};
use crate::time::{HOUR, Instant};

mod begin;
mod case;
mod errors;
mod members;
mod noise;
mod outlook;
mod season;
mod told;
mod tubes;
mod weighs;
pub use case::Line;
pub use errors::{Errors, PRIOR_A_DAY_C, PRIOR_AT_ISSUE_C, PRIOR_CARRY, Pair};
pub use noise::FEWEST_DRAWS;
pub use outlook::{
    CHANCE, Cold, DRESSED, FARTHEST, FEWEST_ISSUES, FEWEST_MEMBERS, Fault, Foretold, MOST_MEMBERS, OLD,
    Outlook, TOO_OLD,
};
pub use season::{LegOdds, SeasonOdds, curves_in_doubt, of};
pub use told::rounded;
pub use tubes::Tubes;
pub use weighs::{Doubt, Weighs};

use case::NEVER;

/// Equal shares that the draws are summed up in, each by its middle.
const DOTS: usize = 20;
/// From this share of draws on that never arrive no late time is given.
const OFTEN_NEVER: f64 = 0.1;

/// The odds of one moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Odds {
    /// One in ten comes by then; none where that lies beyond the horizon.
    pub early: Option<Instant>,
    /// Half come by then.
    pub likely: Option<Instant>,
    /// Nine in ten come by then; none where a tenth or more never come.
    pub late: Option<Instant>,
    /// Share that does not come by the horizon.
    pub never: f64,
    /// The last hour that the forecast reaches to.
    pub horizon: Instant,
    /// The draws in twenty equal shares, soonest first, each by its middle one; none
    /// for those beyond the horizon.
    pub dots: Vec<Option<Instant>>,
    /// The soonest draw and the latest of those that come.
    pub ends: Option<(Instant, Instant)>,
    /// How many draws.
    pub draws: usize,
    /// The doubt that weighs most; none where there is no doubt.
    pub weighs: Option<Weighs>,
}

/// Place in a sorted sample by which the share has come.
fn rank(share: f64, n: usize) -> usize {
    (libm::ceil(share * n as f64) as usize).clamp(1, n) - 1
}

/// Sorts moments that mostly lie within weeks of each other by 11 bits at a time:
/// several times as fast as by comparing them.
fn sort(sample: &mut [i32]) {
    const BITS: u32 = 11;
    const PLACES: usize = 1 << BITS;
    let Some(least) = sample.iter().copied().min() else { return };
    // What never comes goes behind all else.
    let most = sample.iter().copied().filter(|at| *at != NEVER).max().unwrap_or(least);
    let apart = i64::from(most) - i64::from(least) + 1;
    if apart >= 1 << (2 * BITS) {
        return sample.sort_unstable();
    }
    let key = |at: i32| if at == NEVER { apart as usize } else { (at - least) as usize };
    let mut other = vec![0; sample.len()];
    let pass = |from: &[i32], to: &mut [i32], shift: u32| {
        let place = |at: i32| (key(at) >> shift) & (PLACES - 1);
        let mut ends = [0_usize; PLACES];
        from.iter().for_each(|at| ends[place(*at)] += 1);
        let mut sum = 0;
        for end in &mut ends {
            (*end, sum) = (sum, sum + *end);
        }
        for at in from {
            let end = &mut ends[place(*at)];
            to[*end] = *at;
            *end += 1;
        }
    };
    pass(sample, &mut other, 0);
    pass(&other, sample, BITS);
}

impl Odds {
    /// From draws in seconds after the last reading.
    fn new(mut sample: Vec<i32>, outlook: &Outlook, weighs: Option<Weighs>) -> Odds {
        sort(&mut sample);
        let n = sample.len();
        let come = sample.partition_point(|at| *at != NEVER);
        let never = (n - come) as f64 / n as f64;
        let moment = |place: usize| {
            Some(sample[place]).filter(|at| *at != NEVER).map(|at| outlook.as_of().plus(i64::from(at)))
        };
        let at = |share: f64| moment(rank(share, n));
        Odds {
            early: at(0.1),
            likely: at(0.5),
            late: at(0.9).filter(|_| never < OFTEN_NEVER),
            never,
            horizon: outlook.horizon(),
            dots: (0..DOTS).map(|dot| moment((2 * dot + 1) * n / (2 * DOTS))).collect(),
            ends: come.checked_sub(1).and_then(|last| moment(0).zip(moment(last))),
            draws: n,
            weighs,
        }
    }

    /// Chance that it has come by a moment, to some hundredths: in straight lines from
    /// the soonest draw over the dots to the latest. What is asked beyond the horizon is
    /// answered as for the horizon.
    pub fn chance_by(&self, at: Instant) -> f64 {
        let most = 1.0 - self.never;
        let Some((soonest, latest)) = self.ends.filter(|ends| at >= ends.0) else {
            return 0.0;
        };
        let share = |dot: usize| ((dot as f64 + 0.5) / DOTS as f64).min(most);
        let dots = self.dots.iter().copied().flatten().enumerate().map(|(dot, at)| (at, share(dot)));
        let mut before = (soonest, 0.0);
        for after in dots.chain([(latest, most)]) {
            if at < after.0 {
                let into = at.since(before.0) as f64 / after.0.since(before.0) as f64;
                return before.1 + (after.1 - before.1) * into;
            }
            before = after;
        }
        most
    }

    /// How good these odds were, the truth known: by the dots, those beyond the horizon
    /// and a missing early, likely or late taken as the horizon. A window without an end
    /// holds all that comes after its begin.
    pub fn scored(&self, truth: Instant) -> Scored {
        let hours = |at: Option<Instant>| at.unwrap_or(self.horizon).since(truth) as f64 / HOUR as f64;
        let dots: Vec<f64> = self.dots.iter().map(|dot| hours(*dot)).collect();
        let points = [(self.early, 0.1), (self.likely, 0.5), (self.late, 0.9)];
        let losses = points.iter().map(|(point, share)| score::pinball(hours(*point), *share, 0.0));
        let after = self.early.unwrap_or(self.horizon) <= truth;
        Scored {
            crps_h: score::crps(&dots, 0.0, Estimator::Empirical).unwrap_or_default(),
            pinball_h: losses.sum::<f64>() / 3.0,
            held: after && self.late.is_none_or(|late| truth <= late),
        }
    }
}

#[cfg(test)]
mod tests;
