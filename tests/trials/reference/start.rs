//! When the clock started.

use super::log::Seen;
use super::weather::{Law, Stretch, Weather};
use super::{Block, HOUR, STEP};

/// °C above which degree-hours gather.
const BASE: f64 = 4.5;

/// Unix second of the start: as logged, or from the first count at the
/// threshold and the one before it. None while it is still to come.
pub fn find(block: &Block, weather: &Weather, seen: &Seen) -> Option<i64> {
    if seen.bloom_start.is_some() {
        return seen.bloom_start;
    }
    let mean = |open: &[i64]| open.iter().sum::<i64>() as f64 / open.len() as f64;
    let above = seen.counts.iter().position(|(_, open)| mean(open) >= block.threshold)?;
    let (to, there) = &seen.counts[above];
    let Some((from, here)) = above.checked_sub(1).map(|below| &seen.counts[below]) else { return Some(*to) };
    // None at all counts as half a flower on all trees together.
    let least = |open: &[i64]| mean(open).max(if mean(open) == 0.0 { 0.5 / open.len() as f64 } else { 0.0 });
    let (below, above) = (least(here), mean(there));
    if above == block.threshold {
        return Some(*to);
    }
    // Flowers open along a logistic curve where it is known how many there are,
    // and no more than that were counted.
    let all = block.flowers.filter(|all| *all > block.threshold && *all > above);
    let height = |open: f64| all.map_or(open.ln(), |all| (open / (all - open)).ln());
    let share = (height(block.threshold) - height(below)) / (height(above) - height(below));
    Some(warm_share(weather, *from, *to, share))
}

/// Unix second, rounded up, by which `share` of the degree-hours between two
/// others had gathered; by the clock where none did.
fn warm_share(weather: &Weather, from: i64, to: i64, share: f64) -> i64 {
    let steps = warmth(weather, from, to);
    let all: f64 = steps.iter().map(|step| step.2).sum();
    if all <= 0.0 {
        return from + (share * (to - from) as f64).ceil() as i64;
    }
    let mut left = share * all;
    for (at, long, gathered) in steps {
        if gathered > 0.0 && left <= gathered {
            return (at as f64 + left / gathered * long as f64).ceil() as i64;
        }
        left -= gathered;
    }
    to
}

/// Steps between two moments: Unix second of the begin, seconds, degree-hours.
/// The design page does not say what an hour without a reading gathers: here
/// the middle of what it may have had, and on either side of all readings the
/// nearest one.
fn warmth(weather: &Weather, from: i64, to: i64) -> Vec<(i64, i64, f64)> {
    let mut stretches = weather.between(from, to);
    if let Some(last) = weather.last().filter(|last| last.at < to) {
        let law = Law::Line(last.celsius, last.celsius);
        stretches.push(Stretch { from: last.at.max(from), to, law });
    }
    let mut steps = Vec::new();
    for Stretch { from, to, law } in stretches {
        let (a, b) = match law {
            Law::Line(a, b) => (a, b),
            Law::Between(_, _, middle) => (middle, middle),
        };
        let mut at = from;
        while at < to {
            let next = (at + STEP).min(to);
            let middle = (at + next - 2 * from) as f64 / 2.0 / (to - from) as f64;
            let above = (a + (b - a) * middle - BASE).max(0.0);
            steps.push((at, next - at, above * (next - at) as f64 / HOUR as f64));
            at = next;
        }
    }
    steps
}
