//! Times as files write them.
//!
//! The usual patterns are made of numbers at known places; those are read
//! here, at some tens of nanoseconds each. Anything else that strftime can say
//! goes through chrono.

mod scan;

use chrono::format::{Item, Parsed, StrftimeItems, parse};
use chrono::{FixedOffset, NaiveDate, NaiveDateTime, TimeZone};

pub(crate) use self::scan::{days_in_month, days_since_1970};
use self::scan::{digits, fraction, half, offset};
use crate::mapping::TimeFormat;

/// A time as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stamp {
    /// It carried its offset: seconds since 1970 in UTC.
    Absolute(i64),
    /// It did not: seconds since 1970 on the clock that it was taken from.
    Local(i64),
}

impl Stamp {
    /// Its seconds, on whichever clock.
    pub(crate) fn seconds(self) -> i64 {
        match self {
            Stamp::Absolute(at) | Stamp::Local(at) => at,
        }
    }
}

/// One part of a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Piece {
    Year,
    YearOfCentury,
    Month,
    Day,
    Hour,
    HourOfHalf,
    Half,
    Minute,
    Second,
    /// A decimal sign and digits, or nothing.
    Fraction,
    /// `Z`, `+01:00` or `+0100`.
    Offset,
    /// Blanks, any number.
    Space,
    /// `T`, `t` or one blank.
    DateTimeSign,
    Byte(u8),
}

/// A pattern, ready to read times.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    way: Way,
    carries_offset: bool,
}

#[derive(Debug, Clone)]
enum Way {
    Pieces {
        /// Each with the least digits it has, where it is a number.
        pieces: Vec<(Piece, u8)>,
        /// Two digits each, no blanks before a number, no 24:00.
        strict: bool,
    },
    Chrono(Vec<Item<'static>>),
}

impl Layout {
    /// Makes ready to read times of a format.
    ///
    /// # Errors
    /// What is wrong with the pattern, and what was expected.
    pub(crate) fn of(format: &TimeFormat) -> Result<Layout, String> {
        match format {
            TimeFormat::Rfc3339 => Ok(Layout { way: rfc3339(), carries_offset: true }),
            TimeFormat::Pattern(pattern) => Layout::of_pattern(pattern),
        }
    }

    fn of_pattern(pattern: &str) -> Result<Layout, String> {
        let items = StrftimeItems::new(pattern).parse_to_owned().map_err(|_| {
            format!("`{pattern}` is neither rfc3339 nor a strftime pattern; expected one like %Y-%m-%d %H:%M")
        })?;
        // A time written by the pattern must read back, or the pattern lacks a
        // part of the date or the hour.
        let written = NaiveDate::from_ymd_opt(2013, 4, 28)
            .and_then(|day| day.and_hms_opt(17, 0, 0))
            .expect("28 April 2013, 17:00 is a time");
        let sample = FixedOffset::east_opt(0)
            .expect("no offset is an offset")
            .from_utc_datetime(&written)
            .format_with_items(items.iter())
            .to_string();
        let way = pieces(pattern).unwrap_or(Way::Chrono(items));
        let layout = Layout { way, carries_offset: false };
        match layout.read(sample.trim().as_bytes()) {
            Some(Stamp::Local(at)) if at == written.and_utc().timestamp() => Ok(layout),
            Some(Stamp::Absolute(at)) if at == written.and_utc().timestamp() => {
                Ok(Layout { carries_offset: true, ..layout })
            }
            _ => Err(format!(
                "`{pattern}` does not give a whole date with its year and an hour of 24 (or of 12 with %p)"
            )),
        }
    }

    /// Whether each time says its own offset from UTC.
    pub(crate) fn carries_offset(&self) -> bool {
        self.carries_offset
    }

