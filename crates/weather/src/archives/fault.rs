//! What can be wrong with an archive's file as a whole.

use std::fmt;

use crate::station_file::Listed;

/// Why a file of an archive is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ArchiveFault {
    /// Still packed.
    #[error("the file is still packed by {0}; unpack it and send the text file inside")]
    Packed(Packed),
    /// A zero byte.
    #[error(
        "line {line}: a zero byte, which no text of this archive has; save the file as plain text, not as UTF-16"
    )]
    Zero {
        /// Line of the first zero.
        line: u64,
    },
    /// The header is another format's.
    #[error("line {line}: no header of {archive}; expected {expected}")]
    OtherHeader {
        /// Word of the archive.
        archive: &'static str,
        /// Line on which the header was expected.
        line: u64,
        /// How it begins.
        expected: &'static str,
    },
    /// A column is missing.
    #[error("line {line}: no column `{column}`, which {archive} files have; the header has {found}")]
    NoColumn {
        /// Word of the archive.
        archive: &'static str,
        /// Line of the header.
        line: u64,
        /// Name that was looked for.
        column: &'static str,
        /// Names found.
        found: Listed,
    },
    /// The offset from UTC in the header cannot be read.
    #[error("line 1: `{found}` is no offset from UTC in hours; expected one from -12 to 14, like -5.0")]
    Offset {
        /// What stands there.
        found: String,
    },
    /// The file's own word for its clock is none that is known.
    #[error(
        "line {line}: the file's time zone `{found}` is not known here; give `clock` as UTC, as an offset like -05:00 or as a zone like America/Chicago"
    )]
    Clock {
        /// Line that says so.
        line: u64,
        /// What it says.
        found: String,
    },
    /// Rows of several stations.
    #[error("the file holds several stations: {found}; set `station` to the one wanted")]
    SeveralStations {
        /// The first of them.
        found: Listed,
    },
    /// No row of the station wanted.
    #[error("no row is of station `{wanted}`, which `station` asks for; the file has {found}")]
    NoSuchStation {
        /// Station asked for.
        wanted: String,
        /// Stations found.
        found: Listed,
    },
    /// Most temperatures are none.
    #[error(
        "column `{column}`: {outside} of {numbers} temperatures lie outside −60 to 60 °C; a file of {archive} has others, so this is not one or it is damaged"
    )]
    Implausible {
        /// Word of the archive.
        archive: &'static str,
        /// Column of the temperature.
        column: &'static str,
        /// How many lie outside.
        outside: u64,
        /// How many there are.
        numbers: u64,
    },
}

impl ArchiveFault {
    /// The option that the fault speaks of, where it is one.
    pub fn field(&self) -> Option<&'static str> {
        match self {
            Self::SeveralStations { .. } | Self::NoSuchStation { .. } => Some("station"),
            Self::Clock { .. } => Some("time_zone"),
            _ => None,
        }
    }
}

/// What a file was packed by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packed {
    /// gzip.
    Gzip,
    /// zip.
    Zip,
}

impl fmt::Display for Packed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Packed::Gzip => "gzip",
            Packed::Zip => "zip",
        })
    }
}
