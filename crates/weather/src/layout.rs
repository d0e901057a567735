//! How a source's files are read: by a mapping of their columns, or as an open
//! archive gives them out. Either is a table, in a season file or on a source.
//!
//! Files may come gzipped, as archives hand them out; all limits hold for what is
//! unpacked.

use std::io::{self, BufReader, Read};

use chrono_tz::Tz;
use flate2::read::MultiGzDecoder;
use model::input::Fields;
use model::series::Kind;
use model::time::Instant;
use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::archives::{self, Archive};
use crate::mapping::{Mapping, Role, WallClock};
use crate::recognise::{self, Doubt, Told, Unrecognised};
use crate::station_file::{self, FileFault, Refused, Rows, StationFile, Understood};

/// First bytes of a file that tell how it is read; of a gzipped one, of what it
/// unpacks to.
pub const HEAD_BYTES: usize = recognise::HEAD_BYTES;

/// How gzipped files begin (RFC 1952).
const GZIPPED: [u8; 2] = [0x1F, 0x8B];

/// How a source's files are read.
#[derive(Debug, Clone, PartialEq)]
pub enum Layout {
    /// Columns that a mapping names.
    Table(Box<Mapping>),
    /// An archive's own format.
    Archive(Archived),
}

/// How an archive's files are read.
#[derive(Debug, Clone, PartialEq)]
pub struct Archived {
    /// The format.
    pub archive: Archive,
    /// What it does not say itself.
    pub options: archives::Options,
    /// Name of the source, where there are several.
    pub name: Option<String>,
    /// Path of the file as it was written; the caller resolves it.
    pub file: Option<String>,
    /// Whether the service's quality checks run on these readings.
    pub checks: bool,
    /// What kind of observation the readings are.
    pub reading_kind: Kind,
}

/// What was made of a file, for a person to look at before anything of it is kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Report {
    /// Of a file with columns.
    Table(Box<Understood>),
    /// Of an archive's file.
    Archive(Box<ArchiveReport>),
}

/// What was made of an archive's file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ArchiveReport {
    /// How it was read, as the table of a source.
    pub mapping: Value,
    /// The station that it says it is of.
    pub station: Option<String>,
    /// Step between readings, seconds: the median; none for a single reading.
    pub cadence_seconds: Option<i64>,
    /// The earliest moment taken.
    pub first: Option<Instant>,
    /// The latest moment taken.
    pub last: Option<Instant>,
    /// Where readings are missing.
    pub gaps: station_file::Gaps,
    /// How many rows there were of each sort.
    pub rows: Rows,
    /// Rows that could not be read, by line; `rows` counts all.
    pub refused: Vec<Refused>,
}

/// A layout that was told from a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognised {
    /// How the file is to be read.
    pub layout: Layout,
    /// Each thing that was told, and how.
    pub told: Vec<Told>,
    /// What was a guess, in words for a person.
    pub doubts: Vec<Doubt>,
}

