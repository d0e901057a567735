//! Running sums over the course of temperature at one site: degree-hours and
//! hours by quality for the site, growth for each curve on it. All blocks on
//! the site share them, so that a block's crossing is a search in a sorted
//! array.

use std::ops::Range;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::curve::{Curve, rounded};
use crate::pollination::Bees;
use crate::series::{Law, Quality, Series, Span};
use crate::time::Instant;

mod along;
pub(crate) use along::{along, degrees_along};

/// Growth is summed in whole units of 2⁻⁴⁰ of the style (or of a millimetre),
/// so that order and origin of a sum never change a bit.
pub const UNITS: f64 = (1_u64 << 40) as f64;

/// Base of the degree-hours in which bloom opens, °C (Whiting, Salazar and
/// Hoogenboom, Acta Hort. 1068:12; published).
pub const BLOOM_BASE_C: f64 = 4.5;

/// Degree-seconds are summed in whole units of 2⁻²⁰ °C·s.
pub(crate) const DEGREE_UNITS: f64 = (1_u64 << 20) as f64;

/// The course of temperature at one site with the sums that do not hang on a
/// curve.
#[derive(Debug, Clone, Default)]
pub struct Course {
    series: Series,
    /// Least and greatest temperature of each span; these and what follows are
    /// apart from the spans so that a curve runs over little memory.
    ranges: Vec<(f64, f64)>,
    /// Temperature at the end of each span.
    ends: Vec<f64>,
    /// For each span, how many units of growth a unit of the area under a curve
    /// stands for: see [`pace`].
    paces: Vec<f64>,
    /// Whether the temperature of any span is not known.
    unknown: bool,
    /// Degree-seconds above [`BLOOM_BASE_C`] from the begin to each knot.
    degrees: Vec<i64>,
    /// Seconds of each quality from the begin to each knot.
    seconds: Vec<[i64; Quality::COUNT]>,
    /// The hours for bees, where the place is known.
    bees: Option<Bees>,
    /// Spans in which water may have frozen, up to each knot.
    frosty: Vec<i64>,
}

/// Hours by where their temperature came from.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Hours {
    /// Read by the site's first source.
    pub observed: f64,
    /// Joined over a short gap or read by another source.
    pub filled: f64,
    /// Foretold.
    pub forecast: f64,
    /// Not known.
    pub unknown: f64,
}

impl Course {
    /// Sums a series up.
    pub fn new(series: Series) -> Course {
        let count = series.spans.len();
        let range = |(a, b): (f64, f64)| if a < b { (a, b) } else { (b, a) };
        let ranges = series.spans.iter().map(|span| range(edges(span))).collect();
        let unknown = series.spans.iter().any(|span| span.quality == Quality::Unknown);
        // 0 °C lies above every kill line.
        let freezes =
            |span: &Span| i64::from(edges(span).0.min(edges(span).1) <= 0.0 || span.law == Law::Anything);
        let frosty = sums(series.spans.iter().map(freezes));
        let ends: Vec<f64> = series.spans.iter().map(|span| edges(span).1).collect();
        let before = std::iter::once(f64::NAN).chain(ends.iter().copied());
        let paces = series.spans.iter().zip(before).map(|(span, before)| pace(span, before)).collect();
        let mut degrees = Vec::with_capacity(count + 1);
        let mut seconds = Vec::with_capacity(count + 1);
        let (mut warm, mut spent) = (0_i64, [0_i64; Quality::COUNT]);
        degrees.push(warm);
        seconds.push(spent);
        for span in &series.spans {
            warm += degree_units(span, span.to);
            spent[span.quality as usize] += span.to - span.from;
            degrees.push(warm);
            seconds.push(spent);
        }
        Course { series, ranges, ends, paces, unknown, degrees, seconds, bees: None, frosty }
    }

    /// The same with its hours for bees.
    #[must_use]
    pub fn with_bees(self, bees: Bees) -> Course {
        Course { bees: Some(bees), ..self }
    }

    /// Whether any stretch between two moments may have been at or below 0 °C.
    pub fn may_freeze(&self, from: Instant, to: Instant) -> bool {
        let spans = &self.series.spans;
        if spans.is_empty() || to <= from {
            return false;
        }
        self.frosty[index(spans, to.0) + 1] > self.frosty[index(spans, from.0)]
    }

    /// The hours for bees, where the place is known.
    pub fn bees(&self) -> Option<&Bees> {
        self.bees.as_ref()
    }

