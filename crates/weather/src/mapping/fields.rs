//! The mapping's table, field by field.

use encoding_rs::{Encoding, UTF_8};
use model::input::Fields;
use model::series::Kind;
use model::time::MINUTE;
use model::units::TemperatureUnit;

use serde_json::Value;

use super::{
    Decimal, Delimiter, Interval, LONGEST_INTERVAL_MINUTES, MOST_DATE_COLUMNS, MOST_HEADER_LINES,
    MOST_SKIPPED_LINES, Mapping, Role, TimeFormat, WallClock,
};
use crate::stamp::Layout;
use crate::station_file::{MAX_COLUMNS, MAX_LINE_BYTES};

/// Own marks for a missing value; each is compared with every cell.
const MOST_MISSING_MARKS: usize = 50;

impl Mapping {
    /// Reads the table. What is wrong is noted in `fields`; keys that no one
    /// asked for are noted by [`model::input::read`] and [`Fields::tables`],
    /// from which this is meant to be called.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Mapping> {
        let name = fields.text("name");
        let file = fields.text("file");
        let lines = |key, most| fields.whole(key, 0, most);
        let skip_lines = lines("skip_lines", MOST_SKIPPED_LINES).unwrap_or(0);
        let header_lines = lines("header_lines", MOST_HEADER_LINES).unwrap_or(1);
        let skip_after_header = lines("skip_after_header", MOST_SKIPPED_LINES).unwrap_or(0);
        let time_column = fields.required_text("time_column");
        let date_columns = read_date_columns(fields);
        let time = read_time(fields, !date_columns.is_empty());
        let temperature_column = fields.required_text("temperature_column");
        if temperature_column.is_some() && temperature_column == time_column {
            fields.fault(
                "temperature_column",
                "is the time column as well; expected the column with the temperature",
            );
        }
        let unit = fields
            .require("unit")
            .then(|| fields.word("unit", &TemperatureUnit::NAMES))
            .flatten()
            .and_then(TemperatureUnit::named);
        let interval = read_interval(fields);
        let checks = fields.word("checks", &["on", "off"]) != Some("off");
        let comma = fields.word("decimal", &[".", ","]) == Some(",");
        let reading_kind = fields
            .word("reading_kind", &[Kind::Station.word(), Kind::ModelAnalysis.word(), Kind::Hand.word()])
            .and_then(Kind::named)
            .unwrap_or(Kind::Station);
        let rows_where = fields.pairs("where");
        let missing = fields.texts("missing");
        if missing.len() > MOST_MISSING_MARKS {
            fields.fault(
                "missing",
                format!("has {} marks; at most {MOST_MISSING_MARKS} are taken", missing.len()),
            );
        }
        let delimiter = read_delimiter(fields);
        if header_lines == 0 {
            let named = [("time_column", &time_column), ("temperature_column", &temperature_column)];
            let named = named.into_iter().filter_map(|(key, column)| Some((key, column.as_deref()?)));
            let dates = date_columns.iter().map(|column| ("date_columns", column.as_str()));
            let wanted = rows_where.iter().map(|(column, _)| ("where", column.as_str()));
            for (key, column) in named.chain(dates).chain(wanted) {
                if number_of(column).is_none() {
                    fields.fault(
                        key,
                        format!("is `{column}`, but with header_lines = 0 columns have no names; expected a number as #1"),
                    );
                }
            }
        }
        let encoding = read_encoding(fields);
        let role = read_role(fields);
        let (time_format, time_zone) = time?;
        Some(Mapping {
            name,
            file,
            skip_lines: skip_lines.unsigned_abs(),
            header_lines: header_lines.unsigned_abs() as usize,
            skip_after_header: skip_after_header.unsigned_abs() as usize,
            time_column: time_column?,
            date_columns,
            time_format,
            time_zone,
            temperature_column: temperature_column?,
            unit: unit?,
            interval: interval?,
            rows_where,
            checks,
            delimiter: delimiter?,
            decimal: if comma { Decimal::Comma } else { Decimal::Point },
            encoding: encoding?,
            missing,
            role: role?,
            reading_kind,
        })
    }
}

/// The number of a column written as `#3`.
pub(crate) fn number_of(column: &str) -> Option<usize> {
    let digits = column.trim().strip_prefix('#')?;
    let number = digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse().ok())??;
    (1..=MAX_COLUMNS).contains(&number).then_some(number)
}

fn read_date_columns(fields: &Fields<'_>) -> Vec<String> {
    let several = fields.texts("date_columns");
    if several.len() > MOST_DATE_COLUMNS {
        fields.fault(
            "date_columns",
            format!("has {} columns; at most {MOST_DATE_COLUMNS} are joined to a date", several.len()),
        );
    }
    match fields.text("date_column") {
        None => several,
        Some(_) if !several.is_empty() => {
            fields.fault("date_column", "and `date_columns` are both given; leave one out");
            several
        }
        Some(one) => vec![one],
    }
}

