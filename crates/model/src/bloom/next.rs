//! When to count again so that the start is caught within a few hours.

use chrono::{NaiveTime, TimeZone};
use chrono_tz::Tz;

use super::{Basis, Start};
use crate::time::{DAY, HOUR, Instant};

/// Flowers are counted between these hours of the wall clock (common practice, no
/// source).
const DAYLIGHT: (u32, u32) = (7, 19);
/// So long before the expected start one more count shows how fast bloom opens.
const ONE_DAY_AHEAD: i64 = DAY;

/// The next count that is worth its walk: a day before the expected start, then
/// just before it; within a day where the counts do not foretell it. None once the
/// clock has started.
pub fn next_count(
    start: Option<&Start>,
    last_count: Option<Instant>,
    zone: Tz,
    now: Instant,
) -> Option<Instant> {
    let wanted = match start {
        Some(Start { basis: Basis::Expected, at, .. }) => {
            let ahead = at.plus(-ONE_DAY_AHEAD);
            if ahead > now.plus(12 * HOUR) { ahead } else { (*at).max(now) }
        }
        Some(_) => return None,
        None => last_count?.plus(DAY).max(now),
    };
    Some(in_daylight(wanted, zone, now))
}

/// The last moment of daylight up to `at`, or the first from `now` on.
fn in_daylight(at: Instant, zone: Tz, now: Instant) -> Instant {
    let local = at.utc().with_timezone(&zone);
    let on = |day: chrono::NaiveDate, hour: u32| {
        let wall = day.and_time(NaiveTime::from_hms_opt(hour, 0, 0)?);
        zone.from_local_datetime(&wall).earliest().map(|moment| Instant(moment.timestamp()))
    };
    let day = local.date_naive();
    let (Some(morning), Some(evening)) = (on(day, DAYLIGHT.0), on(day, DAYLIGHT.1)) else {
        return at;
    };
    if at >= evening {
        return evening.max(now);
    }
    if at >= morning {
        return at;
    }
    // In the small hours: the evening before, or this morning when that is over.
    match day.pred_opt().and_then(|day| on(day, DAYLIGHT.1)) {
        Some(evening) if evening >= now => evening,
        _ => morning,
    }
}
