//! What can be wrong with a file as a whole.

use std::fmt;
use std::io;

use crate::archives::ArchiveFault;

/// Values that a message lists at most.
pub(super) const MOST_LISTED: usize = 10;
/// Characters of a cell that a message shows.
const MOST_SHOWN: usize = 40;

/// Why a file is refused before any of its rows.
#[derive(Debug, thiserror::Error)]
pub enum FileFault {
    /// The bytes could not be had.
    #[error("the file could not be read to its end: {0}")]
    Unreadable(#[from] io::Error),
    /// No header and no rows.
    #[error("the file is empty, or ends before its header; expected a header line and rows below it")]
    Empty,
    /// A header and nothing else.
    #[error("the file has a header and no row below it")]
    NoRows,
    /// Bytes that the encoding does not have.
    #[error(
        "line {line}, byte {offset} of the file: not {declared}, which is the encoding expected; give `encoding` as the file was written, often utf-8, windows-1252 or utf-16le"
    )]
    Encoding {
        /// The encoding expected.
        declared: String,
        /// Line of the first wrong byte.
        line: u64,
        /// Bytes before it.
        offset: u64,
    },
    /// The file begins with the byte order mark of another encoding.
    #[error(
        "the file begins with the byte order mark of {found}, but {declared} is the encoding expected; set `encoding` to {found}"
    )]
    OtherEncoding {
        /// The encoding that the mark stands for.
        found: String,
        /// The encoding expected.
        declared: String,
    },
    /// A zero byte or character: not a text, or UTF-16 read as something else.
    #[error(
        "line {line} of the file: a zero, which no text in {declared} has; if the file is UTF-16, set `encoding` to utf-16le or utf-16be"
    )]
    Nul {
        /// The encoding expected.
        declared: String,
        /// Line of the first zero.
        line: u64,
    },
    /// A column that the mapping names is not in the header.
    #[error("line {line}: no column `{column}`, which `{field}` names; the header has {found}{hint}")]
    MissingColumn {
        /// Line of the header.
        line: u64,
        /// Key of the mapping.
        field: &'static str,
        /// Header that was looked for.
        column: String,
        /// Headers found.
        found: Listed,
        /// What may be wrong, or nothing.
        hint: &'static str,
    },
    /// A column that the mapping names stands in the header more than once.
    #[error(
        "line {line}: columns {first} and {second} are both named `{column}`, which `{field}` names; expected one"
    )]
    ColumnTwice {
        /// Line of the header.
        line: u64,
        /// Key of the mapping.
        field: &'static str,
        /// Header that was looked for.
        column: String,
        /// Number of the first such column, from 1.
        first: usize,
        /// Number of the second.
        second: usize,
    },
    /// `where` leaves no row.
    #[error("column `{column}`: no row has `{wanted}`{together}, which `where` asks for; found {found}")]
    NoRowMatches {
        /// Header of the column.
        column: String,
        /// Text asked for.
        wanted: String,
        /// Other texts found in that column.
        found: Listed,
        /// Says that only several columns together had no row, or nothing.
        together: &'static str,
    },
    /// The header names another unit than the mapping.
    #[error(
        "line {line}, column `{column}`: the header says {named}, but `unit` is {declared}; set `unit` to what the file holds"
    )]
    OtherUnit {
        /// Line that names it.
        line: u64,
        /// Header of the temperature.
        column: String,
        /// Unit of the mapping.
        declared: &'static str,
        /// Unit in the header.
        named: &'static str,
    },
    /// The header names another offset from UTC than the mapping.
    #[error(
        "line {line}, column `{column}`: the header says {named}, but `time_zone` is {declared}; set `time_zone` to what the file holds"
    )]
    OtherZone {
        /// Line of the header.
        line: u64,
        /// Header of the time.
        column: String,
        /// Zone of the mapping.
        declared: String,
        /// Offset in the header.
        named: String,
    },
    /// Most temperatures are none in the unit declared.
    #[error(
        "column `{column}`: {outside} of {numbers} temperatures lie outside −60 to 60 °C when read as {declared}, which is the `unit` expected; {fitting}"
    )]
    Implausible {
        /// Header of the temperature.
        column: String,
        /// How many lie outside.
        outside: u64,
        /// How many there are.
        numbers: u64,
        /// Unit of the mapping.
        declared: &'static str,
        /// Which unit would fit.
        fitting: String,
    },
    /// More than is taken.
    #[error("line {line}: {limit}")]
    TooLarge {
        /// Line at which the limit was passed.
        line: u64,
        /// Which limit.
        limit: Limit,
    },
    /// The file is not of the archive's format, or not of one station.
    #[error(transparent)]
    Archive(#[from] ArchiveFault),
}

