//! One hour held against the limits.

use serde::{Deserialize, Serialize};

use super::Ask;
use super::hours::Hour;
use super::limits::{BEES_STAY_IN_C, Limit};
use super::reason::Reason;
use super::what::What;
use crate::frost::COLD_MARGIN_C;
use crate::time::{HOUR, Instant};

/// Figures nearer than this are one: units and sums leave less.
const SAME: f64 = 1e-9;

/// Where an hour stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stand {
    /// Within every limit that was set.
    Practical,
    /// Something speaks against it.
    Against,
    /// Nothing known speaks against it, but something that a limit asks for is not
    /// known.
    NotKnown,
    /// No limit is set, so nothing is said of it.
    NoLimits,
}

impl Stand {
    /// The words for it.
    pub fn spoken(self) -> &'static str {
        match self {
            Stand::Practical => "within the limits set",
            Stand::Against => "outside the limits set",
            Stand::NotKnown => "not known",
            Stand::NoLimits => "no limits set",
        }
    }
}

/// A fact that stands beside an hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Beside {
    /// Sun down all through it, or air under 10 °C: honey bees stay in.
    BeeQuiet,
    /// Sun up and 10 °C or more for some of it.
    BeesMayFly,
    /// Sun up, and nobody tells the temperature.
    BeesNotKnown,
    /// Sun down: spray dries slowly.
    DriesSlowly,
    /// The mark may come later than this.
    MarkMayBeLater,
    /// The mark may have passed before this.
    MarkMayHavePassed,
}

/// The limit that an hour, or a slot, comes nearest to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Margin {
    /// What it is of.
    pub what: What,
    /// What the hour has.
    pub figure: f64,
    /// The limit.
    pub limit: f64,
    /// How many times a usual error of a forecast lies between them, 0 or more:
    /// 1.5 m/s of wind, 2.5 of gusts, 1.5 K, 10 % of humidity (constructed).
    pub errors: f64,
}

impl Margin {
    /// The nearer of two, of equals the first.
    pub(super) fn nearer(one: Option<Margin>, other: Option<Margin>) -> Option<Margin> {
        match (one, other) {
            (Some(one), Some(other)) if other.errors < one.errors => Some(other),
            (one, other) => one.or(other),
        }
    }
}

/// One hour, with what speaks against it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HourStand {
    /// When it begins.
    pub from: Instant,
    /// When it ends.
    pub to: Instant,
    /// Where it stands.
    pub stand: Stand,
    /// All that speaks against it.
    pub against: Vec<Reason>,
    /// What a limit asks for and nobody tells.
    pub not_known: Vec<Reason>,
    /// Facts beside.
    pub beside: Vec<Beside>,
    /// The limit of the air that it comes nearest to, of those it is within.
    pub least: Option<Margin>,
}

impl HourStand {
    /// Adds what speaks against it.
    pub(super) fn oppose(&mut self, reason: Reason) {
        self.against.push(reason);
        self.stand = Stand::Against;
    }
}

/// What one limit makes of an hour.
enum Found {
    Within,
    Near(Margin),
    Against(Reason),
    Unknown(Reason),
}

/// Judges one hour by everything but the mark.
pub(super) fn judge(ask: &Ask<'_>, held: &[&Limit], hour: &Hour) -> HourStand {
    let mut stand = HourStand {
        from: hour.from,
        to: hour.to(),
        stand: if held.is_empty() { Stand::NoLimits } else { Stand::Practical },
        against: Vec::new(),
        not_known: Vec::new(),
        beside: Vec::new(),
        least: None,
    };
    let sun_up = ask.sun.is_up(hour.from) || !ask.sun.changes(hour.from, hour.to()).is_empty();
    for limit in held {
        match weigh(ask, limit, hour, sun_up) {
            Found::Within => {}
            Found::Near(margin) => stand.least = Margin::nearer(stand.least, Some(margin)),
            Found::Unknown(reason) => stand.not_known.push(reason),
            Found::Against(reason) => stand.oppose(reason),
        }
    }
    if let Some(until) = ask.last_spray.and_then(|spray| spray.reentry_until)
        && hour.from < until
    {
        stand.oppose(Reason::by(What::Reentry, until));
    }
    if stand.stand == Stand::Practical && !stand.not_known.is_empty() {
        stand.stand = Stand::NotKnown;
    }
    stand.beside.push(match (sun_up, hour.celsius) {
        (false, _) => Beside::BeeQuiet,
        (true, Some((_, most))) if most < BEES_STAY_IN_C => Beside::BeeQuiet,
        (true, Some(_)) => Beside::BeesMayFly,
        (true, None) => Beside::BeesNotKnown,
    });
    if !sun_up {
        stand.beside.push(Beside::DriesSlowly);
    }
    stand
}

