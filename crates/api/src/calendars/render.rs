//! Entries of a calendar as an iCalendar file (RFC 5545, RFC 7986).

use chrono::{NaiveDate, NaiveTime};
use model::time::{Instant, MINUTE};
use model::words;

use super::events::Planned;
use super::lines::Lines;

/// How often readers are asked to come, an ISO 8601 duration.
const COME_EVERY: &str = "PT1H";
/// An entry is a moment, but what has no length is left out by some readers, and
/// by others drawn as a whole hour.
const LENGTH: i64 = 30 * MINUTE;

/// Which edition of a season an entry is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Edition {
    reckoned_at: Instant,
    sequence: u32,
}

impl Edition {
    /// `revision` is the sum of the versions that the season was reckoned from.
    ///
    /// An entry follows from a season as it was reckoned, and a season is reckoned anew
    /// only when one of those versions has risen or a time has come. So the seconds at
    /// which it was reckoned and the versions together rise whenever an entry can have
    /// changed, and reading the calendar need not write down what it showed. They rise
    /// now and then without a change too, which RFC 5545 leaves open. Seconds count from
    /// the year before the bloom year, since a SEQUENCE has 31 bits.
    pub(super) fn new(year: i32, reckoned_at: Instant, revision: i64) -> Edition {
        let first = NaiveDate::from_ymd_opt(year - 1, 1, 1).unwrap_or_default();
        let since = reckoned_at.0 - first.and_time(NaiveTime::MIN).and_utc().timestamp();
        let number = since.max(0).saturating_add(revision.max(0)).min(i64::from(i32::MAX));
        Edition { reckoned_at, sequence: u32::try_from(number).unwrap_or_default() }
    }
}

/// The calendar of a farm. Without entries it is still one: readers take an empty
/// calendar, though by the letter of the RFC one entry is the least.
pub(super) fn calendar(farm: &str, entries: &[(Planned, Edition)]) -> String {
    let name = format!("{farm}: blossom thinning");
    let mut lines = Lines::default();
    lines.plain("BEGIN", "VCALENDAR");
    lines.plain("VERSION", "2.0");
    lines.plain("PRODID", "-//bloomtide//calendar//EN");
    lines.plain("CALSCALE", "GREGORIAN");
    // Those with X- are the names that came before RFC 7986.
    for key in ["NAME", "X-WR-CALNAME"] {
        lines.short_text(key, &name);
    }
    for key in ["DESCRIPTION", "X-WR-CALDESC"] {
        lines.text(key, words::NOT_THE_ALERT);
    }
    lines.plain("REFRESH-INTERVAL;VALUE=DURATION", COME_EVERY);
    lines.plain("X-PUBLISHED-TTL", COME_EVERY);
    for (planned, edition) in entries {
        event(&mut lines, planned, *edition);
    }
    lines.plain("END", "VCALENDAR");
    lines.done()
}

fn event(lines: &mut Lines, planned: &Planned, edition: Edition) {
    lines.plain("BEGIN", "VEVENT");
    lines.short_text("UID", &planned.uid);
    // Without a METHOD this is when the entry was last revised.
    lines.moment("DTSTAMP", edition.reckoned_at);
    lines.moment("LAST-MODIFIED", edition.reckoned_at);
    lines.plain("SEQUENCE", &edition.sequence.to_string());
    lines.moment("DTSTART", planned.at);
    lines.moment("DTEND", planned.at.plus(LENGTH));
    lines.short_text("SUMMARY", &planned.summary);
    lines.text("DESCRIPTION", &planned.lines.join("\n"));
    lines.short_text("CATEGORIES", planned.category);
    lines.plain("STATUS", if planned.foreseen { "TENTATIVE" } else { "CONFIRMED" });
    // Nobody is taken to be away because a mark is reached.
    lines.plain("TRANSP", "TRANSPARENT");
    lines.plain("END", "VEVENT");
}

#[cfg(test)]
mod tests;
