//! Readings of a site's sources, and the one temperature function made of them.

use serde::{Deserialize, Serialize};

use crate::gaps;
use crate::time::{HOUR, Instant};

mod at_block;

/// What kind of observation a reading is; shown wherever it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A thermometer near the block.
    Station,
    /// A weather model's analysis of a past hour, not a thermometer.
    ModelAnalysis,
    /// Typed in by a person.
    Hand,
}

impl Kind {
    /// The word under which the kind is written.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Station => "station",
            Kind::ModelAnalysis => "model-analysis",
            Kind::Hand => "hand",
        }
    }

    /// The kind of that word.
    pub fn named(word: &str) -> Option<Kind> {
        [Kind::Station, Kind::ModelAnalysis, Kind::Hand].into_iter().find(|kind| kind.word() == word)
    }
}

/// QARTOD's five flags of a checked reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[repr(u8)]
pub enum Flag {
    /// Checked and taken.
    Pass = 1,
    /// Not checked, taken.
    NotEvaluated = 2,
    /// Doubtful.
    Suspect = 3,
    /// Known to be wrong; never used.
    Fail = 4,
    /// Nothing was measured.
    Missing = 9,
}

impl Flag {
    /// The flag of that number.
    pub fn numbered(number: i64) -> Option<Flag> {
        [Flag::Pass, Flag::NotEvaluated, Flag::Suspect, Flag::Fail, Flag::Missing]
            .into_iter()
            .find(|flag| *flag as i64 == number)
    }

    /// Whether a reading with this flag may grow anything.
    pub fn usable(self) -> bool {
        !matches!(self, Flag::Fail | Flag::Missing)
    }
}

/// One temperature from one source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The moment of an instant; the end of an interval mean.
    pub at: Instant,
    /// Length of the interval in seconds; 0 for an instant.
    pub span: i64,
    /// Air temperature, °C.
    pub celsius: f64,
    /// What checking it gave.
    pub flag: Flag,
}

impl Reading {
    /// An instant, not yet checked.
    pub fn instant(at: Instant, celsius: f64) -> Reading {
        Reading { at, span: 0, celsius, flag: Flag::NotEvaluated }
    }

    /// A mean over the `span` seconds that end at `at`, not yet checked.
    pub fn mean_ending(at: Instant, span: i64, celsius: f64) -> Reading {
        Reading { at, span, celsius, flag: Flag::NotEvaluated }
    }

    /// Whether it says the same as another, so that the one in the other's place changes
    /// nothing. A negative zero is zero: not every database keeps it.
    pub fn says_the_same(&self, other: &Reading) -> bool {
        let celsius = |reading: &Reading| (reading.celsius + 0.0).to_bits();
        self.at == other.at
            && self.span == other.span
            && celsius(self) == celsius(other)
            && self.flag == other.flag
    }

    /// Where the reading begins to hold.
    pub fn from(&self) -> Instant {
        self.at.plus(-self.span)
    }

    /// The middle of what it covers.
    pub(crate) fn middle(&self) -> Instant {
        self.at.plus(-self.span / 2)
    }
}

/// A forecast as it was issued.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// When the provider issued it, or when it was fetched if that is not said.
    pub issued_at: Instant,
    /// Its hours; used only after the last reading.
    pub hours: Vec<Reading>,
}

/// Where the temperature of a stretch of time comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quality {
    /// Read by the site's first source at its own cadence.
    Observed,
    /// Joined over a short gap, or taken from the next source.
    Filled,
    /// Foretold, after the last reading.
    Forecast,
    /// Not known: the rate lies between two bounds.
    Unknown,
}

impl Quality {
    pub(crate) const COUNT: usize = 4;
}

/// A stretch of time with one temperature law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Begin, seconds since 1970.
    pub from: i64,
    /// End, seconds since 1970, later than `from`.
    pub to: i64,
    /// What is known of it.
    pub law: Law,
    /// Where it comes from.
    pub quality: Quality,
}

/// How temperature runs within a [`Span`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// A straight line from the first to the second value, °C.
    Line(f64, f64),
    /// Not known, but within these bounds, °C.
    Within(f64, f64),
    /// Not known at all.
    Anything,
}

/// The temperature of one site as one function of time, shared by all blocks
/// and curves on it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Stretches without holes between them, in order.
    pub spans: Vec<Span>,
    /// End of the last reading used.
    pub as_of: Option<Instant>,
    /// End of the first reading left out because it lies after `now`.
    pub ahead: Option<Instant>,
}

/// Readings up to this far apart follow one another at an hourly cadence
/// (stations report some minutes early or late): they are observed.
pub const CADENCE: i64 = HOUR + HOUR / 2;
/// Readings up to this far apart are joined by a straight line.
pub const JOINED: i64 = 3 * HOUR;

impl Series {
    /// Joins the readings of a site's observing sources, the most trusted
    /// first, and goes on with `forecast` after the last of them. Readings and
    /// their order do not matter, only which there are; readings that end after
    /// `now` are left out.
    pub fn join(sources: &[Vec<Reading>], forecast: Option<&Forecast>, now: Instant) -> Series {
        let ahead = sources.iter().flatten().map(|reading| reading.at).filter(|at| *at > now).min();
        let sources: Vec<Vec<Reading>> = sources.iter().map(|readings| usable(readings, now)).collect();
        let mut spans = gaps::observed(&sources);
        let as_of = spans
            .last()
            .map(|span| Instant(span.to))
            .or_else(|| sources.iter().flatten().map(|reading| reading.at).max());
        if let Some(forecast) = forecast {
            gaps::go_on(&mut spans, as_of, &sources, &usable(&forecast.hours, Instant::MAX));
        }
        Series { spans, as_of, ahead }
    }

    /// First moment for which anything is known.
    pub fn begin(&self) -> Option<Instant> {
        self.spans.first().map(|span| Instant(span.from))
    }

    /// Last moment for which anything is known.
    pub fn end(&self) -> Option<Instant> {
        self.spans.last().map(|span| Instant(span.to))
    }
}

/// How much warmer, K, the joined readings of the trusted sources are than those of
/// another, on average over the last seven days of overlap before `now`: by so much
/// the other is corrected where it stands in for them. None where they never
/// overlapped.
pub fn difference(trusted: &[Vec<Reading>], other: &[Reading], now: Instant) -> Option<f64> {
    let trusted: Vec<Vec<Reading>> = trusted.iter().map(|readings| usable(readings, now)).collect();
    gaps::difference(&gaps::observed(&trusted), &usable(other, now), now.0)
}

/// Usable readings that end by `now`, sorted, one for each end, none reaching
/// back over the one before.
pub(crate) fn usable(readings: &[Reading], now: Instant) -> Vec<Reading> {
    let mut kept: Vec<Reading> = readings
        .iter()
        .filter(|reading| reading.at <= now && reading.flag.usable() && reading.celsius.is_finite())
        .copied()
        .collect();
    let order = |a: &Reading, b: &Reading| {
        (a.at, a.span, a.flag as u8).cmp(&(b.at, b.span, b.flag as u8)).then(a.celsius.total_cmp(&b.celsius))
    };
    if !kept.is_sorted_by(|a, b| order(a, b).is_le()) {
        kept.sort_by(order);
    }
    kept.dedup_by_key(|reading| reading.at);
    let mut end = Instant::MIN;
    for reading in &mut kept {
        if reading.from() < end {
            reading.span = reading.at.since(end);
        }
        end = reading.at;
    }
    kept
}

#[cfg(test)]
mod tests;
