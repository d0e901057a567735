//! The two panels, the temperatures across both, and their keys.

use model::curve::Curve;
use model::fit::{Fit, Residual};

use crate::fit::told;
use crate::labels;
use crate::look;
use crate::panel;
use crate::scale::ValueAxis;
use crate::svg::{Anchor, Area, Canvas, Point, Type};

/// Panel of the rates.
pub(super) const RATES: Area = Area { left: 66.0, top: 96.0, right: 976.0, bottom: 364.0 };
/// Panel of the residuals.
pub(super) const RESIDUALS: Area = Area { left: 66.0, top: 404.0, right: 976.0, bottom: 582.0 };

const PANEL_NAME: Type = Type::bold(13.0, look::INK);
const NUMBER: Type = Type::plain(12.0, look::SOFT_INK);
/// Widest span of temperature with a line at each 5 °C; beyond, at each 10 °C.
const FINE_C: f64 = 60.0;
/// Radius of an observation.
const RADIUS: f64 = 4.5;

/// Temperatures from left to right: an axis laid on its side.
pub(super) struct Across {
    axis: ValueAxis,
}

impl Across {
    /// Holds all observations and the whole curve.
    pub(super) fn of(fit: &Fit, curve: &Curve) -> Across {
        let (first, last) = curve.table.reach();
        let seen = || fit.residuals.iter().map(|seen| seen.celsius).filter(|celsius| celsius.is_finite());
        let low = (seen().fold(first, f64::min) - 1.0).max(-60.0);
        let high = (seen().fold(last, f64::max) + 1.0).min(60.0);
        let even = |celsius: f64| celsius / 5.0;
        let (low, high) = (even(low).floor() * 5.0, even(high).ceil() * 5.0);
        Across { axis: ValueAxis { low, high, top: RATES.right, bottom: RATES.left } }
    }

    pub(super) fn x(&self, celsius: f64) -> f64 {
        self.axis.y(celsius)
    }

    fn ticks(&self) -> Vec<f64> {
        self.axis.ticks(if self.axis.high - self.axis.low > FINE_C { 10.0 } else { 5.0 })
    }
}

/// The panels' backgrounds with a line at each so many degrees, and their names
/// in both scales.
pub(super) fn panels(canvas: &mut Canvas, across: &Across) {
    for area in [RATES, RESIDUALS] {
        canvas.rect(area, &format!(r#"fill="{}" stroke="{}""#, look::PANEL, look::FRAME));
    }
    for celsius in across.ticks() {
        let x = across.x(celsius);
        for area in [RATES, RESIDUALS] {
            canvas.line((x, area.top), (x, area.bottom), look::GRID);
        }
        let name = |scale: &str, degrees: f64| format!("{} {scale}", told::plain(degrees));
        let y = RESIDUALS.bottom;
        canvas.text((x, y + 18.0), Anchor::Middle, NUMBER, &name("°C", celsius));
        canvas.text((x, y + 34.0), Anchor::Middle, NUMBER, &name("°F", told::fahrenheit(celsius)));
    }
}

/// Lines and numbers at the left of a panel.
pub(super) fn values(canvas: &mut Canvas, area: Area, axis: &ValueAxis) {
    let step = panel::step(axis.high - axis.low);
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    for value in axis.ticks(step) {
        let y = axis.y(value);
        canvas.line((area.left, y), (area.right, y), look::GRID);
        let number = format!("{:.decimals$}", value + 0.0).replace('-', "−");
        canvas.text((area.left - 7.0, y + 4.0), Anchor::End, NUMBER, &number);
    }
}

/// What a key shows beside its words.
pub(super) enum Sample {
    Line(&'static str),
    Dot(&'static str),
}

/// Names a panel at its left and explains what is drawn at its right.
pub(super) fn heading(canvas: &mut Canvas, area: Area, name: &str, keys: &[(Sample, String)]) {
    const SAMPLE: f64 = 26.0;
    const TO_WORDS: f64 = 5.0;
    const GAP: f64 = 14.0;
    let y = area.top - 8.0;
    canvas.text((area.left, y), Anchor::Start, PANEL_NAME, name);
    let wide = |words: &str| SAMPLE + TO_WORDS + labels::width(words, NUMBER);
    let mut left = area.right + GAP - keys.iter().map(|(_, words)| wide(words) + GAP).sum::<f64>();
    for (sample, words) in keys {
        let (right, middle) = (left + SAMPLE, y - 4.0);
        match sample {
            Sample::Line(style) => canvas.line((left, middle), (right, middle), style),
            Sample::Dot(style) => canvas.circle((right - RADIUS - 1.0, middle), RADIUS, style),
        }
        canvas.text((right + TO_WORDS, y), Anchor::Start, NUMBER, words);
        left += wide(words) + GAP;
    }
}

/// Shortest and longest time that tubes were measured after, h.
fn times(fit: &Fit) -> (f64, f64) {
    let hours = || fit.residuals.iter().map(|seen| seen.hours);
    (hours().fold(f64::INFINITY, f64::min), hours().fold(0.0, f64::max))
}

/// An observation: the longer it grew the fuller its dot, since a lag shows in
/// how early and late ones differ.
pub(super) fn dot(canvas: &mut Canvas, fit: &Fit, seen: &Residual, at: Point) {
    let (first, last) = times(fit);
    let style = if seen.hours >= last {
        look::SEEN_LAST
    } else if seen.hours <= first {
        look::SEEN_FIRST
    } else {
        look::SEEN_BETWEEN
    };
    canvas.circle(at, RADIUS, style);
}

/// What the dots are.
pub(super) fn dots(fit: &Fit) -> Vec<(Sample, String)> {
    let (first, last) = times(fit);
    let after = |hours| format!("after {} h", told::plain(hours));
    let mut keys = Vec::new();
    if first < last {
        keys.push((Sample::Dot(look::SEEN_FIRST), after(first)));
    }
    if fit.residuals.iter().any(|seen| first < seen.hours && seen.hours < last) {
        keys.push((Sample::Dot(look::SEEN_BETWEEN), "between".to_owned()));
    }
    if last > 0.0 {
        keys.push((Sample::Dot(look::SEEN_LAST), after(last)));
    }
    keys
}
