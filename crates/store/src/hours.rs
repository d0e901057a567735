//! Forecasts as they are kept: every issue of every hour, for ever, so in few
//! bytes.
//!
//! An issue is a text of runs, parted by `;`. A run is hours that follow one
//! another at one step: `begin,step,span,first,change,change,…` with times in
//! seconds and temperatures in hundredths of a degree, each after the first as its
//! change from the one before. Providers give tenths; the height correction gives
//! more, of which hundredths are kept. Issues from before this form are JSON.

use std::fmt::Write;

use model::series::Reading;
use model::time::Instant;

use crate::{Result, StoreError};

/// Parts of a degree that are kept.
const PARTS: f64 = 100.0;
/// Parts the members of an ensemble.
const MEMBER: char = '|';

fn hundredths(hour: &Reading) -> i64 {
    (hour.celsius * PARTS).round() as i64
}

fn celsius(hundredths: i64) -> f64 {
    hundredths as f64 / PARTS
}

/// The hours of a forecast as they are stored; flags are not kept, since what
/// lies ahead has none.
pub(crate) fn of(hours: &[Reading]) -> String {
    let mut text = String::with_capacity(hours.len() * 4 + 32);
    let mut rest = hours;
    while let Some(first) = rest.first() {
        let step = rest.get(1).map_or(0, |next| next.at.since(first.at));
        let follows = |pair: &[Reading]| pair[1].at.since(pair[0].at) == step && pair[1].span == first.span;
        let length = 1 + rest.windows(2).take_while(|pair| follows(pair)).count();
        let separator = if text.is_empty() { "" } else { ";" };
        let begin = (first.at.0, step, first.span, hundredths(first));
        let _ = write!(text, "{separator}{},{},{},{}", begin.0, begin.1, begin.2, begin.3);
        for pair in rest[..length].windows(2) {
            let _ = write!(text, ",{}", hundredths(&pair[1]) - hundredths(&pair[0]));
        }
        rest = &rest[length..];
    }
    text
}

/// The stored hours of a forecast.
pub(crate) fn read(text: &str) -> Result<Vec<Reading>> {
    let bad = |why: String| StoreError::Unreadable { what: "hours of a forecast".into(), why };
    if text.starts_with('[') {
        let rows: Vec<(i64, i64, f64, i64)> =
            serde_json::from_str(text).map_err(|error| bad(error.to_string()))?;
        let reading = |(at, span, celsius, _)| Reading { span, ..Reading::instant(Instant(at), celsius) };
        return Ok(rows.into_iter().map(reading).collect());
    }
    let mut hours = Vec::with_capacity(text.len() / 3);
    for run in text.split(';').filter(|run| !run.is_empty()) {
        let numbers: std::result::Result<Vec<i64>, _> = run.split(',').map(str::parse).collect();
        let numbers = numbers.map_err(|error| bad(format!("`{run}`: {error}")))?;
        let [begin, step, span, changes @ ..] = &numbers[..] else {
            return Err(bad(format!("`{run}` is too short")));
        };
        let (mut at, mut sum) = (*begin, 0);
        for change in changes {
            sum += change;
            hours.push(Reading { span: *span, ..Reading::instant(Instant(at), celsius(sum)) });
            at += step;
        }
    }
    Ok(hours)
}

/// The members of an ensemble as they are stored.
pub(crate) fn of_members(members: &[Vec<Reading>]) -> String {
    members.iter().map(|hours| of(hours)).collect::<Vec<_>>().join(&MEMBER.to_string())
}

/// The stored members of an ensemble.
pub(crate) fn read_members(text: &str) -> Result<Vec<Vec<Reading>>> {
    text.split(MEMBER).map(read).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hourly(begin: i64, step: i64, celsius: &[f64]) -> Vec<Reading> {
        let at = |n: usize| Instant(begin + n as i64 * step);
        celsius.iter().enumerate().map(|(n, celsius)| Reading::instant(at(n), *celsius)).collect()
    }

    #[test]
    fn hours_come_back_in_hundredths_whatever_their_steps() {
        let mut given = hourly(1_367_107_200, 3_600, &[9.1, -2.22, 0.1 + 0.2, 1.0 / 3.0, -0.004]);
        given.extend(hourly(1_367_150_000, 6 * 3_600, &[12.0, 14.5]));
        given.push(Reading::mean_ending(Instant(1_367_300_000), 1_800, 8.0));
        let text = of(&given);
        let kept = read(&text).unwrap();
        assert_eq!(given.len(), kept.len());
        assert!(given.iter().zip(&kept).all(|(given, kept)| (given.at, given.span) == (kept.at, kept.span)));
        assert!(given.iter().zip(&kept).all(|(given, kept)| (given.celsius - kept.celsius).abs() <= 0.005));
        assert_eq!(of(&kept), text, "what was kept is kept the same");
        assert_eq!(read("").unwrap(), []);
    }

    #[test]
    fn members_come_back_one_by_one_and_an_empty_one_stays() {
        let given = vec![hourly(0, 3_600, &[1.0, 2.0]), Vec::new(), hourly(0, 3_600, &[1.5, 1.25])];
        assert_eq!(read_members(&of_members(&given)).unwrap(), given);
    }

    #[test]
    fn issues_from_before_are_read_and_broken_ones_named() {
        let before = read("[[3600,0,9.1,2],[7200,0,9.4,2]]").unwrap();
        assert_eq!(before, hourly(3_600, 3_600, &[9.1, 9.4]));
        for broken in ["[[0,0]]", "12", "0,3600,0,x"] {
            assert!(read(broken).is_err(), "{broken}");
        }
    }
}
