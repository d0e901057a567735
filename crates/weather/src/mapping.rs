//! How the columns of a station's file are to be read: the `[weather]` table of
//! a season file, and the same table as JSON on a site's source.

mod fields;

use std::fmt;

use chrono_tz::Tz;
use encoding_rs::Encoding;
use model::series::Kind;
use model::time::{Instant, MINUTE, zone};
use model::units::TemperatureUnit;
use serde_json::{Map, Value, json};

/// Longest interval of a mean, minutes: a day. Loggers average over 1 to 60
/// minutes; a longer mean says nothing about a flower.
pub const LONGEST_INTERVAL_MINUTES: i64 = 1_440;
/// Offsets from UTC reach from −12 to +14 hours.
const WIDEST_OFFSET: i32 = 14 * 3_600;

/// How one file, or one source's files, are to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct Mapping {
    /// Name of the source, where there are several.
    pub name: Option<String>,
    /// Path of the file as it was written; the caller resolves it.
    pub file: Option<String>,
    /// Header of the column with the time.
    pub time_column: String,
    /// Header of a column with the date, where it stands apart; then date,
    /// one space and time are read together by [`Mapping::time_format`].
    pub date_column: Option<String>,
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
    /// Byte between two fields.
    pub delimiter: u8,
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

impl Mapping {
    /// The table again, with every default written out; reading it gives back
    /// the same mapping.
    pub fn to_json(&self) -> Value {
        let mut table = Map::new();
        let mut put = |key: &str, value: Value| {
            if !value.is_null() {
                table.insert(key.to_owned(), value);
            }
        };
        put("name", json!(self.name));
        put("file", json!(self.file));
        put("time_column", json!(self.time_column));
        put("date_column", json!(self.date_column));
        put("time_format", json!(self.time_format.to_string()));
        put("time_zone", json!(self.time_zone.map(|zone| zone.to_string())));
        put("temperature_column", json!(self.temperature_column));
        put("unit", json!(self.unit));
        let (kind, seconds) = match self.interval {
            Interval::Instant => ("instant", None),
            Interval::MeanEnding(seconds) => ("mean-ending", Some(seconds)),
            Interval::MeanStarting(seconds) => ("mean-starting", Some(seconds)),
        };
        put("kind", json!(kind));
        put("interval_minutes", json!(seconds.map(|seconds| seconds / MINUTE)));
        if !self.rows_where.is_empty() {
            let wanted = self.rows_where.iter().map(|(column, text)| (column.clone(), json!(text)));
            put("where", Value::Object(wanted.collect()));
        }
        put("checks", json!(if self.checks { "on" } else { "off" }));
        put("delimiter", json!(char::from(self.delimiter).to_string()));
        put("decimal", json!(if self.decimal == Decimal::Comma { "," } else { "." }));
        put("encoding", json!(self.encoding.name().to_ascii_lowercase()));
        if !self.missing.is_empty() {
            put("missing", json!(self.missing));
        }
        match self.role {
            Role::Observed => put("role", json!("observed")),
            Role::Forecast { issued_at } => {
                put("role", json!("forecast"));
                put("issued_at", json!(issued_at));
            }
        }
        put("reading_kind", json!(self.reading_kind.word()));
        Value::Object(table)
    }
}

#[cfg(test)]
mod tests;
