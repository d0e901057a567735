//! One season's draws: a start, the crossing of its leg, and those of the legs after
//! it, in seconds after the last reading.

use super::begin::{Begin, Behind};
use super::noise::Point;
use super::outlook::Outlook;
use super::tubes::{Row, Tubes};
use super::weighs::Doubt;
use crate::curve::Measure;
use crate::growth::{Bound, Growth};
use crate::legs::Ruler;
use crate::time::Instant;

/// What does not come about within the horizon.
pub(super) const NEVER: i32 = i32::MAX;
/// Least share of its mean that a style is drawn with.
const SHORTEST: f64 = 0.2;

/// Growth on one curve that may hold: so far, and ahead.
#[derive(Debug, Clone, Copy)]
pub struct Line<'a> {
    /// By readings, on the same course that the outlook goes on from.
    pub growth: &'a Growth,
    /// Over the outlook.
    pub tubes: &'a Tubes,
    /// How likely it is beside the others; the block's own comes first.
    pub weight: f64,
}

/// Mean style length and its standard error, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    pub mean: f64,
    pub error: f64,
}

/// A line with what is asked of it for each draw.
struct Own<'a> {
    line: Line<'a>,
    /// Sum of the weights up to this one, as a share of all.
    up_to: f64,
    lag: i64,
    in_mm: bool,
    /// Least and most that the sums are at the last reading.
    by_now: (i64, i64),
    /// Whether unread hours lie behind.
    parted: bool,
    /// Least and most that grew up to the last reading, where the begin is certain.
    grown: Option<(i64, i64)>,
    /// Where it is not, least and most at each hour from the first begin to the last
    /// reading.
    behind: Option<(Behind, Behind)>,
}

/// All that a season's draws are made from.
pub(super) struct Case<'a> {
    pub outlook: &'a Outlook,
    own: Vec<Own<'a>>,
    begin: Begin,
    style: Option<Style>,
    /// Marks of the leg that runs or starts, and of the legs after it.
    marks: Vec<f64>,
    /// The moment of asking, in seconds after the last reading.
    now: i64,
    /// Degree units from the last count to the last reading, where a start is ahead.
    degrees: Option<Behind>,
}

