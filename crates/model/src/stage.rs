//! Stages of bud and bloom: the nine that kill temperatures are known for, and
//! their place on the BBCH scale.

use serde::{Deserialize, Serialize};

use crate::input::Fields;
use crate::units::TemperatureUnit;

/// A stage of the table of kill temperatures, in the order of the season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// The scales part and silvery tissue shows.
    SilverTip,
    /// The tips of the leaves show green.
    GreenTip,
    /// Half an inch of green stands out of the bud.
    HalfInchGreen,
    /// The flower buds show, close together.
    TightCluster,
    /// The king's bud shows pink.
    FirstPink,
    /// All buds of the cluster show pink: balloon.
    FullPink,
    /// The king flower is open.
    FirstBloom,
    /// Most flowers are open.
    FullBloom,
    /// Petals have fallen.
    PostBloom,
}

use Stage::*;

/// Stage, its word, its BBCH code, and the temperatures in °F that kill 10 % and
/// 90 % of the buds or flowers within 30 minutes.
///
/// Temperatures: Penn State Extension and Michigan State Extension after
/// bulletins of Washington State University (published). Codes: approximate
/// (derived from the descriptions on both scales).
const TABLE: [(Stage, &str, u8, f64, f64); 9] = [
    (SilverTip, "silver-tip", 51, 15.0, 2.0),
    (GreenTip, "green-tip", 53, 18.0, 10.0),
    (HalfInchGreen, "half-inch-green", 54, 23.0, 15.0),
    (TightCluster, "tight-cluster", 56, 27.0, 21.0),
    (FirstPink, "first-pink", 57, 28.0, 24.0),
    (FullPink, "full-pink", 59, 28.0, 25.0),
    (FirstBloom, "first-bloom", 60, 28.0, 25.0),
    (FullBloom, "full-bloom", 65, 28.0, 25.0),
    (PostBloom, "post-bloom", 67, 28.0, 25.0),
];

/// Last BBCH code that says anything of this year's flowers or fruitlets; from
/// 80 on the codes tell of ripening and of autumn.
const LAST_CODE: u8 = 79;

impl Stage {
    /// All of them, earliest first.
    pub const ALL: [Stage; 9] = [
        SilverTip,
        GreenTip,
        HalfInchGreen,
        TightCluster,
        FirstPink,
        FullPink,
        FirstBloom,
        FullBloom,
        PostBloom,
    ];

    /// The words of all of them, in the same order.
    pub const WORDS: [&str; 9] = [
        "silver-tip",
        "green-tip",
        "half-inch-green",
        "tight-cluster",
        "first-pink",
        "full-pink",
        "first-bloom",
        "full-bloom",
        "post-bloom",
    ];

    fn row(self) -> &'static (Stage, &'static str, u8, f64, f64) {
        &TABLE[self as usize]
    }

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        self.row().1
    }

    /// The stage of that word.
    pub fn named(word: &str) -> Option<Stage> {
        Stage::ALL.into_iter().find(|stage| stage.word() == word)
    }

    /// For people, as `half inch green`.
    pub fn spoken(self) -> String {
        self.word().replace('-', " ")
    }

    /// The BBCH code at which it begins, approximately.
    pub fn bbch(self) -> u8 {
        self.row().2
    }

    /// The latest stage that is reached at a BBCH code, approximately; none
    /// before code 51 and from 80 on. Codes between two stages take the earlier.
    pub fn at_bbch(code: u8) -> Option<Stage> {
        if code > LAST_CODE {
            return None;
        }
        Stage::ALL.into_iter().rev().find(|stage| stage.bbch() <= code)
    }

    /// Temperature that kills one in ten within 30 minutes, °F (published).
    pub fn kill_10_f(self) -> f64 {
        self.row().3
    }

    /// Temperature that kills nine in ten within 30 minutes, °F (published).
    pub fn kill_90_f(self) -> f64 {
        self.row().4
    }

    /// [`Self::kill_10_f`] in °C, not rounded.
    pub fn kill_10_c(self) -> f64 {
        TemperatureUnit::Fahrenheit.to_celsius(self.kill_10_f())
    }

    /// [`Self::kill_90_f`] in °C, not rounded.
    pub fn kill_90_c(self) -> f64 {
        TemperatureUnit::Fahrenheit.to_celsius(self.kill_90_f())
    }
}

/// A stage as someone logged it. Code, name and share stay apart: names in use
/// in the US differ in what share of the flowers they mean, so none is made of
/// another.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StageSeen {
    /// BBCH code, 0 to 99, where one was given.
    pub bbch: Option<u8>,
    /// Name, where one was given.
    pub stage: Option<Stage>,
    /// Share of the flowers that were open, 0 to 1, where it was seen.
    pub share_open: Option<f64>,
}

impl StageSeen {
    /// Reads the fields of a log entry of the kind `stage`: `bbch`, `stage`,
    /// `share_open`; one of the first two must be there.
    pub fn from_fields(fields: &Fields<'_>) -> Option<StageSeen> {
        let bbch = fields.whole("bbch", 0, 99);
        let stage = fields.word("stage", &Stage::WORDS);
        let share_open = fields.number("share_open", 0.0, 1.0);
        if !fields.has("bbch") && !fields.has("stage") {
            fields.fault("bbch", "is missing; give bbch or stage");
        }
        let bbch = bbch.and_then(|code| u8::try_from(code).ok());
        let stage = stage.and_then(Stage::named);
        (bbch.is_some() || stage.is_some()).then_some(StageSeen { bbch, stage, share_open })
    }

    /// The stage of the kill table: as named, else by the code.
    pub fn stage(&self) -> Option<Stage> {
        self.stage.or_else(|| Stage::at_bbch(self.bbch?))
    }

    /// The code: as given, else the one at which the named stage begins.
    pub fn bbch(&self) -> Option<u8> {
        self.bbch.or_else(|| self.stage.map(Stage::bbch))
    }
}

#[cfg(test)]
mod tests;
