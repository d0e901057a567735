//! The panel of the joined temperature.

use model::series::{Law, Quality};
use model::time::Instant;

use super::{AIR, Sources, TEMPERATURE_USED};
use crate::look;
use crate::panel::{self, Sample};
use crate::scale::{TimeAxis, ValueAxis, drawable};
use crate::svg::{Anchor, Area, Canvas, Point, Type};

/// Narrowest unknown stretch that its word fits into, px.
const NAMED: f64 = 62.0;

pub(super) fn draw(canvas: &mut Canvas, sources: &Sources<'_>, time: &TimeAxis) {
    let known = sources.joined.spans.iter().filter(|span| span.to > time.from.0 && span.from < time.to.0);
    let ends = known.flat_map(|span| match span.law {
        Law::Line(a, b) | Law::Within(a, b) => vec![a, b],
        Law::Anything => Vec::new(),
    });
    let celsius = ValueAxis::celsius(ends.filter_map(drawable), AIR.top, AIR.bottom);
    unknown(canvas, sources, time, &celsius);
    let step = if celsius.high - celsius.low > 30.0 { 10.0 } else { 5.0 };
    for tick in celsius.ticks(step) {
        let y = celsius.y(tick);
        canvas.line((AIR.left, y), (AIR.right, y), look::GRID);
        panel::number(canvas, AIR.left, y, &format!("{tick:.0} °C").replace('-', "−"));
    }
    for (quality, points) in lines(sources, time, &celsius) {
        canvas.path(&points, look::line(quality));
    }
    panel::heading(canvas, AIR, TEMPERATURE_USED, &keys(sources));
}

fn keys(sources: &Sources<'_>) -> Vec<(Sample, String)> {
    let stretches = sources.stretches();
    let has = |wanted| stretches.iter().any(|(.., quality)| *quality == wanted);
    let key = |quality| {
        let words = look::quality(quality);
        match quality {
            Quality::Unknown => {
                (Sample::Block(look::UNKNOWN), format!("{words}; hatched: within these bounds"))
            }
            _ => (Sample::Line(look::line(quality)), words.to_owned()),
        }
    };
    let all = [Quality::Observed, Quality::Filled, Quality::Forecast, Quality::Unknown];
    all.into_iter().filter(|quality| has(*quality)).map(key).collect()
}

/// Grey over the whole height, hatched between the bounds that are known.
fn unknown(canvas: &mut Canvas, sources: &Sources<'_>, time: &TimeAxis, celsius: &ValueAxis) {
    let place = |at: Instant| time.x(at.max(time.from).min(time.to));
    let word = Type::plain(12.0, look::INK);
    for (from, to, _) in sources.stretches().iter().filter(|(.., quality)| *quality == Quality::Unknown) {
        canvas.rect(Area { left: place(*from), right: place(*to), ..AIR }, look::UNKNOWN);
    }
    for span in sources.joined.spans.iter().filter(|span| span.to > time.from.0 && span.from < time.to.0) {
        let (top, bottom) = match span.law {
            Law::Line(..) => continue,
            Law::Within(low, high) => match (drawable(low), drawable(high)) {
                (Some(low), Some(high)) => (celsius.y(high), celsius.y(low)),
                _ => (AIR.top, AIR.bottom),
            },
            Law::Anything => (AIR.top, AIR.bottom),
        };
        let (left, right) = (place(Instant(span.from)), place(Instant(span.to)));
        panel::hatch(canvas, Area { left, top, right, bottom });
        for y in [top, bottom] {
            canvas.line((left, y), (right, y), look::LEADER);
        }
    }
    for (from, to, _) in sources.stretches().iter().filter(|(.., quality)| *quality == Quality::Unknown) {
        let (left, right) = (place(*from), place(*to));
        if right - left > NAMED {
            canvas.text(((left + right) / 2.0, AIR.top + 16.0), Anchor::Middle, word, "unknown");
        }
    }
}

/// Runs of one quality, cut at the picture's edges.
fn lines(sources: &Sources<'_>, time: &TimeAxis, celsius: &ValueAxis) -> Vec<(Quality, Vec<Point>)> {
    let mut lines: Vec<(Quality, Vec<Point>)> = Vec::new();
    let mut end = None;
    for span in &sources.joined.spans {
        let Law::Line(a, b) = span.law else { continue };
        let (Some(a), Some(b)) = (drawable(a), drawable(b)) else { continue };
        let (from, to) = (span.from.max(time.from.0), span.to.min(time.to.0));
        if from >= to {
            continue;
        }
        let value = |at: i64| a + (b - a) * (at - span.from) as f64 / (span.to - span.from) as f64;
        let point = |at: i64| (time.x(Instant(at)), celsius.y(value(at)));
        match lines.last_mut() {
            Some((quality, line)) if *quality == span.quality && end == Some(from) => {
                // Means jump from one to the next.
                if line.last() != Some(&point(from)) {
                    line.push(point(from));
                }
                line.push(point(to));
            }
            _ => lines.push((span.quality, vec![point(from), point(to)])),
        }
        end = Some(to);
    }
    lines
}