impl<'a> Case<'a> {
    /// Lines whose measure cannot be used without a style length must not come here.
    pub(super) fn new(
        outlook: &'a Outlook,
        lines: impl Iterator<Item = Line<'a>>,
        begin: Begin,
        style: Option<Style>,
        marks: Vec<f64>,
        now: Instant,
    ) -> Case<'a> {
        let lines: Vec<Line<'a>> = lines.collect();
        let all: f64 = lines.iter().map(|line| line.weight).sum();
        let mut sum = 0.0;
        let mut own = Vec::with_capacity(lines.len());
        for line in lines {
            sum += line.weight;
            let lag = line.tubes.curve().lag_seconds();
            let from = match begin {
                Begin::Known(known) => known.at,
                Begin::Rise { counted, .. } => counted,
            };
            let in_mm = line.tubes.curve().measure == Measure::Millimetre;
            let by_now = [Bound::Low, Bound::High].map(|bound| line.growth.units_at(outlook.as_of(), bound));
            let by_now = (by_now[0], by_now[1]);
            let mut one =
                Own { line, up_to: sum / all, lag, in_mm, by_now, parted: true, grown: None, behind: None };
            let grown = one.grown_since(from + lag, outlook.as_of());
            one.parted = grown.0 < grown.1;
            let certain = matches!(begin, Begin::Known(known) if known.is_certain());
            if certain {
                one.grown = Some(grown);
            } else {
                let from = begin.soonest() + lag;
                let behind =
                    |bound| Behind::new(from, |at| line.growth.units_at(outlook.as_of().plus(at), bound));
                one.behind = Some((behind(Bound::Low), behind(Bound::High)));
            }
            own.push(one);
        }
        let now = now.since(outlook.as_of()).max(0);
        let degrees = match (begin, own.first()) {
            (Begin::Rise { rise, counted, .. }, Some(own)) if counted < 0 => {
                let course = own.line.growth.course();
                let gathered = |at: i64| course.degrees(rise.from, outlook.as_of().plus(at));
                Some(Behind::new(counted, gathered))
            }
            _ => None,
        };
        Case { outlook, own, begin, style, marks, now, degrees }
    }

    /// Whether a start is drawn beside the crossings.
    pub(super) fn draws_start(&self) -> bool {
        matches!(self.begin, Begin::Rise { .. })
    }

    /// What a draw fills.
    pub(super) fn slots(&self) -> usize {
        self.marks.len() + usize::from(self.draws_start())
    }

    /// The doubts that there are.
    pub(super) fn doubts(&self) -> Vec<Doubt> {
        let started = match self.begin {
            Begin::Known(known) => !known.is_certain(),
            Begin::Rise { rise, .. } => rise.is_doubtful(),
        };
        [
            (Doubt::Weather, self.outlook.members() > 1),
            (
                Doubt::Style,
                self.style.is_some_and(|style| style.error > 0.0) && self.own.iter().any(|own| own.in_mm),
            ),
            (Doubt::Start, started),
            (Doubt::Curve, self.own.len() > 1),
            (Doubt::Gap, self.own.iter().any(|own| own.parted)),
        ]
        .into_iter()
        .filter_map(|(doubt, there)| there.then_some(doubt))
        .collect()
    }

    /// A draw on one member of the outlook, with one doubt fixed at its middle, if any:
    /// the start where it is drawn, then each mark's crossing. A leg after the first
    /// begins at the crossing before it, or at the moment of asking where that is past:
    /// its spray is taken to go on then.
    pub(super) fn draw(&self, member: usize, point: &Point, fixed: Option<Doubt>, out: &mut [i32]) {
        let free = |doubt: Doubt| fixed != Some(doubt);
        let member = if free(Doubt::Weather) { member } else { self.outlook.members() };
        let own = if free(Doubt::Curve) { self.curve(point.curve) } else { &self.own[0] };
        let row = own.line.tubes.row(member);
        let style = match self.style.filter(|_| own.in_mm) {
            Some(style) => {
                let off = if free(Doubt::Style) { point.style * style.error } else { 0.0 };
                (style.mean + off).max(SHORTEST * style.mean)
            }
            None => 1.0,
        };
        let ruler = Ruler::new(style);
        let gap = if free(Doubt::Gap) { point.gap } else { 0.5 };
        let mut from = self.start(point, free(Doubt::Start), member);
        // Where a leg begins at a crossing, its sum there is known.
        let mut base = None;
        let mut slots = out.iter_mut();
        if self.draws_start()
            && let Some(slot) = slots.next()
        {
            *slot = kept(from);
        }
        for (slot, mark) in slots.zip(&self.marks) {
            let wanted = ruler.wanted(*mark).max(1);
            let at = match base {
                Some(base) => row.reached(base + wanted).map(|at| (at, Some(base + wanted))),
                None => from.and_then(|from| self.crossing(own, &row, from, wanted, gap)),
            };
            *slot = kept(at.map(|(at, _)| at));
            from = at.map(|(at, _)| at.max(self.now));
            base = at.filter(|(at, _)| *at >= self.now && own.lag == 0).and_then(|(_, goal)| goal);
        }
    }

    fn curve(&self, share: f64) -> &Own<'a> {
        match &self.own[..] {
            [only] => only,
            all => all.iter().find(|own| share < own.up_to).unwrap_or(&all[0]),
        }
    }

    fn start(&self, point: &Point, free: bool, member: usize) -> Option<i64> {
        match &self.begin {
            Begin::Known(known) if free => Some(known.drawn(point.start)),
            Begin::Known(known) => Some(known.at),
            Begin::Rise { rise, counted, gone } => {
                let (before, last) = if free { (point.start, point.last) } else { (0.0, 0.0) };
                let wanted = rise.wanted(before, last)?.max(0);
                let sums = self.outlook.degrees(member);
                let row = Row { sums, first: self.outlook.first(), guide: None };
                if *counted > 0 {
                    let goal = row.at(*counted)? + wanted;
                    return if wanted == 0 { Some(*counted) } else { row.reached(goal) };
                }
                if wanted <= *gone {
                    let behind = self.degrees.as_ref().filter(|_| wanted > 0);
                    let into = behind.and_then(|behind| behind.row().reached(wanted)).unwrap_or(0);
                    return Some((counted + into).min(0));
                }
                row.reached(wanted - gone)
            }
        }
    }

    /// When `wanted` units have grown since a leg began, and the sum at that moment
    /// where it lies ahead.
    fn crossing(
        &self,
        own: &Own<'_>,
        row: &Row<'_>,
        from: i64,
        wanted: i64,
        gap: f64,
    ) -> Option<(i64, Option<i64>)> {
        let begin = from + own.lag;
        let as_of = self.outlook.as_of();
        let goal = if begin >= 0 {
            row.at(begin)? + wanted
        } else {
            // Only the first leg begins before the last reading.
            let (low, high) = own.grown.unwrap_or_else(|| own.grown_since(begin, as_of));
            wanted - between(low, high, gap)
        };
        match goal {
            1.. => row.reached(goal).map(|at| (at, Some(goal))),
            _ => own.reached(begin, as_of, wanted, gap).map(|at| (at, None)),
        }
    }
}

impl Own<'_> {
    /// Least and most that grew from so many seconds before the last reading up to it.
    fn grown_since(&self, begin: i64, as_of: Instant) -> (i64, i64) {
        if let Some((low, high)) = &self.behind {
            let grown = low.since(begin);
            return (grown, if self.parted { high.since(begin) } else { grown });
        }
        let before = |bound| self.line.growth.units_at(as_of.plus(begin.min(0)), bound);
        let low = self.by_now.0 - before(Bound::Low);
        (low, if self.parted { self.by_now.1 - before(Bound::High) } else { low })
    }

    /// When `wanted` units had grown, at the last reading at the latest.
    fn reached(&self, begin: i64, as_of: Instant, wanted: i64, gap: f64) -> Option<i64> {
        let growth = self.line.growth;
        let from = as_of.plus(begin);
        if let Some((low, _)) = self.behind.as_ref().filter(|_| !self.parted) {
            let base = low.row().at(begin - low.from)?;
            return low.row().reached(base + wanted).map(|at| (low.from + at).min(0));
        }
        if !self.parted {
            return growth.reached(from, wanted, Bound::Low).map(|at| at.since(as_of).min(0));
        }
        let since = |at: i64, bound| growth.units_at(as_of.plus(at), bound) - growth.units_at(from, bound);
        let (mut before, mut by) = (begin, 0);
        while by - before > 1 {
            let middle = before + (by - before) / 2;
            let grown = between(since(middle, Bound::Low), since(middle, Bound::High), gap);
            if grown >= wanted { by = middle } else { before = middle }
        }
        Some(by)
    }
}

fn between(low: i64, high: i64, share: f64) -> i64 {
    low + ((high - low) as f64 * share) as i64
}

fn kept(at: Option<i64>) -> i32 {
    at.and_then(|at| i32::try_from(at).ok()).unwrap_or(NEVER)
}
