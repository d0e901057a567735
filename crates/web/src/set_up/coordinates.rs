//! Degrees of the map as people have them: decimal, or with minutes and seconds.

use crate::words::Words;

/// Which way an angle is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Axis {
    /// North positive.
    Latitude,
    /// East positive.
    Longitude,
}

impl Axis {
    /// The letters that stand for plus and for minus.
    fn letters(self) -> (char, char) {
        match self {
            Axis::Latitude => ('N', 'S'),
            Axis::Longitude => ('E', 'W'),
        }
    }
}

/// Reads `40.6925`, `40,6925`, `40°41.5'N`, `40 41 33 N` or `N 40° 41′ 33″`. What lies
/// beyond the poles or the date line is for who takes the number to say.
///
/// # Errors
/// A sentence that says what is wrong and how it is written.
pub(crate) fn degrees(text: &str, axis: Axis, words: &Words) -> Result<f64, String> {
    let (plus, minus) = axis.letters();
    let how = || words.fill("map.unread", &[("typed", &text), ("plus", &plus), ("minus", &minus)]);
    let upper = text.trim().to_uppercase().replace('−', "-").replace(',', ".");
    let letters: Vec<char> = upper.chars().filter(|sign| sign.is_alphabetic()).collect();
    let sign = match letters.as_slice() {
        [] => 1.0,
        [letter] if *letter == plus => 1.0,
        [letter] if *letter == minus => -1.0,
        [letter] if "NSEW".contains(*letter) => {
            return Err(words.fill(
                "map.other_letter",
                &[("typed", &text), ("letter", letter), ("plus", &plus), ("minus", &minus)],
            ));
        }
        _ => return Err(how()),
    };
    let plain = upper.replace(|sign: char| sign.is_alphabetic() || "°º'′’\"″”:".contains(sign), " ");
    let parts: Result<Vec<f64>, _> = plain.split_whitespace().map(str::parse::<f64>).collect();
    let parts = parts.map_err(|_| how())?;
    let (whole, rest) = parts.split_first().ok_or_else(how)?;
    let negative = plain.trim_start().starts_with('-');
    if negative && !letters.is_empty() {
        return Err(words.fill("map.both_signs", &[("typed", &text)]));
    }
    let smaller_whole = |part: &f64| (0.0..60.0).contains(part);
    let larger_are_whole = parts[..parts.len() - 1].iter().all(|part| part.fract() == 0.0);
    if rest.len() > 2 || !rest.iter().all(smaller_whole) || !larger_are_whole {
        return Err(how());
    }
    let fraction: f64 = rest.iter().zip([60.0, 3_600.0]).map(|(part, of)| part / of).sum();
    let size = whole.abs() + fraction;
    Ok(if negative { -size } else { sign * size })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    #[test]
    fn degrees_are_read_as_people_have_them() {
        let close = |text: &str, axis, expected: f64| {
            let read = degrees(text, axis, english()).unwrap();
            assert!((read - expected).abs() < 1e-9, "{text}: {read}");
        };
        // 41.55 minutes are 0.6925 degrees, and 33 seconds 0.55 minutes.
        for text in
            ["40.6925", "40,6925", " 40.6925 N", "40°41.55'N", "40 41 33 n", "N 40° 41′ 33″", "40:41:33"]
        {
            close(text, Axis::Latitude, 40.6925);
        }
        for text in ["-74.1687", "−74,1687", "74.1687 W", "74° 10' 7.32\" W", "-74 10 7.32"] {
            close(text, Axis::Longitude, -74.1687);
        }
        close("0° 30' S", Axis::Latitude, -0.5);
        close("-0 30", Axis::Latitude, -0.5);
    }

    #[test]
    fn what_is_not_read_says_how_it_is_written() {
        for text in ["north", "", "40 61", "40.5 30", "40 41 33 2", "40 41 N W", "1e5x", "40..2"] {
            let said = degrees(text, Axis::Latitude, english()).unwrap_err();
            assert!(said.contains("40° 41.55' N"), "{text}: {said}");
        }
        let wrong = |text: &str, axis| degrees(text, axis, english()).unwrap_err();
        assert!(wrong("74 W", Axis::Latitude).contains("ends in W; here N or S"));
        assert!(wrong("-74 W", Axis::Longitude).contains("both a minus and a letter"));
    }
}
