//! One block's season on several growth curves, so that an advisor sees what the
//! choice of the curve does to the times before it is made.
//!
//! Plan, log and weather stay as they are; only the curve changes. A leg opens
//! where it was logged to open, so legs of the same number can be held against
//! each other.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::curve::{Curve, EndPoint, Measure, Status};
use crate::field_log::{FieldLog, Observed};
use crate::growth::{Course, Growth};
use crate::legs::Leg;
use crate::plan::Plan;
use crate::season::{self, State};
use crate::time::{HOUR, Instant};

/// What a leg comes to on one curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Id of the curve.
    pub curve: String,
    /// How its figures came about.
    pub status: Status,
    /// Who says so.
    pub source: String,
    /// What its arrival means; one counted to the ovule is late beside one
    /// counted to the foot of the style.
    pub end_point: EndPoint,
    /// Whether it was made for the block's cultivar.
    pub of_this_cultivar: bool,
    /// Number of the leg, from 1.
    pub leg: usize,
    /// Share of the style at which its spray is due.
    pub mark: f64,
    /// When the mark was reached, or is expected to be; none when the leg ended
    /// sooner or the forecast does not reach so far.
    pub at: Option<Instant>,
    /// Whether `at` rests on the forecast.
    pub expected: bool,
    /// Low progress at the leg's end, or at the last reading, as a share of the
    /// style.
    pub progress: f64,
    /// Hours by which `at` lies after that of the block's own curve, before it
    /// when negative; none when either has no time.
    pub apart_hours: Option<f64>,
}

/// A curve that the season could not be reckoned on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Id of the curve.
    pub curve: String,
    /// Why, and what to do.
    pub reason: String,
}

/// A season on the block's own curve and on others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Id of the block's own curve, whose rows come first.
    pub own: String,
    /// Where the season stands on it; while the clock has not started there are
    /// no rows.
    pub state: State,
    /// End of the last reading used.
    pub as_of: Option<Instant>,
    /// A row for each curve and each leg that has a mark: curves in the order
    /// given, legs by number.
    pub rows: Vec<Row>,
    /// Curves that could not be used.
    pub left_out: Vec<LeftOut>,
}

/// Reckons the season of a block on its own curve and on each of `curves`; its
/// own is left out there. `course` is the weather at the block.
pub fn compare(
    plan: &Plan,
    field_log: &FieldLog,
    course: &Arc<Course>,
    curves: &[Arc<Curve>],
    now: Instant,
) -> Comparison {
    let own_curve = &plan.block.curve;
    let own = reckon(plan, field_log, course, own_curve, now);
    let mut comparison = Comparison {
        own: own_curve.id.clone(),
        state: own.state,
        as_of: own.as_of,
        rows: rows(plan, own_curve, &own.legs, &own.legs),
        left_out: Vec::new(),
    };
    let measured = has_style_length(plan, field_log, now);
    for curve in curves.iter().filter(|curve| *curve != own_curve) {
        if curve.measure == Measure::Millimetre && !measured {
            let reason = "The curve is in millimetres, and no style length is known for this block: measure styles \
                          and log their lengths.";
            comparison.left_out.push(LeftOut { curve: curve.id.clone(), reason: reason.to_owned() });
            continue;
        }
        let season = reckon(plan, field_log, course, curve, now);
        comparison.rows.extend(rows(plan, curve, &season.legs, &own.legs));
    }
    comparison
}

fn reckon(
    plan: &Plan,
    field_log: &FieldLog,
    course: &Arc<Course>,
    curve: &Arc<Curve>,
    now: Instant,
) -> season::Season {
    let mut plan = plan.clone();
    plan.block.curve = curve.clone();
    season::reckon(&plan, field_log, &Growth::new(course.clone(), curve.clone()), now)
}

fn rows(plan: &Plan, curve: &Curve, legs: &[Leg], own: &[Leg]) -> Vec<Row> {
    let time = |leg: &Leg| leg.reached_at.or(leg.expected_at);
    let row = |leg: &Leg| {
        let own = own.iter().find(|own| own.number == leg.number).and_then(time);
        let at = time(leg);
        Some(Row {
            curve: curve.id.clone(),
            status: curve.status,
            source: curve.source.clone(),
            end_point: curve.end_point,
            of_this_cultivar: curve.cultivars.contains(&plan.block.cultivar),
            leg: leg.number,
            mark: leg.mark?,
            at,
            expected: leg.reached_at.is_none() && leg.expected_at.is_some(),
            progress: leg.progress_low,
            apart_hours: at.zip(own).map(|(at, own)| at.since(own) as f64 / HOUR as f64),
        })
    };
    legs.iter().filter_map(row).collect()
}

fn has_style_length(plan: &Plan, field_log: &FieldLog, now: Instant) -> bool {
    let stand = field_log.stand(now);
    let logged = stand.entries.iter().any(|entry| matches!(entry.says, Observed::StyleLength(_)));
    logged || !plan.block.style_lengths_mm.is_empty() || plan.lent.style_lengths_mm.is_some()
}

#[cfg(test)]
mod tests;