fn read_time(fields: &Fields<'_>, apart: bool) -> Option<(TimeFormat, Option<WallClock>)> {
    let format = match fields.text("time_format") {
        None => TimeFormat::Rfc3339,
        Some(text) if text == "rfc3339" => TimeFormat::Rfc3339,
        Some(pattern) => TimeFormat::Pattern(pattern),
    };
    let layout = match Layout::of(&format) {
        Ok(layout) => Some(layout),
        Err(detail) => {
            fields.fault("time_format", detail);
            None
        }
    };
    if apart && format == TimeFormat::Rfc3339 {
        fields.fault(
            "time_format",
            "is rfc3339, which holds date and time in one column; with `date_column` give a pattern \
             for date, one blank and time, as `%Y-%m-%d %H:%M`",
        );
    }
    let clock = fields.text("time_zone").map(|text| WallClock::named(&text));
    let clock = match clock {
        Some(Err(detail)) => {
            fields.fault("time_zone", detail);
            return None;
        }
        Some(Ok(clock)) => Some(clock),
        None => None,
    };
    let layout = layout?;
    if clock.is_none() && !layout.carries_offset() && !fields.has("time_zone") {
        fields.fault(
            "time_zone",
            format!(
                "is missing, and times written as `{format}` carry no offset; expected UTC, an offset \
                 like +01:00, or an IANA name like America/New_York"
            ),
        );
        return None;
    }
    Some((format, clock))
}

fn read_interval(fields: &Fields<'_>) -> Option<Interval> {
    let kind = fields
        .require("kind")
        .then(|| fields.word("kind", &["instant", "mean-ending", "mean-starting"]))
        .flatten();
    let minutes = fields.whole("interval_minutes", 1, LONGEST_INTERVAL_MINUTES);
    let kind = kind?;
    if kind == "instant" {
        if fields.has("interval_minutes") {
            fields.fault("interval_minutes", "belongs to means; with kind = instant leave it out");
        }
        return Some(Interval::Instant);
    }
    if !fields.has("interval_minutes") {
        fields.fault(
            "interval_minutes",
            format!(
                "is missing; kind = {kind} needs the minutes of one mean, 1 to {LONGEST_INTERVAL_MINUTES}"
            ),
        );
    }
    let seconds = minutes? * MINUTE;
    Some(if kind == "mean-ending" { Interval::MeanEnding(seconds) } else { Interval::MeanStarting(seconds) })
}

fn read_delimiter(fields: &Fields<'_>) -> Option<Delimiter> {
    if let Some(columns) = fields.value("columns") {
        if fields.has("delimiter") {
            fields.fault("columns", "and `delimiter` are both given; leave one out");
        }
        return match read_places(columns) {
            Ok(places) => Some(Delimiter::Places(places)),
            Err(detail) => {
                fields.fault("columns", detail);
                None
            }
        };
    }
    let Some(text) = fields.text("delimiter") else {
        return Some(Delimiter::Sign(b','));
    };
    match text.as_bytes() {
        b"blanks" => Some(Delimiter::Blanks),
        [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && !b"\"\r\n\0.+-".contains(byte) => {
            Some(Delimiter::Sign(*byte))
        }
        _ => {
            fields.fault(
                "delimiter",
                format!("`{text}` does not part fields; expected one sign such as , ; | or a tab, or the word blanks"),
            );
            None
        }
    }
}

/// Reads `[[1, 4], [6, 7]]`: first and last character of each column.
fn read_places(columns: &Value) -> Result<Vec<(usize, usize)>, String> {
    let expected = "expected the first and the last character of each column, as [[1, 10], [12, 16]]";
    let pairs: Vec<[u64; 2]> =
        serde_json::from_value(columns.clone()).map_err(|_| format!("is no list of pairs; {expected}"))?;
    if pairs.is_empty() || pairs.len() > MAX_COLUMNS {
        return Err(format!("has {} columns; expected 1 to {MAX_COLUMNS}", pairs.len()));
    }
    let mut places: Vec<(usize, usize)> = Vec::with_capacity(pairs.len());
    for [first, last] in pairs {
        let after = places.last().map_or(0, |(_, last)| *last as u64);
        if first <= after || last < first || last > MAX_LINE_BYTES as u64 {
            return Err(format!(
                "[{first}, {last}] does not follow on {after}; {expected}, rising to at most {MAX_LINE_BYTES}"
            ));
        }
        places.push((first as usize, last as usize));
    }
    Ok(places)
}

fn read_encoding(fields: &Fields<'_>) -> Option<&'static Encoding> {
    let Some(text) = fields.text("encoding") else {
        return Some(UTF_8);
    };
    let known = Encoding::for_label_no_replacement(text.as_bytes());
    if known.is_none() {
        fields.fault(
            "encoding",
            format!("`{text}` is not a known encoding; expected utf-8, utf-16le, utf-16be, windows-1252 or another name of the WHATWG list"),
        );
    }
    known
}

fn read_role(fields: &Fields<'_>) -> Option<Role> {
    let forecast = fields.word("role", &["observed", "forecast"]) == Some("forecast");
    let issued_at = fields.instant("issued_at");
    match (forecast, issued_at) {
        (true, issued_at) => {
            fields.require("issued_at");
            issued_at.map(|issued_at| Role::Forecast { issued_at })
        }
        (false, Some(_)) => {
            fields.fault("issued_at", "belongs to a forecast; set role = forecast or leave it out");
            Some(Role::Observed)
        }
        (false, None) => Some(Role::Observed),
    }
}
