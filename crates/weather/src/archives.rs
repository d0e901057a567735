//! Open weather archives, read as they are downloaded, without a mapping.
//!
//! [`Archive::recognise`] tells the format by the first bytes of a file,
//! [`read`] reads it as [`crate::station_file::read`] reads a mapped file: with
//! the same limits, as a whole or not at all, each refused row with its line and
//! the reason. Files come unpacked; one that is still packed is told so.
//!
//! # What a row's time stands for
//!
//! All readings are instants ([`model::series::Reading::span`] is 0).
//!
//! | archive | time of a row |
//! |---|---|
//! | ISD-Lite | UTC, rounded by NOAA to the whole hour (ISD-Lite format document, 20 June 2006) |
//! | GHCNh | UTC, to the minute |
//! | IEM ASOS | to the minute, on the clock that the download was asked for: see [`Options::clock`] |
//! | DWD hourly | UTC, whole hours; by SYNOP convention the thermometer was read ten minutes earlier (DWD's description of the data set). The stamp is kept, as other services of the same data keep it |
//! | TMY3 | hour 1 to 24 in local standard time without summer time; the temperature "at the time indicated" (Wilcox and Marion, NREL/TP-581-43156, as pvlib's documentation has it), so hour 24 is the midnight that ends the day |
//! | EPW | the same; "at the time indicated" is EnergyPlus's wording from memory, and checked: in PVGIS's typical years the row of hour h has the temperature that its own UTC table has at h o'clock of the header's offset, in all 8,760 rows |
//!
//! # Flags
//!
//! What the provider found goes into [`model::series::Reading::flag`]: GHCNh and DWD have quality
//! codes, see their readers; the others have none that is read, and their
//! readings are [`model::series::Flag::NotEvaluated`].
//!
//! # Several reports of one moment
//!
//! One is kept: first one that may be used rather than one that failed, then in
//! GHCNh the routine report (FM-15) before a special one (FM-16), a synoptic one
//! (FM-12) and any other, then the later line. Reports at different minutes are
//! different readings and all kept.

mod calendar;
mod dwd;
mod epw;
mod fault;
mod fields;
mod ghcnh;
mod iem;
mod isd_lite;
mod lines;
mod recognise;
mod row;
mod stations;
mod taken;
mod tmy3;
mod typical;

use std::io::Read;

use model::time::Instant;

use crate::mapping::WallClock;
use crate::station_file::{FileFault, StationFile};

pub use fault::ArchiveFault;
pub use recognise::HEAD_BYTES;

/// The formats read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Archive {
    /// NOAA's Integrated Surface Data in short: one station's year, fixed width.
    IsdLite,
    /// NOAA's Global Historical Climatology Network hourly, fields parted by `|`.
    Ghcnh,
    /// Airport weather as the Iowa Environmental Mesonet gives it out.
    IemAsos,
    /// Hourly air temperature of the Deutscher Wetterdienst, `produkt_tu_stunde_*.txt`.
    DwdHourly,
    /// A typical meteorological year, third edition, of NREL.
    Tmy3,
    /// An EnergyPlus weather file.
    Epw,
}

impl Archive {
    /// All of them.
    pub const ALL: [Archive; 6] =
        [Archive::IsdLite, Archive::Ghcnh, Archive::IemAsos, Archive::DwdHourly, Archive::Tmy3, Archive::Epw];

    /// The word under which the format is written.
    pub fn word(self) -> &'static str {
        match self {
            Archive::IsdLite => "isd-lite",
            Archive::Ghcnh => "ghcnh",
            Archive::IemAsos => "iem-asos",
            Archive::DwdHourly => "dwd-hourly",
            Archive::Tmy3 => "tmy3",
            Archive::Epw => "epw",
        }
    }

    /// The format of that word.
    pub fn named(word: &str) -> Option<Archive> {
        Archive::ALL.into_iter().find(|archive| archive.word() == word)
    }

    /// The format of a file by its first [`HEAD_BYTES`], or by all of a shorter
    /// file. Each must show what only it has, so that an ordinary station file
    /// is taken for none. The name of the file is looked at only where ISD-Lite,
    /// which has no header, shows a single line.
    pub fn recognise(head: &[u8], name: Option<&str>) -> Option<Archive> {
        recognise::recognise(head, name)
    }

    /// Whether its years are put together of months of several years: no
    /// record of any season.
    pub fn is_typical_year(self) -> bool {
        matches!(self, Archive::Tmy3 | Archive::Epw)
    }
}

/// How a file is to be read, beyond what it says itself.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// The station whose rows are wanted, as the file writes it; capitals and
    /// leading zeros do not matter. Needed where a file holds several. ISD-Lite
    /// says no station, and there this is not looked at.
    pub station: Option<String>,
    /// IEM only: the clock of the times. None takes what a `#DEBUG: Time Zone`
    /// line says, and without one UTC, which is IEM's default.
    pub clock: Option<WallClock>,
    /// TMY3 and EPW only: the year that all rows are put in. A typical year has
    /// its months from several years; without this each stays in its own.
    pub year: Option<i32>,
}

/// The station that a file says it is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    /// As the file writes it.
    pub id: String,
    /// Its name, where the file has one.
    pub name: Option<String>,
}

/// What an archive's file gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Archived {
    /// The station, where the file tells.
    pub station: Option<Station>,
    /// The readings, and what became of the rows.
    pub file: StationFile,
}

/// Reads a file of that format. Rows more than ten minutes after `now` are
/// refused.
///
/// # Errors
/// A fault of the file as a whole; then nothing of it is given out.
pub fn read(
    archive: Archive,
    source: impl Read,
    options: &Options,
    now: Instant,
) -> Result<Archived, FileFault> {
    let mut lines = lines::Lines::new(source);
    match archive {
        Archive::IsdLite => rows(archive, lines, isd_lite::IsdLite, now),
        Archive::Ghcnh => {
            let format = ghcnh::Ghcnh::of(&mut lines, options)?;
            rows(archive, lines, format, now)
        }
        Archive::IemAsos => {
            let format = iem::Iem::of(&mut lines, options)?;
            rows(archive, lines, format, now)
        }
        Archive::DwdHourly => {
            let format = dwd::Dwd::of(&mut lines, options)?;
            rows(archive, lines, format, now)
        }
        Archive::Tmy3 => {
            let format = tmy3::Tmy3::of(&mut lines, options)?;
            rows(archive, lines, format, now)
        }
        Archive::Epw => {
            let format = epw::Epw::of(&mut lines, options)?;
            rows(archive, lines, format, now)
        }
    }
}

/// Whether a download of the Mesonet says by itself which clock its times are of.
pub(crate) fn says_its_clock(head: &[u8]) -> bool {
    let mut comments =
        head.split(|byte| *byte == b'\n').take_while(|line| line.first() == Some(&iem::COMMENT));
    comments.any(|line| iem::told_clock(line, 0).is_ok_and(|clock| clock.is_some()))
}

/// Reads the rows below the header.
fn rows<R: Read>(
    archive: Archive,
    mut lines: lines::Lines<R>,
    mut format: impl row::Format,
    now: Instant,
) -> Result<Archived, FileFault> {
    let mut taken = taken::Taken::new(archive, now);
    while lines.advance()? {
        taken.row(lines.number(), format.row(lines.text()))?;
    }
    let column = format.column();
    let station = format.station()?;
    Ok(Archived { station, file: taken.finish(column)? })
}

#[cfg(test)]
mod tests;
