//! What an alert is about: the facts that its mail and the API show.

use model::bloom::Basis;
use model::plan::MarkBound;
use model::slot::Slot;
use model::time::Instant;
use model::verdict::Advice;
use serde::{Deserialize, Serialize};

pub use model::alert_kind::AlertKind;

/// The facts of one alert, kept with it as they were when it was told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct About {
    /// What it is.
    pub kind: AlertKind,
    /// When: the start, the likely mark, or the moment the mark was reached.
    /// Of a withdrawal, what the alert it takes back had said.
    pub at: Option<Instant>,
    /// Early edge of that moment, when known.
    pub earliest: Option<Instant>,
    /// Late edge of that moment, when known.
    pub latest: Option<Instant>,
    /// The leg, from 1.
    pub leg: Option<usize>,
    /// Its mark, as a share of the style.
    pub mark: Option<f64>,
    /// Side of the mark that the spray must stay on.
    pub bound: Option<MarkBound>,
    /// Material planned for it.
    pub material: Option<String>,
    /// Live open flowers a tree at which the clock starts.
    pub threshold: f64,
    /// Fruit wanted on a tree.
    #[serde(default)]
    pub target: Option<f64>,
    /// What a start rests on.
    #[serde(default)]
    pub basis: Option<Basis>,
    /// End of the last reading used.
    pub as_of: Option<Instant>,
    /// Whether a decision to thin was logged.
    pub decided: bool,
    /// The curve, with how its figures came about.
    pub curve: String,
    /// The site's sources with their kinds.
    #[serde(default)]
    pub temperatures: Vec<String>,
    /// What checking them found, in sentences.
    #[serde(default)]
    pub checked: Vec<String>,
    /// What the table says of thinning.
    #[serde(default)]
    pub verdict: Option<Judged>,
    /// The night of a frost, in words.
    #[serde(default)]
    pub night: Option<String>,
    /// Whether a frost over the running leg waits to be looked at.
    #[serde(default)]
    pub on_hold: bool,
    /// Live flowers a tree that came through so far, in words.
    #[serde(default)]
    pub through: Option<String>,
    /// Hours for bees that may have been too few, in words.
    #[serde(default)]
    pub bees: Option<String>,
    /// Nobody works in the block before.
    #[serde(default)]
    pub closed_until: Option<Instant>,
    /// Whether re-entry after the latest spray was recorded, or no spray was.
    #[serde(default)]
    pub reentry_known: bool,
    /// Whether someone has confirmed every planned material.
    #[serde(default)]
    pub confirmed: Option<String>,
    /// Kind of the alert that is taken back.
    #[serde(default)]
    pub takes_back: Option<AlertKind>,
    /// The moment that people were told last, where it is another now.
    #[serde(default)]
    pub was: Option<Instant>,
    /// The moment that a mail which went out named, where it was put right since
    /// without a word.
    #[serde(default)]
    pub told: Option<Instant>,
    /// When to count open flowers next.
    #[serde(default)]
    pub count_at: Option<Instant>,
    /// The odds of that moment, in words.
    #[serde(default)]
    pub odds: Option<String>,
    /// The likely moment by them, rounded to how far they spread.
    #[serde(default)]
    pub likely: Option<String>,
    /// The same to the second, against which it is told that the time moved.
    #[serde(default)]
    pub likely_at: Option<Instant>,
    /// The slot that is named, where there is one.
    #[serde(default)]
    pub slot: Option<Slot>,
    /// What came of looking for it, in words.
    #[serde(default)]
    pub slot_told: Option<String>,
    /// What became of the slot that was named before, in words.
    #[serde(default)]
    pub lost: Option<String>,
    /// Last reading before nothing was heard any more.
    #[serde(default)]
    pub unread_from: Option<Instant>,
    /// Since when the mark may be reached, as far as unread hours leave that open.
    #[serde(default)]
    pub may_be_since: Option<Instant>,
}

/// What the table says, as far as a mail shows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// What to do.
    pub advice: Advice,
    /// The same in a sentence.
    pub says: String,
    /// Whether it is close to another.
    pub close: bool,
    /// The first thing that would change it.
    pub would_change: Option<String>,
}
