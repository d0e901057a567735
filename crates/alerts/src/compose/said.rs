//! What one alert says.

use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::bloom::Basis;
use model::plan::MarkBound;
use model::time::Instant;
use model::verdict::Advice;
use model::words;

use crate::about::About;

/// One alert of a block, to be put into words.
pub(super) struct Words<'a> {
    pub(super) block: &'a str,
    pub(super) cultivar: &'a str,
    pub(super) farm: &'a str,
    pub(super) about: &'a About,
    pub(super) zone: Tz,
}

impl Words<'_> {
    fn moment(&self, at: Option<Instant>) -> String {
        at.map_or_else(|| "an unknown time".to_owned(), |at| at.spoken(self.zone))
    }

    fn mark(&self) -> String {
        self.about.mark.map_or_else(|| "no mark".to_owned(), |mark| format!("{mark:.2} of the style"))
    }

    /// Block, time, and what to do, the essence within 70 characters.
    pub(super) fn subject(&self) -> String {
        let (block, at) = (self.block, self.moment(self.about.at));
        let likely = self.about.likely.as_deref().unwrap_or(&at);
        match self.about.kind {
            AlertKind::Started => {
                let by = if self.about.basis == Some(Basis::NoLaterThan) { "by " } else { "" };
                format!("{block}: bloom clock started {by}{at} - get the sprayer ready")
            }
            AlertKind::HeadsUp => match self.before_spray() {
                Some((first, _)) => format!("{block}: mark likely {likely} - {}", self.when_open(first)),
                None => format!("{block}: spray likely due {likely} - plan it"),
            },
            AlertKind::Due => match self.before_spray() {
                Some((first, _)) => format!("{block}: at its mark since {at} - {}", self.when_open(first)),
                None => format!("{block}: spray due since {at} - {}", self.when_open("look, then spray")),
            },
            AlertKind::CountNow => match self.about.count_at {
                Some(count) => format!(
                    "{block}: bloom clock likely starts {likely} - count again {}",
                    count.spoken(self.zone)
                ),
                None => format!("{block}: bloom clock likely starts {likely} - count open flowers"),
            },
            AlertKind::Moved => {
                let what = match self.before_spray() {
                    Some((first, _)) => self.when_open(first),
                    None => "plan anew".to_owned(),
                };
                format!("{block}: mark now {at}, not {} - {what}", self.moment(self.about.was))
            }
            AlertKind::Overrun => match self.before_spray() {
                Some((first, _)) => {
                    format!("{block}: well past its mark since {at} - {}", self.when_open(first))
                }
                None => {
                    format!("{block}: well past its mark since {at} - {}", self.when_open("decide what now"))
                }
            },
            AlertKind::Blind if self.about.may_be_since.is_some() => {
                format!("{block}: mark perhaps reached since {at} - look for the missing readings")
            }
            AlertKind::Blind => format!("{block}: no readings since {at} - see to the weather source"),
            AlertKind::Frost => format!("{block}: frost likely {at} - protect, and look in the morning"),
            AlertKind::Decide => {
                format!("{block}: bloom clock likely starts {likely} - decide: thin or not?")
            }
            AlertKind::CheckDamage => {
                format!(
                    "{block}: frost, {} - {}",
                    self.about.night.as_deref().unwrap_or("last night"),
                    self.when_open("look for damage")
                )
            }
            AlertKind::BloomCheck => {
                format!("{block}: slot from {at} on - {}", self.when_open("look at the flowers before it"))
            }
            AlertKind::SlotLost => match self.about.slot {
                Some(slot) => {
                    format!(
                        "{block}: slot of {at} has closed - next from {} on",
                        slot.begin.spoken(self.zone)
                    )
                }
                None => format!("{block}: slot of {at} has closed - none other so far"),
            },
            AlertKind::Withdrawn => {
                let kind = self.about.takes_back.map_or("alert", AlertKind::word);
                format!("{block}: \"{kind}\" of {at} withdrawn - do not act on it")
            }
        }
    }

    /// What to do, or until when the block is closed to whoever would do it.
    fn when_open(&self, what: &str) -> String {
        match self.about.closed_until {
            Some(until) => format!("closed for re-entry until {}", until.spoken(self.zone)),
            None => what.to_owned(),
        }
    }

    /// What stands before a spray: damage to look at, a decision to make, a verdict
    /// against it.
    fn before_spray(&self) -> Option<(&'static str, String)> {
        let verdict = self.about.verdict.as_ref();
        let advice = verdict.map(|verdict| verdict.advice);
        if self.about.on_hold {
            let line = "Frost came over this leg: look at the flowers before anything else.";
            return Some(("look at the flowers first", line.to_owned()));
        }
        if advice == Some(Advice::CountFirst) {
            return Some(("count damage first", verdict?.says.clone()));
        }
        if !self.about.decided {
            let line = "No decision to thin this block is logged yet: decide first.".to_owned();
            let against = matches!(advice, Some(Advice::StandDown | Advice::LeanStandDown));
            let short = if against { "decide first: the table leans against" } else { "decide first" };
            return Some((short, line));
        }
        match advice {
            Some(Advice::StandDown) => Some(("the table says stand down", verdict?.says.clone())),
            Some(Advice::Wait) => Some(("frost is forecast: wait", verdict?.says.clone())),
            _ => None,
        }
    }

    /// Whether it speaks of putting a spray on.
    fn of_a_spray(&self) -> bool {
        matches!(self.about.kind, AlertKind::HeadsUp | AlertKind::Due | AlertKind::Moved | AlertKind::Overrun)
    }

    /// Whether it speaks of hours to spray in.
    fn of_slots(&self) -> bool {
        use AlertKind::{BloomCheck, HeadsUp, Moved, SlotLost};
        matches!(self.about.kind, HeadsUp | Moved | BloomCheck | SlotLost)
    }

    /// What the table says, with what would change it.
    fn verdict(&self) -> Option<String> {
        let verdict = self.about.verdict.as_ref()?;
        let close = if verdict.close { ", but it is close" } else { "" };
        let change = verdict.would_change.as_ref().map_or_else(String::new, |change| format!(" {change}"));
        Some(format!("By the table: {}{close}. {}{change}", verdict.advice.spoken(), verdict.says))
    }

    pub(super) fn lines(&self) -> Vec<String> {
        let about = self.about;
        let mut lines = Vec::new();
        if self.of_a_spray() {
            lines.extend(self.before_spray().map(|(_, line)| line));
        }
        lines.push(format!("{} ({}), {}.", self.block, self.cultivar, self.farm));
        lines.extend(self.what());
        lines.extend(about.odds.clone());
        lines.extend(about.slot_told.clone().filter(|_| self.of_slots()));
        if about.kind != AlertKind::Withdrawn {
            lines.extend(self.range());
            lines.extend(
                about
                    .through
                    .iter()
                    .filter(|_| matches!(about.kind, AlertKind::Due | AlertKind::Overrun))
                    .cloned(),
            );
            lines.extend(about.bees.iter().filter(|_| self.of_a_spray()).cloned());
            lines.push(self.next());
            if about.kind == AlertKind::Decide || !about.decided || about.on_hold {
                lines.extend(self.verdict());
            }
        }
        let read = about.as_of.map_or_else(|| "none yet".to_owned(), |at| at.spoken(self.zone));
        let sources = if about.temperatures.is_empty() {
            String::new()
        } else {
            format!(" from {}", about.temperatures.join(", "))
        };
        lines.push(format!("Readings{sources} up to {read}; curve {}.", about.curve));
        lines.extend(about.checked.iter().cloned());
        lines.push(format!("Times are {}.", self.zone.name()));
        if about.kind != AlertKind::Withdrawn {
            lines.push(about.confirmed.clone().unwrap_or_else(|| words::UNCONFIRMED.to_owned()));
            match about.closed_until {
                Some(until) => lines.push(words::nobody_before(&until.spoken(self.zone))),
                None if about.reentry_known => {}
                None => lines.push(words::NO_REENTRY.to_owned()),
            }
        }
        lines
    }

    fn what(&self) -> Vec<String> {
        let (about, at) = (self.about, self.moment(self.about.at));
        match about.kind {
            AlertKind::Started => vec![self.started(&at)],
            AlertKind::HeadsUp => vec![format!(
                "By readings and forecast, leg {} reaches {} {at}.",
                about.leg.unwrap_or(1),
                self.mark()
            )],
            AlertKind::Due => vec![format!(
                "By readings, not forecast, leg {} reached {} {at}.",
                about.leg.unwrap_or(1),
                self.mark()
            )],
            AlertKind::CountNow => vec![format!(
                "By the last count and the forecast {:.0} live open flowers a tree are likely {at}.",
                about.threshold
            )],
            AlertKind::Moved => vec![format!(
                "Leg {} reaches or reached {} {at}; {} was told before. Readings, forecast or entries have changed since.",
                about.leg.unwrap_or(1),
                self.mark(),
                self.moment(about.was)
            )],
            AlertKind::Overrun => vec![format!(
                "By readings, not forecast, leg {} came far beyond {} {at}, and no spray is logged.",
                about.leg.unwrap_or(1),
                self.mark()
            )],
            AlertKind::Blind => self.blind(&at),
            AlertKind::Frost => vec![format!(
                "Frost is forecast from {at} on, in {}. A forecast can be wrong either way, and the block may be colder than its site.",
                about.night.as_deref().unwrap_or("that night")
            )],
            AlertKind::Decide => vec![format!(
                "By counts and forecast {:.0} live open flowers a tree are likely {at}: then the clock starts.",
                about.threshold
            )],
            AlertKind::CheckDamage => vec![format!(
                "Readings lay at the kill line of the stage for 30 minutes by {at}, in {}.",
                about.night.as_deref().unwrap_or("that night")
            )],
            AlertKind::BloomCheck => vec![format!(
                "Leg {} has hours to spray in from {at} on, against {}.",
                about.leg.unwrap_or(1),
                self.mark()
            )],
            AlertKind::SlotLost => {
                let named = format!("The slot from {at} on, of which you were told, is none any more.");
                std::iter::once(named).chain(about.lost.clone()).collect()
            }
            AlertKind::Withdrawn => {
                let kind = about.takes_back.map_or("alert", AlertKind::word);
                vec![
                    format!(
                        "The alert \"{kind}\" that named {at} no longer holds: readings or entries were corrected since."
                    ),
                    "Do not act on it. If it becomes true again, you will be told again.".to_owned(),
                ]
            }
        }
    }

    /// What cannot be known for want of readings.
    fn blind(&self, at: &str) -> Vec<String> {
        let leg = self.about.leg.unwrap_or(1);
        match self.about.may_be_since {
            Some(_) => vec![
                format!(
                    "Leg {leg} may have reached {} since {at}: the hours after {} were not read.",
                    self.mark(),
                    self.moment(self.about.unread_from)
                ),
                "By what was read it has not: \"due\" waits for that.".to_owned(),
            ],
            None => vec![
                format!("Leg {leg} runs, and no reading has come since {at}."),
                "Until readings come, nobody can say how far the tubes are: \"due\" will be late.".to_owned(),
            ],
        }
    }

    /// What is known of the start, by what it rests on.
    fn started(&self, at: &str) -> String {
        let about = self.about;
        let wanted =
            if about.target == Some(about.threshold) { " (as many as fruit are wanted)" } else { "" };
        let flowers = format!("{:.0} live open flowers a tree{wanted}", about.threshold);
        let reached = match about.basis {
            Some(Basis::Logged) => format!("The start was logged for {at}: {flowers}."),
            Some(Basis::NoLaterThan) => {
                format!("{flowers} were open no later than {at}: the first count was at that already.")
            }
            _ => format!("By the counts {flowers} were open {at}."),
        };
        format!("{reached} Their pollen tubes now grow.")
    }

    fn range(&self) -> Option<String> {
        if matches!(self.about.kind, AlertKind::BloomCheck | AlertKind::SlotLost) {
            return None;
        }
        match (self.about.earliest, self.about.latest) {
            (Some(early), Some(late)) if early != late => Some(format!(
                "It may have been as early as {} or as late as {}.",
                early.spoken(self.zone),
                late.spoken(self.zone)
            )),
            (None, Some(_)) if self.about.kind == AlertKind::Started => {
                Some("How much earlier it may have been is not known.".to_owned())
            }
            _ => None,
        }
    }

    fn next(&self) -> String {
        let next = self.next_when_open();
        match self.about.closed_until {
            Some(until) => {
                format!("Not before {}, when the block is open again. {next}", until.spoken(self.zone))
            }
            None => next,
        }
    }

    fn next_when_open(&self) -> String {
        let material = self.about.material.as_deref().unwrap_or("no spray");
        let bound = match self.about.bound {
            Some(MarkBound::NotBefore) => "not before the mark: earlier it takes wanted flowers",
            Some(MarkBound::NotAfter) => "not after the mark: later, flowers that no one wants come through",
            None => "as planned",
        };
        match self.about.kind {
            AlertKind::Started => {
                format!(
                    "Next: {material} at {}. You get a heads-up before it, and word when it is reached.",
                    self.mark()
                )
            }
            AlertKind::CountNow => match self.about.count_at {
                Some(at) => format!("Next: count open flowers {}, on the trees counted before.", at.spoken(self.zone)),
                None => "Next: count open flowers, on the trees counted before.".to_owned(),
            },
            AlertKind::Blind => {
                "Next: look at the station or feed, put missing readings in by file or hand, and look at the flowers."
                    .to_owned()
            }
            AlertKind::Frost => {
                "Next: protect what can be protected; in the morning cut some flowers and count damage.".to_owned()
            }
            AlertKind::Overrun => format!(
                "Next: decide whether {material} still makes sense: flowers that came through stay. Log the spray, or that \
                 none comes."
            ),
            AlertKind::Decide => "Next: count clusters and damage, then log whether to thin; it can be changed.".to_owned(),
            AlertKind::CheckDamage => {
                "Next: cut some clusters, low and high, and count kings and laterals alive and dead. Browning shows after \
                 some hours: a count within 12 hours may find too little."
                    .to_owned()
            }
            AlertKind::BloomCheck => {
                let by = self.about.count_at.map_or_else(|| "before the slot".to_owned(), |at| at.spoken(self.zone));
                format!(
                    "Next: walk the block {by} and look whether flowers that no one wants have opened since the last \
                     spray."
                )
            }
            AlertKind::SlotLost => format!("Next: plan {material} anew, {bound}."),
            AlertKind::HeadsUp | AlertKind::Moved => {
                format!("Next: plan {material}, {bound}. Look for a slot that weather and bees allow.")
            }
            _ => format!(
                "Next: {material}, {bound}. Log the spray when it is done: the clock starts again from it."
            ),
        }
    }
}