impl FileFault {
    /// The key of the mapping that the fault speaks of, where it is one: for a
    /// pointer to the field.
    pub fn field(&self) -> Option<&'static str> {
        match self {
            Self::Encoding { .. } | Self::OtherEncoding { .. } | Self::Nul { .. } => Some("encoding"),
            Self::MissingColumn { field, .. } | Self::ColumnTwice { field, .. } => Some(field),
            Self::NoRowMatches { .. } => Some("where"),
            Self::OtherUnit { .. } | Self::Implausible { .. } => Some("unit"),
            Self::OtherZone { .. } => Some("time_zone"),
            Self::Archive(fault) => fault.field(),
            Self::Unreadable(_) | Self::Empty | Self::NoRows | Self::TooLarge { .. } => None,
        }
    }
}

/// A limit that a file passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Limit {
    /// [`super::MAX_FILE_BYTES`].
    #[error("the file is larger than {} MiB; split it by year", super::MAX_FILE_BYTES / (1024 * 1024))]
    Bytes,
    /// [`super::MAX_ROWS`].
    #[error("the file has more than {} rows; split it by year", super::MAX_ROWS)]
    Rows,
    /// [`super::MAX_COLUMNS`].
    #[error("the row has more than {} columns; expected a station's file", super::MAX_COLUMNS)]
    Columns,
    /// [`super::MAX_LINE_BYTES`].
    #[error("the line has more than {} bytes; expected rows parted by line ends", super::MAX_LINE_BYTES)]
    Line,
    /// [`super::MAX_LINE_BYTES`], in a row of several lines.
    #[error("a quote that opens in this row is not closed within {} bytes", super::MAX_LINE_BYTES)]
    Quote,
}

/// A few texts found in a file, shortened for a message.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Listed {
    /// The first of them, at most ten.
    pub texts: Vec<String>,
    /// Whether there were more.
    pub more: bool,
}

impl Listed {
    /// Adds a text that is not there yet.
    pub(crate) fn add(&mut self, text: &[u8]) {
        if self.more || self.texts.iter().any(|known| known.as_bytes() == text) {
            return;
        }
        let text = shown(text);
        if self.texts.contains(&text) {
            return;
        }
        if self.texts.len() < MOST_LISTED {
            self.texts.push(text);
        } else {
            self.more = true;
        }
    }
}

impl fmt::Display for Listed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.texts.is_empty() {
            return f.write_str("none");
        }
        for (n, text) in self.texts.iter().enumerate() {
            write!(f, "{}`{text}`", if n > 0 { ", " } else { "" })?;
        }
        if self.more { f.write_str(" and more") } else { Ok(()) }
    }
}

/// A cell as a message shows it: shortened, on one line.
pub(crate) fn shown(cell: &[u8]) -> String {
    let text = String::from_utf8_lossy(cell);
    let mut short: String =
        text.chars().take(MOST_SHOWN).map(|sign| if sign.is_control() { ' ' } else { sign }).collect();
    if text.chars().nth(MOST_SHOWN).is_some() {
        short.push('…');
    }
    short
}
