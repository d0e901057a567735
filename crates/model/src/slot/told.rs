//! Slots in words.

use chrono_tz::Tz;

use super::judged::{Beside, HourStand, Margin, Stand};
use super::kept::Kept;
use super::limits::{Limit, Status};
use super::reason::Reason;
use super::search::{Answer, Edge, Outcome, Slot};
use super::what::What;
use crate::materials::figure;
use crate::plan::MarkBound;
use crate::time::HOUR;
use crate::words::NO_REENTRY;

impl Slot {
    /// From when to when, how long, and the limit it comes nearest to.
    pub fn told(&self, zone: Tz) -> String {
        let least = self.least.map_or(String::new(), |least| format!("; least room: {}", least.told()));
        let bees = if self.bee_quiet { "; honey bees stay in" } else { "" };
        let night = if self.at_night { "; at night spray dries slowly" } else { "" };
        format!(
            "{} to {} ({} h{least}{bees}{night})",
            self.begin.spoken(zone),
            self.end.spoken(zone),
            figure((self.hours * 10.0).round() / 10.0)
        )
    }
}

impl Margin {
    /// As `wind 3.9 m/s, limit 4.5 m/s`.
    pub fn told(&self) -> String {
        let name = match self.what {
            What::Warmest | What::Coldest => "air",
            other => other.spoken(),
        };
        format!("{name} {:.1}{unit}, limit {:.1}{unit}", self.figure, self.limit, unit = self.what.unit())
    }
}

impl Limit {
    /// As `wind 4.5 m/s (what our sprayer bears; own)`.
    pub fn told(&self) -> String {
        let at = format!("{}{}", figure((self.at * 10.0).round() / 10.0), self.what.unit());
        let status = match self.status {
            Status::Published => "published",
            Status::FromMemory => "from memory",
            Status::Constructed => "constructed",
            Status::CommonPractice => "common practice",
            Status::Own => "own",
        };
        format!("{} {at} ({}; {status})", self.what.spoken(), self.source)
    }
}

impl Beside {
    /// The same in a few words.
    pub fn told(self) -> &'static str {
        match self {
            Beside::BeeQuiet => "honey bees stay in (sun down or under 10 °C)",
            Beside::BeesMayFly => "bees may fly",
            Beside::BeesNotKnown => "sun up; whether bees fly is not known without a temperature",
            Beside::DriesSlowly => "night: spray dries slowly",
            Beside::MarkMayBeLater => "the mark may come later than this",
            Beside::MarkMayHavePassed => "the mark may have passed before this",
        }
    }
}

impl HourStand {
    /// When, where it stands, and all that speaks against it or is not known.
    pub fn told(&self, zone: Tz) -> String {
        let stand = match self.stand {
            Stand::Practical | Stand::NoLimits => self.stand.spoken().to_owned(),
            Stand::NotKnown => listed(&self.not_known, zone),
            Stand::Against => {
                let mut against = listed(&self.against, zone);
                if !self.not_known.is_empty() {
                    against = format!("{against}; {}", listed(&self.not_known, zone));
                }
                against
            }
        };
        let beside = self.beside.iter().map(|beside| format!(" ({})", beside.told()));
        format!("{}: {stand}{}", self.from.spoken(zone), beside.collect::<String>())
    }
}

fn listed(reasons: &[Reason], zone: Tz) -> String {
    reasons.iter().map(|reason| reason.told(zone)).collect::<Vec<_>>().join("; ")
}

impl Answer {
    /// The whole answer in sentences, the slot first.
    pub fn told(&self, zone: Tz) -> Vec<String> {
        let mut told = vec![self.found(zone)];
        if let Some(beyond) = self.beyond {
            told.push(format!("The first slot after the mark: {}.", beyond.told(zone)));
        }
        if self.outcome != Outcome::NoLimits {
            told.extend(self.edges.iter().filter(|found| found.edge != Edge::Likely).map(|found| {
                let edge = if found.edge == Edge::Early { "early" } else { "late" };
                let slot = found.slot.map_or("none".to_owned(), |slot| slot.told(zone));
                format!("If the mark comes as {edge} as {}: {slot}.", found.at.spoken(zone))
            }));
        }
        told.extend(self.limits_told());
        told.extend(self.facts.iter().map(|fact| format!("{} ({})", fact.says, fact.source)));
        if self.reentry_unrecorded {
            told.push(NO_REENTRY.to_owned());
        }
        told
    }

    /// The slot, with the limits that it rests on and those that nobody set.
    pub fn told_short(&self, zone: Tz) -> String {
        let limits = self.limits_told();
        std::iter::once(self.found(zone)).chain(limits).collect::<Vec<_>>().join(" ")
    }

