//! The odds of one season: of its start, of the leg that runs, and of those after it.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::Odds;
use super::begin::{Begin, Known};
use super::case::{Case, Line, NEVER, Style};
use super::noise;
use super::outlook::{Fault, Outlook};
use super::weighs;
use crate::bloom::{Basis, Count, NINETY_PERCENT, Rise, Start};
use crate::curve::{Curve, Measure, Status};
use crate::field_log::FieldLog;
use crate::plan::{MarkBound, Plan};
use crate::season::{self, Note, Season, State};
use crate::stats::NORMAL_95;
use crate::style::{EXPECTED_SPREAD, StyleLength};
use crate::time::Instant;

/// The odds of one leg's mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LegOdds {
    /// 1 for the leg from the start.
    pub number: usize,
    /// Share of the style.
    pub mark: f64,
    /// Side of the mark that its spray must stay on.
    pub bound: MarkBound,
    /// Whether it hangs on a spray that is not logged yet.
    pub after_unlogged: bool,
    /// When the mark is reached.
    pub odds: Odds,
}

/// The odds of one season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonOdds {
    /// When it was asked.
    pub asked_at: Instant,
    /// When the forecast behind it was issued; none without one.
    pub issued_at: Option<Instant>,
    /// When live open flowers reach the threshold, where they have not.
    pub start: Option<Odds>,
    /// The leg that runs and those after it that have a mark.
    pub legs: Vec<LegOdds>,
    /// What a reader must know beside, and why odds are missing where they are.
    pub notes: Vec<Note>,
}

impl SeasonOdds {
    /// No odds, and why.
    pub fn without(fault: &Fault, now: Instant) -> SeasonOdds {
        SeasonOdds {
            asked_at: now,
            issued_at: None,
            start: None,
            legs: Vec::new(),
            notes: vec![Note::new("no-odds", fault.to_string())],
        }
    }
}

/// The curves that may hold for a block, its own first, each with its weight: its own
/// alone where somebody measured it as a whole or printed it; else also the others that
/// ship as constructed, all alike, since nothing tells them apart.
pub fn curves_in_doubt(own: &Arc<Curve>, shipped: &[Arc<Curve>]) -> Vec<(Arc<Curve>, f64)> {
    let known = matches!(own.status, Status::Published | Status::Measured);
    let alike = |other: &&Arc<Curve>| {
        !known && other.id != own.id && other.status == Status::Constructed && other.measure == Measure::Style
    };
    std::iter::once(own).chain(shipped.iter().filter(alike)).map(|curve| (curve.clone(), 1.0)).collect()
}

