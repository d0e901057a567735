//! What a sample can carry: means with their intervals, shares with theirs,
//! and how many more to count.
//!
//! Every function of the normal and of Student's distribution that the program
//! shows comes from here; `tests/reference/stats.py` holds them against scipy and
//! statsmodels.

use std::sync::atomic::{AtomicU64, Ordering};

use serde::{Deserialize, Serialize};

mod normal;
pub use normal::{normal_below, normal_density, normal_point};

/// Two-sided 95 % point of the normal distribution.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Most trees, styles or clusters that anyone is asked for.
const MOST_NEEDED: usize = 10_000;

/// A sample of measured or counted values, summed up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// How many values.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Standard deviation between them, with n − 1; 0 for one value.
    pub sd: f64,
}

impl Sample {
    /// Sums values up; none for no values.
    pub fn of(values: &[f64]) -> Option<Sample> {
        let n = values.len();
        if n == 0 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / n as f64;
        let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
        let sd = if n < 2 { 0.0 } else { libm::sqrt(squares / (n - 1) as f64) };
        Some(Sample { n, mean, sd })
    }

    /// The same of whole numbers.
    pub fn of_counts(counts: &[i64]) -> Option<Sample> {
        Sample::of(&counts.iter().map(|count| *count as f64).collect::<Vec<_>>())
    }

    /// Standard error of the mean; 0 for one value.
    pub fn error(&self) -> f64 {
        self.sd / libm::sqrt(self.n as f64)
    }

    /// Half of the 95 % interval of the mean by Student's t; none for one value.
    pub fn half_width(&self) -> Option<f64> {
        (self.n > 1).then(|| student_95(self.n - 1) * self.error())
    }

    /// Half of that interval as a share of the mean; none for one value or a mean
    /// of 0.
    pub fn relative(&self) -> Option<f64> {
        Some(self.half_width()? / self.mean).filter(|share| share.is_finite())
    }

    /// Spread between the values: standard deviation as a share of the mean; none
    /// for one value or a mean of 0.
    pub fn spread(&self) -> Option<f64> {
        (self.n > 1 && self.mean != 0.0).then(|| self.sd / self.mean)
    }
}

/// Fewest values whose mean is known to a share `within` of it, 95 times in 100,
/// when they spread by `spread` (standard deviation over mean): the smallest n
/// with t·spread/√n at most `within`.
pub fn needed(spread: f64, within: f64) -> usize {
    let enough = |n: usize| student_95(n - 1) * spread / libm::sqrt(n as f64) <= within;
    // Each value more only helps, so the place is searched by halves, between
    // doubling steps: mostly it is near.
    let (mut few, mut many) = (1, 2);
    while many < MOST_NEEDED && !enough(many) {
        (few, many) = (many, (many * 2).min(MOST_NEEDED));
    }
    while many - few > 1 {
        let middle = few + (many - few) / 2;
        if enough(middle) { many = middle } else { few = middle }
    }
    many
}

/// Scaled median absolute deviations from the median beyond which a value stands
/// apart (Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers; published).
const APART: f64 = 3.5;
/// What the median absolute deviation is multiplied with to stand for a standard
/// deviation: 1/0.6745 as the same source has it (published).
const SCALE: f64 = 1.0 / 0.6745;

/// The values that stand apart from the rest, in their order. A deviation below
/// `least` counts as that; none stand apart where there is no deviation at all.
pub fn apart(values: &[f64], least: f64) -> Vec<f64> {
    if values.is_empty() {
        return Vec::new();
    }
    let middle = median(values);
    let away: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    let deviation = (SCALE * median(&away)).max(least);
    let stands = |value: &f64| deviation > 0.0 && (value - middle).abs() > APART * deviation;
    values.iter().copied().filter(stands).collect()
}

/// The middle value, or the mean of the two in the middle.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[half] } else { f64::midpoint(sorted[half - 1], sorted[half]) }
}

/// Fewest flowers to look at for a share near `share` to be known within
/// `within`, 95 times in 100: 1.96²·p(1−p)/E² (normal approximation).
pub fn needed_for_share(share: f64, within: f64) -> usize {
    let n = NORMAL_95 * NORMAL_95 * share * (1.0 - share) / (within * within);
    (libm::ceil(n) as usize).clamp(1, MOST_NEEDED)
}

/// Wilson's 95 % interval of a share seen in `n` independent ones (Wilson 1927,
/// J. Amer. Stat. Assoc. 22:209; published). With n = 0 nothing is known: 0 to 1.
pub fn wilson(share: f64, n: f64) -> (f64, f64) {
    if n <= 0.0 {
        return (0.0, 1.0);
    }
    let z2 = NORMAL_95 * NORMAL_95;
    let middle = share + z2 / (2.0 * n);
    let half = NORMAL_95 * libm::sqrt(share * (1.0 - share) / n + z2 / (4.0 * n * n));
    let whole = 1.0 + z2 / n;
    (((middle - half) / whole).max(0.0), ((middle + half) / whole).min(1.0))
}

/// Points of Student's t as they were first asked for, as bits, by their degrees of
/// freedom; 0 for none yet. Each takes microseconds and every season of a block that
/// was counted asks for some; they are the same whoever reckons them.
static POINTS: [AtomicU64; 512] = [const { AtomicU64::new(0) }; 512];

