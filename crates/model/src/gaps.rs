//! Joining readings over short gaps, filling longer ones from the next source,
//! and bounding what stays unknown.

use crate::series::{CADENCE, JOINED, Law, Quality, Reading, Span};
use crate::time::{DAY, HOUR, Instant};

/// Overlap over which two sources are compared before one stands in for the
/// other.
const OVERLAP: i64 = 7 * DAY;
/// How far back the range for an unknown hour is looked up.
const LOOK_BACK: i64 = 10 * DAY;
/// Fewer days than this with a reading at the hour, and all hours count.
const FEWEST_DAYS: usize = 3;

/// The stretches that the observing sources cover, the most trusted first,
/// with unknown stretches between where none of them reaches. A source without
/// a single reading is passed over.
pub(crate) fn observed(sources: &[Vec<Reading>]) -> Vec<Span> {
    let sources: Vec<&[Reading]> =
        sources.iter().map(Vec::as_slice).filter(|source| !source.is_empty()).collect();
    let Some((first, others)) = sources.split_first() else {
        return Vec::new();
    };
    let mut known = Vec::with_capacity(first.len());
    lay(&mut known, first, Quality::Observed, &mut unknown);
    let mut spans = if others.is_empty() { known } else { filled(first, others, &known) };
    bound(&mut spans, &sources);
    spans
}

fn unknown(spans: &mut Vec<Span>, left: &Reading, right: &Reading) {
    let (from, to) = (left.at.0, right.from().0);
    spans.push(Span { from, to, law: Law::Anything, quality: Quality::Unknown });
}

/// Lays the readings of one source end to end. A gap of more than [`JOINED`]
/// between two of them is left to `gap`.
fn lay(
    spans: &mut Vec<Span>,
    readings: &[Reading],
    own: Quality,
    gap: &mut dyn FnMut(&mut Vec<Span>, &Reading, &Reading),
) {
    let mut before: Option<&Reading> = None;
    for reading in readings {
        let (from, to) = (reading.from().0, reading.at.0);
        if let Some(before) = before
            && before.at.0 < from
        {
            let apart = from - before.at.0;
            // Means leave no room between them unless one is missing.
            let own_cadence = apart <= CADENCE && before.span == 0 && reading.span == 0;
            if apart > JOINED {
                gap(spans, before, reading);
            } else {
                let law = Law::Line(before.celsius, reading.celsius);
                let quality = if own_cadence { own } else { Quality::Filled };
                spans.push(Span { from: before.at.0, to: from, law, quality });
            }
        }
        if from < to {
            let law = Law::Line(reading.celsius, reading.celsius);
            spans.push(Span { from, to, law, quality: own });
        }
        before = Some(reading);
    }
}

/// The first source with the next trusted ones in its gaps, before its first
/// reading, and after its last one once that is left behind by more than
/// [`JOINED`].
fn filled(first: &[Reading], others: &[&[Reading]], known: &[Span]) -> Vec<Span> {
    let mut spans = Vec::with_capacity(known.len());
    fill(&mut spans, None, first.first(), others, known);
    lay(&mut spans, first, Quality::Observed, &mut |spans, left, right| {
        fill(spans, Some(left), Some(right), others, known);
    });
    if left_behind(first.last(), others) {
        fill(&mut spans, first.last(), None, others, known);
    }
    spans
}

/// Lays what the most trusted of `others` has between two readings, corrected
/// for its mean difference from what is known, and lets the next ones fill the
/// gaps that remain.
fn fill(
    spans: &mut Vec<Span>,
    left: Option<&Reading>,
    right: Option<&Reading>,
    others: &[&[Reading]],
    known: &[Span],
) {
    let Some((next, rest)) = others.split_first() else {
        if let (Some(left), Some(right)) = (left, right) {
            unknown(spans, left, right);
        }
        return;
    };
    let from = left.map_or(Instant::MIN, |reading| reading.at);
    let to = right.map_or(Instant::MAX, Reading::from);
    let shift = difference(known, next, if left.is_some() { from.0 } else { to.0 }).unwrap_or(0.0);
    let edge = |reading: &Reading, at| Reading { at, span: 0, ..*reading };
    let mut line: Vec<Reading> = left.map(|reading| edge(reading, from)).into_iter().collect();
    line.extend(
        next.iter()
            .filter(|reading| reading.from() >= from && reading.at <= to)
            // At the far edge the trusted source's own reading holds.
            .filter(|reading| reading.span > 0 || right.is_none() || reading.at < to)
            .map(|reading| Reading { celsius: reading.celsius + shift, ..*reading }),
    );
    line.extend(right.map(|reading| edge(reading, to)));
    line.dedup_by_key(|reading| reading.at);
    // Where this source begins too late or ends too early, the next ones go on.
    if left.is_none() {
        fill(spans, None, line.first(), rest, known);
    }
    lay(spans, &line, Quality::Filled, &mut |spans, left, right| {
        fill(spans, Some(left), Some(right), rest, known);
    });
    if right.is_none() && left_behind(line.last(), rest) {
        fill(spans, line.last(), None, rest, known);
    }
}

/// Whether `others` go on more than [`JOINED`] after the last reading at hand.
fn left_behind(last: Option<&Reading>, others: &[&[Reading]]) -> bool {
    let newest = others.iter().filter_map(|source| source.last()).map(|reading| reading.at).max();
    last.zip(newest).is_some_and(|(last, newest)| newest.since(last.at) > JOINED)
}