    /// Reads one time, blanks around it trimmed; part seconds are rounded up.
    pub(crate) fn read(&self, text: &[u8]) -> Option<Stamp> {
        match &self.way {
            Way::Pieces { pieces, strict } => read_pieces(pieces, *strict, text),
            Way::Chrono(items) => read_by_chrono(items, std::str::from_utf8(text).ok()?),
        }
    }
}

fn rfc3339() -> Way {
    use Piece::*;
    let pieces = vec![
        Year,
        Byte(b'-'),
        Month,
        Byte(b'-'),
        Day,
        DateTimeSign,
        Hour,
        Byte(b':'),
        Minute,
        Byte(b':'),
        Second,
        Fraction,
        Offset,
    ];
    Way::Pieces { pieces: with_least(&pieces, 2), strict: true }
}

/// The pattern as pieces; none when it has parts that only chrono reads.
fn pieces(pattern: &str) -> Option<Way> {
    let mut pieces = Vec::new();
    let mut rest = pattern;
    while let Some(sign) = rest.chars().next() {
        rest = &rest[sign.len_utf8()..];
        if sign.is_whitespace() {
            pieces.push(Piece::Space);
        } else if sign != '%' {
            let mut utf8 = [0; 4];
            pieces.extend(sign.encode_utf8(&mut utf8).bytes().map(Piece::Byte));
        } else {
            // `-`, `_` and `0` say how numbers are padded; all are read.
            let specifier = rest.trim_start_matches(['-', '_', '0']);
            let taken = part(specifier, &mut pieces)?;
            rest = &specifier[taken..];
        }
    }
    Some(Way::Pieces { pieces: with_least(&pieces, 1), strict: false })
}

/// Adds the least digits of each number: where numbers touch, as in `%H%M`, two,
/// for `130` could be 1:30 or 13:0.
fn with_least(pieces: &[Piece], apart: u8) -> Vec<(Piece, u8)> {
    use Piece::*;
    let number = |piece: Option<&Piece>| {
        matches!(piece, Some(Year | YearOfCentury | Month | Day | Hour | HourOfHalf | Minute | Second))
    };
    let touches = |n: usize| number(pieces.get(n + 1)) || (n > 0 && number(pieces.get(n - 1)));
    pieces.iter().enumerate().map(|(n, piece)| (*piece, if touches(n) { 2 } else { apart })).collect()
}

/// Adds the pieces of one specifier; gives its length without the `%`.
fn part(specifier: &str, pieces: &mut Vec<Piece>) -> Option<usize> {
    use Piece::*;
    let several: &[Piece] = match specifier.as_bytes() {
        [b'.', b'f', ..] => {
            pieces.push(Fraction);
            return Some(2);
        }
        [b':', b'z', ..] => {
            pieces.push(Offset);
            return Some(2);
        }
        [b'Y', ..] => &[Year],
        [b'y', ..] => &[YearOfCentury],
        [b'm', ..] => &[Month],
        [b'd' | b'e', ..] => &[Day],
        [b'H' | b'k', ..] => &[Hour],
        [b'I' | b'l', ..] => &[HourOfHalf],
        [b'p' | b'P', ..] => &[Half],
        [b'M', ..] => &[Minute],
        [b'S', ..] => &[Second],
        [b'z', ..] => &[Offset],
        [b'F', ..] => &[Year, Byte(b'-'), Month, Byte(b'-'), Day],
        [b'D', ..] => &[Month, Byte(b'/'), Day, Byte(b'/'), YearOfCentury],
        [b'R', ..] => &[Hour, Byte(b':'), Minute],
        [b'T' | b'X', ..] => &[Hour, Byte(b':'), Minute, Byte(b':'), Second],
        [b'%', ..] => &[Byte(b'%')],
        _ => return None,
    };
    pieces.extend(several);
    Some(1)
}

/// What the pieces of one time have said so far.
#[derive(Default)]
struct Said {
    year: Option<i64>,
    month: i64,
    day: i64,
    hour: Option<i64>,
    half_hour: Option<i64>,
    afternoon: Option<bool>,
    minute: i64,
    second: i64,
    part_second: bool,
    offset: Option<i64>,
}

fn read_pieces(pieces: &[(Piece, u8)], strict: bool, text: &[u8]) -> Option<Stamp> {
    let mut said = Said::default();
    let mut rest = text;
    for (piece, least) in pieces {
        let two = |rest: &mut &[u8]| digits(rest, usize::from(*least), 2, strict);
        match piece {
            Piece::Year => said.year = Some(digits(&mut rest, 4, 4, strict)?),
            Piece::YearOfCentury => {
                let year = digits(&mut rest, 2, 2, strict)?;
                // As POSIX reads two digits: 1969 to 2068.
                said.year = Some(if year < 69 { 2000 + year } else { 1900 + year });
            }
            Piece::Month => said.month = two(&mut rest)?,
            Piece::Day => said.day = two(&mut rest)?,
            Piece::Hour => said.hour = Some(two(&mut rest)?),
            Piece::HourOfHalf => said.half_hour = Some(two(&mut rest)?),
            Piece::Half => said.afternoon = Some(half(&mut rest)?),
            Piece::Minute => said.minute = two(&mut rest)?,
            Piece::Second => said.second = two(&mut rest)?,
            Piece::Fraction => said.part_second = fraction(&mut rest)?,
            Piece::Offset => said.offset = Some(offset(&mut rest, strict)?),
            Piece::Space => rest = rest.trim_ascii_start(),
            Piece::DateTimeSign => {
                let (first, after) = rest.split_first()?;
                if !matches!(first, b'T' | b't' | b' ') {
                    return None;
                }
                rest = after;
            }
            Piece::Byte(byte) => rest = rest.strip_prefix(std::slice::from_ref(byte))?,
        }
    }
    if rest.is_empty() { said.stamp(strict) } else { None }
}

impl Said {
    fn stamp(&self, strict: bool) -> Option<Stamp> {
        let hour = match (self.hour, self.half_hour, self.afternoon) {
            (Some(hour), _, _) => hour,
            (None, Some(hour @ 1..=12), Some(afternoon)) => hour % 12 + if afternoon { 12 } else { 0 },
            _ => return None,
        };
        // Hour-ending files close the day with 24:00.
        let closing = hour == 24 && !strict && self.minute == 0 && self.second == 0 && !self.part_second;
        if !(0..24).contains(&hour) && !closing {
            return None;
        }
        let fits = (1..=12).contains(&self.month)
            && (1..=days_in_month(self.year?, self.month)).contains(&self.day)
            && (0..60).contains(&self.minute)
            // 60 is a leap second, which falls together with the next minute.
            && (0..=60).contains(&self.second);
        if !fits {
            return None;
        }
        let at = days_since_1970(self.year?, self.month, self.day) * 86_400
            + hour * 3_600
            + self.minute * 60
            + self.second
            + i64::from(self.part_second && self.second < 60);
        Some(match self.offset {
            Some(offset) => Stamp::Absolute(at - offset),
            None => Stamp::Local(at),
        })
    }
}

fn read_by_chrono(items: &[Item<'static>], text: &str) -> Option<Stamp> {
    let mut parsed = Parsed::new();
    parse(&mut parsed, text, items.iter()).ok()?;
    if parsed.minute().is_none() && parsed.timestamp().is_none() {
        parsed.set_minute(0).ok()?;
    }
    let whole = |at: NaiveDateTime| {
        let utc = at.and_utc();
        utc.timestamp() + i64::from(utc.timestamp_subsec_nanos() > 0)
    };
    if parsed.timestamp().is_some() && parsed.offset().is_none() {
        // Seconds since 1970 are UTC by definition.
        parsed.set_offset(0).ok()?;
    }
    match parsed.offset() {
        Some(_) => Some(Stamp::Absolute(whole(parsed.to_datetime().ok()?.naive_utc()))),
        None => {
            let (date, time) = (parsed.to_naive_date().ok()?, parsed.to_naive_time().ok()?);
            Some(Stamp::Local(whole(date.and_time(time))))
        }
    }
}

#[cfg(test)]
mod tests;
