//! The mapping's table, written out.

use model::time::MINUTE;
use serde_json::{Map, Value, json};

use super::{Decimal, Delimiter, Interval, Mapping, Role};

impl Mapping {
    /// The table again, with every default written out but those of the lines
    /// round a plain header; reading it gives back the same mapping.
    pub fn to_json(&self) -> Value {
        let mut table = Map::new();
        let mut put = |key: &str, value: Value| {
            if !value.is_null() {
                table.insert(key.to_owned(), value);
            }
        };
        put("name", json!(self.name));
        put("file", json!(self.file));
        let lines = [
            ("skip_lines", self.skip_lines, 0),
            ("header_lines", self.header_lines as u64, 1),
            ("skip_after_header", self.skip_after_header as u64, 0),
        ];
        for (key, count, usual) in lines {
            if count != usual {
                put(key, json!(count));
            }
        }
        put("time_column", json!(self.time_column));
        match self.date_columns.as_slice() {
            [] => {}
            [one] => put("date_column", json!(one)),
            several => put("date_columns", json!(several)),
        }
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
        match &self.delimiter {
            Delimiter::Sign(sign) => put("delimiter", json!(char::from(*sign).to_string())),
            Delimiter::Blanks => put("delimiter", json!("blanks")),
            Delimiter::Places(places) => put("columns", json!(places)),
        }
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
