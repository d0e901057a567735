//! What an alert is about: the facts that its mail and the API show.

use model::bloom::Basis;
use model::plan::MarkBound;
use model::time::Instant;
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
            AlertKind::Withdrawn => "withdrawn",
        }
    }

    /// The kind of that word.
    pub fn named(word: &str) -> Option<AlertKind> {
        [AlertKind::Started, AlertKind::HeadsUp, AlertKind::Due, AlertKind::Withdrawn]
            .into_iter()
            .find(|kind| kind.word() == word)
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
    /// Kind of the alert that is taken back.
    #[serde(default)]
    pub takes_back: Option<AlertKind>,
}
