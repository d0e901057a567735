//! The clock that a header or a note names.

use crate::mapping::WallClock;

/// The offset from UTC that a text names: `GMT-05:00`, `UTC+1`, `GMT -0330`;
/// `UTC` or `GMT` alone, as a word, is UTC. Two different ones name none.
pub(crate) fn offset_named(text: &str) -> Option<WallClock> {
    let text = text.to_ascii_uppercase();
    let mut named = None;
    for (at, _) in text.match_indices("UTC").chain(text.match_indices("GMT")) {
        if text[..at].ends_with(|sign: char| sign.is_alphanumeric()) {
            continue;
        }
        let Some(clock) = behind(&text[at + 3..]) else {
            continue;
        };
        if named.is_some_and(|known| known != clock) {
            return None;
        }
        named = Some(clock);
    }
    named
}

/// Reads what follows `UTC`: a sign and hours, with minutes perhaps.
fn behind(text: &str) -> Option<WallClock> {
    let text = text.trim_start();
    let (sign, rest) = match text.chars().next() {
        Some('+') => ("+", &text[1..]),
        Some('-') => ("-", &text[1..]),
        // The minus sign of good print.
        Some('\u{2212}') => ("-", &text[3..]),
        Some(sign) if sign.is_alphanumeric() => return None,
        _ => return Some(WallClock::Utc),
    };
    let end = rest.find(|sign: char| !sign.is_ascii_digit() && sign != ':').unwrap_or(rest.len());
    let digits = rest[..end].trim_end_matches(':');
    let (hours, minutes) = match digits.split_once(':') {
        Some(parts) => parts,
        None if digits.len() == 4 => digits.split_at(2),
        None => (digits, "00"),
    };
    // A dash that only parts words: `UTC - station 4`.
    if hours.is_empty() || hours.len() > 2 {
        return Some(WallClock::Utc).filter(|_| hours.is_empty());
    }
    match WallClock::named(&format!("{sign}{hours:0>2}:{minutes}")).ok()? {
        WallClock::Fixed(0) => Some(WallClock::Utc),
        clock => Some(clock),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offsets_are_seen() {
        let table = [
            ("Date Time, GMT-05:00", Some(WallClock::Fixed(-18_000))),
            ("date (UTC+1)", Some(WallClock::Fixed(3_600))),
            ("Time zone: GMT -0330", Some(WallClock::Fixed(-12_600))),
            ("GMT\u{2212}05:00", Some(WallClock::Fixed(-18_000))),
            ("Time (UTC)", Some(WallClock::Utc)),
            ("time_utc", Some(WallClock::Utc)),
            ("UTC", Some(WallClock::Utc)),
            ("UTC+00:00", Some(WallClock::Utc)),
            ("GMT, UTC", Some(WallClock::Utc)),
            ("UTC - station", Some(WallClock::Utc)),
            ("GMT-05:00 or GMT-04:00", None),
            ("UTC+15", None),
            ("UTCI", None),
            ("timestamp", None),
            ("", None),
        ];
        for (text, clock) in table {
            assert_eq!(offset_named(text), clock, "{text}");
        }
    }
}
