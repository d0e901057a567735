//! Odds asked of seasons on made-up weather.

use std::sync::Arc;

use model::curve::Curve;
use model::growth::Growth;
use model::odds::{self, Errors, Fault, Foretold, Line, Outlook, SeasonOdds};
use model::plan::Plan;
use model::season::Season;
use model::series::Reading;
use model::time::Instant;
use serde_json::{Value, json};

use crate::kit::{self, hour};

/// A day's course about a mean, °C, hours after the begin of the readings.
pub fn celsius(hours: i64, mean: f64) -> f64 {
    mean + 5.0 * ((hours - 9) as f64 / 24.0 * std::f64::consts::TAU).sin()
}

/// Three days of readings.
pub fn read() -> Vec<Reading> {
    kit::hourly((0..=72).map(|hours| celsius(hours, 12.0)))
}

/// Hours of a forecast from an hour on, about a mean.
pub fn ahead(from: i64, hours: i64, mean: f64) -> Vec<Reading> {
    (from..=from + hours).map(|n| Reading::instant(hour(n as f64), celsius(n, mean))).collect()
}

/// What odds are asked of.
#[derive(Debug)]
pub struct Asked {
    pub plan: Plan,
    pub entries: Vec<Value>,
    pub readings: Vec<Reading>,
    pub members: Vec<Vec<Reading>>,
    pub issued_at: Instant,
    pub now: Instant,
    pub errors: Errors,
    /// Curves beside the block's own.
    pub others: Vec<Arc<Curve>>,
}

impl Asked {
    /// A clock that was started an hour before the last reading, under these members.
    pub fn of(members: Vec<Vec<Reading>>) -> Asked {
        Asked {
            plan: kit::two_sprays(),
            entries: vec![kit::start(hour(71.0))],
            readings: read(),
            members,
            issued_at: hour(72.0),
            now: hour(72.0),
            errors: Errors::prior(),
            others: Vec::new(),
        }
    }

    fn growth(&self, curve: &Arc<Curve>) -> Growth {
        kit::growth_of(curve.clone(), std::slice::from_ref(&self.readings), None, self.now)
    }

    pub fn season(&self) -> Season {
        let growth = self.growth(&self.plan.block.curve);
        model::season::reckon(&self.plan, &kit::log(&self.entries), &growth, self.now)
    }

    /// The season under an outlook, whose members tell of frost.
    pub fn season_under(&self, outlook: &Outlook) -> Season {
        let growth = self.growth(&self.plan.block.curve);
        model::season::reckon_under(&self.plan, &kit::log(&self.entries), &growth, Some(outlook), self.now)
    }

    pub fn outlook(&self) -> Result<Outlook, Fault> {
        let growth = self.growth(&self.plan.block.curve);
        let foretold = Foretold { issued_at: self.issued_at, members: &self.members };
        Outlook::new(growth.course(), &foretold, &self.errors, self.now)
    }

    pub fn odds(&self) -> SeasonOdds {
        self.odds_on(&self.outlook().unwrap_or_else(|fault| panic!("{fault}")))
    }

    pub fn odds_on(&self, outlook: &Outlook) -> SeasonOdds {
        let curves: Vec<&Arc<Curve>> = std::iter::once(&self.plan.block.curve).chain(&self.others).collect();
        let growths: Vec<Growth> = curves.iter().map(|curve| self.growth(curve)).collect();
        let tubes: Vec<_> = curves.iter().map(|curve| outlook.on(curve)).collect();
        let lines: Vec<Line<'_>> =
            growths.iter().zip(&tubes).map(|(growth, tubes)| Line { growth, tubes, weight: 1.0 }).collect();
        odds::of(&self.plan, &kit::log(&self.entries), &self.season(), outlook, &lines, self.now)
    }
}

/// An ensemble of so many members on ten days, some degrees apart.
pub fn ensemble(members: usize, apart: f64) -> Vec<Vec<Reading>> {
    let middle = (members as f64 - 1.0) / 2.0;
    (0..members).map(|n| ahead(72, 240, 13.0 + apart * (n as f64 - middle))).collect()
}

/// A block on a curve in mm with those styles measured.
pub fn in_mm(styles: &[f64]) -> Plan {
    let block = json!({
        "name": "Quarry Bank", "cultivar": "Gala", "target_fruit_per_tree": 100, "style_lengths_mm": styles,
        "curve": {
            "form": "nodes", "unit": "mm-per-hour", "source": "for these tests", "status": "measured",
            "nodes": [[4, 0], [10, 0.08], [20, 0.3], [35, 0]],
        },
    });
    kit::plan_of(&block, &[("ammonium-thiosulfate", 0.6), ("lime-sulfur", 1.0)])
}

/// Seconds from early to late.
pub fn apart(odds: &odds::Odds) -> i64 {
    odds.late.expect("a late time").since(odds.early.expect("an early time"))
}

/// Codes of what is said beside.
pub fn codes(odds: &SeasonOdds) -> Vec<&str> {
    odds.notes.iter().map(|note| note.code.as_ref()).collect()
}
