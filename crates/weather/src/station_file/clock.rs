//! From the wall clock to UTC, with the hours that it lacks and has twice.

use chrono::{DateTime, LocalResult, Offset, TimeZone};
use model::time::{DAY, Instant};

use crate::mapping::WallClock;

/// What a time on the wall clock is in UTC, in seconds since 1970.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Moment {
    Once(i64),
    /// The clock was put back over it: before and after that.
    Twice {
        before: i64,
        after: i64,
    },
    /// The clock was put forward over it.
    Never,
}

/// Looks the moment of a wall-clock time up.
pub(crate) fn moment(clock: WallClock, local: i64) -> Moment {
    let zone = match clock {
        WallClock::Utc => return Moment::Once(local),
        WallClock::Fixed(offset) => return Moment::Once(local - i64::from(offset)),
        WallClock::Zone(zone) => zone,
    };
    let Some(wall) = DateTime::from_timestamp(local, 0) else {
        return Moment::Never;
    };
    let seconds = |offset: chrono_tz::TzOffset| local - i64::from(offset.fix().local_minus_utc());
    match zone.offset_from_local_datetime(&wall.naive_utc()) {
        LocalResult::Single(offset) => Moment::Once(seconds(offset)),
        LocalResult::Ambiguous(one, other) => {
            let (one, other) = (seconds(one), seconds(other));
            Moment::Twice { before: one.min(other), after: one.max(other) }
        }
        LocalResult::None => Moment::Never,
    }
}

/// A row whose wall-clock time stands twice in its year.
#[derive(Debug, Clone, Copy)]
pub(super) struct Doubled {
    /// Its place among the readings.
    pub(super) reading: usize,
    /// Line of the file.
    pub(super) line: u64,
    pub(super) local: i64,
    pub(super) before: i64,
    pub(super) after: i64,
}

/// Tells for each doubled time which of both it is, by the order of the file:
/// the first run through the hour was before the clock was put back, and when
/// the times fall back, the second run has begun. A file that has its newest
/// row first is gone through from its end.
pub(super) fn tell_apart(doubled: &[Doubled], newest_first: bool, mut tell: impl FnMut(&Doubled, Instant)) {
    let mut last: Option<&Doubled> = None;
    let mut second = false;
    let mut go = |row| {
        let row: &Doubled = row;
        second = match last {
            Some(last) if (row.local - last.local).abs() < DAY => second || row.local <= last.local,
            _ => false,
        };
        last = Some(row);
        tell(row, Instant(if second { row.after } else { row.before }));
    };
    if newest_first {
        doubled.iter().rev().for_each(&mut go);
    } else {
        doubled.iter().for_each(&mut go);
    }
}

#[cfg(test)]
mod tests;
