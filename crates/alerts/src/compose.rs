//! One alert for one recipient as one mail.

use chrono_tz::Tz;
use model::bloom::Basis;
use model::plan::MarkBound;
use model::time::{Instant, zone};
use model::verdict::Advice;
use model::words;
use store::{Message, MessageState, Uncomposed};

use crate::about::{About, AlertKind};
use crate::mail::letter::{self, Letter, LetterError};

/// Who the mails come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sender {
    /// `Name <box@domain>` or `box@domain`.
    pub from: String,
    /// Domain of the Message-IDs.
    pub domain: String,
}

impl Sender {
    /// A sender whose Message-IDs carry the domain of its address.
    ///
    /// # Errors
    /// When `from` is no mail address.
    pub fn new(from: &str) -> Result<Sender, LetterError> {
        let address = letter::address(from)?;
        let domain = address.rsplit('@').next().unwrap_or("localhost").to_owned();
        Ok(Sender { from: from.to_owned(), domain })
    }
}

/// Why an alert could not be put into words.
#[derive(Debug, thiserror::Error)]
pub enum ComposeError {
    /// What was kept of it cannot be read.
    #[error("alert {alert}: its facts cannot be read: {cause}")]
    Facts {
        /// Id of the alert.
        alert: String,
        /// What was wrong.
        cause: String,
    },
    /// The letter cannot be built.
    #[error("alert {alert} for {recipient}: {source}")]
    Letter {
        /// Id of the alert.
        alert: String,
        /// Mail address.
        recipient: String,
        /// What was wrong.
        source: LetterError,
    },
}

/// Composes the message that carries one item. The same item gives the same
/// bytes, save the moment of composing.
///
/// # Errors
/// [`ComposeError`].
pub fn compose(waiting: &Uncomposed, sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    let alert = &waiting.alert;
    let facts = |cause: String| ComposeError::Facts { alert: alert.id.clone(), cause };
    let about: About =
        serde_json::from_value(alert.about.clone()).map_err(|error| facts(error.to_string()))?;
    let zone = zone(&waiting.site.time_zone).map_err(|error| facts(error.to_string()))?;
    let cultivar = waiting.block.details.get("cultivar").and_then(|name| name.as_str()).unwrap_or_default();
    let words = Words { block: &waiting.block.name, cultivar, farm: &waiting.farm.name, about: &about, zone };
    let in_letter = |source| ComposeError::Letter {
        alert: alert.id.clone(),
        recipient: waiting.item.recipient.clone(),
        source,
    };
    let header_id = letter::header_id(&waiting.item.id, &sender.domain).map_err(in_letter)?;
    let lines = words.lines();
    let letter = Letter {
        from: sender.from.clone(),
        to: waiting.item.recipient.clone(),
        subject: words.subject(),
        text: text(&lines),
        html: html(&words.subject(), &lines),
        header_id: header_id.clone(),
        date: now,
        headers: vec![("X-Bloomtide-Alert".to_owned(), format!("{}; {}", about.kind.word(), alert.id))],
    };
    let body = letter::build(&letter).map_err(in_letter)?;
    Ok(Message {
        id: waiting.item.id.clone(),
        header_id,
        recipient: waiting.item.recipient.clone(),
        body,
        composed_at: now,
        state: MessageState::Ready,
        attempts: 0,
        next_try_at: Some(now),
        last_error: None,
        sent_at: None,
    })
}

struct Words<'a> {
    block: &'a str,
    cultivar: &'a str,
    farm: &'a str,
    about: &'a About,
    zone: Tz,
}