    fn limits_told(&self) -> Vec<String> {
        if self.limits.is_empty() {
            return Vec::new();
        }
        let limits: Vec<String> = self.limits.iter().map(Limit::told).collect();
        let mut told = vec![format!("Limits set: {}.", limits.join("; "))];
        if !self.not_set.is_empty() {
            let not_set: Vec<&str> = self.not_set.iter().map(|what| what.spoken()).collect();
            told.push(format!("No limit is set for {}.", not_set.join(", ")));
        }
        told
    }

    /// The sentence on the slot itself.
    fn found(&self, zone: Tz) -> String {
        let side = match self.wanted.bound {
            MarkBound::NotBefore => "from its mark on",
            MarkBound::NotAfter => "ahead of its mark",
        };
        let leg = self.wanted.leg;
        let between = self
            .searched
            .map_or(String::new(), |(from, to)| format!("from {} to {}", from.spoken(zone), to.spoken(zone)));
        match (self.outcome, self.slot) {
            (Outcome::Named, Some(slot)) => {
                format!("Leg {leg}, {side}, within the limits set: {}.", slot.told(zone))
            }
            (Outcome::NoTime, _) => {
                format!("Leg {leg}: when its mark is reached is not known yet, so no slot is named.")
            }
            (Outcome::NoWeather, _) => {
                format!("Leg {leg}, {side}: the forecast does not reach there, so no slot is named.")
            }
            (Outcome::NoLimits, _) => format!(
                "Leg {leg}, {side}: no limits set. What stands beside each hour is fact; whether it will do is yours \
                 to say."
            ),
            (Outcome::TooShort, _) => {
                let longest = self.slots.iter().map(|slot| slot.hours).fold(0.0, f64::max);
                format!(
                    "Leg {leg}, {side}: no slot {between} is long enough. The work takes {:.1} h, the longest stretch \
                     within the limits {longest:.1} h.{}",
                    self.needed as f64 / HOUR as f64,
                    self.most_in_the_way()
                )
            }
            (Outcome::NotKnown, _) => format!(
                "Leg {leg}, {side}: no hour {between} is within the limits by what is known, and of some it is not \
                 known: {}.{}",
                self.unknown(),
                self.most_in_the_way()
            ),
            (Outcome::Never | Outcome::Named, _) => {
                format!(
                    "Leg {leg}, {side}: no hour {between} is within the limits.{}",
                    self.most_in_the_way()
                )
            }
        }
    }

    /// What stands in the way most, and what does so alone.
    fn most_in_the_way(&self) -> String {
        let Some(most) = self.in_the_way.first() else { return String::new() };
        let alone = self.in_the_way.iter().max_by_key(|way| way.alone).filter(|way| way.alone > 0);
        let alone = match alone {
            Some(way) if way.what == most.what => format!(", in {} of them alone", way.alone),
            Some(way) => format!("; {} alone in {}", way.what.spoken(), way.alone),
            None => String::new(),
        };
        format!(" Most in the way: {}, in {} hours{alone}.", most.what.spoken(), most.hours)
    }

    /// What is not known, each once.
    fn unknown(&self) -> String {
        let mut names: Vec<&str> = Vec::new();
        for reason in self.hours.iter().flat_map(|hour| &hour.not_known) {
            if !names.contains(&reason.what.spoken()) {
                names.push(reason.what.spoken());
            }
        }
        names.join(", ")
    }
}

impl Kept {
    /// What became of the slot `named`, in words.
    pub fn told(&self, named: &Slot, zone: Tz) -> String {
        let slot = format!("The slot {} to {}", named.begin.spoken(zone), named.end.spoken(zone));
        match self {
            Kept::Holds => format!("{slot} stands as it was named."),
            Kept::Shorter { left } => format!("{slot} is shorter now: {}.", left.told(zone)),
            Kept::Closed { why } => format!("{slot} has closed: {}.", listed(why, zone)),
            Kept::Passed => format!("{slot} has gone by."),
            Kept::NotKnown { what } if what.is_empty() => {
                format!("Whether {} still stands is not known: the forecast does not reach it.", small(&slot))
            }
            Kept::NotKnown { what } => {
                format!("Whether {} still stands is not known: {}.", small(&slot), listed(what, zone))
            }
            Kept::NoLimits => format!("{slot} was named by limits that are not set any more."),
        }
    }
}

fn small(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or(String::new(), |first| first.to_lowercase().collect::<String>() + letters.as_str())
}
