//! What one block takes from another: when bloom began, its stage, the length of
//! its styles. Never its damage: frost lies where it lies.

use serde::{Deserialize, Serialize};

use crate::bloom::{Basis, Start};
use crate::input::Fields;
use crate::stage::StageSeen;
use crate::time::{HOUR, Instant};

/// A borrowed start is known to so much less on either side (constructed: blocks of
/// one cultivar on one farm open within half a day of each other).
pub const START_WIDER: i64 = 12 * HOUR;

/// A borrowed style length is known to so much less of itself on either side
/// (constructed).
pub const STYLE_WIDER: f64 = 0.10;

/// Blocks that a block borrows from, by their ids.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Borrows {
    /// Whose start.
    pub start: Option<String>,
    /// Whose stage.
    pub stage: Option<String>,
    /// Whose style length.
    pub style_length: Option<String>,
}

impl Borrows {
    /// Reads `start`, `stage` and `style_length`, each the id of a block.
    pub fn from_fields(fields: &Fields<'_>) -> Borrows {
        Borrows {
            start: fields.text("start"),
            stage: fields.text("stage"),
            style_length: fields.text("style_length"),
        }
    }

    /// Every block that is named, each once.
    pub fn lenders(&self) -> Vec<&str> {
        let named = [&self.start, &self.stage, &self.style_length];
        let mut lenders: Vec<&str> = named.into_iter().flatten().map(String::as_str).collect();
        lenders.sort_unstable();
        lenders.dedup();
        lenders
    }
}

/// Something borrowed, and from whom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LentBy<T> {
    /// Name of the block that it is from.
    pub from: String,
    /// What it says.
    pub value: T,
}

/// What a block could borrow.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lent {
    /// A start that is not merely expected.
    pub start: Option<LentBy<Start>>,
    /// Stages in order of time.
    pub stages: Option<LentBy<Vec<(Instant, StageSeen)>>>,
    /// Style lengths, mm.
    pub style_lengths_mm: Option<LentBy<Vec<f64>>>,
}

impl Lent {
    /// Reads what a season file says of it: `start = { from, at, earliest, latest }`,
    /// `stage = { from, at, bbch | stage }`, `style_length = { from, lengths_mm }`.
    pub fn from_fields(fields: &Fields<'_>) -> Lent {
        Lent {
            start: part(fields, "start", |fields| {
                let at = if fields.require("at") { fields.instant("at") } else { None };
                let (earliest, latest) = (fields.instant("earliest"), fields.instant("latest"));
                let at = at?;
                Some(Start {
                    at,
                    earliest: earliest.or(Some(at)),
                    latest: latest.or(Some(at)),
                    basis: Basis::Logged,
                })
            }),
            stages: part(fields, "stage", |fields| {
                let at = if fields.require("at") { fields.instant("at") } else { None };
                let seen = StageSeen::from_fields(fields);
                Some(vec![(at?, seen?)])
            }),
            style_lengths_mm: part(fields, "style_length", |fields| {
                fields.require("lengths_mm");
                fields.numbers("lengths_mm", crate::block::STYLE_MM.0, crate::block::STYLE_MM.1)
            }),
        }
    }
}

fn part<T>(
    fields: &Fields<'_>,
    name: &'static str,
    read: impl FnOnce(&Fields<'_>) -> Option<T>,
) -> Option<LentBy<T>> {
    let inner = fields.table(name)?;
    let (from, value) = (inner.required_text("from"), read(&inner));
    inner.refuse_unknown();
    Some(LentBy { from: from?, value: value? })
}

/// A borrowed start, as much wider as it is less sure. An edge that the lender does
/// not know is not known here either.
pub fn widened(start: Start) -> Start {
    Start {
        earliest: start.earliest.map(|edge| edge.plus(-START_WIDER)),
        latest: start.latest.map(|edge| edge.plus(START_WIDER)),
        ..start
    }
}
