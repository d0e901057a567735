//! The patterns that a written time may follow.

use model::time::Instant;

/// What `rfc3339` is called in a mapping.
pub(super) const RFC3339: &str = "rfc3339";

/// Patterns by which a text may be read as a date and a time of day.
pub(super) fn moments(text: &str) -> Vec<String> {
    let text = text.trim();
    if Instant::parse(text).is_ok() {
        return vec![RFC3339.to_owned()];
    }
    if text.bytes().all(|byte| byte.is_ascii_digit()) {
        let pattern = match text.len() {
            // Seconds since 1970 have ten digits too, and begin with 19 or 20
            // from 2030 on only.
            10 if text.starts_with("19") || text.starts_with("20") => "%Y%m%d%H",
            10 => "%s",
            12 => "%Y%m%d%H%M",
            14 => "%Y%m%d%H%M%S",
            _ => return Vec::new(),
        };
        return vec![pattern.to_owned()];
    }
    let mut found = Vec::new();
    for (date, rest) in date_heads(text) {
        let behind = rest.trim_start();
        let (between, clock) = match behind.strip_prefix(',') {
            Some(clock) => (", ", clock.trim_start()),
            None if behind.len() < rest.len() => (" ", behind),
            None => match rest.chars().next() {
                Some('T') => ("T", &rest[1..]),
                Some('_') => ("_", &rest[1..]),
                Some('-') => ("-", &rest[1..]),
                _ => continue,
            },
        };
        for (time, rest) in clock_heads(clock) {
            if let Some(offset) = tail(rest) {
                found.push(format!("{date}{between}{time}{offset}"));
            }
        }
    }
    found
}

/// Whether a text is a date and nothing else.
pub(super) fn is_date(text: &str) -> bool {
    date_heads(text.trim()).iter().any(|(_, rest)| rest.is_empty())
}

/// Whether a text is a time of day and nothing else; with `colon` only where
/// its parts are marked as such.
pub(super) fn is_clock(text: &str, colon: bool) -> bool {
    let marked = text.contains(':') || text.ends_with(['m', 'M', 'a', 'p', 'A', 'P']);
    (marked || !colon) && clock_heads(text.trim()).iter().any(|(_, rest)| tail(rest).is_some())
}

/// Digits at the head of a text, and what follows.
fn digits(text: &str) -> (usize, &str) {
    let count = text.bytes().take_while(u8::is_ascii_digit).count();
    (count, &text[count..])
}

/// A sign between the parts of a date.
fn between(text: &str) -> Option<(char, &str)> {
    let sign = text.chars().next().filter(|sign| matches!(sign, '-' | '/' | '.' | ' '))?;
    let rest = &text[1..];
    Some((sign, if sign == ' ' { rest.trim_start() } else { rest }))
}

/// The month by its name, and what follows.
fn month(text: &str) -> Option<&str> {
    const MONTHS: [&str; 12] =
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
    let count = text.bytes().take_while(u8::is_ascii_alphabetic).count();
    let known = count >= 3 && MONTHS.iter().any(|name| text[..3].eq_ignore_ascii_case(name));
    known.then(|| &text[count..])
}

/// Dates at the head of a text: their patterns and what follows.
fn date_heads(text: &str) -> Vec<(String, &str)> {
    let (count, rest) = digits(text);
    match count {
        0 => month_first(text).into_iter().collect(),
        8 => vec![("%Y%m%d".to_owned(), rest)],
        4 => year_first(rest).into_iter().collect(),
        1 | 2 => day_or_month_first(rest).unwrap_or_default(),
        _ => Vec::new(),
    }
}

/// `Apr 28, 2013`
fn month_first(text: &str) -> Option<(String, &str)> {
    let rest = month(text)?.strip_prefix(' ')?.trim_start();
    let (1 | 2, rest) = digits(rest) else { return None };
    let comma = rest.starts_with(',');
    let rest = rest.strip_prefix(',').unwrap_or(rest).strip_prefix(' ')?.trim_start();
    let (4, rest) = digits(rest) else { return None };
    Some((if comma { "%B %d, %Y" } else { "%B %d %Y" }.to_owned(), rest))
}

