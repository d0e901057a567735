//! To thin or not: the first matching row of a table that the advisor may change.
//!
//! The table is data (`config/verdict.toml`); what stands here is how it is read
//! and judged. Point values decide. Where a Wilson interval spans a line on which
//! the outcome hangs, the verdict is close, and says how many more clusters would
//! tell. A count that a row needs and nobody made leaves it to the person.

use serde::{Deserialize, Serialize};

mod judged;
mod table;
pub use judged::{Figures, LineStand, MOST_MORE_CLUSTERS, Matched, Measured, Verdict};
pub use table::{Condition, Figure, Line, Row, Side, Table};

/// What a row says to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Advice {
    /// Nothing is to be timed.
    NoTiming,
    /// Look at the flowers before anything else.
    CountFirst,
    /// Wait until the nights are known.
    Wait,
    /// Do not thin this block this year.
    StandDown,
    /// Thin.
    Thin,
    /// The figures leave it to the person.
    YourCall,
    /// Rather do not thin; the person decides.
    LeanStandDown,
}

impl Advice {
    /// Every advice, in the order of the words in a table.
    pub const ALL: [Advice; 7] = [
        Advice::NoTiming,
        Advice::CountFirst,
        Advice::Wait,
        Advice::StandDown,
        Advice::Thin,
        Advice::YourCall,
        Advice::LeanStandDown,
    ];

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            Advice::NoTiming => "no-timing",
            Advice::CountFirst => "count-first",
            Advice::Wait => "wait",
            Advice::StandDown => "stand-down",
            Advice::Thin => "thin",
            Advice::YourCall => "your-call",
            Advice::LeanStandDown => "lean-stand-down",
        }
    }

    /// Two or three words for people.
    pub fn spoken(self) -> &'static str {
        match self {
            Advice::NoTiming => "no timing",
            Advice::CountFirst => "count first",
            Advice::Wait => "wait",
            Advice::StandDown => "stand down",
            Advice::Thin => "thin",
            Advice::YourCall => "your call",
            Advice::LeanStandDown => "leaning to stand down",
        }
    }
}

#[cfg(test)]
mod tests;