impl Layout {
    /// Reads the table: with `format` one of the archives' words, else a mapping.
    /// What is wrong is noted in `fields`.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Layout> {
        if !fields.has("format") {
            return Mapping::from_fields(fields).map(|mapping| Layout::Table(Box::new(mapping)));
        }
        let words = Archive::ALL.map(Archive::word);
        let archive = fields.word("format", &words).and_then(Archive::named);
        let clock = fields.text("time_zone").and_then(|name| match WallClock::named(&name) {
            Ok(clock) => Some(clock),
            Err(detail) => {
                fields.fault("time_zone", detail);
                None
            }
        });
        let year = fields.whole("year", 1900, 2199).and_then(|year| i32::try_from(year).ok());
        let (name, file, station) = (fields.text("name"), fields.text("file"), fields.text("station"));
        let checks = fields.word("checks", &["on", "off"]) != Some("off");
        let reading_kind = kind(fields).unwrap_or(Kind::Station);
        let archive = archive?;
        if clock.is_some() && archive != Archive::IemAsos {
            fields.fault("time_zone", format!("{} says its own clock; leave it out", archive.word()));
        }
        if year.is_some() && !archive.is_typical_year() {
            fields.fault("year", format!("{} has its own years; it belongs to tmy3 and epw", archive.word()));
        }
        let options = archives::Options { station, clock, year };
        Some(Layout::Archive(Archived { archive, options, name, file, checks, reading_kind }))
    }

    /// The table again; reading it gives back the same layout.
    pub fn to_json(&self) -> Value {
        let of = match self {
            Layout::Table(mapping) => return mapping.to_json(),
            Layout::Archive(of) => of,
        };
        let mut table = Map::new();
        let fields = [
            ("name", json!(of.name)),
            ("file", json!(of.file)),
            ("format", json!(of.archive.word())),
            ("station", json!(of.options.station)),
            ("time_zone", json!(of.options.clock.map(|clock| clock.to_string()))),
            ("year", json!(of.options.year)),
            ("checks", json!(if of.checks { "on" } else { "off" })),
            ("reading_kind", json!(of.reading_kind.word())),
        ];
        for (key, value) in fields {
            if !value.is_null() {
                table.insert(key.to_owned(), value);
            }
        }
        Value::Object(table)
    }

    /// Name of the source, where the table gives one.
    pub fn name(&self) -> Option<&str> {
        match self {
            Layout::Table(mapping) => mapping.name.as_deref(),
            Layout::Archive(of) => of.name.as_deref(),
        }
    }

    /// Path of the file, where the table gives one.
    pub fn file(&self) -> Option<&str> {
        match self {
            Layout::Table(mapping) => mapping.file.as_deref(),
            Layout::Archive(of) => of.file.as_deref(),
        }
    }

    /// Whether the readings are checked.
    pub fn checks(&self) -> bool {
        match self {
            Layout::Table(mapping) => mapping.checks,
            Layout::Archive(of) => of.checks,
        }
    }

    /// Whether the rows were observed or foretold.
    pub fn role(&self) -> Role {
        match self {
            Layout::Table(mapping) => mapping.role,
            Layout::Archive(_) => Role::Observed,
        }
    }

    /// What kind of observation the readings are.
    pub fn reading_kind(&self) -> Kind {
        match self {
            Layout::Table(mapping) => mapping.reading_kind,
            Layout::Archive(of) => of.reading_kind,
        }
    }

    /// The same layout of readings of another kind.
    pub fn of_kind(mut self, kind: Kind) -> Layout {
        match &mut self {
            Layout::Table(mapping) => mapping.reading_kind = kind,
            Layout::Archive(of) => of.reading_kind = kind,
        }
        self
    }
}

fn kind(fields: &Fields<'_>) -> Option<Kind> {
    let words = [Kind::Station, Kind::ModelAnalysis, Kind::Hand].map(Kind::word);
    fields.word("reading_kind", &words).and_then(Kind::named)
}

/// Reads a file. Rows more than ten minutes after `now` are refused, unless the
/// file is a forecast.
///
/// # Errors
/// A fault of the file as a whole; then nothing of it is given out.
pub fn read(source: impl Read, layout: &Layout, now: Instant) -> Result<StationFile, FileFault> {
    let source = unpacked(source)?;
    match layout {
        Layout::Table(mapping) => station_file::read(source, mapping, now),
        Layout::Archive(of) => archives::read(of.archive, source, &of.options, now).map(|read| read.file),
    }
}

/// Reads a file as [`read`] does, and says beside it how it was understood.
///
/// # Errors
/// As [`read`].
pub fn understand(
    source: impl Read,
    layout: &Layout,
    now: Instant,
) -> Result<(StationFile, Report), FileFault> {
    let source = unpacked(source)?;
    let of = match layout {
        Layout::Table(mapping) => {
            let (file, understood) = station_file::understand(source, mapping, now)?;
            return Ok((file, Report::Table(Box::new(understood))));
        }
        Layout::Archive(of) => of,
    };
    let read = archives::read(of.archive, source, &of.options, now)?;
    let mut refused = read.file.refused.clone();
    refused.truncate(station_file::MOST_REFUSED_SHOWN);
    let report = ArchiveReport {
        mapping: layout.to_json(),
        station: read.station.map(|station| match station.name {
            Some(name) => format!("{} ({name})", station.id),
            None => station.id,
        }),
        cadence_seconds: station_file::cadence(&read.file.readings),
        first: read.file.first,
        last: read.file.last,
        gaps: station_file::gaps(&read.file.readings),
        rows: read.file.rows,
        refused,
    };
    Ok((read.file, Report::Archive(Box::new(report))))
}

