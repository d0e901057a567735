//! How far forecasts are off at a site: what is taken before anything was learned,
//! and what its own forecasts show once their hours were read.
//!
//! An error is what was read less what was foretold, °C. By lead time from the issue
//! it has a mean and a spread; from hour to hour it is carried on as a first-order
//! autoregression. What matters to growth is the error of whole days, so the carry is
//! taken from the means of two days and not from one hour to the next: that holds also
//! where errors do not quite follow such a course.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::time::{DAY, HOUR, Instant};

/// Spread at the moment of issue, °C, before anything was learned. With
/// [`PRIOR_A_DAY_C`] it is 1.8 °C on the first afternoon, where forecasters' maxima at
/// Oklahoma City had a root mean square error of 3.80 °F, 2.1 °C (Brooks and Doswell
/// 1996, Weather and Forecasting 11:288; published); hours of the night are easier.
pub const PRIOR_AT_ISSUE_C: f64 = 1.6;
/// What each day of lead adds to it, °C: about 2.5 °C on the third day and 3.7 °C on
/// the seventh, as verification of 2 m temperature in middle latitudes has it (from
/// memory of the yearly charts of the US Weather Prediction Center, days 3 to 7).
pub const PRIOR_A_DAY_C: f64 = 0.3;
/// Share of an error that is left an hour on (constructed: a passing front is mistimed
/// by hours, not days).
pub const PRIOR_CARRY: f64 = 0.95;

/// Standard deviation of a site's lasting bias, °C, against which a mean error is
/// weighed (constructed: hollows, slopes and buildings differ by so much from a grid).
const LASTING_C: f64 = 1.0;
/// Two-day stretches of errors that the prior counts for (constructed).
const PRIOR_STRETCHES: f64 = 4.0;
/// Issues that the spread over all leads counts for beside that of one day of lead.
const OVERALL_ISSUES: f64 = 8.0;
/// Fewest hours of a day of lead, and share of a stretch, for it to be learned from.
const FEWEST_HOURS: usize = 6;
/// Hours of the stretches by which the carry is told.
const STRETCH: usize = 48;
/// Longest lead that is learned from, days.
const MOST_DAYS: usize = 16;
/// Carry that is never gone beyond: a half is left after a month.
const MOST_CARRY: f64 = 0.999;

/// One hour as it was foretold and as it came.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// When the forecast was issued.
    pub issued_at: Instant,
    /// The hour it speaks of.
    pub at: Instant,
    /// What it said, °C.
    pub foretold_c: f64,
    /// What was read then, °C.
    pub read_c: f64,
}

/// The errors of forecasts at one site by lead time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Errors {
    /// Issues that it was learned from; 0 for the prior alone.
    pub issues: usize,
    /// By day of lead from the issue.
    days: Vec<DayOfLead>,
    /// Share of an error that is left an hour on.
    pub carry: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct DayOfLead {
    /// Mean error, °C.
    bias_c: f64,
    /// Spread as a multiple of the prior's.
    times: f64,
}

/// Spread before anything was learned, °C, so many seconds after the issue.
fn prior_spread(lead: i64) -> f64 {
    PRIOR_AT_ISSUE_C + PRIOR_A_DAY_C * lead.max(0) as f64 / DAY as f64
}

/// Errors of one issue: `(lead in seconds, °C)` in order.
type Issue = Vec<(i64, f64)>;

impl Errors {
    /// What is taken where nothing was learned yet.
    pub fn prior() -> Errors {
        Errors { issues: 0, days: Vec::new(), carry: PRIOR_CARRY }
    }

