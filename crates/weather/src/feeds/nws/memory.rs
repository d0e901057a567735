//! What is remembered of a cell between two fetches.

use model::time::Instant;
use serde::{Deserialize, Serialize};

/// Longest text that is taken for a memory, in bytes.
const MOST_BYTES: usize = 1_024;

/// Where a cell lies in the provider's own terms, and what was read of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Memory {
    /// The office whose grid the cell lies in, as `OKX`.
    pub grid: String,
    pub x: u32,
    pub y: u32,
    /// The station that observes for the cell; none when it is to be looked for.
    pub station: Option<Station>,
    /// `Last-Modified` of the grid that was read last, to the letter.
    pub grid_modified: Option<String>,
}

/// A station that observes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Station {
    /// Its name, as `KNYC`.
    pub id: String,
    /// Its height, m, where the list of stations told it.
    #[serde(default)]
    pub elevation_m: Option<f64>,
    /// Time of its newest observation that was read.
    pub read_to: Option<Instant>,
}

impl Memory {
    /// A square of which nothing is known yet; none when its name could not be
    /// part of an address.
    pub(super) fn of_square(grid: String, x: u32, y: u32) -> Option<Memory> {
        is_name(&grid).then_some(Memory { grid, x, y, station: None, grid_modified: None })
    }

    /// Reads what [`Memory::write`] wrote; none when it is anything else.
    pub(super) fn read(text: &str) -> Option<Memory> {
        if text.len() > MOST_BYTES {
            return None;
        }
        let memory: Memory = serde_json::from_str(text).ok()?;
        let fits = is_name(&memory.grid)
            && memory.station.as_ref().is_none_or(|station| is_name(&station.id))
            && memory.grid_modified.as_deref().is_none_or(is_header_time);
        fits.then_some(memory)
    }

    /// Itself as a text.
    pub(super) fn write(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Path of the square.
    pub(super) fn grid_path(&self) -> String {
        format!("/gridpoints/{}/{},{}", self.grid, self.x, self.y)
    }
}

/// Whether a `Last-Modified` can be sent back. `Thu, 30 Apr 2026 22:12:33 GMT`
/// has 29 bytes.
pub(super) fn is_header_time(text: &str) -> bool {
    text.len() <= 64 && text.bytes().all(|sign| (b' '..=b'~').contains(&sign))
}

/// Whether a provider's name of an office or a station can stand in an address.
pub(super) fn is_name(text: &str) -> bool {
    (1..=32).contains(&text.len())
        && text.bytes().all(|sign| sign.is_ascii_alphanumeric() || matches!(sign, b'-' | b'_'))
}
