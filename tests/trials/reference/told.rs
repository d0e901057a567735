//! What must have been told.

use super::legs::START;
use super::{HOUR, Season};

/// How long after it a crossing is still worth telling.
const USEFUL: i64 = 72 * HOUR;

/// What a crossing is told as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The clock started.
    Started,
    /// The mark is reached. Where a pass first looks after the overrun line was
    /// reached too, the other one is told in its place.
    Due,
    /// The overrun line is reached.
    Overrun,
}

/// A crossing that the promise speaks of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// What it is told as.
    pub kind: Kind,
    /// The leg's key: `start`, or the id of the spray that opened it.
    pub leg: String,
    /// Unix second of the crossing; right to [`WITHIN`](super::WITHIN).
    pub at: i64,
    /// Unix second from which it is of no use any more: its leg ended, or three
    /// days went by.
    pub useful_until: i64,
    /// Whether the sums leave no doubt that it came about.
    pub certain: bool,
}

impl Told {
    /// Whether it is to be sent, and not only kept as skipped, by a pass at `now`.
    pub fn useful(&self, now: i64) -> bool {
        (self.at..self.useful_until).contains(&now)
    }
}

impl Season {
    /// Whether telling it is no invention: the crossing came about, or the sums
    /// leave open whether it did.
    pub fn allows(&self, kind: Kind, leg: &str) -> bool {
        self.legs.iter().filter(|one| one.opened_by == leg).any(|one| match kind {
            Kind::Started => leg == START,
            Kind::Due => one.reached.earliest.is_some(),
            Kind::Overrun => one.overrun.earliest.is_some(),
        })
    }

    /// Crossings up to `now` that must each have their row, on what is now
    /// known, in the order of legs.
    pub fn told(&self, now: i64) -> Vec<Told> {
        let mut told = Vec::new();
        for leg in &self.legs {
            let started = (leg.opened_by == START).then_some(leg.from);
            for (kind, at, certain) in [
                (Kind::Started, started, true),
                (Kind::Due, leg.reached.at, leg.reached.certain()),
                (Kind::Overrun, leg.overrun.at, leg.overrun.certain()),
            ] {
                let Some(at) = at.filter(|at| *at <= now) else { continue };
                let useful_until = leg.ended_at.unwrap_or(i64::MAX).min(at + USEFUL);
                told.push(Told { kind, leg: leg.opened_by.clone(), at, useful_until, certain });
            }
        }
        told
    }
}