/// `2013-04-28`, `2013-Apr-28`, `2013-118`
fn year_first(rest: &str) -> Option<(String, &str)> {
    let (sign, rest) = between(rest)?;
    if let Some(rest) = month(rest) {
        let (again, rest) = between(rest)?;
        let (count, rest) = digits(rest);
        return (again == sign && matches!(count, 1 | 2)).then(|| (format!("%Y{sign}%B{sign}%d"), rest));
    }
    match digits(rest) {
        (3, rest) => Some((format!("%Y{sign}%j"), rest)),
        (1 | 2, rest) => {
            let (again, rest) = between(rest)?;
            let (count, rest) = digits(rest);
            (again == sign && matches!(count, 1 | 2)).then(|| (format!("%Y{sign}%m{sign}%d"), rest))
        }
        _ => None,
    }
}

/// `28.04.2013`, `4/28/13`, `28-Apr-2013`
fn day_or_month_first(rest: &str) -> Option<Vec<(String, &str)>> {
    let (sign, rest) = between(rest)?;
    if let Some(rest) = month(rest) {
        let (again, rest) = between(rest)?;
        return match digits(rest) {
            (4, rest) if again == sign => Some(vec![(format!("%d{sign}%B{sign}%Y"), rest)]),
            (2, rest) if again == sign => Some(vec![(format!("%d{sign}%B{sign}%y"), rest)]),
            _ => None,
        };
    }
    let (1 | 2, rest) = digits(rest) else { return None };
    let (again, rest) = between(rest)?;
    let (year, rest) = match digits(rest) {
        (4, rest) => ("%Y", rest),
        (2, rest) => ("%y", rest),
        _ => return None,
    };
    if again != sign {
        return None;
    }
    let mut found = vec![(format!("%d{sign}%m{sign}{year}"), rest)];
    // With points the day stands first everywhere.
    if sign != '.' {
        found.push((format!("%m{sign}%d{sign}{year}"), rest));
        if year == "%y" {
            found.push((format!("%y{sign}%m{sign}%d"), rest));
        }
    }
    Some(found)
}

/// Times of day at the head of a text: their patterns and what follows.
fn clock_heads(text: &str) -> Vec<(String, &str)> {
    let (count, rest) = digits(text);
    match count {
        4 => vec![("%H%M".to_owned(), rest)],
        6 => vec![("%H%M%S".to_owned(), rest)],
        1 | 2 => parted(rest),
        _ => Vec::new(),
    }
}

/// What follows the hour: minutes, seconds and the half of the day, as far as
/// they are there.
fn parted(rest: &str) -> Vec<(String, &str)> {
    let mut parts = String::new();
    let mut rest = rest;
    for (n, name) in ["%M", "%S"].into_iter().enumerate() {
        let sign = rest.chars().next().filter(|sign| matches!(sign, ':' | '.' | ' '));
        // Blanks part hour and minute only where they are columns of their own.
        let Some(sign) = sign.filter(|sign| *sign == ':' || (n == 0 && parts.is_empty())) else {
            break;
        };
        let (count, behind) = digits(if sign == ' ' { rest.trim_start() } else { &rest[1..] });
        if !(count == 2 || (count == 1 && sign == ' ')) {
            break;
        }
        parts.push(sign);
        parts.push_str(name);
        rest = behind;
    }
    if parts.ends_with("%S") && rest.starts_with('.') {
        let (count, behind) = digits(&rest[1..]);
        if count > 0 {
            parts.push_str("%.f");
            rest = behind;
        }
    }
    let near = rest.trim_start();
    let half = near.chars().next().filter(|sign| matches!(sign, 'a' | 'A' | 'p' | 'P'));
    if half.is_some() {
        let behind = near[1..].strip_prefix(['m', 'M']).unwrap_or(&near[1..]);
        let blank = if near.len() < rest.len() { " " } else { "" };
        return vec![(format!("%I{parts}{blank}%p"), behind)];
    }
    vec![(format!("%H{parts}"), rest)]
}

