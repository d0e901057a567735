//! A day and a time of the wall clock, as people type them.

use chrono::{LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeZone};
use chrono_tz::Tz;
use model::time::Instant;

use crate::words::Words;

/// Reads a day such as `2013-05-01` and a time such as `17:10` or `17`. Where the clock
/// shows a time twice, an offset behind it says which is meant: `01:30-05:00`.
///
/// # Errors
/// A sentence that says what is wrong and how it is written.
pub(crate) fn instant(day: &str, time: &str, zone: Tz, words: &Words) -> Result<Instant, String> {
    let day = NaiveDate::parse_from_str(day.trim(), "%Y-%m-%d")
        .map_err(|_| words.fill("wall.no_day", &[("text", &day.trim())]))?;
    let typed = time.trim().replace('−', "-");
    let no_time = || words.fill("wall.no_time", &[("text", &time.trim())]);
    // An offset stands behind the time, never before it.
    let sign =
        typed.char_indices().skip(1).find(|(_, sign)| matches!(sign, '+' | '-' | 'Z')).map(|(at, _)| at);
    let (clock, offset) = sign.map_or((typed.as_str(), ""), |at| typed.split_at(at));
    let clock = clock.trim();
    let hour = || NaiveTime::from_hms_opt(clock.parse().ok()?, 0, 0);
    let clock = NaiveTime::parse_from_str(clock, "%H:%M").ok().or_else(hour).ok_or_else(no_time)?;
    let wall = day.and_time(clock);
    if !offset.is_empty() {
        let text = format!("{}{offset}", wall.format("%Y-%m-%dT%H:%M:%S"));
        return Instant::parse(&text).map_err(|_| no_time());
    }
    let offset = |at: chrono::DateTime<Tz>| at.format("%:z").to_string();
    match zone.from_local_datetime(&wall) {
        LocalResult::Single(at) => Ok(Instant(at.timestamp())),
        LocalResult::Ambiguous(first, second) => {
            let at = wall.format("%H:%M");
            let (first, second) = (offset(first), offset(second));
            Err(words.fill("wall.twice", &[("at", &at), ("first", &first), ("second", &second)]))
        }
        LocalResult::None => Err(absent(wall, zone, words)),
    }
}

/// What is said of a time that the clock skips.
fn absent(wall: NaiveDateTime, zone: Tz, words: &Words) -> String {
    let to = Instant::on_wall(wall, zone).utc().with_timezone(&zone);
    let from = (to.naive_utc() - chrono::Duration::seconds(1)).and_utc().with_timezone(&zone);
    let from = from.naive_local() + chrono::Duration::seconds(1);
    let (at, from, to) = (wall.format("%H:%M"), from.format("%H:%M"), to.format("%H:%M"));
    words.fill("wall.never", &[("at", &at), ("from", &from), ("to", &to)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    fn read(day: &str, time: &str) -> Result<String, String> {
        instant(day, time, chrono_tz::America::New_York, english()).map(|at| at.to_string())
    }

    #[test]
    fn a_time_is_read_on_the_wall_clock_of_its_day() {
        for (time, expected) in
            [("17:10", "21:10"), ("17", "21:00"), (" 5:05 ", "09:05"), ("17:10-05:00", "22:10")]
        {
            assert_eq!(read("2013-05-01", time).unwrap(), format!("2013-05-01T{expected}:00Z"), "{time}");
        }
        assert_eq!(read("2013-05-01", "17:10Z").unwrap(), "2013-05-01T17:10:00Z");
    }

    #[test]
    fn an_hour_that_comes_twice_is_asked_for_with_its_offset() {
        // In New York the clocks went back on 3 November 2013 at 2, and on 10 March forward.
        let said = read("2013-11-03", "01:30").unwrap_err();
        assert!(said.contains("01:30-04:00") && said.contains("01:30-05:00"), "{said}");
        assert_eq!(read("2013-11-03", "01:30-04:00").unwrap(), "2013-11-03T05:30:00Z");
        assert_eq!(read("2013-11-03", "1:30−05:00").unwrap(), "2013-11-03T06:30:00Z");
    }

    #[test]
    fn an_hour_that_never_comes_says_how_the_clock_goes() {
        let said = read("2013-03-10", "02:30").unwrap_err();
        for part in ["02:30", "from 02:00 to 03:00"] {
            assert!(said.contains(part), "{part}: {said}");
        }
    }

    #[test]
    fn what_is_no_time_says_how_it_is_written() {
        for (day, time, says) in [
            ("yesterday", "17:00", "“yesterday” is no day"),
            ("2013-05-01", "noon", "“noon” is no time"),
            ("2013-05-01", "25:00", "“25:00” is no time"),
            ("2013-05-01", "-5", "“-5” is no time"),
            ("2013-05-01", "17:00+99", "“17:00+99” is no time"),
        ] {
            let said = read(day, time).unwrap_err();
            assert!(said.contains(says) && (said.contains("17:10") || said.contains("2013-05-01")), "{said}");
        }
    }
}
