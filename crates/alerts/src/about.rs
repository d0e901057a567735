//! What an alert is about: the facts that its mail and the API show.

use model::bloom::Basis;
use model::plan::MarkBound;
use model::time::Instant;
use model::verdict::Advice;
use serde::{Deserialize, Serialize};

/// The kinds of alerts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlertKind {
    /// The clock started.
    Started,
    /// The mark is likely within the lead time.
    HeadsUp,
    /// Low progress reached the mark on readings.
    Due,
    /// The start is near and nobody has decided whether to thin.
    Decide,
    /// A night at the kill line has passed: flowers are to be looked at.
    CheckDamage,
    /// A correction takes back an alert already sent.
    Withdrawn,
}

impl AlertKind {
    /// The word under which it is kept and shown.
    pub fn word(self) -> &'static str {
        match self {
            AlertKind::Started => "started",
            AlertKind::HeadsUp => "heads-up",
            AlertKind::Due => "due",
            AlertKind::Decide => "decide",
            AlertKind::CheckDamage => "check-damage",
            AlertKind::Withdrawn => "withdrawn",
        }
    }

    /// All kinds.
    pub const ALL: [AlertKind; 6] = [
        AlertKind::Started,
        AlertKind::HeadsUp,
        AlertKind::Due,
        AlertKind::Decide,
        AlertKind::CheckDamage,
        AlertKind::Withdrawn,
    ];

    /// The kind of that word.
    pub fn named(word: &str) -> Option<AlertKind> {
        AlertKind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

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