    /// The temperature function itself.
    pub fn series(&self) -> &Series {
        &self.series
    }

    /// End of the last reading used.
    pub fn as_of(&self) -> Option<Instant> {
        self.series.as_of
    }

    /// Degree-seconds above [`BLOOM_BASE_C`] between two moments, in units of
    /// their own. Unknown hours count by the middle of their range; before the
    /// first and after the last hour the nearest temperature is held.
    pub(crate) fn degrees(&self, from: Instant, to: Instant) -> i64 {
        self.degrees_at(to) - self.degrees_at(from)
    }

    /// First moment after `from` by which `wanted` units of
    /// [`Self::degrees`] are gathered; `None` beyond the last hour.
    pub(crate) fn gathered(&self, from: Instant, wanted: i64) -> Option<Instant> {
        let goal = self.degrees_at(from) + wanted;
        let knot = first_at(&self.degrees, goal, index_in(&self.series.spans, from.0));
        let Some(before) = knot.checked_sub(1) else {
            let begin = self.series.spans.first()?.from;
            return Some(Instant(first_second(from.0, begin, |at| self.degrees_at(Instant(at)) >= goal)));
        };
        let span = self.series.spans.get(before)?;
        let base = self.degrees[before];
        let at = crossing(span, goal - base, self.degrees[knot] - base, |at| degree_units(span, at));
        Some(Instant(at.max(from.0)))
    }

    /// Temperature at a moment up to the last reading, °C, where it is known.
    pub(crate) fn celsius(&self, at: Instant) -> Option<f64> {
        let spans = &self.series.spans;
        let read = self.series.begin()? < at && at <= self.as_of()?;
        let span = spans.get(index(spans, at.0 - 1)).filter(|_| read)?;
        match span.law {
            Law::Line(a, b) => Some(a + (b - a) * share(span, at.0)),
            Law::Within(..) | Law::Anything => None,
        }
    }

    /// Whether `at` lies within the hours of this course.
    pub(crate) fn covers(&self, at: Instant) -> bool {
        let within = |begin: Instant, end: Instant| begin <= at && at <= end;
        self.series.begin().zip(self.series.end()).is_some_and(|(begin, end)| within(begin, end))
    }

    fn degrees_at(&self, at: Instant) -> i64 {
        let spans = &self.series.spans;
        let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
            return 0;
        };
        let held = |celsius: f64, seconds: i64| {
            ((celsius - BLOOM_BASE_C).max(0.0) * seconds as f64 * DEGREE_UNITS) as i64
        };
        if at.0 <= first.from {
            return -held(edges(first).0, first.from - at.0);
        }
        if at.0 >= last.to {
            return self.degrees[spans.len()] + held(edges(last).1, at.0 - last.to);
        }
        let index = index(spans, at.0);
        self.degrees[index] + degree_units(&spans[index], at.0)
    }

    /// Hours of each quality between two moments; what lies outside the course
    /// is unknown.
    pub fn hours(&self, from: Instant, to: Instant) -> Hours {
        if to <= from {
            return Hours::default();
        }
        let (begin, end) = (self.seconds_at(from), self.seconds_at(to));
        let hours = |quality: Quality| (end[quality as usize] - begin[quality as usize]) as f64 / 3_600.0;
        let known: i64 = end.iter().sum::<i64>() - begin.iter().sum::<i64>();
        Hours {
            observed: hours(Quality::Observed),
            filled: hours(Quality::Filled),
            forecast: hours(Quality::Forecast),
            unknown: hours(Quality::Unknown) + (to.since(from) - known) as f64 / 3_600.0,
        }
    }

    fn seconds_at(&self, at: Instant) -> [i64; Quality::COUNT] {
        let spans = &self.series.spans;
        if spans.first().is_none_or(|first| at.0 <= first.from) {
            return [0; Quality::COUNT];
        }
        if spans.last().is_none_or(|last| at.0 >= last.to) {
            return self.seconds[spans.len()];
        }
        let index = index(spans, at.0);
        let mut seconds = self.seconds[index];
        seconds[spans[index].quality as usize] += at.0 - spans[index].from;
        seconds
    }
}

