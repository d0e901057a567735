//! Re-entry intervals as people and programs write them.

use crate::time::{DAY, HOUR, MINUTE};

use super::amount::split;

/// Longest interval that is taken for one, seconds: a year (constructed).
pub const LONGEST_REENTRY: i64 = 366 * DAY;

/// Seconds of a re-entry interval: `24 h`, `4 hours`, `1 day`, `30 min`, a bare
/// number of hours, or an ISO 8601 duration of weeks, days, hours and minutes
/// (`PT24H`, `P1DT12H`). A fraction of a second rounds up.
///
/// None for what cannot be read. Zero is not taken for an interval: it is what
/// people write into a field that they have no figure for, and to go by the
/// label is then the better answer.
pub fn seconds(text: &str) -> Option<i64> {
    let text = text.trim().to_lowercase();
    let seconds = match text.strip_prefix('p') {
        Some(duration) => iso(duration)?,
        None => {
            let (number, unit) = split(&text)?;
            number * each(unit.trim_end_matches('.'))?
        }
    };
    let whole = seconds.ceil();
    (whole >= 1.0 && whole <= LONGEST_REENTRY as f64).then_some(whole as i64)
}

fn each(unit: &str) -> Option<f64> {
    let seconds = match unit {
        "" | "h" | "hr" | "hrs" | "hour" | "hours" => HOUR,
        "d" | "day" | "days" => DAY,
        "min" | "mins" | "minute" | "minutes" => MINUTE,
        _ => return None,
    };
    Some(seconds as f64)
}

/// What stands behind the `P` of an ISO 8601 duration, in small letters. Months
/// and years have no fixed length and are not read.
fn iso(duration: &str) -> Option<f64> {
    let (days, clock) = match duration.split_once('t') {
        Some((_, "")) => return None,
        Some((days, clock)) => (days, clock),
        None => (duration, ""),
    };
    if days.is_empty() && clock.is_empty() {
        return None;
    }
    let of_days = parts(days, &[('w', 7 * DAY), ('d', DAY)])?;
    Some(of_days + parts(clock, &[('h', HOUR), ('m', MINUTE), ('s', 1)])?)
}

/// The sum of figures each followed by a letter, the letters in their order.
fn parts(mut text: &str, letters: &[(char, i64)]) -> Option<f64> {
    let mut sum = 0.0;
    for (letter, each) in letters {
        let Some((figure, rest)) = text.split_once(*letter) else { continue };
        if figure.is_empty() || !figure.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') {
            return None;
        }
        sum += figure.parse::<f64>().ok()? * *each as f64;
        text = rest;
    }
    text.is_empty().then_some(sum)
}