fn weigh(ask: &Ask<'_>, limit: &Limit, hour: &Hour, sun_up: bool) -> Found {
    let (least_c, most_c) = (hour.celsius.map(|(least, _)| least), hour.celsius.map(|(_, most)| most));
    match limit.what {
        What::Wind => at_most(limit, hour.air.wind_m_s, 1.5),
        What::Gust => at_most(limit, hour.air.gust_m_s, 2.5),
        What::Warmest => at_most(limit, most_c, 1.5),
        What::Humidity => at_most(limit, hour.humidity_percent(), 10.0),
        What::Coldest => at_least(limit, least_c, 1.5),
        What::DewPointSpread => at_least(limit, hour.dew_point_spread(), 1.5),
        What::RainFreeBefore => rain(ask, limit, hour.from.plus(-seconds(limit)), hour.to()),
        What::RainFreeAfter => rain(ask, limit, hour.from, hour.to().plus(seconds(limit))),
        What::DewFreeAfter => dew(ask, limit, hour.to(), hour.to().plus(seconds(limit))),
        What::FrostFreeBefore => frost(ask, limit, hour.from.plus(-seconds(limit)), hour.to()),
        What::FrostFreeAfter => frost(ask, limit, hour.from, hour.to().plus(seconds(limit))),
        What::BeeQuiet => match (sun_up, most_c) {
            (true, None) => Found::Unknown(Reason::of(limit, None, None)),
            (true, Some(celsius)) if celsius >= limit.at => {
                Found::Against(Reason::of(limit, Some(celsius), None))
            }
            _ => Found::Within,
        },
        What::Interval => {
            let until = ask.last_spray.map(|spray| spray.finished_at.plus(seconds(limit)));
            match until.filter(|until| hour.from < *until) {
                Some(until) => Found::Against(Reason::of(limit, None, Some(until))),
                None => Found::Within,
            }
        }
        What::Reentry | What::Mark => Found::Within,
    }
}

/// Whole seconds of a limit in hours, rounded up.
fn seconds(limit: &Limit) -> i64 {
    (limit.at * HOUR as f64).ceil() as i64
}

fn at_most(limit: &Limit, figure: Option<f64>, error: f64) -> Found {
    beyond(limit, figure, error, |figure| limit.at - figure)
}

fn at_least(limit: &Limit, figure: Option<f64>, error: f64) -> Found {
    beyond(limit, figure, error, |figure| figure - limit.at)
}

/// `room` is how far a figure lies within its limit.
fn beyond(limit: &Limit, figure: Option<f64>, error: f64, room: impl Fn(f64) -> f64) -> Found {
    let Some(figure) = figure.filter(|figure| figure.is_finite()) else {
        return Found::Unknown(Reason::of(limit, None, None));
    };
    let room = room(figure);
    if room < -SAME {
        return Found::Against(Reason::of(limit, Some(figure), None));
    }
    let errors = room.max(0.0) / error;
    Found::Near(Margin { what: limit.what, figure, limit: limit.at, errors })
}

/// Looks for rain between two moments: the first wet hour speaks against, else the
/// first that nobody tells is not known.
fn rain(ask: &Ask<'_>, limit: &Limit, from: Instant, to: Instant) -> Found {
    stretch(ask, limit, (from, to), |hour| hour.air.rain_mm, |mm| mm > 0.0)
}

/// The same for dew.
fn dew(ask: &Ask<'_>, limit: &Limit, from: Instant, to: Instant) -> Found {
    let near = limit.spread.unwrap_or(0.0);
    stretch(ask, limit, (from, to), Hour::dew_point_spread, |spread| spread < near - SAME)
}

fn stretch(
    ask: &Ask<'_>,
    limit: &Limit,
    (from, to): (Instant, Instant),
    figure: impl Fn(&Hour) -> Option<f64>,
    speaks_against: impl Fn(f64) -> bool,
) -> Found {
    let (hours, covered) = ask.hours.within(from, to);
    let mut unknown = None;
    for hour in hours {
        match figure(hour) {
            Some(figure) if speaks_against(figure) => {
                return Found::Against(Reason::of(limit, Some(figure), Some(hour.from)));
            }
            Some(_) => {}
            None => unknown = unknown.or(Some(hour.from)),
        }
    }
    match unknown.or_else(|| (!covered).then(|| gap(hours, from))) {
        Some(at) => Found::Unknown(Reason::of(limit, None, Some(at))),
        None => Found::Within,
    }
}

/// From when on hours do not cover a stretch that begins at `from`.
fn gap(hours: &[Hour], from: Instant) -> Instant {
    match (hours.first(), hours.last()) {
        (Some(first), Some(last)) if first.from <= from => last.to(),
        _ => from,
    }
}

/// Frost between two moments: up to now by what was read, from then on by hours that
/// come within the margin of the kill line.
fn frost(ask: &Ask<'_>, limit: &Limit, from: Instant, to: Instant) -> Found {
    let read = ask.frosts.iter().filter(|at| (from..to).contains(*at)).max();
    if let Some(at) = read {
        return Found::Against(Reason::of(limit, Some(ask.kill_line_c), Some(*at)));
    }
    if to <= ask.now {
        return Found::Within;
    }
    let line = ask.kill_line_c + COLD_MARGIN_C;
    let coldest = |hour: &Hour| hour.celsius.map(|(least, _)| least);
    stretch(ask, limit, (from.max(ask.now), to), coldest, |celsius| celsius <= line + SAME)
}