    /// Learns from hours that were foretold and then read, in any order. Hours after
    /// `asked_at` are left out, whatever they say: nobody has read them yet.
    pub fn learn(pairs: &[Pair], asked_at: Instant) -> Errors {
        let issues = by_issue(pairs, asked_at);
        if issues.is_empty() {
            return Errors::prior();
        }
        let biases: Vec<f64> = (0..MOST_DAYS).map(|day| bias(&issues, day)).collect();
        let mut errors = Errors {
            issues: issues.len(),
            days: biases.iter().map(|bias_c| DayOfLead { bias_c: *bias_c, times: 1.0 }).collect(),
            carry: PRIOR_CARRY,
        };
        let ratios: Vec<Ratio> = (0..MOST_DAYS).map(|day| errors.ratio(&issues, day)).collect();
        let all = ratios.iter().fold(Ratio::default(), |all, ratio| all.and(*ratio));
        // Two days of an issue are about one stretch; on a logarithmic scale, since
        // half and twice the prior are equally far from it.
        let overall = shrunk(all.mean(), 1.0, all.issues / 2.0, PRIOR_STRETCHES);
        for (day, ratio) in errors.days.iter_mut().zip(&ratios) {
            day.times = libm::sqrt(shrunk(ratio.mean(), overall, ratio.issues, OVERALL_ISSUES));
        }
        errors.carry = errors.learned_carry(&issues);
        errors
    }

    /// Mean error so many seconds after the issue, °C.
    pub fn bias_c(&self, lead: i64) -> f64 {
        self.between(lead, |day| day.bias_c).unwrap_or(0.0)
    }

    /// Spread of errors about their mean so many seconds after the issue, °C.
    pub fn spread_c(&self, lead: i64) -> f64 {
        prior_spread(lead) * self.between(lead, |day| day.times).unwrap_or(1.0)
    }

    /// A figure of the days of lead, in a straight line from the middle of one to that
    /// of the next.
    fn between(&self, lead: i64, figure: impl Fn(&DayOfLead) -> f64) -> Option<f64> {
        let days = lead as f64 / DAY as f64 - 0.5;
        let last = self.days.len().checked_sub(1)?;
        let before = (libm::floor(days).max(0.0) as usize).min(last);
        let after = (before + 1).min(last);
        let share = (days - before as f64).clamp(0.0, 1.0);
        Some(figure(&self.days[before]) * (1.0 - share) + figure(&self.days[after]) * share)
    }

    /// Squares of the errors about their mean on a day of lead, as multiples of what
    /// the prior expects.
    fn ratio(&self, issues: &[Issue], day: usize) -> Ratio {
        let bias = self.days[day].bias_c;
        let squares = issues.iter().filter_map(|issue| {
            let hours = of_day(issue, day)?;
            let square = |(lead, error): &(i64, f64)| libm::pow((error - bias) / prior_spread(*lead), 2.0);
            Some(hours.iter().map(square).sum::<f64>() / hours.len() as f64)
        });
        let (n, sum) = squares.fold((0.0, 0.0), |(n, sum), square| (n + 1.0, sum + square));
        // The mean is known from the same issues, and is used on another one.
        let wider = (n + 1.0) / (n - 1.0_f64).max(1.0);
        Ratio { issues: n, sum: sum * wider }
    }

    /// The carry under which means over [`STRETCH`] hours spread as these do.
    fn learned_carry(&self, issues: &[Issue]) -> f64 {
        let (mut stretches, mut of_means, mut of_hours) = (0.0, 0.0, 0.0);
        for issue in issues {
            let length = STRETCH as i64 * HOUR;
            for stretch in issue.chunk_by(|a, b| a.0 / length == b.0 / length) {
                if stretch.len() * 6 < STRETCH * 5 {
                    continue;
                }
                let n = stretch.len() as f64;
                let scaled = |(lead, error): &(i64, f64)| (error - self.bias_c(*lead)) / self.spread_c(*lead);
                let mean = stretch.iter().map(scaled).sum::<f64>() / n;
                of_means += mean * mean;
                of_hours += stretch.iter().map(|hour| scaled(hour) * scaled(hour)).sum::<f64>() / n;
                stretches += 1.0;
            }
        }
        let prior = share_of_means(PRIOR_CARRY);
        if of_hours <= 0.0 || of_means <= 0.0 {
            return PRIOR_CARRY;
        }
        let wanted = shrunk(of_means / of_hours, prior, stretches, PRIOR_STRETCHES);
        let (mut low, mut high) = (0.0, MOST_CARRY);
        for _ in 0..50 {
            let middle = (low + high) / 2.0;
            if share_of_means(middle) < wanted { low = middle } else { high = middle }
        }
        low
    }
}

