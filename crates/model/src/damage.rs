//! What a frost left: flowers cut open and counted, and the live flowers that
//! are on a tree by them.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::block::MOST_PER_TREE;
use crate::input::Fields;
use crate::wood::Wood;

mod shares;
mod told;
mod walk;
pub use shares::{Figure, SETS_ONE_IN, Share, design_effect, kings, laterals, live_flowers};
pub(crate) use walk::ONE_WALK;
pub use walk::{BROWNING, Damage, Height, Heights, Live, Worse, clusters_on_a_tree, early};

/// Most flowers that one count is taken to have.
const MOST_COUNTED: i64 = 1_000_000;

/// How high in the trees clusters were cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// The lowest limbs.
    Low,
    /// Between.
    Mid,
    /// The tops.
    High,
}

/// One count of living and dead flowers in clusters that were cut open.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    /// King flowers alive.
    pub kings_alive: i64,
    /// King flowers dead; a cluster without a king flower counts here.
    pub kings_dead: i64,
    /// Laterals alive, where they were counted.
    pub laterals_alive: Option<i64>,
    /// Laterals dead, where they were counted.
    pub laterals_dead: Option<i64>,
    /// Clusters cut: each has one king, alive or dead.
    pub clusters_examined: i64,
    /// Clusters on each tree counted; empty when none was.
    pub clusters_per_tree: Vec<i64>,
    /// Local date on which the night begins that it was counted after.
    pub after_night: Option<NaiveDate>,
    /// How high in the trees.
    pub place: Option<Place>,
    /// From which wood.
    pub wood: Option<Wood>,
}

impl Tally {
    /// Reads the fields of a log entry of the kind `damage-count`.
    ///
    /// Both counts of kings must be there, and be the clusters examined where
    /// those are given. `after_night` is a date such as `2026-04-28`.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Tally> {
        let counted = |name| fields.whole(name, 0, MOST_COUNTED);
        let required = |name| if fields.require(name) { counted(name) } else { None };
        let (alive, dead) = (required("kings_alive"), required("kings_dead"));
        let (laterals_alive, laterals_dead) = (counted("laterals_alive"), counted("laterals_dead"));
        let examined = counted("clusters_examined");
        let per_tree = fields.wholes("clusters_per_tree", 0, MOST_PER_TREE as i64);
        let after_night = night(fields);
        let place = fields.word("where", &["low", "mid", "high"]);
        let wood = Wood::from_fields(fields);
        let (alive, dead) = (alive?, dead?);
        let clusters_examined = clusters(fields, alive, dead, examined)?;
        Some(Tally {
            kings_alive: alive,
            kings_dead: dead,
            laterals_alive,
            laterals_dead,
            clusters_examined,
            clusters_per_tree: per_tree.unwrap_or_default(),
            after_night,
            place: place.map(|word| match word {
                "low" => Place::Low,
                "mid" => Place::Mid,
                _ => Place::High,
            }),
            wood,
        })
    }

    /// Laterals alive and laterals examined, where both sorts were counted and
    /// there were any.
    pub fn laterals(&self) -> Option<(i64, i64)> {
        let (alive, dead) = (self.laterals_alive?, self.laterals_dead?);
        (alive + dead > 0).then_some((alive, alive + dead))
    }
}

/// The clusters that were cut, which the kings must add up to.
fn clusters(fields: &Fields<'_>, alive: i64, dead: i64, examined: Option<i64>) -> Option<i64> {
    let sum = alive + dead;
    match examined {
        Some(0) => fields.fault("clusters_examined", "is 0: a count needs at least one cluster cut open"),
        Some(examined) if examined != sum => fields.fault(
            "clusters_examined",
            format!(
                "is {examined}, but {alive} kings alive and {dead} dead make {sum}: each cluster has one king, \
                 and a cluster without a king flower goes into kings_dead"
            ),
        ),
        // What was given for it could not be read, and is told already.
        None if fields.has("clusters_examined") => {}
        None if sum == 0 => {
            fields.fault("kings_alive", "is 0 like kings_dead: a count needs at least one cluster cut open");
        }
        Some(_) | None => return Some(sum),
    }
    None
}

/// The date of the night; other forms of a date, and other texts, are faults.
fn night(fields: &Fields<'_>) -> Option<NaiveDate> {
    let text = fields.text("after_night")?;
    let date = NaiveDate::parse_from_str(&text, "%Y-%m-%d").ok();
    // The parser alone would take 2026-4-28 too: a night has one way to be written.
    let date = date.filter(|date| date.to_string() == text);
    if date.is_none() {
        fields.fault(
            "after_night",
            format!("`{text}` is not a date; write the date on which the night began, like 2026-04-28"),
        );
    }
    date
}

#[cfg(test)]
mod tests;