/// The odds of a reckoned season under the plan and log that it was reckoned from.
/// `lines` are growth so far and ahead on each curve that may hold, the block's own
/// first, all on the course that the outlook goes on from.
///
/// Each leg after the one that runs is taken to begin at the mark before it, in each
/// draw at its own; where that mark is past and no spray logged, at `now`.
pub fn of(
    plan: &Plan,
    field_log: &FieldLog,
    season: &Season,
    outlook: &Outlook,
    lines: &[Line<'_>],
    now: Instant,
) -> SeasonOdds {
    let mut odds = SeasonOdds {
        asked_at: now,
        issued_at: Some(outlook.issued_at()),
        start: None,
        legs: Vec::new(),
        notes: outlook.notes().to_vec(),
    };
    let style = season.style.as_ref().map(style);
    let measured = |line: &&Line<'_>| line.tubes.curve().measure == Measure::Style || style.is_some();
    let over = matches!(season.state, State::Done | State::StoodDown);
    if over || season.threshold <= 0.0 || lines.first().as_ref().is_none_or(|line| !measured(line)) {
        return odds;
    }
    let begin = match begin(plan, field_log, season, outlook, lines[0], now, &mut odds.notes) {
        Some(begin) => begin,
        None => return odds,
    };
    let running = season.running().map_or(0, |leg| leg.number - 1);
    let sprays = plan.sprays.get(running..).unwrap_or_default();
    let marks = sprays.iter().map(|spray| spray.mark).collect();
    let case = Case::new(outlook, lines.iter().filter(measured).copied(), begin, style, marks, now);
    let mut of_slots = drawn(&case, season.style.as_ref().map_or(0, |style| style.sample.n)).into_iter();
    odds.start = if case.draws_start() { of_slots.next() } else { None };
    let expected = odds.start.is_some();
    let legs = sprays.iter().zip(of_slots).enumerate();
    odds.legs = legs
        .map(|(n, (spray, odds))| LegOdds {
            number: running + n + 1,
            mark: spray.mark,
            bound: spray.bound,
            after_unlogged: n > 0,
            odds,
        })
        .collect();
    if odds.legs.len() > 1 {
        let text = "Each later leg is reckoned as if the spray before it went on at its mark.";
        odds.notes.push(Note::new("sprays-at-marks", text));
    }
    if season.state == State::Hold {
        let text = "Frost may have taken flowers: these odds hold only if enough are alive.";
        odds.notes.push(Note::new("odds-on-hold", text));
    }
    if !expected && season.start.is_some_and(|start| start.basis == Basis::NoLaterThan) && running == 0 {
        let text = "When the clock started is known only to a latest time: marks may be reached sooner.";
        odds.notes.push(Note::new("start-no-later", text));
    }
    odds
}

/// Draws a case and sums up each slot.
fn drawn(case: &Case<'_>, styles: usize) -> Vec<Odds> {
    let slots = case.slots();
    let each = noise::each(case.outlook.members());
    let mut samples = vec![Vec::with_capacity(each * case.outlook.members()); slots];
    let mut one = vec![NEVER; slots];
    for (member, points) in noise::points(case.outlook.members(), each) {
        for point in points {
            case.draw(member, point, None, &mut one);
            samples.iter_mut().zip(&one).for_each(|(sample, at)| sample.push(*at));
        }
    }
    let horizon = case.outlook.horizon().since(case.outlook.as_of()) as i32;
    let weighs = weighs::most(case, &samples, horizon, styles);
    samples.into_iter().zip(weighs).map(|(sample, weighs)| Odds::new(sample, case.outlook, weighs)).collect()
}

/// Where the first leg that odds are asked of begins; none, with a note, where nothing
/// leads to a start.
fn begin(
    plan: &Plan,
    field_log: &FieldLog,
    season: &Season,
    outlook: &Outlook,
    own: Line<'_>,
    now: Instant,
    notes: &mut Vec<Note>,
) -> Option<Begin> {
    let as_of = outlook.as_of();
    if let Some(leg) = season.running() {
        let at = leg.from.since(as_of);
        let first = season.start.filter(|_| leg.number == 1);
        return Some(Begin::Known(match first {
            Some(start) => known(&start, season, as_of),
            // Sprayed row by row: what opened behind the sprayer is younger.
            None => {
                let finished = season::finished(&field_log.stand(now), &leg.opened_by);
                let end = finished.map_or(at, |end| end.since(as_of).max(at));
                Known { at, early: 0.0, late: (end - at) as f64 / NINETY_PERCENT, within: (at, end) }
            }
        }));
    }
    if let Some(start) = season.start.filter(|start| start.basis != Basis::Expected) {
        return Some(Begin::Known(known(&start, season, as_of)));
    }
    let course = own.growth.course();
    let flowers = season::flowers(plan, &field_log.stand(now));
    let rise = Rise::of(&counts(season), season.threshold, flowers, course);
    let Some(rise) = rise else {
        let text =
            "No odds of the start yet: they need two counts of open flowers of which the second is higher.";
        notes.push(Note::new("no-rise", text));
        return None;
    };
    let counted = rise.from.since(as_of);
    let gone = if counted < 0 { course.degrees(rise.from, as_of) } else { 0 };
    Some(Begin::Rise { rise, counted, gone })
}

/// A start by counts or by hand, never outside the two counts that hold it.
fn known(start: &Start, season: &Season, as_of: Instant) -> Known {
    let side =
        |edge: Option<Instant>| edge.map_or(0.0, |edge| edge.since(start.at).abs() as f64 / NINETY_PERCENT);
    let (early, late) = (side(start.earliest), side(start.latest));
    let below = season
        .counts
        .iter()
        .rev()
        .find(|count| count.at <= start.at && count.live_open_per_tree < season.threshold);
    let above = season
        .counts
        .iter()
        .find(|count| count.at >= start.at && count.live_open_per_tree >= season.threshold);
    let within = match (start.basis, below, above) {
        (Basis::BetweenCounts, Some(below), Some(above)) => (below.at.since(as_of), above.at.since(as_of)),
        _ => (i64::MIN, i64::MAX),
    };
    Known { at: start.at.since(as_of), early, late, within }
}

/// The counts as the season has them; what a frost left comes first.
fn counts(season: &Season) -> Vec<Count> {
    let later = |at: Instant| season.anew.is_none_or(|anew| at > anew.frost_at);
    let left =
        season.anew.map(|anew| Count { at: anew.frost_at, mean: anew.left_open, trees: 2, error: 0.0 });
    let counted = season.counts.iter().filter(|count| later(count.at)).map(|count| Count {
        at: count.at,
        mean: count.live_open_per_tree,
        trees: count.trees,
        error: count.error,
    });
    left.into_iter().chain(counted).collect()
}

/// Mean and standard error of the style, the latter such that 1.96 of it are the 95 %
/// interval by Student's t; of one style as if lengths spread as they mostly do.
fn style(style: &StyleLength) -> Style {
    let mean = style.sample.mean;
    let error = match style.high {
        Some(high) if style.sample.n > 1 => (high - mean) / NORMAL_95,
        high => {
            let lent = high.map_or(0.0, |high| (high - mean) / NORMAL_95);
            libm::sqrt(EXPECTED_SPREAD * EXPECTED_SPREAD * mean * mean + lent * lent)
        }
    };
    Style { mean, error }
}
