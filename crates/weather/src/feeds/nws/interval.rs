//! Times and intervals as ISO 8601 writes them, in the forms that the
//! provider's schema allows: start and length, start and end, length and end.

use chrono::{DateTime, Months, TimeDelta};
use model::time::{DAY, HOUR, Instant};

/// Longest interval that is taken for one. A forecast reaches some eight days.
pub(super) const LONGEST: i64 = 31 * DAY;
/// Digits of one number of a length.
const MOST_DIGITS: usize = 6;

/// From the first moment up to, not with, the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Interval {
    pub from: Instant,
    /// Later than `from`, by at most [`LONGEST`].
    pub to: Instant,
}

impl Interval {
    /// Reads an interval; none when it is not written as one, is empty or too long.
    pub(super) fn read(text: &str, now: Instant) -> Option<Interval> {
        let (first, last) = text.trim().split_once('/')?;
        let (from, to) = match (Length::read(first), Length::read(last)) {
            (None, None) => (end(first, now)?, end(last, now)?),
            (None, Some(length)) => {
                let from = end(first, now)?;
                (from, length.after(from)?)
            }
            (Some(length), None) => {
                let to = end(last, now)?;
                (length.before(to)?, to)
            }
            (Some(_), Some(_)) => return None,
        };
        (from < to && to.since(from) <= LONGEST).then_some(Interval { from, to })
    }

    /// Length in seconds.
    pub(super) fn seconds(self) -> i64 {
        self.to.since(self.from)
    }

    /// Begins of the whole hours in it, by the clock; the provider's intervals
    /// begin and end on the hour.
    pub(super) fn hours(self) -> impl Iterator<Item = Instant> {
        let first = (self.from.0 + HOUR - 1).div_euclid(HOUR);
        let end = self.to.0.div_euclid(HOUR);
        (first..end).map(|hour| Instant(hour * HOUR))
    }
}

/// One end of an interval: a time, or `NOW`.
fn end(text: &str, now: Instant) -> Option<Instant> {
    if text == "NOW" { Some(now) } else { moment(text) }
}

/// Reads a time with its offset: `Z`, `+00:00`, `+0000` or `+00`.
pub(super) fn moment(text: &str) -> Option<Instant> {
    Instant::parse(text).ok().or_else(|| {
        let read = DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S%#z").ok()?;
        within_our_years(read.timestamp())
    })
}

fn within_our_years(seconds: i64) -> Option<Instant> {
    Some(Instant(seconds)).filter(|at| (Instant::MIN..Instant::MAX).contains(at))
}

/// `P[nY][nM][nD][T[nH][nM][nS]]`; years and months are those of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Length {
    months: u32,
    seconds: i64,
}

impl Length {
    fn read(text: &str) -> Option<Length> {
        let rest = text.strip_prefix('P')?;
        let (date, time) = rest.split_once('T').unwrap_or((rest, ""));
        let [years, months, days] = numbers(date, ['Y', 'M', 'D'])?;
        let [hours, minutes, seconds] = numbers(time, ['H', 'M', 'S'])?;
        Some(Length {
            months: years * 12 + months,
            seconds: i64::from(days) * DAY
                + i64::from(hours) * HOUR
                + i64::from(minutes) * 60
                + i64::from(seconds),
        })
    }

    fn after(self, from: Instant) -> Option<Instant> {
        let whole = from.utc().checked_add_months(Months::new(self.months))?;
        within_our_years(whole.checked_add_signed(TimeDelta::try_seconds(self.seconds)?)?.timestamp())
    }

    fn before(self, to: Instant) -> Option<Instant> {
        let whole = to.utc().checked_sub_months(Months::new(self.months))?;
        within_our_years(whole.checked_sub_signed(TimeDelta::try_seconds(self.seconds)?)?.timestamp())
    }
}

/// Numbers before their letters, each at most once and in this order; what is
/// not written is 0.
fn numbers(mut text: &str, letters: [char; 3]) -> Option<[u32; 3]> {
    let mut found = [0; 3];
    for (number, letter) in std::iter::zip(&mut found, letters) {
        let digits = text.bytes().take_while(u8::is_ascii_digit).count();
        let Some(rest) = text[digits..].strip_prefix(letter) else { continue };
        if digits > MOST_DIGITS {
            return None;
        }
        *number = text[..digits].parse().ok()?;
        text = rest;
    }
    text.is_empty().then_some(found)
}

#[cfg(test)]
mod tests;
