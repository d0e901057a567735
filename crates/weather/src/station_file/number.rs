//! Numbers and marks for a missing value, as files write them.

use crate::mapping::{Decimal, Mapping};

/// Longest number that is read: more digits than an f64 has.
const LONGEST: usize = 32;

/// Words and signs that loggers and archives write where nothing was measured;
/// capitals do not matter.
const MISSING_WORDS: [&[u8]; 10] = [b"*", b"-", b"--", b"---", b"m", b"mm", b"na", b"n/a", b"nan", b"null"];
/// Numbers used for the same, none of which is an orchard's temperature in any
/// unit; only exactly these.
const MISSING_NUMBERS: [&[u8]; 12] = [
    b"-999", b"-999.9", b"-9999", b"-9999.0", b"-99.9", b"-99.000", b"-6999", b"-7999", b"9999", b"+9999",
    b"32767", b"-32768",
];

/// How the cells of the temperature column are read.
pub(super) struct Numbers<'a> {
    decimal: u8,
    own_marks: Vec<&'a [u8]>,
}

/// What a cell of the temperature column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    Number(f64),
    Missing,
    Unreadable,
}

impl<'a> Numbers<'a> {
    pub(super) fn of(mapping: &'a Mapping) -> Numbers<'a> {
        Numbers {
            decimal: match mapping.decimal {
                Decimal::Point => b'.',
                Decimal::Comma => b',',
            },
            own_marks: mapping.missing.iter().map(|mark| mark.trim().as_bytes()).collect(),
        }
    }

    /// The sign before the decimals.
    pub(super) fn decimal(&self) -> char {
        char::from(self.decimal)
    }

    /// Reads one cell, blanks around it trimmed.
    #[inline]
    pub(super) fn read(&self, cell: &[u8]) -> Cell {
        if cell.is_empty() || self.own_marks.contains(&cell) {
            return Cell::Missing;
        }
        match number(cell, self.decimal) {
            // The numeric marks all lie far from any temperature of ours.
            Some(value) if value > -99.0 && value < 9_999.0 => Cell::Number(value),
            other => {
                if self.is_mark(cell) {
                    Cell::Missing
                } else {
                    other.map_or(Cell::Unreadable, Cell::Number)
                }
            }
        }
    }

    fn is_mark(&self, cell: &[u8]) -> bool {
        let mut point = [0; LONGEST];
        let Some(point) = point.get_mut(..cell.len()) else {
            return false;
        };
        point.copy_from_slice(cell);
        point.iter_mut().filter(|byte| **byte == self.decimal).for_each(|byte| *byte = b'.');
        MISSING_NUMBERS.contains(&&*point) || MISSING_WORDS.iter().any(|word| word.eq_ignore_ascii_case(cell))
    }
}

/// Whether a cell is a usual mark for a missing value, with either decimal sign.
pub(crate) fn is_missing(cell: &str) -> bool {
    let read = |decimal| Numbers { decimal, own_marks: Vec::new() }.read(cell.trim().as_bytes());
    read(b'.') == Cell::Missing || read(b',') == Cell::Missing
}

/// A decimal number, with an exponent perhaps; the nearest f64.
#[inline]
pub(crate) fn number(cell: &[u8], decimal: u8) -> Option<f64> {
    let mut text = [0; LONGEST];
    let text = text.get_mut(..cell.len())?;
    for (to, byte) in text.iter_mut().zip(cell) {
        *to = match *byte {
            byte if byte == decimal => b'.',
            byte @ (b'0'..=b'9' | b'+' | b'-' | b'e' | b'E') => byte,
            _ => return None,
        };
    }
    std::str::from_utf8(text).ok()?.parse().ok().filter(|value: &f64| value.is_finite())
}

#[cfg(test)]
mod tests {
    use model::units::{COLDEST_C, TemperatureUnit, WARMEST_C};

    use super::*;

    fn read(cell: &str, decimal: u8) -> Cell {
        Numbers { decimal, own_marks: vec![b"99.9"] }.read(cell.as_bytes())
    }

    #[test]
    fn numbers_and_marks() {
        assert_eq!(read("53.96", b'.'), Cell::Number(53.96));
        assert_eq!(read("-2,5", b','), Cell::Number(-2.5));
        assert_eq!(read("1e1", b'.'), Cell::Number(10.0));
        assert_eq!(read("2,5", b'.'), Cell::Unreadable);
        assert_eq!(read("1.015,0", b','), Cell::Unreadable);
        assert_eq!(read("inf", b'.'), Cell::Unreadable);
        assert_eq!(read("1e999", b'.'), Cell::Unreadable);
        assert_eq!(read("72.8 F", b'.'), Cell::Unreadable);
        for mark in ["", "---", "NA", "NaN", "NAN", "null", "-9999.0", "32767", "99.9", "*"] {
            assert_eq!(read(mark, b'.'), Cell::Missing, "{mark}");
        }
        assert_eq!(read("-999,9", b','), Cell::Missing);
        assert_eq!(read("-9999.5", b'.'), Cell::Number(-9999.5), "only exactly the mark");
    }

    #[test]
    fn no_numeric_mark_is_a_temperature_in_any_unit() {
        for mark in MISSING_NUMBERS {
            let value = number(mark, b'.').unwrap();
            for name in TemperatureUnit::NAMES {
                let celsius = TemperatureUnit::named(name).unwrap().to_celsius(value);
                assert!(!(COLDEST_C..=WARMEST_C).contains(&celsius), "{value} {name}");
            }
            assert!(value <= -99.0 || value >= 9_999.0, "{value} would pass as a number");
        }
    }
}