/// Cumulative growth on one curve at one site, with its lower and upper bound
/// where hours are unknown.
#[derive(Debug, Clone)]
pub struct Growth {
    course: Arc<Course>,
    curve: Arc<Curve>,
    low: Vec<i64>,
    /// Only where it differs from `low`.
    high: Option<Vec<i64>>,
    /// Spans outside the curve's covered temperatures, up to each knot.
    outside: Vec<i64>,
}

/// Which bound of growth is meant where hours are unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// At least so much grew.
    Low,
    /// At most so much grew.
    High,
}

impl Growth {
    /// Integrates a curve over the course of a site.
    pub fn new(course: Arc<Course>, curve: Arc<Curve>) -> Growth {
        let low = low_sums(&course, &curve);
        let high = course.unknown.then(|| {
            let units = |(span, pace): (&Span, &f64)| units(&curve, span, *pace, span.to, Bound::High);
            sums(course.series.spans.iter().zip(&course.paces).map(units))
        });
        let (least, most) = curve.covered;
        // Both are asked each time: a branch here is guessed wrong too often.
        let outside = |(low, high): &(f64, f64)| i64::from((*low < least) | (*high > most));
        let outside = sums(course.ranges.iter().map(outside));
        Growth { course, curve, low, high, outside }
    }

    /// The site's course that this growth stands on.
    pub fn course(&self) -> &Course {
        &self.course
    }

    /// The curve that it was reckoned with.
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    fn sums(&self, bound: Bound) -> &[i64] {
        match (&self.high, bound) {
            (Some(high), Bound::High) => high,
            _ => &self.low,
        }
    }

    /// Growth from the begin of the course to `at`, in units of 2⁻⁴⁰. After
    /// the last hour it stands still. Before the first one nothing is known:
    /// the low bound stands still, the high one falls at the greatest rate.
    pub fn units_at(&self, at: Instant, bound: Bound) -> i64 {
        let spans = &self.course.series.spans;
        let sums = self.sums(bound);
        match spans.last() {
            None => 0,
            Some(last) if at.0 >= last.to => sums[spans.len()],
            _ if at.0 <= spans[0].from => match bound {
                Bound::Low => 0,
                Bound::High => -self.fastest(spans[0].from - at.0),
            },
            _ => {
                let index = index(spans, at.0);
                sums[index] + self.units(index, at.0, bound)
            }
        }
    }

    /// Growth from the begin of a span to `at`.
    #[inline]
    fn units(&self, index: usize, at: i64, bound: Bound) -> i64 {
        units(&self.curve, &self.course.series.spans[index], self.course.paces[index], at, bound)
    }

    fn fastest(&self, seconds: i64) -> i64 {
        (self.curve.table.greatest() * (seconds as f64 / 3_600.0) * UNITS + 0.5) as i64
    }

    /// First whole second by which `wanted` units have grown since `from`:
    /// the crossing time rounded up. `None` when the course ends before.
    pub fn reached(&self, from: Instant, wanted: i64, bound: Bound) -> Option<Instant> {
        if wanted <= 0 {
            return Some(from);
        }
        let spans = &self.course.series.spans;
        let sums = self.sums(bound);
        let goal = self.units_at(from, bound) + wanted;
        let knot = first_at(sums, goal, index_in(spans, from.0));
        let Some(before) = knot.checked_sub(1) else {
            let begin = spans.first()?.from;
            return Some(Instant(first_second(from.0, begin, |at| self.fastest(at - from.0) >= wanted)));
        };
        let span = spans.get(before)?;
        let base = sums[before];
        let (wanted, total) = (goal - base, sums[knot] - base);
        let at = match (span.law, self.course.paces[before]) {
            (Law::Line(a, b), pace) if pace != 0.0 => {
                // As `units` has it, with the area up to the begin asked once.
                let table = &self.curve.table;
                let begin = table.area(a);
                crossing(span, wanted, total, |at| {
                    rounded((table.area(a + (b - a) * share(span, at)) - begin) * pace)
                })
            }
            _ => crossing(span, wanted, total, |at| self.units(before, at, bound)),
        };
        Some(Instant(at.max(from.0)))
    }

