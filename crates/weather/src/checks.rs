//! Quality checks of temperature readings: pure, and the same answer for the
//! same readings.
//!
//! [`check`] looks at one source's readings as a whole, beside the site's other
//! sources where there are any, and gives each reading its flag with the reasons.
//! A reading that fails is not used; a suspect one is used and shown. What each
//! check finds and misses on planted errors stands in `CHECKS.md`.

mod alike;
mod disagreeing;
mod flat;
mod jumps;
mod line;
mod neighbours;
mod range;
mod repeats;
mod share;
mod sheet;
mod site;
mod stamps;
mod thresholds;
mod units;

use model::series::Reading;
use model::time::Instant;
use serde::{Deserialize, Serialize};

pub use share::{AFTER, BEFORE, hours_by_flag};
pub use site::{FAILED, Findings, SUSPECT, Source, mark};
pub use thresholds::Thresholds;

use line::Line;
use sheet::Sheet;

/// Raised when the same readings and thresholds would get other flags than
/// before; then all seasons are reckoned anew.
pub const VERSION: u32 = 1;

/// What was looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Check {
    /// No temperature that an orchard can have.
    Range,
    /// One reading far from those before and after it.
    Spike,
    /// A jump from one reading to the next, or some hours on another level.
    Step,
    /// The same value for too long.
    FlatLine,
    /// A time after the clock's own.
    Ahead,
    /// Old readings: a time long past, or earlier values under new times.
    LongPast,
    /// Two readings at one time with different values.
    Disagreeing,
    /// Values of another unit: °F or K taken for °C, tenths taken for degrees,
    /// or the sign turned.
    UnitMixUp,
    /// Level, lag or drift against the site's other sources.
    Neighbours,
}

impl Check {
    /// All of them.
    pub const ALL: [Check; 9] = [
        Check::Range,
        Check::Spike,
        Check::Step,
        Check::FlatLine,
        Check::Ahead,
        Check::LongPast,
        Check::Disagreeing,
        Check::UnitMixUp,
        Check::Neighbours,
    ];

    /// The word under which the check is written.
    pub fn word(self) -> &'static str {
        match self {
            Check::Range => "range",
            Check::Spike => "spike",
            Check::Step => "step",
            Check::FlatLine => "flat-line",
            Check::Ahead => "ahead",
            Check::LongPast => "long-past",
            Check::Disagreeing => "disagreeing",
            Check::UnitMixUp => "unit-mix-up",
            Check::Neighbours => "neighbours",
        }
    }

    /// The check of that word.
    pub fn named(word: &str) -> Option<Check> {
        Check::ALL.into_iter().find(|check| check.word() == word)
    }
}

/// What one check found wrong with a reading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// The check that found it.
    pub check: Check,
    /// What was found, with its figures, for people.
    pub detail: String,
}

/// A reading with its new flag.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// The reading as it came, but for [`Reading::flag`].
    pub reading: Reading,
    /// Why it is suspect or failed; empty for one whose provider said so itself.
    pub faults: Vec<Fault>,
}

/// Checks one source's readings, which may come in any order, against each
/// other, the clock and the site's `others`, the most trusted first. What comes
/// back is in order of time, one for each reading.
///
/// Most checks look at what came before, some at what came after: give the
/// days before along with new readings (35 days for lag, level and drift, 16 for
/// the others), and check those days again when the next readings come: a spike
/// is one only when the next reading is back. A provider's own `Fail` or
/// `Suspect` is never made better; so give readings with the provider's flag,
/// not with one that these checks gave before, else no later reading can clear
/// it. The others come with whatever flags they have; what failed there is left
/// out.
///
/// The flag is `Fail` or `Suspect` where something was found, else `Pass`, or
/// `NotEvaluated` where no reading stands within three hours on either side.
pub fn check(
    readings: &[Reading],
    others: &[&[Reading]],
    now: Instant,
    thresholds: &Thresholds,
) -> Vec<Checked> {
    let latest = now.plus(thresholds.ahead_seconds());
    let others: Vec<Line> =
        others.iter().map(|readings| Line::of_other(readings, latest, thresholds)).collect();
    let mut sheet = Sheet::new(readings);
    stamps::judge(&mut sheet, now, thresholds);
    // Units come before the range: a value in °F is to be told as such.
    units::judge(&mut sheet, &others, thresholds);
    range::judge(&mut sheet, thresholds);
    disagreeing::judge(&mut sheet, thresholds);
    jumps::judge(&mut sheet, &others, thresholds);
    flat::judge(&mut sheet, &others, thresholds);
    repeats::judge(&mut sheet, thresholds);
    neighbours::judge(&mut sheet, &others, thresholds);
    sheet.finish()
}

#[cfg(test)]
mod injection;
#[cfg(test)]
mod tests;
