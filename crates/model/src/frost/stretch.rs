//! Stretches of a course of temperature: the lowest of one, and how long it
//! held at or below a line.

use super::{EXPOSURE, SAME_K};
use crate::series::{Law, Span};
use crate::time::Instant;

/// How long a stretch of time held at or below a line.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Held {
    /// When [`EXPOSURE`] was first full, rounded up to the second.
    pub full_at: Option<Instant>,
    /// Longest run, whole seconds.
    pub longest: i64,
}

/// The spans that overlap `[from, to)`.
pub(super) fn within(spans: &[Span], from: Instant, to: Instant) -> &[Span] {
    let first = spans.partition_point(|span| span.to <= from.0);
    let after = spans.partition_point(|span| span.from < to.0);
    &spans[first..after.max(first)]
}

/// The part of a known span between two moments, with the temperature at its
/// ends.
fn clipped(span: &Span, from: Instant, to: Instant) -> Option<(i64, f64, i64, f64)> {
    let Law::Line(a, b) = span.law else {
        return None;
    };
    let (begin, end) = (span.from.max(from.0), span.to.min(to.0));
    let celsius = |at: i64| match at {
        at if at == span.from => a,
        at if at == span.to => b,
        at => a + (b - a) * ((at - span.from) as f64 / (span.to - span.from) as f64),
    };
    (begin < end).then(|| (begin, celsius(begin), end, celsius(end)))
}

/// The lowest temperature between two moments, °C, and when it was first
/// reached; none when nothing is known.
pub(super) fn lowest<'a>(
    spans: impl Iterator<Item = &'a Span>,
    from: Instant,
    to: Instant,
) -> Option<(Instant, f64)> {
    let parts = spans.filter_map(|span| clipped(span, from, to));
    let ends = parts.flat_map(|(begin, a, end, b)| [(Instant(begin), a), (Instant(end), b)]);
    // The first of equals stays.
    ends.reduce(|least, next| if next.1 < least.1 { next } else { least })
}

/// First moment between two at which temperature is at or below a line, rounded
/// up to the second.
pub(super) fn first_below<'a>(
    mut spans: impl Iterator<Item = &'a Span>,
    from: Instant,
    to: Instant,
    line: f64,
) -> Option<Instant> {
    spans.find_map(|span| {
        let (begin, a, end, b) = clipped(span, from, to)?;
        let (first, _) = below((end - begin) as f64, a, b, line)?;
        Some(Instant(begin).plus(libm::ceil(first) as i64))
    })
}

/// The runs at or below a line between two moments. What is not known ends a
/// run.
pub(super) fn held<'a>(spans: impl Iterator<Item = &'a Span>, from: Instant, to: Instant, line: f64) -> Held {
    let mut held = Held::default();
    let mut longest = 0.0_f64;
    // Seconds after `from` between which the present run lies.
    let mut run: Option<(f64, f64)> = None;
    for span in spans {
        let Some((begin, a, end, b)) = clipped(span, from, to) else { continue };
        let offset = (begin - from.0) as f64;
        let Some((first, last)) = below((end - begin) as f64, a, b, line) else {
            run = None;
            continue;
        };
        let (first, last) = (offset + first, offset + last);
        let since = match run {
            Some((since, until)) if until == first => since,
            _ => first,
        };
        run = Some((since, last));
        longest = longest.max(last - since);
        if held.full_at.is_none() && last - since >= EXPOSURE as f64 {
            held.full_at = Some(from.plus(libm::ceil(since + EXPOSURE as f64) as i64));
        }
    }
    held.longest = longest as i64;
    held
}

/// Seconds after its begin between which a straight run from `a` to `b` lies at
/// or below a line.
fn below(seconds: f64, a: f64, b: f64, line: f64) -> Option<(f64, f64)> {
    let line = line + SAME_K;
    let passed = || seconds * (line - a) / (b - a);
    match (a <= line, b <= line) {
        (true, true) => Some((0.0, seconds)),
        (true, false) => Some((0.0, passed())),
        (false, true) => Some((passed(), seconds)),
        (false, false) => None,
    }
}