    /// The last moment from which `wanted` units have grown by `at`, to some
    /// minutes: within a stretch growth is taken to run evenly. `None` when so much
    /// did not grow since the begin of the course; by the high bound it may have
    /// grown before that at the greatest rate.
    pub fn left_behind(&self, at: Instant, wanted: i64, bound: Bound) -> Option<Instant> {
        let goal = self.units_at(at, bound) - wanted;
        let sums = self.sums(bound);
        let spans = &self.course.series.spans;
        let after = sums.partition_point(|sum| *sum <= goal);
        let Some(before) = after.checked_sub(1) else {
            let (begin, fastest) = (spans.first()?.from, self.curve.table.greatest() * UNITS_A_SECOND);
            let seconds = libm::floor(-goal as f64 / fastest);
            return (bound == Bound::High && seconds.is_finite())
                .then(|| Instant(begin).plus(-(seconds as i64)));
        };
        let Some(span) = spans.get(before) else {
            return Some(at.min(Instant(spans.last()?.to)));
        };
        let (grown, whole) = (goal - sums[before], sums[after] - sums[before]);
        let share = grown as f64 / whole as f64;
        Some(Instant(span.from + ((span.to - span.from) as f64 * share) as i64).min(at))
    }

    /// Whether low and high bound differ anywhere between the readings.
    pub(crate) fn is_parted(&self) -> bool {
        self.high.is_some()
    }

    /// Whether low and high bound differ from `from` on.
    pub fn uncertain_from(&self, from: Instant) -> bool {
        self.high.is_some() || self.course.series.begin().is_some_and(|begin| from < begin)
    }

    /// Whether any hour between two moments was colder or warmer than the
    /// curve's data covered.
    pub fn outside_between(&self, from: Instant, to: Instant) -> bool {
        let spans = &self.course.series.spans;
        let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
            return false;
        };
        let (from, to) = (from.max(Instant(first.from)), to.min(Instant(last.to)));
        if to <= from {
            return false;
        }
        let Range { start, end } = index(spans, from.0)..index(spans, to.0 - 1) + 1;
        self.outside[end] > self.outside[start]
    }
}

/// The span that `at` lies in, clamped to the first and the last one. Readings
/// mostly come hourly, so the place is guessed before it is searched.
#[inline]
fn index(spans: &[Span], at: i64) -> usize {
    let guess = ((at - spans[0].from) / 3_600).clamp(0, spans.len() as i64 - 1) as usize;
    if spans[guess].from <= at && at < spans[guess].to {
        return guess;
    }
    spans.partition_point(|span| span.to <= at).min(spans.len() - 1)
}

/// The span that `at` lies in, or 0 when there is none.
fn index_in(spans: &[Span], at: i64) -> usize {
    if spans.is_empty() { 0 } else { index(spans, at) }
}

/// First of rising sums at or above a goal. It is sought in doubling steps from
/// `near` on, since a leg mostly takes but a few days.
fn first_at(sums: &[i64], goal: i64, near: usize) -> usize {
    if sums[near] >= goal {
        return sums[..near].partition_point(|sum| *sum < goal);
    }
    let (mut below, mut step) = (near, 8);
    while sums.get(below + step).is_some_and(|sum| *sum < goal) {
        (below, step) = (below + step, step * 2);
    }
    let end = (below + step).min(sums.len());
    below + sums[below..end].partition_point(|sum| *sum < goal)
}

/// Temperature at the two ends of a span; the bounds where it is unknown.
fn edges(span: &Span) -> (f64, f64) {
    match span.law {
        Law::Line(a, b) | Law::Within(a, b) => (a, b),
        Law::Anything => (BLOOM_BASE_C, BLOOM_BASE_C),
    }
}

/// Temperature must move by so much within a span, °C, for areas to do: over
/// less their difference would lose its digits. From here on it is exact to a
/// hundredth of the unit that growth is counted in.
const WIDE: f64 = 0.01;

/// Units of 2⁻⁴⁰ in a second at a rate of 1 per hour.
const UNITS_A_SECOND: f64 = UNITS / 3_600.0;

/// How many units of growth a unit of area under a curve stands for while
/// temperature runs straight through a span, on from where the span before it
/// ended. 0 where it does not, or hardly moves: there areas are not asked.
fn pace(span: &Span, before: f64) -> f64 {
    match span.law {
        Law::Line(a, b) if a == before && (b - a).abs() >= WIDE => {
            (span.to - span.from) as f64 * UNITS_A_SECOND / (b - a)
        }
        _ => 0.0,
    }
}