/// Two-sided 95 % point of Student's t with so many degrees of freedom, at least
/// one.
pub fn student_95(freedom: usize) -> f64 {
    let Some(point) = POINTS.get(freedom) else {
        return reckoned_95(freedom);
    };
    match point.load(Ordering::Relaxed) {
        0 => {
            let t = reckoned_95(freedom);
            point.store(t.to_bits(), Ordering::Relaxed);
            t
        }
        bits => f64::from_bits(bits),
    }
}

fn reckoned_95(freedom: usize) -> f64 {
    let nu = freedom.max(1) as f64;
    // The first terms of its series in 1/ν (Abramowitz & Stegun 26.7.5), then
    // Newton's steps on the distribution itself.
    let z = NORMAL_95;
    let mut t =
        z + (z * z * z + z) / (4.0 * nu) + (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * nu * nu);
    if freedom <= 1 {
        // 1/π·atan(t) + ½ = 0.975 in closed form.
        return 1.0 / libm::tan(0.025 * std::f64::consts::PI);
    }
    for _ in 0..8 {
        let step = (beyond(t, nu) - 0.025) / density(t, nu);
        t += step;
        if step.abs() < 1e-13 * t {
            break;
        }
    }
    t
}

/// Density of Student's t.
fn density(t: f64, nu: f64) -> f64 {
    let half = (nu + 1.0) / 2.0;
    let scale = libm::exp(libm::lgamma(half) - libm::lgamma(nu / 2.0));
    scale / libm::sqrt(nu * std::f64::consts::PI) * libm::pow(1.0 + t * t / nu, -half)
}

/// Chance of a value beyond a positive t: half of I_x(ν/2, ½) with x = ν/(ν+t²).
fn beyond(t: f64, nu: f64) -> f64 {
    let x = nu / (nu + t * t);
    0.5 * incomplete_beta(x, nu / 2.0, 0.5)
}

/// Regularised incomplete beta function by its continued fraction (DLMF
/// 8.17.22; published), turned round where that converges sooner.
fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    let front = libm::exp(
        libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * libm::log(x) + b * libm::log(1.0 - x),
    );
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(x, a, b) / a
    } else {
        1.0 - front * fraction(1.0 - x, b, a) / b
    }
}

fn fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away = |value: f64| if value.abs() < TINY { TINY } else { value };
    let (mut c, mut d) = (1.0, 1.0 / away(1.0 - (a + b) * x / (a + 1.0)));
    let mut value = d;
    for m in 1..300 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut step = 1.0;
        for term in [even, odd] {
            d = 1.0 / away(1.0 + term * d);
            c = away(1.0 + term / c);
            step = c * d;
            value *= step;
        }
        if (step - 1.0).abs() < 1e-15 {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Agronomy figures (derived, Student's t): styles of CV 10 % to ±5 % → 18;
    /// 8 % to ±3 % → 30; 10 % to ±3 % → 46; trees of CV 25 % to ±10 % → 27, and
    /// five of them give ±31 %.
    #[test]
    fn sample_sizes_by_student() {
        assert_eq!(needed(0.10, 0.05), 18);
        assert_eq!(needed(0.08, 0.03), 30);
        assert_eq!(needed(0.10, 0.03), 46);
        assert_eq!(needed(0.25, 0.10), 27);
        assert!((student_95(4) * 0.25 / 5_f64.sqrt() - 0.31).abs() < 0.005);
    }

    /// Asked again, and beyond the points that are kept, it is the same function.
    #[test]
    fn points_that_are_kept_are_those_reckoned() {
        for freedom in [1, 4, 511, 512] {
            assert_eq!([student_95(freedom), student_95(freedom)], [reckoned_95(freedom); 2]);
        }
        assert_eq!((needed(0.0, 0.05), needed(10.0, 0.001)), (2, MOST_NEEDED));
    }

    /// Normal approximation (derived): p 0.2 to ±5 % → 246, to ±10 % → 62.
    #[test]
    fn sample_sizes_of_shares() {
        assert_eq!(needed_for_share(0.2, 0.05), 246);
        assert_eq!(needed_for_share(0.2, 0.10), 62);
    }

    /// Two-sided 95 % points as every table of Student's t has them (published).
    #[test]
    fn points_of_student() {
        for (freedom, t) in [
            (1, 12.706_205),
            (2, 4.302_653),
            (4, 2.776_445),
            (9, 2.262_157),
            (29, 2.045_230),
            (120, 1.979_930),
        ] {
            assert!((student_95(freedom) - t).abs() < 1e-6, "{freedom}: {}", student_95(freedom));
        }
    }

    #[test]
    fn what_is_not_there_has_no_interval() {
        assert_eq!(Sample::of(&[]), None);
        let one = Sample::of_counts(&[40]).unwrap();
        assert_eq!((one.mean, one.half_width(), one.relative(), one.spread()), (40.0, None, None, None));
        let none = Sample::of_counts(&[0, 0]).unwrap();
        assert_eq!((none.half_width(), none.relative(), none.spread()), (Some(0.0), None, None));
        assert_eq!(wilson(0.5, 0.0), (0.0, 1.0));
        let (low, high) = wilson(1.0, 10.0);
        assert!(low > 0.722 && low < 0.723 && high > 1.0 - 1e-12);
    }
}
