//! Least squares by Levenberg's and Marquardt's method (Levenberg 1944,
//! Marquardt 1963; published), with the columns brought to one length first,
//! so that °C, hours and rates weigh alike.

use crate::fit::asked::{Asked, Observation};
use crate::fit::normal::Normal;
use crate::fit::shape::Shape;

/// Most steps from one start; a dozen are usual.
const STEPS: usize = 200;
/// The damping that a search begins with, and where it is given up.
const DAMPING: (f64, f64) = (1e-3, 1e12);
/// Residuals this small beside the lengths are rounding, as a share.
const EXACT: f64 = 1e-13;
/// No column of slopes leans on the residuals by more than this cosine when a
/// search has settled.
const SETTLED: f64 = 1e-6;

/// The least-squares values.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub values: Vec<f64>,
    /// Standard error of each.
    pub errors: Vec<f64>,
    /// Σ residual².
    pub squares: f64,
    /// Standard deviation of the residuals with n − p.
    pub sigma: f64,
}

/// Why there are none.
#[derive(Debug, Clone)]
pub(super) enum Stuck {
    /// The value of this index could be anything: JᵀJ is singular.
    Untold(usize),
    /// The search ended at the edge of what is a curve.
    AtEdge {
        /// Figure that ran there.
        name: &'static str,
        /// What that means.
        why: String,
    },
    /// No start led anywhere.
    NotSettled,
}

/// Where one search ended.
struct Run {
    values: Vec<f64>,
    squares: f64,
    settled: bool,
}

/// Least squares from all starts; of two equally good ends the first holds.
pub(super) fn fit(shape: &Shape, asked: &Asked) -> Result<Found, Stuck> {
    let seen = &asked.observations;
    let mut best: Option<Run> = None;
    for start in shape.starts(seen) {
        let run = search(shape, seen, start);
        if best.as_ref().is_none_or(|best| run.squares < best.squares * (1.0 - 1e-9)) {
            best = Some(run);
        }
    }
    let run = best.filter(|run| run.squares.is_finite()).ok_or(Stuck::NotSettled)?;
    let normal = Normal::at(shape, seen, &run.values);
    if !run.settled {
        let edge = shape.at_edge(&run.values).map(|(name, why)| Stuck::AtEdge { name, why });
        let untold = || normal.errors().err().map(Stuck::Untold);
        return Err(edge.or_else(untold).unwrap_or(Stuck::NotSettled));
    }
    let sigma = libm::sqrt(normal.squares / (seen.len() - run.values.len()) as f64);
    let errors = normal.errors().map_err(Stuck::Untold)?.into_iter().map(|error| error * sigma).collect();
    Ok(Found { errors, squares: normal.squares, sigma, values: run.values })
}

fn search(shape: &Shape, seen: &[Observation], start: Vec<f64>) -> Run {
    if !shape.allowed(&start) {
        return Run { values: start, squares: f64::INFINITY, settled: false };
    }
    let all: f64 = seen.iter().map(|seen| seen.length * seen.length).sum();
    let mut values = start;
    let mut normal = Normal::at(shape, seen, &values);
    let mut damping = DAMPING.0;
    for _ in 0..STEPS {
        if normal.squares <= all * EXACT * EXACT {
            return Run { values, squares: normal.squares, settled: true };
        }
        let mut stepped = false;
        while damping <= DAMPING.1 {
            let next = normal.step(&values, damping).filter(|next| shape.allowed(next));
            if let Some(next) = next
                && squares(shape, seen, &next) < normal.squares
            {
                values = next;
                stepped = true;
                damping = (damping / 10.0).max(1e-12);
                break;
            }
            damping *= 10.0;
        }
        if !stepped {
            break;
        }
        normal = Normal::at(shape, seen, &values);
    }
    polish(shape, seen, &mut values, &mut normal);
    let settled = normal.lean() <= SETTLED || normal.squares <= all * EXACT * EXACT;
    Run { values, squares: normal.squares, settled }
}

/// Where the sum of squares can no longer tell better from worse, since it
/// changes by less than its rounding, the slopes still can.
fn polish(shape: &Shape, seen: &[Observation], values: &mut Vec<f64>, normal: &mut Normal) {
    for _ in 0..10 {
        let Some(next) = normal.step(values, 0.0).filter(|next| shape.allowed(next)) else {
            return;
        };
        let there = Normal::at(shape, seen, &next);
        if there.lean() >= normal.lean() || there.squares > normal.squares * (1.0 + 1e-9) {
            return;
        }
        (*values, *normal) = (next, there);
    }
}

fn squares(shape: &Shape, seen: &[Observation], values: &[f64]) -> f64 {
    seen.iter().map(|seen| seen.length - shape.length(values, seen)).map(|left| left * left).sum()
}
