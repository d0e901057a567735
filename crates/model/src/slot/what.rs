//! What a limit may be of.

use serde::{Deserialize, Serialize};

use crate::materials::LONGEST_HOURS;

/// What a limit is of, and what may stand against an hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Mean wind, m/s, at most.
    Wind,
    /// Gust, m/s, at most.
    Gust,
    /// Air, °C, at most.
    Warmest,
    /// Air, °C, at least.
    Coldest,
    /// Relative humidity, %, at most.
    Humidity,
    /// Air over its dew point, K, at least.
    DewPointSpread,
    /// Hours before without rain.
    RainFreeBefore,
    /// Hours after without rain.
    RainFreeAfter,
    /// Hours after without dew.
    DewFreeAfter,
    /// Hours before without a frost at the kill line.
    FrostFreeBefore,
    /// Hours after without a frost at the kill line.
    FrostFreeAfter,
    /// Bees are not flying.
    BeeQuiet,
    /// Hours since the last spray.
    Interval,
    /// Re-entry time of the last spray; not a setting.
    Reentry,
    /// The mark of the leg; not a setting.
    Mark,
}

/// Which of two figures of a kind is the stricter.
pub(super) enum Strict {
    Lower,
    Higher,
}

impl What {
    /// All that a limit may be of.
    pub const SET: [What; 13] = [
        What::Wind,
        What::Gust,
        What::Warmest,
        What::Coldest,
        What::Humidity,
        What::DewPointSpread,
        What::RainFreeBefore,
        What::RainFreeAfter,
        What::DewFreeAfter,
        What::FrostFreeBefore,
        What::FrostFreeAfter,
        What::BeeQuiet,
        What::Interval,
    ];

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            What::Wind => "wind",
            What::Gust => "gust",
            What::Warmest => "warmest",
            What::Coldest => "coldest",
            What::Humidity => "humidity",
            What::DewPointSpread => "dew-point-spread",
            What::RainFreeBefore => "rain-free-before",
            What::RainFreeAfter => "rain-free-after",
            What::DewFreeAfter => "dew-free-after",
            What::FrostFreeBefore => "frost-free-before",
            What::FrostFreeAfter => "frost-free-after",
            What::BeeQuiet => "bee-quiet",
            What::Interval => "interval",
            What::Reentry => "reentry",
            What::Mark => "mark",
        }
    }

    /// What it is, for people.
    pub fn spoken(self) -> &'static str {
        match self {
            What::Wind => "wind",
            What::Gust => "gusts",
            What::Warmest => "heat",
            What::Coldest => "cold",
            What::Humidity => "humidity",
            What::DewPointSpread => "distance to the dew point",
            What::RainFreeBefore => "rain before",
            What::RainFreeAfter => "rain after",
            What::DewFreeAfter => "dew after",
            What::FrostFreeBefore => "frost before",
            What::FrostFreeAfter => "frost after",
            What::BeeQuiet => "bees in flight",
            What::Interval => "the interval since the last spray",
            What::Reentry => "re-entry of the last spray",
            What::Mark => "the mark",
        }
    }

    /// Unit of its figure, with a blank before it.
    pub fn unit(self) -> &'static str {
        match self {
            What::Wind | What::Gust => " m/s",
            What::Warmest | What::Coldest | What::BeeQuiet => " °C",
            What::Humidity => " %",
            What::DewPointSpread => " K",
            What::RainFreeBefore | What::RainFreeAfter => " h free of rain",
            What::DewFreeAfter => " h free of dew",
            What::FrostFreeBefore | What::FrostFreeAfter => " h free of frost",
            What::Interval => " h",
            What::Reentry | What::Mark => "",
        }
    }

    /// Least and greatest figure that is taken (constructed).
    pub(super) fn range(self) -> (f64, f64) {
        match self {
            What::Wind | What::Gust => (0.1, 50.0),
            What::Warmest | What::Coldest => (-20.0, 50.0),
            What::Humidity => (1.0, 100.0),
            What::DewPointSpread => (0.1, 40.0),
            What::Interval => (0.1, LONGEST_HOURS),
            _ => (0.1, 240.0),
        }
    }

    pub(super) fn strict(self) -> Strict {
        match self {
            What::Wind | What::Gust | What::Warmest | What::Humidity | What::BeeQuiet => Strict::Lower,
            _ => Strict::Higher,
        }
    }
}
