//! Dates and hours as the archives write them: numbers at known places.

use crate::stamp::{days_in_month, days_since_1970};

/// Digits and nothing else, at most five, blanks around them trimmed.
#[inline]
pub(super) fn whole(cell: &[u8]) -> Option<i64> {
    let cell = cell.trim_ascii();
    if cell.is_empty() || cell.len() > 5 {
        return None;
    }
    cell.iter()
        .try_fold(0, |value, digit| digit.is_ascii_digit().then(|| value * 10 + i64::from(digit - b'0')))
}

/// A time on a clock that is never put forward or back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Written {
    pub(super) year: i64,
    pub(super) month: i64,
    pub(super) day: i64,
    /// To 24, the midnight that ends the day.
    pub(super) hour: i64,
    pub(super) minute: i64,
    pub(super) second: i64,
}

impl Written {
    /// Seconds since 1970 on that clock; none for a time that no clock shows.
    #[inline]
    pub(super) fn seconds(&self) -> Option<i64> {
        let Written { year, month, day, hour, minute, second } = *self;
        let valid = (1..=12).contains(&month)
            && (1..=days_in_month(year, month)).contains(&day)
            && (0..60).contains(&minute)
            && (0..60).contains(&second)
            && ((0..24).contains(&hour) || (hour == 24 && minute == 0 && second == 0));
        valid.then(|| days_since_1970(year, month, day) * 86_400 + hour * 3_600 + minute * 60 + second)
    }
}

/// Reads a time whose digits stand under the `9`s of a pattern, in the order
/// year, month, day, hour, minute, second with as many as there are; the other
/// signs must be the same, and a blank stands for `T` or a blank.
#[inline]
pub(super) fn written(cell: &[u8], pattern: &[u8]) -> Option<Written> {
    if cell.len() != pattern.len() {
        return None;
    }
    let mut digits = [0i64; 14];
    let mut count = 0;
    for (sign, wanted) in cell.iter().zip(pattern) {
        match (sign, wanted) {
            (b'0'..=b'9', b'9') => {
                *digits.get_mut(count)? = i64::from(sign - b'0');
                count += 1;
            }
            (b'T' | b't' | b' ', b' ') => {}
            _ if sign == wanted && *wanted != b'9' => {}
            _ => return None,
        }
    }
    let two = |at: usize| digits[at] * 10 + digits[at + 1];
    Some(Written {
        year: two(0) * 100 + two(2),
        month: two(4),
        day: two(6),
        hour: two(8),
        minute: two(10),
        second: two(12),
    })
}
