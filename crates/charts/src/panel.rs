//! What stands round a panel: its name, its keys and its numbers.

use crate::labels;
use crate::look;
use crate::svg::{Anchor, Area, Canvas, Type};

const PANEL_NAME: Type = Type::bold(13.0, look::INK);
const KEY: Type = Type::plain(12.0, look::SOFT_INK);
const NUMBER: Type = Type::plain(12.0, look::SOFT_INK);

/// What a key shows beside its words.
pub(crate) enum Sample {
    Line(&'static str),
    Block(&'static str),
    Dot(&'static str),
}

/// Names a panel, where it has a name, at its left and explains its lines at its right.
pub(crate) fn heading(canvas: &mut Canvas, area: Area, name: &str, keys: &[(Sample, String)]) {
    const SAMPLE: f64 = 26.0;
    const TO_WORDS: f64 = 5.0;
    const GAP: f64 = 16.0;
    let y = area.top - 8.0;
    if !name.is_empty() {
        canvas.text((area.left, y), Anchor::Start, PANEL_NAME, name);
    }
    let wide = |words: &str| SAMPLE + TO_WORDS + labels::width(words, KEY);
    let whole = keys.iter().map(|(_, words)| wide(words) + GAP).sum::<f64>() - GAP;
    let mut left = area.right - whole;
    for (sample, words) in keys {
        let (right, middle) = (left + SAMPLE, y - 4.0);
        match sample {
            Sample::Line(style) => canvas.line((left, middle), (right, middle), style),
            Sample::Dot(style) => canvas.circle((right - 5.0, middle), 4.0, style),
            Sample::Block(style) => {
                canvas.rect(Area { left, top: middle - 5.0, right, bottom: middle + 5.0 }, style)
            }
        }
        canvas.text((right + TO_WORDS, y), Anchor::Start, KEY, words);
        left += wide(words) + GAP;
    }
}

/// A number at the left of a panel that begins at `left`.
pub(crate) fn number(canvas: &mut Canvas, left: f64, y: f64, words: &str) {
    canvas.text((left - 7.0, y + 4.0), Anchor::End, NUMBER, words);
}

/// A step of 1, 2 or 5 in its power of ten that cuts a span into 3 to 8.
pub(crate) fn step(span: f64) -> f64 {
    let span = if span.is_finite() && span > 0.0 { span } else { 1.0 };
    let ten = 10_f64.powf((span / 4.0).log10().floor());
    [1.0, 2.0, 5.0].map(|of| of * ten).into_iter().find(|step| span / step <= 8.0).unwrap_or(10.0 * ten)
}

/// The whole picture's paper with its frame.
pub(crate) fn paper(canvas: &mut Canvas, width: f64, height: f64) {
    let whole = Area { left: 0.5, top: 0.5, right: width - 0.5, bottom: height - 0.5 };
    canvas.rect(whole, &format!(r#"rx="10" fill="{}" stroke="{}""#, look::PAPER, look::FRAME));
}

/// Slanting lines over an area, so that it stands apart on black and white paper too;
/// those of areas side by side meet.
pub(crate) fn hatch(canvas: &mut Canvas, area: Area) {
    const APART: f64 = 9.0;
    if area.size() <= 0.0 {
        return;
    }
    let place = |sum: f64| (sum / APART).ceil() as i32;
    for n in place(area.left + area.top)..place(area.right + area.bottom) {
        let sum = f64::from(n) * APART;
        let (from, to) = (area.left.max(sum - area.bottom), area.right.min(sum - area.top));
        canvas.line((from, sum - from), (to, sum - to), look::HATCH);
    }
}
