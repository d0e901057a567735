//! How the columns of a station's file are to be read: the `[weather]` table of
//! a season file, and the same table as JSON on a site's source.

mod fields;
mod table;

use std::fmt;

use chrono_tz::Tz;
use encoding_rs::Encoding;
use model::series::Kind;
use model::time::{Instant, zone};
use model::units::TemperatureUnit;

pub(crate) use fields::number_of;

/// Longest interval of a mean, minutes: a day. Loggers average over 1 to 60
/// minutes; a longer mean says nothing about a flower.
pub const LONGEST_INTERVAL_MINUTES: i64 = 1_440;
/// Most lines before the header that are passed over: the longest preambles, a
/// paragraph of notes for each sensor, have some hundreds.
pub const MOST_SKIPPED_LINES: i64 = 10_000;
/// Most lines of a header whose parts are joined to one name.
pub const MOST_HEADER_LINES: i64 = 8;
/// Most columns that give the date: year, month, day, hour, and some to spare.
pub const MOST_DATE_COLUMNS: usize = 8;
/// Offsets from UTC reach from −12 to +14 hours.
const WIDEST_OFFSET: i32 = 14 * 3_600;

/// How one file, or one source's files, are to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct Mapping {
    /// Name of the source, where there are several.
    pub name: Option<String>,
    /// Path of the file as it was written; the caller resolves it.
    pub file: Option<String>,
    /// Lines of the file before the header, blank ones counted.
    pub skip_lines: u64,
    /// Rows of the header, blank lines aside. The parts of a column's name are
    /// joined from above, one blank between; with 0 there is no header and
    /// columns go by their number, `#1` the first.
    pub header_lines: usize,
    /// Rows between the header and the first reading, blank lines aside: units,
    /// how the values were summed up. A unit named there must be that of
    /// [`Mapping::unit`], as in the header.
    pub skip_after_header: usize,
    /// Header of the column with the time. Here and for the other columns: the
    /// name as it stands, blanks at its ends and doubled ones aside; or its
    /// number from 1 as `#3`; or the name without what follows in brackets or
    /// after a comma, where that holds a serial number or an offset from UTC.
    pub time_column: String,
    /// Headers of columns with the date, where it stands apart, or with year,
    /// month and day; then these, the time and one blank between each are read
    /// together by [`Mapping::time_format`].
    pub date_columns: Vec<String>,
    /// How times are written.
    pub time_format: TimeFormat,
    /// The clock that the times were taken from; none where each time carries
    /// its offset.
    pub time_zone: Option<WallClock>,
    /// Header of the column with the temperature.
    pub temperature_column: String,
    /// Unit of the temperatures in the file.
    pub unit: TemperatureUnit,
    /// What a row's time and temperature stand for.
    pub interval: Interval,
    /// Rows are kept whose columns equal these texts, blanks trimmed: header,
    /// then wanted text.
    pub rows_where: Vec<(String, String)>,
    /// Whether the service's quality checks run on these readings.
    pub checks: bool,
    /// What parts two fields.
    pub delimiter: Delimiter,
    /// Sign before the decimals.
    pub decimal: Decimal,
    /// Encoding of the file.
    pub encoding: &'static Encoding,
    /// Marks for a missing value besides the usual ones.
    pub missing: Vec<String>,
    /// Whether the rows were observed or foretold.
    pub role: Role,
    /// What kind of observation the readings are.
    pub reading_kind: Kind,
}

/// How times are written in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TimeFormat {
    /// RFC 3339, with an offset in each.
    Rfc3339,
    /// A strftime pattern.
    Pattern(String),
}

impl fmt::Display for TimeFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            TimeFormat::Rfc3339 => "rfc3339",
            TimeFormat::Pattern(pattern) => pattern,
        })
    }
}

/// The clock that times without an offset were taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WallClock {
    /// UTC.
    Utc,
    /// A fixed offset from UTC in seconds, east positive: a logger that is
    /// never put forward or back.
    Fixed(i32),
    /// The wall clock of an IANA zone, with its changes in spring and autumn.
    Zone(Tz),
}

impl WallClock {
    /// Reads `UTC`, an offset like `+01:00`, or an IANA name.
    ///
    /// # Errors
    /// What is wrong with the text and what was expected.
    pub fn named(text: &str) -> Result<WallClock, String> {
        let text = text.trim();
        if text == "UTC" {
            return Ok(WallClock::Utc);
        }
        if text.starts_with(['+', '-']) {
            return fixed_offset(text).map(WallClock::Fixed).ok_or_else(|| {
                format!("`{text}` is not an offset from UTC; write it like +01:00 or -05:00")
            });
        }
        zone(text)
            .map(WallClock::Zone)
            .map_err(|error| format!("{error}; a fixed offset is written +01:00, and UTC is written UTC"))
    }
}

impl fmt::Display for WallClock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WallClock::Utc => f.write_str("UTC"),
            WallClock::Fixed(seconds) => {
                let sign = if *seconds < 0 { '-' } else { '+' };
                let minutes = seconds.abs() / 60;
                write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)
            }
            WallClock::Zone(zone) => f.write_str(zone.name()),
        }
    }
}

fn fixed_offset(text: &str) -> Option<i32> {
    let (hours, minutes) = text.get(1..)?.split_once(':')?;
    let two_digits = |part: &str| {
        (part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| part.parse::<i32>().ok())
            .flatten()
    };
    let (hours, minutes) = (two_digits(hours)?, two_digits(minutes)?);
    let seconds = hours * 3_600 + minutes * 60;
    let sign = if text.starts_with('-') { -1 } else { 1 };
    (minutes < 60 && seconds <= WIDEST_OFFSET).then_some(sign * seconds)
}

/// What a row's time and temperature stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interval {
    /// The temperature of that moment.
    Instant,
    /// The mean over so many seconds up to that time.
    MeanEnding(i64),
    /// The mean over so many seconds from that time on.
    MeanStarting(i64),
}

impl Interval {
    /// Length in seconds; 0 for an instant.
    pub fn seconds(self) -> i64 {
        match self {
            Interval::Instant => 0,
            Interval::MeanEnding(seconds) | Interval::MeanStarting(seconds) => seconds,
        }
    }
}

/// What parts the fields of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Delimiter {
    /// One sign; a field in double quotes may hold it.
    Sign(u8),
    /// Blanks and tabs, any number; a field in double quotes may hold them.
    Blanks,
    /// Nothing: each column has its place in the line, from the first to the
    /// last character, counted from 1. In rising order, none over another.
    Places(Vec<(usize, usize)>),
}

/// Sign before the decimals of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// `11.5`
    Point,
    /// `11,5`
    Comma,
}

/// What the rows are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Observed, at or before the time at which the file is read.
    Observed,
    /// Foretold; used only after the last reading.
    Forecast {
        /// When the forecast was issued.
        issued_at: Instant,
    },
}

#[cfg(test)]
mod tests;
