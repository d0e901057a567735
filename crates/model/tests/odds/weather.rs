//! Forecasts made from what came, by errors that the model knows nothing of, and what
//! of all that is known at one moment.

use std::collections::BTreeMap;
use std::sync::Arc;

use model::curve::Curve;
use model::growth::Growth;
use model::odds::{Errors, Foretold, Outlook, Pair};
use model::series::Reading;
use model::time::{DAY, HOUR, Instant};

use crate::kit;

/// How a made-up forecaster errs: what has to be added to the forecast has a mean, a
/// spread that grows with lead, and two parts that carry it on: one from hour to hour,
/// one that lasts as long as the issue.
///
/// Verified 2 m temperature has about 2 °C on the first day and some 3 to 5 °C by the
/// tenth, by region and season (Haiden and others 2021, Evaluation of ECMWF forecasts,
/// ECMWF Technical Memorandum 880; from memory). The two settings lie below and above.
#[derive(Debug, Clone, Copy)]
pub struct Setting {
    pub name: &'static str,
    pub bias_c: f64,
    pub at_issue_c: f64,
    pub a_day_c: f64,
    pub carry: f64,
    /// Share of the variance that lasts through an issue.
    pub lasting: f64,
}

pub const CALM: Setting =
    Setting { name: "calm", bias_c: 0.9, at_issue_c: 0.8, a_day_c: 0.22, carry: 0.88, lasting: 0.25 };
pub const ROUGH: Setting =
    Setting { name: "rough", bias_c: -1.4, at_issue_c: 2.2, a_day_c: 0.4, carry: 0.97, lasting: 0.0 };

/// Hours of a forecast.
const HOURS: i64 = 240;
/// Time between two issues.
pub const EACH: i64 = 12 * HOUR;

/// A generator of its own: 64-bit linear steps (Knuth's MMIX constants) and Box and
/// Muller's normals.
struct Chance(u64);

impl Chance {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as f64 + 0.5) / (1_u64 << 31) as f64
    }

    fn normal(&mut self) -> f64 {
        let (r, turn) = ((-2.0 * self.share().ln()).sqrt(), std::f64::consts::TAU * self.share());
        r * turn.cos()
    }
}

/// One issue as a feed would have it.
#[derive(Debug, Clone)]
pub struct Issue {
    pub issued_at: Instant,
    pub hours: Vec<Reading>,
}

/// Everything that came and was foretold at one station; nothing under test sees it.
pub struct Archive {
    truth: Vec<Reading>,
    issues: Vec<Issue>,
    setting: Setting,
    seed: u64,
}

/// What is known at one moment. The code under test gets this and no more: readings
/// and issues that lie after it are not in here.
pub struct Known {
    pub at: Instant,
    pub readings: Vec<Reading>,
    /// Issues so far, the newest last.
    pub issues: Vec<Issue>,
}

impl Archive {
    pub fn new(station: &str, setting: Setting, seed: u64) -> Archive {
        let truth = kit::spring(station);
        let mut archive = Archive { truth, issues: Vec::new(), setting, seed };
        let (mut at, last) = (archive.truth[0].at, archive.truth.last().expect("readings").at);
        while at.plus(DAY) < last {
            archive.issues.push(archive.issue(at, 1.0));
            at = at.plus(EACH);
        }
        archive
    }

    /// A forecast whose errors about their mean are so many times the setting's.
    fn issue(&self, issued_at: Instant, times: f64) -> Issue {
        let Setting { bias_c, at_issue_c, a_day_c, carry, lasting, .. } = self.setting;
        let mut chance = Chance(self.seed ^ (issued_at.0 as u64).wrapping_mul(0x2545_f491_4f6c_dd1d));
        (0..20).for_each(|_| {
            chance.share();
        });
        let lasts = chance.normal();
        let mut carried = chance.normal();
        let ahead =
            self.truth.iter().filter(|reading| (0..=HOURS * HOUR).contains(&reading.at.since(issued_at)));
        let hours = ahead
            .map(|reading| {
                let days = reading.at.since(issued_at) as f64 / DAY as f64;
                carried = carried * carry + chance.normal() * (1.0 - carry * carry).sqrt();
                let off = lasts * lasting.sqrt() + carried * (1.0 - lasting).sqrt();
                let error = bias_c + times * (at_issue_c + a_day_c * days) * off;
                Reading::instant(reading.at, reading.celsius - error)
            })
            .collect();
        Issue { issued_at, hours }
    }

    /// What is known at a moment.
    pub fn known_at(&self, at: Instant) -> Known {
        Known {
            at,
            readings: self.truth.iter().filter(|reading| reading.at <= at).copied().collect(),
            issues: self.issues.iter().filter(|issue| issue.issued_at <= at).cloned().collect(),
        }
    }

    /// The same with the newest issue made anew, its errors so many times as large.
    pub fn known_at_but(&self, at: Instant, times: f64) -> Known {
        let mut known = self.known_at(at);
        let newest = known.issues.last_mut().expect("an issue");
        *newest = self.issue(newest.issued_at, times);
        known
    }

    /// All that came, to judge by.
    pub fn truth(&self) -> &[Reading] {
        &self.truth
    }
}

impl Known {
    /// Errors of so many issues before the newest one, by the hours read since.
    pub fn errors(&self, issues: usize) -> Errors {
        let read: BTreeMap<Instant, f64> =
            self.readings.iter().map(|reading| (reading.at, reading.celsius)).collect();
        let before = self.issues.iter().rev().skip(1).take(issues);
        let pair = |issue: &Issue, hour: &Reading| {
            let read_c = *read.get(&hour.at)?;
            Some(Pair { issued_at: issue.issued_at, at: hour.at, foretold_c: hour.celsius, read_c })
        };
        let pairs: Vec<Pair> = before
            .flat_map(|issue| issue.hours.iter().filter_map(|hour| pair(issue, hour)).collect::<Vec<_>>())
            .collect();
        assert!(pairs.iter().all(|pair| pair.at <= self.at));
        Errors::learn(&pairs, self.at)
    }

    pub fn growth(&self, curve: Arc<Curve>) -> Growth {
        kit::growth_of(curve, std::slice::from_ref(&self.readings), None, self.at)
    }

    pub fn outlook(&self, growth: &Growth, errors: &Errors) -> Outlook {
        let newest = self.issues.last().expect("an issue");
        let members = std::slice::from_ref(&newest.hours);
        let foretold = Foretold { issued_at: newest.issued_at, members };
        Outlook::new(growth.course(), &foretold, errors, self.at).unwrap_or_else(|fault| panic!("{fault}"))
    }
}
