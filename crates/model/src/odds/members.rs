//! Members of a forecast: joined to the last reading, cut at holes, put in order.

use std::cmp::Ordering;

use super::errors::Errors;
use super::outlook::{FEWEST_MEMBERS, Fault};
use crate::growth::Course;
use crate::series::{JOINED, Reading, usable};
use crate::time::{HOUR, Instant};

/// Hours before the last reading by which it is told how far a forecast is off now.
const LOOK_BACK: i64 = 6;

/// The usable hours of one member.
pub(super) struct Member {
    /// As they were foretold: `(moment, °C)` in order.
    told: Vec<(i64, f64)>,
    /// The same, going on from the last reading.
    joined: Vec<(i64, f64)>,
    /// Where it first has a hole, or ends.
    end: Instant,
    /// Seconds after the last reading of which nothing is known, where it has a hole
    /// there.
    hole: Option<i64>,
}

impl Member {
    /// Joins hours to the last reading, of `last` °C where that is known.
    pub(super) fn new(hours: &[Reading], as_of: Instant, last: Option<f64>) -> Member {
        let told: Vec<(i64, f64)> =
            usable(hours, Instant::MAX).iter().map(|hour| (hour.middle().0, hour.celsius)).collect();
        let mut joined: Vec<(i64, f64)> =
            last.or_else(|| between(&told, as_of.0)).map(|last| (as_of.0, last)).into_iter().collect();
        let begun = !joined.is_empty();
        joined.extend(told.iter().filter(|point| point.0 > as_of.0));
        let begins = joined.get(usize::from(begun)).map(|point| point.0 - as_of.0);
        let unbroken = joined.windows(2).take_while(|pair| pair[1].0 - pair[0].0 <= JOINED).count();
        let end = if begun { joined[unbroken].0 } else { as_of.0 };
        let hole = begins.filter(|begins| *begins > JOINED || !begun);
        Member { told, joined, end: Instant(end), hole }
    }

    /// Temperature at rising moments from the last reading to its end, °C.
    pub(super) fn celsius(&self, moments: impl Iterator<Item = Instant>) -> Vec<f64> {
        let mut after = 0;
        let at = |at: Instant| {
            after += self.joined[after..].iter().take_while(|point| point.0 < at.0).count();
            let (to, end) = self.joined[after];
            match after.checked_sub(1).map(|before| self.joined[before]) {
                Some((from, begin)) if at.0 < to => {
                    begin + (end - begin) * (at.0 - from) as f64 / (to - from) as f64
                }
                _ => end,
            }
        };
        moments.map(at).collect()
    }
}

/// On the straight line between the points on either side, which lie at most
/// [`JOINED`] apart.
fn between(points: &[(i64, f64)], at: i64) -> Option<f64> {
    let after = points.partition_point(|point| point.0 < at);
    let (to, end) = *points.get(after)?;
    if to == at {
        return Some(end);
    }
    let (from, begin) = points[after.checked_sub(1)?];
    (to - from <= JOINED).then(|| begin + (end - begin) * (at - from) as f64 / (to - from) as f64)
}

/// The members that reach at least three quarters as far as the one in the middle, and
/// how far all of these reach. A few that end early or have holes so do not shorten
/// what the others know.
pub(super) fn long_enough(courses: &[Member], as_of: Instant) -> Result<(Vec<&Member>, Instant), Fault> {
    let mut ends: Vec<i64> = courses.iter().map(|member| member.end.0).collect();
    ends.sort_unstable();
    let middle = ends[ends.len() / 2];
    if middle <= as_of.0 {
        let hole = courses.iter().filter_map(|member| member.hole).min();
        return Err(hole.map_or(Fault::Empty, |hole| Fault::Hole { hours: hole / HOUR }));
    }
    let least = as_of.0 + (middle - as_of.0) / 4 * 3;
    let kept: Vec<&Member> = courses.iter().filter(|member| member.end.0 >= least).collect();
    if courses.len() > 1 && kept.len() < FEWEST_MEMBERS {
        return Err(Fault::FewMembers { members: kept.len() });
    }
    let end = kept.iter().map(|member| member.end).min().unwrap_or(as_of);
    Ok((kept, end))
}

/// Puts courses in an order that does not hang on how they came: the coldest first.
pub(super) fn in_order(rows: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let each = |a: &[f64], b: &[f64]| {
        a.iter().zip(b).map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne()).unwrap_or(Ordering::Equal)
    };
    let mut summed: Vec<(f64, Vec<f64>)> = rows.into_iter().map(|row| (row.iter().sum(), row)).collect();
    summed.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| each(&a.1, &b.1)));
    summed.into_iter().map(|(_, row)| row).collect()
}

/// Mean of the courses at each knot, °C.
pub(super) fn mean(rows: &[Vec<f64>]) -> Vec<f64> {
    let mut sums = vec![0.0; rows.first().map_or(0, Vec::len)];
    for row in rows {
        sums.iter_mut().zip(row).for_each(|(sum, celsius)| *sum += celsius);
    }
    sums.into_iter().map(|sum| sum / rows.len() as f64).collect()
}

/// Standard deviation between the courses at each knot, °C; 0 for one course.
pub(super) fn spreads(rows: &[Vec<f64>]) -> Vec<f64> {
    let free = rows.len().saturating_sub(1).max(1) as f64;
    let spread = |(knot, mean): (usize, f64)| {
        libm::sqrt(rows.iter().map(|row| (row[knot] - mean) * (row[knot] - mean)).sum::<f64>() / free)
    };
    mean(rows).into_iter().enumerate().map(spread).collect()
}

/// By how many spreads the forecast, the mean of its members, is off over the last
/// hours that it foretold and that were read; none where there is no such hour.
pub(super) fn off_now(course: &Course, kept: &[&Member], issued_at: Instant, errors: &Errors) -> Option<f64> {
    let as_of = course.as_of()?;
    let moments = (0..LOOK_BACK).map(|hours| as_of.plus(-hours * HOUR)).filter(|at| *at >= issued_at);
    let off = |at: Instant| {
        let told: Option<Vec<f64>> = kept.iter().map(|member| between(&member.told, at.0)).collect();
        let told = told?.iter().sum::<f64>() / kept.len() as f64;
        let lead = at.since(issued_at);
        Some((course.celsius(at)? - told - errors.bias_c(lead)) / errors.spread_c(lead))
    };
    let off: Vec<f64> = moments.filter_map(off).collect();
    (!off.is_empty()).then(|| off.iter().sum::<f64>() / off.len() as f64)
}