/// Variance of the mean over [`STRETCH`] hours, as a share of that of one hour, of a
/// first-order autoregression.
fn share_of_means(carry: f64) -> f64 {
    let n = STRETCH as f64;
    let (mut sum, mut left) = (n, 1.0);
    for hours in 1..STRETCH {
        left *= carry;
        sum += 2.0 * (n - hours as f64) * left;
    }
    sum / (n * n)
}

/// What was seen `n` times and what was expected, which counts for `of_prior` times, on
/// a logarithmic scale; the expected where nothing above 0 was seen.
fn shrunk(seen: f64, expected: f64, n: f64, of_prior: f64) -> f64 {
    if n <= 0.0 || seen <= 0.0 {
        return expected;
    }
    libm::exp((n * libm::log(seen) + of_prior * libm::log(expected)) / (n + of_prior))
}

#[derive(Debug, Clone, Copy, Default)]
struct Ratio {
    issues: f64,
    sum: f64,
}

impl Ratio {
    fn and(self, other: Ratio) -> Ratio {
        Ratio { issues: self.issues + other.issues, sum: self.sum + other.sum }
    }

    fn mean(self) -> f64 {
        if self.issues > 0.0 { self.sum / self.issues } else { 0.0 }
    }
}

/// The usable hours of each issue in order of lead.
fn by_issue(pairs: &[Pair], asked_at: Instant) -> Vec<Issue> {
    let mut issues: BTreeMap<Instant, Issue> = BTreeMap::new();
    for pair in pairs {
        let (lead, error) = (pair.at.since(pair.issued_at), pair.read_c - pair.foretold_c);
        let within = (0..MOST_DAYS as i64 * DAY).contains(&lead);
        if within && pair.at <= asked_at && error.is_finite() {
            issues.entry(pair.issued_at).or_default().push((lead, error));
        }
    }
    let mut issues: Vec<Issue> = issues.into_values().collect();
    for issue in &mut issues {
        issue.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        issue.dedup_by_key(|hour| hour.0);
    }
    issues.retain(|issue| (0..MOST_DAYS).any(|day| of_day(issue, day).is_some()));
    issues
}

/// The hours of one day of lead, where there are enough.
fn of_day(issue: &Issue, day: usize) -> Option<&[(i64, f64)]> {
    let edge = |day: usize| issue.partition_point(|hour| hour.0 < day as i64 * DAY);
    let hours = &issue[edge(day)..edge(day + 1)];
    (hours.len() >= FEWEST_HOURS).then_some(hours)
}

/// Mean error on a day of lead, drawn towards none as far as it may be chance.
fn bias(issues: &[Issue], day: usize) -> f64 {
    let mean = |hours: &[(i64, f64)]| hours.iter().map(|hour| hour.1).sum::<f64>() / hours.len() as f64;
    let means: Vec<f64> = issues.iter().filter_map(|issue| of_day(issue, day).map(mean)).collect();
    let n = means.len() as f64;
    if means.is_empty() {
        return 0.0;
    }
    let middle = means.iter().sum::<f64>() / n;
    let spread = prior_spread(day as i64 * DAY + DAY / 2);
    let squares: f64 = means.iter().map(|mean| (mean - middle) * (mean - middle)).sum();
    // One more, as the prior has it: a single issue shows no spread.
    let variance = (squares + spread * spread) / n;
    let lasting = LASTING_C * LASTING_C;
    middle * lasting / (lasting + variance / n)
}
