//! Instants in whole seconds, the clock that everything takes `now` from, and
//! the zones of the orchards.

use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::str::FromStr;

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, SecondsFormat, TimeZone, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Seconds in a minute.
pub const MINUTE: i64 = 60;
/// Seconds in an hour.
pub const HOUR: i64 = 3_600;
/// Seconds in a day of 24 hours.
pub const DAY: i64 = 86_400;

/// How far ahead of the receiving clock an observation may lie before it is
/// refused as being in the future: clocks of loggers and phones run apart.
pub const FUTURE_TOLERANCE: i64 = 10 * MINUTE;

/// A moment in UTC, in whole seconds since 1970.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Instant(pub i64);

impl Instant {
    /// Earliest moment that the program takes: 1900-01-01T00:00:00Z.
    pub const MIN: Instant = Instant(-2_208_988_800);
    /// Latest moment that the program takes: 2200-01-01T00:00:00Z.
    pub const MAX: Instant = Instant(7_258_118_400);

    /// The same moment for calendar arithmetic.
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp(self.0, 0).unwrap_or_default()
    }

    /// A moment of the wall clock of `zone`: of one that comes twice the first, and for
    /// one that the clocks skip the moment at which they do.
    pub fn on_wall(wall: NaiveDateTime, zone: Tz) -> Instant {
        let found = |wall: NaiveDateTime| zone.from_local_datetime(&wall).earliest();
        let ahead = (0..=24 * 4).map(|quarters| wall + chrono::Duration::minutes(15 * quarters));
        let at = ahead.into_iter().find_map(found);
        Instant(at.map_or_else(|| wall.and_utc().timestamp(), |at| at.timestamp()))
    }

    /// The calendar date of this moment on the wall clock of `zone`.
    pub fn local_date(self, zone: Tz) -> NaiveDate {
        self.utc().with_timezone(&zone).date_naive()
    }

    /// The calendar year of this moment on the wall clock of `zone`.
    pub fn local_year(self, zone: Tz) -> i32 {
        self.local_date(zone).year()
    }

    /// RFC 3339 with the wall clock and offset of `zone`.
    pub fn rfc3339_in(self, zone: Tz) -> String {
        self.utc().with_timezone(&zone).to_rfc3339_opts(SecondsFormat::Secs, true)
    }

    /// For people: `Wed 1 May, 17:10` on the wall clock of `zone`, rounded up
    /// to the minute.
    pub fn spoken(self, zone: Tz) -> String {
        Instant((self.0 + MINUTE - 1).div_euclid(MINUTE) * MINUTE)
            .utc()
            .with_timezone(&zone)
            .format("%a %-d %b, %H:%M")
            .to_string()
    }

    /// Reads RFC 3339 with any offset; a fraction of a second is rounded up.
    ///
    /// # Errors
    /// When the text is not RFC 3339 or lies outside the years 1900 to 2199.
    pub fn parse(text: &str) -> Result<Instant, TimeError> {
        let read =
            DateTime::parse_from_rfc3339(text.trim()).map_err(|_| TimeError::NotRfc3339(text.to_owned()))?;
        let whole = read.timestamp() + i64::from(read.timestamp_subsec_nanos() > 0);
        let at = Instant(whole);
        if (Instant::MIN..Instant::MAX).contains(&at) {
            Ok(at)
        } else {
            Err(TimeError::OutOfRange(text.to_owned()))
        }
    }

    /// The moment `seconds` later (earlier when negative).
    pub fn plus(self, seconds: i64) -> Instant {
        Instant(self.0.saturating_add(seconds))
    }

    /// Seconds from `earlier` to this moment.
    pub fn since(self, earlier: Instant) -> i64 {
        self.0 - earlier.0
    }
}

/// Why a text is not a moment.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// Another form than RFC 3339.
    #[error("`{0}` is not a time; write it like 2013-04-28T10:00:00-04:00 or 2013-04-28T14:00:00Z")]
    NotRfc3339(String),
    /// A year that no season of ours lies in.
    #[error("`{0}` lies outside the years 1900 to 2199")]
    OutOfRange(String),
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.utc().to_rfc3339_opts(SecondsFormat::Secs, true))
    }
}

impl fmt::Debug for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Instant {
    type Err = TimeError;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Instant::parse(text)
    }
}

impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Instant::parse(&text).map_err(serde::de::Error::custom)
    }
}

/// Where `now` comes from. The system's clock is in the binary; tests and the
/// demo bring their own.
pub trait Clock: Send + Sync {
    /// The present moment.
    fn now(&self) -> Instant;
    /// Ends when this clock shows `at` or later.
    fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>>;
}

/// Looks an IANA zone up by its name.
///
/// # Errors
/// When the name is not in the IANA database that the program carries.
pub fn zone(name: &str) -> Result<Tz, ZoneError> {
    name.trim().parse().map_err(|_| ZoneError(name.to_owned()))
}

/// A zone name that the IANA database does not have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a time zone of the IANA database; write it like America/New_York or Europe/Berlin")]
pub struct ZoneError(pub String);

/// The standard (winter) offset of `zone` from UTC in hours, east positive:
/// the smaller of the offsets in January and July of 2024.
pub fn standard_offset_hours(zone: Tz) -> f64 {
    use chrono::{Offset, TimeZone};
    let offset = |month| {
        NaiveDate::from_ymd_opt(2024, month, 15)
            .and_then(|day| day.and_hms_opt(12, 0, 0))
            .map_or(0, |noon| zone.offset_from_utc_datetime(&noon).fix().local_minus_utc())
    };
    f64::from(offset(1).min(offset(7))) / 3_600.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fraction_of_a_second_rounds_up() {
        let at = Instant::parse("2013-04-28T10:00:00.001-04:00").unwrap();
        assert_eq!(at.to_string(), "2013-04-28T14:00:01Z");
    }

    #[test]
    fn another_form_is_named() {
        let error = Instant::parse("28.4.2013 10:00").unwrap_err();
        assert!(error.to_string().contains("28.4.2013 10:00"));
        assert!(Instant::parse("0013-04-28T10:00:00Z").is_err());
    }

    #[test]
    fn standard_offsets_are_those_of_winter() {
        assert_eq!(standard_offset_hours(chrono_tz::America::New_York), -5.0);
        assert_eq!(standard_offset_hours(chrono_tz::Europe::Berlin), 1.0);
        assert_eq!(standard_offset_hours(chrono_tz::Pacific::Auckland), 12.0);
        assert_eq!(standard_offset_hours(chrono_tz::Asia::Kolkata), 5.5);
    }
}
