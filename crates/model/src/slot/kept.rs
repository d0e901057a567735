//! Whether a slot that was named still stands.

use serde::{Deserialize, Serialize};

use super::Ask;
use super::judged::{HourStand, Stand, judge};
use super::reason::Reason;
use super::search::{Slot, joined, runs, searched};
use super::what::What;

/// What became of a slot that was named earlier.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "slot")]
pub enum Kept {
    /// What is left of it is as it was named.
    Holds,
    /// A part of it is left that is long enough.
    Shorter {
        /// The part.
        left: Slot,
    },
    /// It has closed.
    Closed {
        /// Why, each once, in the order of its hours.
        why: Vec<Reason>,
    },
    /// Its time has gone by.
    Passed,
    /// Nothing known closes it, but something that a limit asks for is not known any
    /// more.
    NotKnown {
        /// What.
        what: Vec<Reason>,
    },
    /// No limit is set any more.
    NoLimits,
}

impl Kept {
    /// Whether it is lost, so that people who were told of it are to hear.
    pub fn is_lost(&self) -> bool {
        matches!(self, Kept::Closed { .. } | Kept::Passed)
    }
}

/// Holds a slot that was named earlier against the present weather, limits and mark.
/// It is lost when no stretch of it that is left is long enough for the work.
pub fn slot_lost(ask: &Ask<'_>, named: &Slot) -> Kept {
    if ask.now >= named.end {
        return Kept::Passed;
    }
    let held = ask.limits.held(ask.material);
    let left = (named.begin.max(ask.now), named.end);
    let needed = ask.needed.max(1);
    let (hours, covered) = ask.hours.within(left.0, left.1);
    let judged: Vec<HourStand> = hours.iter().map(|hour| judge(ask, &held, hour)).collect();
    // Where the mark has moved, only what still lies on its right side counts.
    let side = ask.wanted.likely.map_or(left, |mark| {
        let side = searched(ask, mark, named.end);
        (left.0.max(side.0), left.1.min(side.1))
    });
    let long = |slots: Vec<Slot>| slots.into_iter().find(|slot| slot.end.since(slot.begin) >= needed);
    if let Some(slot) = long(joined(&judged, side)) {
        let whole = (slot.begin, slot.end) == left;
        return if whole { Kept::Holds } else { Kept::Shorter { left: slot } };
    }
    let unsaid = |hour: &HourStand| hour.stand != Stand::Against;
    if long(runs(&judged, side, unsaid)).is_some() {
        if held.is_empty() {
            return Kept::NoLimits;
        }
        return Kept::NotKnown { what: once(judged.iter().flat_map(|hour| &hour.not_known)) };
    }
    let mut why = once(judged.iter().flat_map(|hour| &hour.against));
    let beyond_mark = side.1.since(side.0) < left.1.since(left.0);
    why.extend(ask.wanted.likely.filter(|_| beyond_mark).map(|mark| Reason::by(What::Mark, mark)));
    match why.is_empty() {
        // Too little time is left of it, or its weather is gone.
        true if !covered => Kept::NotKnown { what: Vec::new() },
        true => Kept::Passed,
        false => Kept::Closed { why },
    }
}

/// Each thing once, as it comes first.
fn once<'a>(reasons: impl Iterator<Item = &'a Reason>) -> Vec<Reason> {
    let mut kept: Vec<Reason> = Vec::new();
    for reason in reasons {
        if kept.iter().all(|other| other.what != reason.what) {
            kept.push(reason.clone());
        }
    }
    kept
}
