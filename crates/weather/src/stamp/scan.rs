//! The parts of a written time, read off the head of what is left of it.

/// A number of `least` to `most` digits at the head of `rest`.
#[inline]
pub(super) fn digits(rest: &mut &[u8], least: usize, most: usize, strict: bool) -> Option<i64> {
    let text = if strict { *rest } else { rest.trim_ascii_start() };
    let mut value = 0;
    let mut count = 0;
    while count < most {
        match text.get(count) {
            Some(digit @ b'0'..=b'9') => value = value * 10 + i64::from(digit - b'0'),
            _ => break,
        }
        count += 1;
    }
    *rest = &text[count..];
    (count >= least).then_some(value)
}

/// `AM`, `PM`, or their first letter alone, whether it is afternoon.
pub(super) fn half(rest: &mut &[u8]) -> Option<bool> {
    let (first, after) = rest.split_first()?;
    let afternoon = match first.to_ascii_lowercase() {
        b'a' => false,
        b'p' => true,
        _ => return None,
    };
    *rest = match after.split_first() {
        Some((b'm' | b'M', after)) => after,
        _ => after,
    };
    Some(afternoon)
}

/// Whether a part of a second follows; a sign without digits is wrong.
pub(super) fn fraction(rest: &mut &[u8]) -> Option<bool> {
    let Some((b'.', after)) = rest.split_first() else {
        return Some(false);
    };
    let count = after.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, after) = after.split_at(count);
    *rest = after;
    (count > 0).then(|| digits.iter().any(|digit| *digit != b'0'))
}

/// An offset from UTC in seconds, east positive.
pub(super) fn offset(rest: &mut &[u8], strict: bool) -> Option<i64> {
    let (first, after) = rest.split_first()?;
    let sign = match first {
        b'Z' | b'z' => {
            *rest = after;
            return Some(0);
        }
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    *rest = after;
    let hours = digits(rest, 2, 2, true)?;
    match rest.strip_prefix(b":") {
        Some(after) => *rest = after,
        None if strict => return None,
        None => {}
    }
    let minutes = digits(rest, 2, 2, true)?;
    (hours < 24 && minutes < 60).then_some(sign * (hours * 3_600 + minutes * 60))
}

pub(crate) fn days_in_month(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days from 1 January 1970 to a date of the Gregorian calendar. The year is
/// counted from March, so that the leap day is its last.
pub(crate) fn days_since_1970(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let month_from_march = (month + 9) % 12;
    let day_of_year = (153 * month_from_march + 2) / 5 + day - 1;
    let (era, year_of_era) = (year.div_euclid(400), year.rem_euclid(400));
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    // 146,097 days in 400 years; 719,468 from 1 March of year 0 to 1970.
    era * 146_097 + day_of_era - 719_468
}
