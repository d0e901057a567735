//! When to count again so that the start is caught within a few hours.

use chrono::{Days, NaiveDate, NaiveTime, TimeZone};
use chrono_tz::Tz;

use super::{Basis, Start};
use crate::time::{DAY, HOUR, Instant};

/// Flowers are counted between these hours of the wall clock (common practice, no
/// source).
const DAYLIGHT: (u32, u32) = (7, 19);
/// So long before the expected start one more count shows how fast bloom opens.
const ONE_DAY_AHEAD: i64 = DAY;

/// The next count that is worth its walk: a day before the expected start, then
/// just before it; within a day where the counts do not foretell it. By daylight,
/// and not before the block is open again (`open_again`). None once the clock has
/// started.
pub fn next_count(
    start: Option<&Start>,
    last_count: Option<Instant>,
    zone: Tz,
    now: Instant,
    open_again: Option<Instant>,
) -> Option<Instant> {
    let wanted = match start {
        Some(Start { basis: Basis::Expected, at, .. }) => {
            let ahead = at.plus(-ONE_DAY_AHEAD);
            if ahead > now.plus(12 * HOUR) { ahead } else { *at }
        }
        Some(_) => return None,
        None => last_count?.plus(DAY),
    };
    let soonest = now.max(open_again.unwrap_or(now));
    Some(in_daylight(wanted, zone, soonest))
}

/// The last moment of daylight up to `at`; where that lies before `soonest`, the
/// first from there on.
pub(crate) fn in_daylight(at: Instant, zone: Tz, soonest: Instant) -> Instant {
    let before = |(morning, evening): (Instant, Instant)| (morning <= at).then(|| at.min(evening));
    let day = at.local_date(zone);
    let yesterday = || daylight(day.pred_opt()?, zone).and_then(before);
    let wanted = daylight(day, zone).and_then(before).or_else(yesterday).unwrap_or(at);
    if wanted >= soonest {
        return wanted;
    }
    let after = |(morning, evening): (Instant, Instant)| (soonest <= evening).then(|| soonest.max(morning));
    let day = soonest.local_date(zone);
    let tomorrow = || daylight(day.checked_add_days(Days::new(1))?, zone).and_then(after);
    daylight(day, zone).and_then(after).or_else(tomorrow).unwrap_or(soonest)
}

/// From when to when flowers can be counted on a day.
fn daylight(day: NaiveDate, zone: Tz) -> Option<(Instant, Instant)> {
    let on = |hour: u32| {
        let wall = day.and_time(NaiveTime::from_hms_opt(hour, 0, 0)?);
        zone.from_local_datetime(&wall).earliest().map(|moment| Instant(moment.timestamp()))
    };
    Some((on(DAYLIGHT.0)?, on(DAYLIGHT.1)?))
}
