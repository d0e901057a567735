//! Where draws come from: evenly spread points for the doubts of a season, and normal
//! scores in a shuffled order for the hours of a forecast. Nothing here is random: the
//! same input gives the same numbers on every machine.

use std::sync::LazyLock;

use super::outlook::MOST_MEMBERS;
use crate::stats::normal_point;

/// Fewest draws for a season.
pub const FEWEST_DRAWS: usize = 1_000;

/// One draw of the doubts beside the weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Style length, in standard errors of its mean.
    pub style: f64,
    /// Start: the count before the last one, or the start itself, in standard errors.
    pub start: f64,
    /// The last count.
    pub last: f64,
    /// Place between the least and the most that can have grown in unread hours.
    pub gap: f64,
    /// Place among the curves by their weight.
    pub curve: f64,
}

/// Powers of 1/φ where φ⁶ = φ + 1: multiples of them, less their whole part, fill a
/// cube of five sides evenly (Roberts 2018, the R sequence; from memory).
const STEPS: [f64; 5] = {
    const PHI: f64 = 1.134_724_138_401_519_4;
    let one = 1.0 / PHI;
    [one, one * one, one * one * one, one * one * one * one, one * one * one * one * one]
};

static POINTS: LazyLock<Vec<Point>> = LazyLock::new(|| {
    let share = |n: usize, side: usize| (0.5 + (n + 1) as f64 * STEPS[side]) % 1.0;
    let point = |n| Point {
        style: normal_point(share(n, 0)),
        start: normal_point(share(n, 1)),
        last: normal_point(share(n, 2)),
        gap: share(n, 3),
        curve: share(n, 4),
    };
    (0..FEWEST_DRAWS + MOST_MEMBERS).map(point).collect()
});

/// Points of so many draws on each of so many members, member by member: points that
/// follow one another are evenly spread too, so that each member has the whole of the
/// other doubts.
pub(super) fn points(members: usize, each: usize) -> impl Iterator<Item = (usize, &'static [Point])> {
    POINTS.chunks_exact(each).take(members).enumerate()
}

/// Draws on each member that make at least [`FEWEST_DRAWS`] together.
pub(super) fn each(members: usize) -> usize {
    FEWEST_DRAWS.div_ceil(members)
}

/// Normal scores of `count` equal shares, with a variance of 1.
fn scores(count: usize) -> Vec<f64> {
    let scores: Vec<f64> = (0..count).map(|n| normal_point((n as f64 + 0.5) / count as f64)).collect();
    let squares: f64 = scores.iter().map(|score| score * score).sum();
    let scale = libm::sqrt(count as f64 / squares.max(f64::MIN_POSITIVE));
    scores.into_iter().map(|score| score * scale).collect()
}

/// Normal scores that are dealt out anew for each step.
pub(super) struct Dealer {
    scores: Vec<f64>,
    state: u64,
}

impl Dealer {
    /// A dealer to so many members; another seed deals in another order.
    pub(super) fn new(members: usize, seed: i64) -> Dealer {
        Dealer { scores: scores(members), state: seed as u64 }
    }

    /// A score for each member, each score once.
    pub(super) fn deal(&mut self) -> &[f64] {
        for last in (1..self.scores.len()).rev() {
            let place = (u128::from(self.next()) * (last as u128 + 1)) >> 64;
            self.scores.swap(last, place as usize);
        }
        &self.scores
    }

    /// Splitmix64 (Steele, Lea and Flood 2014, OOPSLA; published).
    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }
}