/// Tells the layout of a file from its first bytes; `by_hand` is a table of which
/// any key may be missing, and what it gives holds.
///
/// # Errors
/// What cannot be told and must be given by hand, and faults of what was given.
pub fn recognise(
    head: &[u8],
    file_name: Option<&str>,
    by_hand: &Value,
    site_zone: Option<Tz>,
) -> Result<Recognised, Box<Unrecognised>> {
    let head = unpacked_head(head);
    let given = by_hand.as_object().is_some_and(|table| !table.is_empty());
    if let Some(archive) = Archive::recognise(&head, file_name).filter(|_| !given) {
        let of = Archived {
            archive,
            options: archives::Options::default(),
            name: None,
            file: None,
            checks: true,
            reading_kind: Kind::Station,
        };
        let told = Told {
            key: "format",
            value: json!(archive.word()),
            how: "by what only this format has in its first lines".to_owned(),
        };
        let typical = Doubt {
            key: "year",
            detail:
                "a typical year has its months from several years and is no record of any season: say by \
                     hand which year it is to stand for"
                    .to_owned(),
        };
        let clock = Doubt {
            key: "time_zone",
            detail: "no line says the time zone that the download was asked for: say UTC, which is the \
                     Mesonet's default, or the zone"
                .to_owned(),
        };
        let mut doubts = Vec::new();
        if archive.is_typical_year() {
            doubts.push(typical);
        }
        if archive == Archive::IemAsos && !archives::says_its_clock(&head) {
            doubts.push(clock);
        }
        return Ok(Recognised { layout: Layout::Archive(of), told: vec![told], doubts });
    }
    let recognised = recognise::recognise(&head, by_hand, site_zone)?;
    let (mut told, mut doubts) = (recognised.told, recognised.doubts);
    // A few rows that cannot be read are told with the readings; and what is taken
    // for a moment's or a mean's is at most half a step off.
    doubts.retain(|doubt| {
        let settled = doubt.key == "kind" || doubt.key.is_empty();
        if let Some(kind) = told.iter_mut().find(|told| told.key == doubt.key)
            && settled
        {
            kind.how.clone_from(&doubt.detail);
        }
        !settled
    });
    Ok(Recognised { layout: Layout::Table(Box::new(recognised.mapping)), told, doubts })
}

/// A file as it unpacks.
enum Unpacked<R: Read> {
    Plain(R),
    Gzipped(Box<BufReader<MultiGzDecoder<R>>>),
}

impl<R: Read> Read for Unpacked<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Unpacked::Plain(source) => source.read(into),
            Unpacked::Gzipped(source) => source.read(into),
        }
    }
}

/// A source with its first bytes put back.
type PutBack<R> = io::Chain<io::Cursor<Vec<u8>>, R>;

fn unpacked<R: Read>(mut source: R) -> Result<Unpacked<PutBack<R>>, FileFault> {
    let mut begin = Vec::with_capacity(GZIPPED.len());
    (&mut source).take(GZIPPED.len() as u64).read_to_end(&mut begin).map_err(FileFault::Unreadable)?;
    let gzipped = begin == GZIPPED;
    let whole = io::Cursor::new(begin).chain(source);
    Ok(match gzipped {
        true => Unpacked::Gzipped(Box::new(BufReader::new(MultiGzDecoder::new(whole)))),
        false => Unpacked::Plain(whole),
    })
}

/// The first bytes of what `head` unpacks to, as far as it goes.
fn unpacked_head(head: &[u8]) -> std::borrow::Cow<'_, [u8]> {
    if !head.starts_with(&GZIPPED) {
        return head.into();
    }
    let mut plain = Vec::new();
    // The head of a longer file breaks off: what came before that counts.
    let _ = MultiGzDecoder::new(head).take(HEAD_BYTES as u64).read_to_end(&mut plain);
    plain.into()
}

#[cfg(test)]
mod tests;
