//! What was expected, held against what came, and against what would have been expected
//! without a forecast.

use serde::{Deserialize, Serialize};

use crate::growth::{Bound, Growth};
use crate::odds::Odds;
use crate::score::{self, Estimator, Scored, Summary};
use crate::time::{DAY, HOUR, Instant};

/// The weather that is repeated by the plainest of expectations.
const LAST: i64 = 2 * DAY;
/// Fewest springs of a site that are taken for its climate (practice).
pub const FEWEST_SPRINGS: usize = 5;
/// A mark that is not reached within this of the issue is not looked for.
const LONGEST: i64 = 45 * DAY;

/// An expectation whose truth is known.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    /// When its forecast was issued.
    pub issued_at: Instant,
    /// What was expected.
    pub odds: &'a Odds,
    /// When it came.
    pub truth: Instant,
    /// When the leg began whose mark it is; none for a start.
    pub leg_from: Option<Instant>,
}

/// How far ahead expectations looked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lead {
    /// Up to a day.
    OneDay,
    /// Up to two.
    TwoDays,
    /// Up to four.
    FourDays,
    /// Farther.
    Farther,
}

impl Lead {
    /// All, the nearest first.
    pub const ALL: [Lead; 4] = [Lead::OneDay, Lead::TwoDays, Lead::FourDays, Lead::Farther];

    fn of(issued_at: Instant, truth: Instant) -> Lead {
        match truth.since(issued_at) {
            lead if lead <= DAY => Lead::OneDay,
            lead if lead <= 2 * DAY => Lead::TwoDays,
            lead if lead <= 4 * DAY => Lead::FourDays,
            _ => Lead::Farther,
        }
    }

    /// In words.
    pub fn spoken(self) -> &'static str {
        match self {
            Lead::OneDay => "up to 1 day ahead",
            Lead::TwoDays => "1 to 2 days ahead",
            Lead::FourDays => "2 to 4 days ahead",
            Lead::Farther => "more than 4 days ahead",
        }
    }
}

/// One expectation with its scores, all in hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// How far ahead it looked.
    pub lead: Lead,
    /// Of the odds.
    pub scored: Scored,
    /// How far off the weather of the last two days, repeated, would have been: the CRPS
    /// of a single time.
    pub last_days_h: Option<f64>,
    /// CRPS (fair estimator) of the site's other springs.
    pub climate_h: Option<f64>,
}

/// The scores of a kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scores {
    /// How far ahead; none for all together.
    pub lead: Option<Lead>,
    /// Of the odds.
    pub odds: Summary,
    /// Mean over those for which it could be told, with their number.
    pub last_days: Option<Beside>,
    /// The same of the site's other springs.
    pub climate: Option<Beside>,
}

/// A plainer expectation, beside the odds of the very same cases.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Beside {
    /// How many cases.
    pub n: usize,
    /// Its mean CRPS, hours.
    pub crps_h: f64,
    /// That of the odds in these cases, hours.
    pub odds_crps_h: f64,
}

/// Judges an expectation. `growth` covers the season's readings; `climate` is growth over
/// other springs of the site, each with the seconds by which it lies before this one.
pub fn judge(case: &Case<'_>, growth: &Growth, climate: &[(Growth, i64)]) -> Judged {
    let scored = case.odds.scored(case.truth);
    let left = case.leg_from.map(|from| {
        let begin = from.max(case.issued_at);
        (begin, growth.units_at(case.truth, Bound::Low) - growth.units_at(begin, Bound::Low))
    });
    let hours = |at: Instant| at.since(case.truth) as f64 / HOUR as f64;
    let last_days = left.and_then(|(begin, units)| repeated(growth, begin, units));
    let others: Vec<f64> = left.map_or_else(Vec::new, |(begin, units)| {
        let other = |(growth, before): &(Growth, i64)| {
            let at = growth.reached(begin.plus(-before), units, Bound::Low)?.plus(*before);
            Some(hours(at)).filter(|_| at.since(begin) <= LONGEST)
        };
        climate.iter().filter_map(other).collect()
    });
    let enough = others.len() >= FEWEST_SPRINGS;
    Judged {
        lead: Lead::of(case.issued_at, case.truth),
        scored,
        last_days_h: last_days.map(|at| hours(at).abs()),
        climate_h: enough.then(|| score::crps(&others, 0.0, Estimator::Fair)).flatten(),
    }
}

/// When so many units have grown since `begin`, were the weather of the two days before
/// it to come again and again.
fn repeated(growth: &Growth, begin: Instant, units: i64) -> Option<Instant> {
    let from = begin.plus(-LAST);
    let round = growth.units_at(begin, Bound::Low) - growth.units_at(from, Bound::Low);
    if round <= 0 || !growth.course().covers(from) {
        return None;
    }
    let (rounds, rest) = (units.div_euclid(round), units.rem_euclid(round));
    let into = growth.reached(from, rest, Bound::Low)?.since(from);
    let at = begin.plus(rounds.checked_mul(LAST)?.checked_add(into)?);
    (at.since(begin) <= LONGEST).then_some(at)
}

/// The scores of all, and by how far ahead they looked; nothing of none.
pub fn scores(all: &[Judged]) -> Vec<Scores> {
    let leads = std::iter::once(None).chain(Lead::ALL.into_iter().map(Some));
    leads
        .filter_map(|lead| {
            let of: Vec<&Judged> =
                all.iter().filter(|one| lead.is_none_or(|lead| one.lead == lead)).collect();
            let scored: Vec<Scored> = of.iter().map(|one| one.scored).collect();
            Some(Scores {
                lead,
                odds: Summary::of(&scored)?,
                last_days: beside(&of, |one| one.last_days_h),
                climate: beside(&of, |one| one.climate_h),
            })
        })
        .collect()
}

fn beside(of: &[&Judged], value: impl Fn(&Judged) -> Option<f64>) -> Option<Beside> {
    let both: Vec<(f64, f64)> = of.iter().filter_map(|one| Some((value(one)?, one.scored.crps_h))).collect();
    let n = both.len();
    let mean = |pick: fn(&(f64, f64)) -> f64| both.iter().map(pick).sum::<f64>() / n as f64;
    (n > 0).then(|| Beside { n, crps_h: mean(|one| one.0), odds_crps_h: mean(|one| one.1) })
}

impl Scores {
    /// In sentences.
    pub fn told(&self) -> Vec<String> {
        let when = self.lead.map_or("So far", Lead::spoken);
        let mut told = vec![self.odds.told(when)];
        if !self.odds.too_few() {
            let Summary { crps_h, coverage_low, coverage_high, .. } = self.odds;
            told.push(format!(
                "Off by {crps_h:.1} h on the average (CRPS, {}); the share held lies between {:.0} and {:.0} % (95 %).",
                self.odds.estimator.spoken(),
                coverage_low * 100.0,
                coverage_high * 100.0
            ));
            for (name, beside) in [
                ("The same weather as the last two days", self.last_days),
                ("The site's other springs", self.climate),
            ] {
                told.extend(beside.map(|beside| {
                    format!(
                        "{name} would have been off by {:.1} h where the odds were by {:.1} h (n = {}).",
                        beside.crps_h, beside.odds_crps_h, beside.n
                    )
                }));
            }
        }
        told
    }
}

#[cfg(test)]
mod tests;
