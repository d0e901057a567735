//! The kinds of alerts.

use serde::{Deserialize, Serialize};

/// What an alert says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlertKind {
    /// Open flowers are near the threshold: they are to be counted.
    CountNow,
    /// The start is near and nobody has decided whether to thin.
    Decide,
    /// The clock started.
    Started,
    /// The mark is likely within the lead time.
    HeadsUp,
    /// Low progress reached the mark on readings.
    Due,
    /// The time that was told last is another now.
    Moved,
    /// Low progress is well beyond the mark and no spray is logged.
    Overrun,
    /// No reading came for too long while a leg runs, or unread hours leave open
    /// whether the mark is reached.
    Blind,
    /// Frost is forecast.
    Frost,
    /// A night at the kill line has passed: flowers are to be looked at.
    CheckDamage,
    /// A later leg's slot is near: its flowers are to be looked at before it.
    BloomCheck,
    /// A slot that people were told of has closed.
    SlotLost,
    /// A correction takes back an alert already sent.
    Withdrawn,
}

impl AlertKind {
    /// All kinds, in the order of a season.
    pub const ALL: [AlertKind; 13] = [
        AlertKind::CountNow,
        AlertKind::Decide,
        AlertKind::Started,
        AlertKind::HeadsUp,
        AlertKind::Due,
        AlertKind::Moved,
        AlertKind::Overrun,
        AlertKind::Blind,
        AlertKind::Frost,
        AlertKind::CheckDamage,
        AlertKind::BloomCheck,
        AlertKind::SlotLost,
        AlertKind::Withdrawn,
    ];

    /// The words of all kinds, in the same order.
    pub const WORDS: [&'static str; 13] = [
        "count-now",
        "decide",
        "started",
        "heads-up",
        "due",
        "moved",
        "overrun",
        "blind",
        "frost",
        "check-damage",
        "bloom-check",
        "slot-lost",
        "withdrawn",
    ];

    /// The word under which it is kept and shown.
    pub fn word(self) -> &'static str {
        AlertKind::WORDS[self as usize]
    }

    /// The kind of that word.
    pub fn named(word: &str) -> Option<AlertKind> {
        AlertKind::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Whether it cannot wait for the morning: quiet hours do not hold it unless
    /// the person chose so, and the most urgent of several is told first.
    pub fn is_urgent(self) -> bool {
        matches!(self, AlertKind::Due | AlertKind::Overrun | AlertKind::Blind | AlertKind::Withdrawn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_has_the_word_that_it_is_serialised_as() {
        for kind in AlertKind::ALL {
            assert_eq!(serde_json::to_value(kind).unwrap(), kind.word());
            assert_eq!(AlertKind::named(kind.word()), Some(kind));
        }
        assert_eq!(AlertKind::named("Due"), None);
    }
}