/// The pattern of what follows the time of day: nothing, an offset, or `UTC`.
fn tail(rest: &str) -> Option<String> {
    let near = rest.trim_start();
    let blank = if near.len() < rest.len() { " " } else { "" };
    let offset = near.strip_prefix(['+', '-']).is_some_and(|offset| {
        let parts =
            offset.split_once(':').unwrap_or((offset.get(..2).unwrap_or(""), offset.get(2..).unwrap_or("")));
        [parts.0, parts.1]
            .iter()
            .all(|part| part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit()))
    });
    match near {
        "" => Some(String::new()),
        "Z" | "z" => Some(format!("{blank}%z")),
        "UTC" | "GMT" => Some(format!("{blank}{near}")),
        _ => offset.then(|| format!("{blank}%z")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::TimeFormat;
    use crate::stamp::Layout;

    #[test]
    fn patterns_of_times_as_they_are_written() {
        let table: [(&str, &[&str]); 31] = [
            ("2013-05-01T02:00:00Z", &["rfc3339"]),
            ("2013-05-01T02:00:00.5+02:00", &["rfc3339"]),
            ("2013-05-01T02:00Z", &["%Y-%m-%dT%H:%M%z"]),
            ("2013-05-01 02:00:00 -0400", &["%Y-%m-%d %H:%M:%S %z"]),
            ("2013-05-01 02:00", &["%Y-%m-%d %H:%M"]),
            ("2013/05/01 2:00 UTC", &["%Y/%m/%d %H:%M UTC"]),
            ("2013-05-01 02:00:00.25", &["%Y-%m-%d %H:%M:%S%.f"]),
            ("01.05.2013 02:00", &["%d.%m.%Y %H:%M"]),
            ("01.05.13 02.00", &["%d.%m.%y %H.%M"]),
            ("02/08/2022   15:30", &["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"]),
            ("5/1/13 12:30a", &["%d/%m/%y %I:%M%p", "%m/%d/%y %I:%M%p", "%y/%m/%d %I:%M%p"]),
            ("05/01/2013 10:26:34 AM", &["%d/%m/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M:%S %p"]),
            ("5/1/2013, 10:26 pm", &["%d/%m/%Y, %I:%M %p", "%m/%d/%Y, %I:%M %p"]),
            ("1-May-2013 02:00", &["%d-%B-%Y %H:%M"]),
            ("1 May 13 02:00", &["%d %B %y %H:%M"]),
            ("May 1, 2013 2:00 PM", &["%B %d, %Y %I:%M %p"]),
            ("2013-May-01 02:00", &["%Y-%B-%d %H:%M"]),
            ("2013-121 02:00", &["%Y-%j %H:%M"]),
            ("2013050102", &["%Y%m%d%H"]),
            ("201305010200", &["%Y%m%d%H%M"]),
            ("20130501020000", &["%Y%m%d%H%M%S"]),
            ("20130501 0200", &["%Y%m%d %H%M"]),
            ("20130501 24", &["%Y%m%d %H"]),
            ("1367157600", &["%s"]),
            ("2013 5 1 3", &["%Y %m %d %H"]),
            ("2013 5 1 3 0", &["%Y %m %d %H %M"]),
            ("11.5", &[]),
            ("2013-05-01", &[]),
            ("12:30", &[]),
            ("1.015,0", &[]),
            ("", &[]),
        ];
        for (text, patterns) in table {
            assert_eq!(moments(text), patterns, "{text}");
            for pattern in patterns {
                let format = match *pattern {
                    RFC3339 => TimeFormat::Rfc3339,
                    pattern => TimeFormat::Pattern(pattern.to_owned()),
                };
                let layout = Layout::of(&format).unwrap_or_else(|detail| panic!("{detail}"));
                let day_stands_last = pattern.starts_with("%y");
                assert!(layout.read(text.as_bytes()).is_some() || day_stands_last, "{pattern} on {text}");
            }
        }
        assert!(is_date("28.04.2013") && is_date("20130428") && !is_date("28.04") && !is_date("11.5"));
        assert!(is_clock("12:30a", true) && is_clock("24:00", true) && is_clock("7", false));
        assert!(!is_clock("7", true) && !is_clock("11.55", true) && !is_clock("-7", false));
    }
}