impl Words<'_> {
    fn moment(&self, at: Option<Instant>) -> String {
        at.map_or_else(|| "an unknown time".to_owned(), |at| at.spoken(self.zone))
    }

    fn mark(&self) -> String {
        self.about.mark.map_or_else(|| "no mark".to_owned(), |mark| format!("{mark:.2} of the style"))
    }

    /// Block, time, and what to do, the essence within 70 characters.
    fn subject(&self) -> String {
        let (block, at) = (self.block, self.moment(self.about.at));
        match self.about.kind {
            AlertKind::Started => {
                let by = if self.about.basis == Some(Basis::NoLaterThan) { "by " } else { "" };
                format!("{block}: bloom clock started {by}{at} - get the sprayer ready")
            }
            AlertKind::HeadsUp => match self.before_spray() {
                Some((first, _)) => format!("{block}: mark likely {at} - {}", self.when_open(first)),
                None => format!("{block}: spray likely due {at} - plan it"),
            },
            AlertKind::Due => match self.before_spray() {
                Some((first, _)) => format!("{block}: at its mark since {at} - {}", self.when_open(first)),
                None => format!("{block}: spray due since {at} - {}", self.when_open("look, then spray")),
            },
            AlertKind::Decide => format!("{block}: bloom clock likely starts {at} - decide: thin or not?"),
            AlertKind::CheckDamage => {
                format!(
                    "{block}: frost, {} - {}",
                    self.about.night.as_deref().unwrap_or("last night"),
                    self.when_open("look for damage")
                )
            }
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

    /// What the table says, with what would change it.
    fn verdict(&self) -> Option<String> {
        let verdict = self.about.verdict.as_ref()?;
        let close = if verdict.close { ", but it is close" } else { "" };
        let change = verdict.would_change.as_ref().map_or_else(String::new, |change| format!(" {change}"));
        Some(format!("By the table: {}{close}. {}{change}", verdict.advice.spoken(), verdict.says))
    }

    fn lines(&self) -> Vec<String> {
        let about = self.about;
        let mut lines = Vec::new();
        if matches!(about.kind, AlertKind::HeadsUp | AlertKind::Due) {
            lines.extend(self.before_spray().map(|(_, line)| line));
        }
        lines.push(format!("{} ({}), {}.", self.block, self.cultivar, self.farm));
        lines.extend(self.what());
        if about.kind != AlertKind::Withdrawn {
            lines.extend(self.range());
            lines.extend(about.through.iter().filter(|_| about.kind == AlertKind::Due).cloned());
            lines.extend(
                about
                    .bees
                    .iter()
                    .filter(|_| matches!(about.kind, AlertKind::HeadsUp | AlertKind::Due))
                    .cloned(),
            );
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
                Some(until) => {
                    lines.push(format!("Nobody works in the block before {}.", until.spoken(self.zone)))
                }
                None if about.reentry_known => {}
                None => lines.push(words::NO_REENTRY.to_owned()),
            }
        }
        lines.push(words::CAUTION.to_owned());
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
            AlertKind::Decide => vec![format!(
                "By counts and forecast {:.0} live open flowers a tree are likely {at}: then the clock starts.",
                about.threshold
            )],
            AlertKind::CheckDamage => vec![format!(
                "Readings lay at the kill line of the stage for 30 minutes by {at}, in {}.",
                about.night.as_deref().unwrap_or("that night")
            )],
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
            AlertKind::Decide => "Next: count clusters and damage, then log whether to thin; it can be changed.".to_owned(),
            AlertKind::CheckDamage => {
                "Next: cut some clusters, low and high, and count kings and laterals alive and dead. Browning shows after \
                 some hours: a count within 12 hours may find too little."
                    .to_owned()
            }
            AlertKind::HeadsUp => {
                format!("Next: plan {material}, {bound}. Look for a slot that weather and bees allow.")
            }
            _ => format!(
                "Next: {material}, {bound}. Log the spray when it is done: the clock starts again from it."
            ),
        }
    }
}

fn text(lines: &[String]) -> String {
    let mut text = lines.join("\n");
    text.push('\n');
    text
}

fn html(title: &str, lines: &[String]) -> String {
    let mut html = format!(
        "<!doctype html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><title>{}</title></head>\n<body>\n<h1 style=\"font-size:1.2em\">{0}</h1>\n",
        escaped(title)
    );
    for line in lines {
        html.push_str(&format!("<p>{}</p>\n", escaped(line)));
    }
    html.push_str("</body>\n</html>\n");
    html
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests;
