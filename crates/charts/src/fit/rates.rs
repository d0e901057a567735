//! Growth rate against temperature: curve and observations.

use model::curve::Curve;
use model::fit::Fit;

use crate::fit::frame::{self, Across, RATES, Sample};
use crate::fit::told;
use crate::look;
use crate::scale::{ValueAxis, between};
use crate::svg::{Anchor, Canvas, Point, Type};

/// Room above the highest value, as a share of it.
const ROOM: f64 = 0.08;
/// Half of the cap of an error bar, px.
const CAP: f64 = 5.0;
const BEYOND: Type = Type::plain(12.0, look::FLOWER);
/// Highest rate that the axis is stretched for, as a multiple of the curve's
/// greatest: a tube measured just after the lag has hardly a rate.
const STRETCH: f64 = 2.0;

pub(super) fn draw(canvas: &mut Canvas, fit: &Fit, curve: &Curve, across: &Across) {
    let per_unit = if fit.unit.ends_with("day") { 24.0 } else { 1.0 };
    let seen = observed(fit, per_unit);
    let bars = bars(fit);
    let greatest = curve.table.greatest() * per_unit;
    let highest = seen.iter().map(|(_, rate)| *rate).chain(bars.iter().map(|(_, _, high)| *high));
    let highest = highest.fold(greatest, f64::max).min(greatest * STRETCH) * (1.0 + ROOM);
    let axis = ValueAxis { low: 0.0, high: highest, top: RATES.top, bottom: RATES.bottom };
    frame::values(canvas, RATES, &axis);
    let at = |celsius, rate| (across.x(celsius), axis.y(rate));

    let line: Vec<(f64, f64)> =
        curve.table.nodes().map(|(celsius, rate)| (celsius, rate * per_unit)).collect();
    let (low, high) = fit.covered;
    let parts = [
        (f64::NEG_INFINITY, low, look::FITTED_BEYOND),
        (low, high, look::FITTED),
        (high, f64::INFINITY, look::FITTED_BEYOND),
    ];
    for (from, to, style) in parts {
        let points: Vec<Point> = between(&line, from, to).into_iter().map(|(t, rate)| at(t, rate)).collect();
        canvas.path(&points, style);
    }
    for (celsius, least, most) in &bars {
        let (foot, head) = (at(*celsius, least.clamp(0.0, highest)), at(*celsius, most.min(highest)));
        canvas.line(foot, head, look::SPREAD_OF_RATE);
        for (x, y) in [foot, head] {
            canvas.line((x - CAP, y), (x + CAP, y), look::SPREAD_OF_RATE);
        }
    }
    for (index, rate) in seen {
        let seen = &fit.residuals[index];
        let (x, y) = at(seen.celsius, rate.min(highest / (1.0 + ROOM)));
        frame::dot(canvas, fit, seen, (x, y));
        if rate > greatest * STRETCH {
            let words = format!("↑ {}", told::plain(rate));
            canvas.text((x + 9.0, y + 4.0), Anchor::Start, BEYOND, &words);
        }
    }

    let mut keys = vec![
        (Sample::Line(look::FITTED), "fitted".to_owned()),
        (Sample::Line(look::FITTED_BEYOND), "beyond what was observed".to_owned()),
    ];
    if !bars.is_empty() {
        keys.push((Sample::Line(look::SPREAD_OF_RATE), "95 %".to_owned()));
    }
    keys.extend(frame::dots(fit));
    frame::heading(canvas, RATES, &format!("Growth, {}", told::unit(&fit.unit)), &keys);
}

/// Index of each observation with its rate: its length over the hours that it
/// grew. One before the lag has none.
fn observed(fit: &Fit, per_unit: f64) -> Vec<(usize, f64)> {
    let lag = fit.lag_hours.unwrap_or(0.0);
    let rate = |(index, seen): (usize, &model::fit::Residual)| {
        let grown = seen.hours - lag;
        let rate = seen.length / grown * per_unit;
        (grown > 0.0 && rate.is_finite() && seen.celsius.is_finite()).then_some((index, rate))
    };
    fit.residuals.iter().enumerate().filter_map(rate).collect()
}

/// Temperature, and the 95 % interval of the rate at it, where each has a rate
/// of its own.
fn bars(fit: &Fit) -> Vec<(f64, f64, f64)> {
    fit.parameters
        .iter()
        .filter_map(|figure| {
            let celsius: f64 = figure.name.strip_prefix("rate_at_")?.parse().ok()?;
            let (low, high) = (figure.value - figure.half_width_95, figure.value + figure.half_width_95);
            (celsius.is_finite() && high.is_finite()).then_some((celsius, low, high))
        })
        .collect()
}
