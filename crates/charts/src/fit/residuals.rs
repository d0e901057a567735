//! What the fit leaves of each observation, against temperature.

use model::fit::Fit;

use crate::fit::frame::{self, Across, RESIDUALS, Sample};
use crate::fit::told;
use crate::look;
use crate::scale::ValueAxis;
use crate::svg::Canvas;

/// Room beyond the farthest residual, as a share of it.
const ROOM: f64 = 0.15;
/// Least half of the axis: what an exact fit leaves is rounding, and not to be
/// looked at.
const LEAST: f64 = 1e-6;

pub(super) fn draw(canvas: &mut Canvas, fit: &Fit, across: &Across) {
    let seen = || fit.residuals.iter().filter(|seen| seen.residual.is_finite() && seen.celsius.is_finite());
    let farthest = seen().map(|seen| seen.residual.abs()).fold(LEAST.max(fit.sigma), f64::max) * (1.0 + ROOM);
    let axis = ValueAxis { low: -farthest, high: farthest, top: RESIDUALS.top, bottom: RESIDUALS.bottom };
    frame::values(canvas, RESIDUALS, &axis);
    let level = |canvas: &mut Canvas, value: f64, style| {
        canvas.line((RESIDUALS.left, axis.y(value)), (RESIDUALS.right, axis.y(value)), style);
    };
    for sign in [-1.0, 1.0] {
        level(canvas, sign * fit.sigma, look::LEVEL);
    }
    level(canvas, 0.0, look::MARK);
    for seen in seen() {
        let x = across.x(seen.celsius);
        canvas.line((x, axis.y(0.0)), (x, axis.y(seen.residual)), look::LEADER);
        frame::dot(canvas, fit, seen, (x, axis.y(seen.residual)));
    }
    let name = format!("Observed less fitted, {}", told::length_unit(fit));
    let spread = (Sample::Line(look::LEVEL), "one standard deviation".to_owned());
    frame::heading(canvas, RESIDUALS, &name, &[spread]);
}
