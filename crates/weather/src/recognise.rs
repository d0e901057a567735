//! The layout of a station's file, told from its first part.
//!
//! What a person has given by hand holds; the rest is told from the file, each
//! thing with how, and with a doubt where it was a guess. What cannot be told is
//! not guessed: it is a fault that names the key of the mapping to give by
//! hand. The unit and the clock are taken from where the file names them; the
//! unit from the values alone only where no other fits, and the clock of the
//! site only for want of another, both with a doubt.

mod clocks;
mod finder;
mod header;
mod rows;
mod shape;
mod temperature;
mod text;
mod times;

use chrono_tz::Tz;
use model::input::Faults;
use serde::Serialize;
use serde_json::Value;

use crate::mapping::Mapping;

/// Bytes of a file that recognition looks at; the rest is left out. Two weeks
/// of readings each five minutes, which tells days from months.
pub const HEAD_BYTES: usize = 256 * 1024;

/// A layout that was told.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognised {
    /// How the file is to be read.
    pub mapping: Mapping,
    /// Each thing that was told, and how; what was given by hand is not among
    /// them.
    pub told: Vec<Told>,
    /// What was a guess, in words for a person.
    pub doubts: Vec<Doubt>,
}

/// A layout that could not be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{faults}")]
pub struct Unrecognised {
    /// What to give by hand, each at its key of the mapping; or what is wrong
    /// with what was given.
    pub faults: Faults,
    /// What could be told nevertheless.
    pub told: Vec<Told>,
    /// What of that was a guess.
    pub doubts: Vec<Doubt>,
    /// That as a table, to be completed by hand.
    pub table: Value,
}

/// One thing about a file's layout.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    /// Key of the mapping.
    pub key: &'static str,
    /// Its value there.
    pub value: Value,
    /// How it was told, in words.
    pub how: String,
}

/// Something that was guessed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Doubt {
    /// Key of the mapping by which a person settles it.
    pub key: &'static str,
    /// What is doubtful, and what to do if it is wrong.
    pub detail: String,
}

/// Tells the layout of a file from `head`, its first bytes or all of it.
/// `by_hand` is a table of a mapping of which any key may be missing; what it
/// gives is not looked for. `site_zone` is the zone of the site, for files that
/// name none.
///
/// # Errors
/// What cannot be told and must be given by hand, and faults of what was given.
pub fn recognise(
    head: &[u8],
    by_hand: &Value,
    site_zone: Option<Tz>,
) -> Result<Recognised, Box<Unrecognised>> {
    let cut = head.len() >= HEAD_BYTES;
    let head = &head[..head.len().min(HEAD_BYTES)];
    finder::Finder::new(by_hand, site_zone).run(head, cut)
}

#[cfg(test)]
mod tests;
