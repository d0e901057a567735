//! The stretch of weather that a season is reckoned from.

use crate::field_log::FieldLog;
use crate::time::{DAY, Instant};

/// Readings from so long before the first entry have a say: telling whether a
/// source drifts from another takes 35 days, the range for unknown hours looks
/// ten days back, the comparison of two sources seven, and the timeline shows
/// three days of run-up.
const RUN_UP: i64 = 36 * DAY;

/// Windows begin on one of these steps, so that the seasons of a site mostly
/// share one.
const STEP: i64 = 32 * DAY;

/// A season is over long before: bloom to return bloom is a year.
const LENGTH: i64 = 14 * STEP;

/// From when to when, both included, readings belong to a season. It hangs on
/// the season's own log alone, so that no other season changes what is reckoned
/// of it.
pub fn window(log: &FieldLog, now: Instant) -> (Instant, Instant) {
    let begin = log.begin().unwrap_or(now).0 - RUN_UP;
    let from = begin.div_euclid(STEP) * STEP;
    (Instant(from), Instant(from + LENGTH))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::field_log::Entry;

    #[test]
    fn a_correction_that_moves_an_entry_back_moves_the_window() {
        let at = |day: i64| Instant(1_367_107_200 + day * DAY);
        let count = json!({"id": "a", "kind": "bloom-start", "at": at(0)});
        let moved = json!({"id": "b", "kind": "correction", "at": at(1), "of": "a",
            "entry": {"kind": "bloom-start", "at": at(-60)}});
        let log = |entries: &[serde_json::Value]| {
            FieldLog::by_id(entries.iter().map(|entry| Entry::read(entry, None).unwrap()).collect()).unwrap()
        };
        let (from, to) = window(&log(std::slice::from_ref(&count)), at(100));
        assert!(from <= at(-36) && at(-70) < from && at(366) < to);
        let (from, _) = window(&log(&[count, moved]), at(100));
        assert!(from <= at(-96));
    }
}
