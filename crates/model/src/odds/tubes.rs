//! Growth on one curve over the courses of an outlook, each a sorted array in which a
//! crossing is a search.

use std::sync::Arc;

use crate::curve::Curve;
use crate::growth::along;
use crate::time::HOUR;

/// Cumulative growth of the tubes on one curve over each course of an outlook.
#[derive(Debug, Clone, PartialEq)]
pub struct Tubes {
    curve: Arc<Curve>,
    knots: usize,
    first: i64,
    /// Course by course, units of 2⁻⁴⁰ since the first knot.
    grown: Vec<i64>,
    /// Course by course, where to look first.
    guides: Vec<Guide>,
}

impl Tubes {
    pub(super) fn new<'a>(
        curve: Arc<Curve>,
        courses: impl ExactSizeIterator<Item = &'a [f64]>,
        first: i64,
    ) -> Tubes {
        let (mut grown, mut knots) = (Vec::new(), 0);
        let count = courses.len();
        for course in courses {
            if knots == 0 {
                knots = course.len();
                grown.reserve_exact(count * knots);
            }
            along(&curve, course, first, &mut grown);
        }
        let guides = grown.chunks(knots.max(1)).map(Guide::new).collect();
        Tubes { curve, knots, first, grown, guides }
    }

    /// The curve that they grow by.
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// One course, the mean of all for the one after the last.
    pub(super) fn row(&self, member: usize) -> Row<'_> {
        Row {
            sums: &self.grown[member * self.knots..][..self.knots],
            first: self.first,
            guide: Some(&self.guides[member]),
        }
    }
}

/// Running sums at the knots of one course: the last reading, then each whole hour.
/// Within an hour they are taken to rise evenly, which moves a crossing by a minute or
/// two at the most.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    pub sums: &'a [i64],
    /// Seconds from the first knot to the second.
    pub first: i64,
    /// Where to look first, where that is known.
    pub guide: Option<&'a Guide>,
}

/// For each of some equal steps of a rising sum, the first knot at or above its begin:
/// draws look into the same few courses over and over, and mostly find their knot there
/// or one further on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Guide {
    knots: [u16; Guide::STEPS + 1],
    /// Bits that a step is wide.
    bits: u32,
}

impl Guide {
    const STEPS: usize = 256;

    pub(super) fn new(sums: &[i64]) -> Guide {
        let most = sums.last().copied().unwrap_or(0).max(1) as u64;
        // So that the last sum falls into the last step or before it.
        let bits = (u64::BITS - most.leading_zeros()).saturating_sub(Guide::STEPS.trailing_zeros());
        let mut knots = [0; Guide::STEPS + 1];
        let mut knot = 0;
        for (step, place) in knots.iter_mut().enumerate() {
            let begin = (step as i64) << bits;
            knot += sums[knot..].iter().take_while(|sum| **sum < begin).count();
            *place = knot as u16;
        }
        Guide { knots, bits }
    }

    /// The first knot at or above a goal of at least 0.
    #[inline]
    fn knot(&self, sums: &[i64], goal: i64) -> usize {
        let step = ((goal >> self.bits) as usize).min(Guide::STEPS);
        let near = usize::from(self.knots[step]);
        near + sums[near..].iter().take_while(|sum| **sum < goal).count()
    }
}

impl Row<'_> {
    /// The sum so many seconds, at least 0, after the last reading. None beyond the
    /// last knot.
    pub(super) fn at(&self, seconds: i64) -> Option<i64> {
        let (before, into, length) = if seconds < self.first {
            (0, seconds, self.first)
        } else {
            let on = seconds - self.first;
            (1 + (on / HOUR) as usize, on % HOUR, HOUR)
        };
        let begin = *self.sums.get(before)?;
        if into == 0 {
            return Some(begin);
        }
        let end = self.sums.get(before + 1)?;
        Some(begin + ((end - begin) as f64 * (into as f64 / length as f64)) as i64)
    }

    /// Seconds after the last reading, rounded up, by which the sum is at `goal`, which
    /// is more than 0; none when it never is.
    #[inline]
    pub(super) fn reached(&self, goal: i64) -> Option<i64> {
        let knot = match self.guide {
            Some(guide) => guide.knot(self.sums, goal),
            None => self.sums.partition_point(|sum| *sum < goal),
        };
        let (end, begin) = (*self.sums.get(knot)?, self.sums[knot.checked_sub(1)?]);
        let (before, length) =
            if knot == 1 { (0, self.first) } else { (self.first + (knot as i64 - 2) * HOUR, HOUR) };
        let into = (goal - begin) as f64 / (end - begin) as f64 * length as f64;
        let whole = into as i64;
        Some(before + whole + i64::from(into > whole as f64))
    }
}
