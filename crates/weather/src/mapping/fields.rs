//! The mapping's table, field by field.

use encoding_rs::{Encoding, UTF_8};
use model::input::Fields;
use model::series::Kind;
use model::time::MINUTE;
use model::units::TemperatureUnit;

use super::{Decimal, Interval, LONGEST_INTERVAL_MINUTES, Mapping, Role, TimeFormat, WallClock};
use crate::stamp::Layout;

/// Own marks for a missing value; each is compared with every cell.
const MOST_MISSING_MARKS: usize = 50;

impl Mapping {
    /// Reads the table. What is wrong is noted in `fields`; keys that no one
    /// asked for are noted by [`model::input::read`] and [`Fields::tables`],
    /// from which this is meant to be called.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Mapping> {
        let name = fields.text("name");
        let file = fields.text("file");
        let time_column = fields.required_text("time_column");
        let date_column = fields.text("date_column");
        let time = read_time(fields, date_column.is_some());
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
        let encoding = read_encoding(fields);
        let role = read_role(fields);
        let (time_format, time_zone) = time?;
        Some(Mapping {
            name,
            file,
            time_column: time_column?,
            date_column,
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
             for date, one space and time, as `%Y-%m-%d %H:%M`",
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

fn read_delimiter(fields: &Fields<'_>) -> Option<u8> {
    let Some(text) = fields.text("delimiter") else {
        return Some(b',');
    };
    match text.as_bytes() {
        [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && !b"\"\r\n\0.+-".contains(byte) => {
            Some(*byte)
        }
        _ => {
            fields.fault(
                "delimiter",
                format!("`{text}` does not part fields; expected one sign such as , ; | or a tab"),
            );
            None
        }
    }
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
