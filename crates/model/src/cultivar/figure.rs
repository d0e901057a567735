//! A figure that carries where it comes from.

use serde::{Deserialize, Serialize};

use crate::input::Fields;

/// How a figure came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Printed in a source that can be looked up.
    Published,
    /// Recalled, not looked up.
    FromMemory,
    /// Worked out from published figures.
    Derived,
    /// Common practice, no source.
    Practice,
    /// Put together from several facts; no one measured it as a whole.
    Constructed,
    /// Measured by the person who entered it.
    Measured,
}

impl Status {
    /// The words that a document may use.
    pub const WORDS: [&str; 6] =
        ["published", "from-memory", "derived", "practice", "constructed", "measured"];

    fn named(word: &str) -> Status {
        match word {
            "published" => Status::Published,
            "from-memory" => Status::FromMemory,
            "derived" => Status::Derived,
            "practice" => Status::Practice,
            "measured" => Status::Measured,
            _ => Status::Constructed,
        }
    }

    /// The words for it in sentences.
    pub fn spoken(self) -> &'static str {
        match self {
            Status::Published => "published",
            Status::FromMemory => "from memory",
            Status::Derived => "derived",
            Status::Practice => "common practice, no source",
            Status::Constructed => "constructed",
            Status::Measured => "measured",
        }
    }
}

/// A figure, who says so, and how it came about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// The figure.
    pub value: f64,
    /// Who says so.
    pub source: String,
    /// How it came about.
    pub status: Status,
}

impl Figure {
    /// Reads a table with `value` within `[low, high]`, `source` and `status`.
    pub fn from_fields(fields: &Fields<'_>, name: &'static str, low: f64, high: f64) -> Option<Figure> {
        let table = fields.table(name)?;
        let value = if table.require("value") { table.number("value", low, high) } else { None };
        let source = table.required_text("source");
        let status = if table.require("status") { table.word("status", &Status::WORDS) } else { None };
        table.refuse_unknown();
        Some(Figure { value: value?, source: source?, status: Status::named(status?) })
    }

    /// The figure with its source and status, as `1.8 (Ontario; published)`.
    pub fn told(&self) -> String {
        format!("{} ({}; {})", self.value, self.source, self.status.spoken())
    }
}