/// Mean of what the joined readings say minus what `other` says, over the last
/// [`OVERLAP`] before `at`; none where they never overlap.
pub(crate) fn difference(known: &[Span], other: &[Reading], at: i64) -> Option<f64> {
    let begin = other.partition_point(|reading| reading.middle().0 < at.saturating_sub(OVERLAP));
    let (mut sum, mut count) = (0.0, 0_u32);
    for reading in other[begin..].iter().take_while(|reading| reading.middle().0 <= at) {
        if let Some(celsius) = temperature(known, reading.middle().0) {
            sum += celsius - reading.celsius;
            count += 1;
        }
    }
    (count > 0).then(|| sum / f64::from(count))
}

/// Temperature that the spans give at a moment, when they know it.
fn temperature(spans: &[Span], at: i64) -> Option<f64> {
    let span = spans.get(spans.partition_point(|span| span.to < at))?;
    match span.law {
        Law::Line(a, b) if span.from <= at => {
            Some(a + (b - a) * (at - span.from) as f64 / (span.to - span.from) as f64)
        }
        _ => None,
    }
}

/// Splits each unknown stretch at the UTC hours and gives each part the range
/// of the site's readings at that hour of day in the ten days before the
/// stretch; of all readings of those days when fewer than three had one.
fn bound(spans: &mut Vec<Span>, sources: &[&[Reading]]) {
    if !spans.iter().any(|span| span.quality == Quality::Unknown) {
        return;
    }
    let mut parts = Vec::with_capacity(spans.len());
    for span in spans.iter() {
        if span.quality == Quality::Unknown {
            bound_one(&mut parts, span.from, span.to, sources);
        } else {
            parts.push(*span);
        }
    }
    *spans = parts;
}

fn bound_one(parts: &mut Vec<Span>, from: i64, to: i64, sources: &[&[Reading]]) {
    let before = Before::collect(sources, from);
    let mut begin = from;
    while begin < to {
        let end = ((begin.div_euclid(HOUR) + 1) * HOUR).min(to);
        let hour = begin.rem_euclid(DAY) / HOUR;
        parts.push(Span { from: begin, to: end, law: before.law(hour as usize), quality: Quality::Unknown });
        begin = end;
    }
}

/// Ranges of the readings in the ten days before a stretch.
struct Before {
    hours: [Range; 24],
    all: Range,
}

#[derive(Clone, Copy)]
struct Range {
    low: f64,
    high: f64,
    days: usize,
    last_day: i64,
}

impl Range {
    const NONE: Range = Range { low: f64::INFINITY, high: f64::NEG_INFINITY, days: 0, last_day: i64::MIN };

    fn add(&mut self, celsius: f64, day: i64) {
        self.low = self.low.min(celsius);
        self.high = self.high.max(celsius);
        if day != self.last_day {
            self.days += 1;
            self.last_day = day;
        }
    }
}

impl Before {
    fn collect(sources: &[&[Reading]], end: i64) -> Before {
        let mut before = Before { hours: [Range::NONE; 24], all: Range::NONE };
        // The site's readings are those of its first source that has any then.
        for source in sources {
            let begin = source.partition_point(|reading| reading.at.0 <= end - LOOK_BACK);
            let window = source[begin..].iter().take_while(|reading| reading.at.0 <= end);
            for reading in window {
                let middle = reading.middle().0;
                let hour = middle.rem_euclid(DAY) / HOUR;
                before.hours[hour as usize].add(reading.celsius, middle.div_euclid(DAY));
                before.all.add(reading.celsius, middle.div_euclid(DAY));
            }
            if before.all.days > 0 {
                break;
            }
        }
        before
    }

    fn law(&self, hour: usize) -> Law {
        let range = if self.hours[hour].days >= FEWEST_DAYS { self.hours[hour] } else { self.all };
        if range.days == 0 { Law::Anything } else { Law::Within(range.low, range.high) }
    }
}

/// Goes on after the last reading with a forecast: joined where its first hour
/// follows soon enough, bounded as unknown where it does not.
pub(crate) fn go_on(
    spans: &mut Vec<Span>,
    as_of: Option<Instant>,
    sources: &[Vec<Reading>],
    forecast: &[Reading],
) {
    let sources: Vec<&[Reading]> = sources.iter().map(Vec::as_slice).collect();
    let after = as_of.unwrap_or(Instant::MIN);
    let mut line: Vec<Reading> = Vec::with_capacity(forecast.len() + 1);
    if as_of.is_some() {
        let last = spans.last().map(|span| span.law);
        let celsius = match last {
            Some(Law::Line(_, celsius)) => Some(celsius),
            _ => sources
                .iter()
                .filter_map(|source| source.last())
                .max_by_key(|last| last.at)
                .map(|last| last.celsius),
        };
        line.extend(celsius.map(|celsius| Reading::instant(after, celsius)));
    }
    for hour in forecast.iter().filter(|hour| hour.at > after) {
        line.push(Reading { span: hour.span.min(hour.at.since(after)), ..*hour });
    }
    lay(spans, &line, Quality::Forecast, &mut |spans, left, right| {
        bound_one(spans, left.at.0, right.from().0, &sources);
    });
    // Whatever is ahead is forecast, however its hours were joined.
    for span in spans.iter_mut().rev().take_while(|span| span.from >= after.0) {
        if span.quality == Quality::Filled {
            span.quality = Quality::Forecast;
        }
    }
}