/// Low growth to each knot, by the areas up to the temperatures there: each is
/// asked once for the two spans that meet in it.
fn low_sums(course: &Course, curve: &Curve) -> Vec<i64> {
    let areas: Vec<f64> = course.ends.iter().map(|celsius| curve.table.area(*celsius)).collect();
    let mut begin = 0.0;
    sums(areas.iter().zip(&course.paces).enumerate().map(|(n, (end, pace))| {
        let begin = std::mem::replace(&mut begin, *end);
        if *pace != 0.0 { rounded((end - begin) * pace) } else { apart(curve, &course.series.spans[n]) }
    }))
}

/// Low growth over a span that is no straight run on from the one before.
#[cold]
fn apart(curve: &Curve, span: &Span) -> i64 {
    units(curve, span, 0.0, span.to, Bound::Low)
}

/// Running sums from 0 on.
fn sums(parts: impl ExactSizeIterator<Item = i64>) -> Vec<i64> {
    let mut sums = vec![0; parts.len() + 1];
    let mut sum = 0;
    for (knot, part) in sums[1..].iter_mut().zip(parts) {
        sum += part;
        *knot = sum;
    }
    sums
}

/// Growth from a span's begin to `at`, in units of 2⁻⁴⁰.
#[inline]
fn units(curve: &Curve, span: &Span, pace: f64, at: i64, bound: Bound) -> i64 {
    let table = &curve.table;
    let rate = match (span.law, bound) {
        (Law::Line(a, b), _) => {
            let end = if at == span.to { b } else { a + (b - a) * share(span, at) };
            if pace != 0.0 {
                return rounded((table.area(end) - table.area(a)) * pace);
            }
            table.mean(a, end)
        }
        (Law::Within(low, high), Bound::Low) => table.bounds(low, high).0,
        (Law::Within(low, high), Bound::High) => table.bounds(low, high).1,
        (Law::Anything, Bound::Low) => 0.0,
        (Law::Anything, Bound::High) => table.greatest(),
    };
    rounded(rate * ((at - span.from) as f64 * UNITS_A_SECOND))
}

/// Degree-seconds above [`BLOOM_BASE_C`] from a span's begin to `at`.
fn degree_units(span: &Span, at: i64) -> i64 {
    let (a, b) = match span.law {
        Law::Line(a, b) => (a, a + (b - a) * share(span, at)),
        Law::Within(low, high) => ((low + high) / 2.0, (low + high) / 2.0),
        Law::Anything => return 0,
    };
    let (low, high) = (a.min(b) - BLOOM_BASE_C, a.max(b) - BLOOM_BASE_C);
    let mean = if low >= 0.0 {
        (low + high) / 2.0
    } else if high <= 0.0 {
        0.0
    } else {
        high * high / (2.0 * (high - low))
    };
    (mean * (at - span.from) as f64 * DEGREE_UNITS + 0.5) as i64
}

#[inline]
fn share(span: &Span, at: i64) -> f64 {
    (at - span.from) as f64 / (span.to - span.from) as f64
}

/// First second in `(from, to]` for which `reached` holds; it holds at `to`.
fn first_second(from: i64, to: i64, reached: impl Fn(i64) -> bool) -> i64 {
    let (mut before, mut by) = (from, to);
    while by - before > 1 {
        let middle = before + (by - before) / 2;
        if reached(middle) { by = middle } else { before = middle }
    }
    by
}

/// First second of a span by which `wanted` of its `total` units have grown.
/// Growth within an hour is nearly a parabola over time: one through the ends
/// and a third point mostly hits the second; what it misses is halved.
fn crossing(span: &Span, wanted: i64, total: i64, grown: impl Fn(i64) -> i64) -> i64 {
    let (mut before, mut by) = (span.from, span.to);
    let length = (by - before) as f64;
    let (goal, all) = (wanted as f64, total as f64);
    let mut look = |at: i64| {
        if before < at && at < by {
            let units = grown(at);
            if units >= wanted {
                by = at
            } else {
                before = at
            }
            return units as f64;
        }
        goal
    };
    let middle = span.from + (length * (goal / all)) as i64;
    let units = look(middle);
    let x = (middle - span.from) as f64 / length;
    let bend = if 0.0 < x && x < 1.0 { (units - all * x) / (x * (x - 1.0)) } else { 0.0 };
    let slope = all - bend;
    let share = 2.0 * goal / (slope + (slope * slope + 4.0 * bend * goal).max(0.0).sqrt());
    let guess = span.from + (length * share) as i64;
    look(guess);
    look(guess + 1);
    first_second(before, by, |at| grown(at) >= wanted)
}

#[cfg(test)]
mod tests;
