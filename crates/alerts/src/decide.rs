//! Which alerts a season calls for, given what was told before, and to whom each
//! goes.
//!
//! Pure. A key is season, kind, subject and generation, and holds no reckoned
//! time, so that a season reckoned again on other readings never tells twice. For
//! each alert and each recipient it says send, hold or skip, with the reason.

use std::borrow::Cow;

use model::ahead::Sky;
use model::alert_kind::AlertKind;
use model::odds::SeasonOdds;
use model::plan::Plan;
use model::season::Season;
use model::slot::Answer;
use model::time::{HOUR, Instant};
use store::{Addressed, AlertRow, AlertStatus};

use crate::about::About;

mod ahead;
mod called;
mod facts;
mod standing;
mod whom;

use facts::Facts;
pub use whom::{Recipients, whom};

/// An alert is sent only this long after the moment it is about.
pub const USEFUL: i64 = 72 * HOUR;

/// A time that moves by no more than this is put right without a word.
pub const MOVED: i64 = 6 * HOUR;

/// What is known beside the season.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// The curve, with how its figures came about.
    pub curve: &'a str,
    /// Whether a feed brings the site's readings.
    pub fed: bool,
    /// Whether this service has been at work for a while without a break: right after
    /// a start or a suspend, readings may just not have been asked for yet.
    pub awake: bool,
    /// What lies ahead, where there is a forecast.
    pub ahead: Option<Ahead<'a>>,
    /// Who gets the block's alerts.
    pub recipients: Recipients<'a>,
}

/// What lies ahead of a season.
#[derive(Debug, Clone, Copy)]
pub struct Ahead<'a> {
    /// When, with its odds.
    pub odds: &'a SeasonOdds,
    /// Slots around it, a leg each.
    pub slots: &'a [Answer],
    /// The air and sun that slots are judged by.
    pub sky: Sky<'a>,
}

/// One thing to do about a season's alerts.
#[derive(Debug, Clone, PartialEq)]
pub enum Decision {
    /// Tell people.
    Tell {
        /// What within the season it is about.
        subject: String,
        /// From 1; raised after a withdrawal went out for the key.
        generation: i64,
        /// An alert of this key that had been left untold.
        skipped_before: Option<String>,
        /// Why it is told.
        reason: String,
        /// To whom, each with send, hold or skip.
        to: Vec<Addressed>,
        /// The facts.
        about: About,
    },
    /// Keep it on record and tell no one.
    Skip {
        /// What within the season it is about.
        subject: String,
        /// From 1.
        generation: i64,
        /// Why no one is told.
        reason: &'static str,
        /// The facts.
        about: About,
    },
    /// The moment moved; nobody is told again.
    Retime {
        /// Id of the alert.
        alert_id: String,
        /// The facts as they now are.
        about: About,
    },
    /// What of it has not gone out is of no use any more.
    Close {
        /// Id of the alert.
        alert_id: String,
        /// Why.
        reason: &'static str,
    },
    /// Take an alert back, and tell that to whoever may have it.
    Withdraw {
        /// Id of the alert taken back, which is the withdrawal's subject.
        alert_id: String,
        /// Why.
        reason: String,
        /// What the withdrawal says.
        about: About,
    },
}

/// Decides for one season.
pub fn decide(
    season: &Season,
    plan: &Plan,
    beside: &Beside<'_>,
    known: &[AlertRow],
    now: Instant,
) -> Vec<Decision> {
    let facts = Facts { season, plan, beside, now };
    let mut decisions = facts.withdrawals(known);
    for called in facts.called_for(known) {
        decisions.extend(facts.settle(called, known));
    }
    decisions.extend(facts.moved(known, &decisions));
    decisions.extend(facts.closes(known));
    decisions
}

/// Until when an alert is worth sending, should it not go out at once.
pub fn useful_until(about: &About, now: Instant) -> Instant {
    match about.kind {
        AlertKind::Withdrawn | AlertKind::Moved | AlertKind::Blind | AlertKind::SlotLost => now.plus(USEFUL),
        // Nobody looks at flowers before a slot that has begun.
        AlertKind::BloomCheck => about.at.unwrap_or(now),
        _ => about.at.unwrap_or(now).plus(USEFUL),
    }
}

/// What a season calls for on its own, whatever was told before. Facts and reason are
/// put together only where something follows from it: in most passes nothing does.
struct Called<'a> {
    kind: AlertKind,
    subject: Cow<'a, str>,
    /// The moment that it is about.
    at: Instant,
    /// Why no one should be told, when so.
    untold: Option<&'static str>,
    /// Why it is told, and the facts.
    says: Box<dyn FnOnce() -> (String, About) + 'a>,
}

impl Facts<'_> {
    fn settle(&self, called: Called, known: &[AlertRow]) -> Option<Decision> {
        let Called { kind, subject, at, untold, says } = called;
        let latest = known
            .iter()
            .filter(|alert| alert.kind == kind.word() && alert.subject == subject)
            .max_by_key(|alert| alert.generation);
        let standing = latest.filter(|alert| alert.withdrawn_at.is_none());
        let generation =
            standing.map_or_else(|| latest.map_or(1, |alert| alert.generation + 1), |alert| alert.generation);
        match (standing, untold) {
            (Some(alert), _) if alert.status == AlertStatus::Told => retime(alert, kind, at, says),
            (Some(_), Some(_)) => None,
            (None, Some(reason)) => {
                Some(Decision::Skip { subject: subject.into_owned(), generation, reason, about: says().1 })
            }
            (skipped, None) => {
                let (reason, about) = says();
                Some(Decision::Tell {
                    subject: subject.into_owned(),
                    generation,
                    skipped_before: skipped.map(|alert| alert.id.clone()),
                    reason,
                    to: self.whom(&about),
                    about,
                })
            }
        }
    }

    fn whom(&self, about: &About) -> Vec<Addressed> {
        let state = self.season.state.word();
        whom(&self.beside.recipients, about.kind, state, self.plan.zone, self.now)
    }
}

/// Puts the moment of what was told right.
fn retime(
    alert: &AlertRow,
    kind: AlertKind,
    at: Instant,
    says: Box<dyn FnOnce() -> (String, About) + '_>,
) -> Option<Decision> {
    let follows = match kind {
        AlertKind::Due | AlertKind::Overrun => true,
        // Where people have the mail already, `moved` says it.
        AlertKind::HeadsUp => !alert.mailed,
        _ => false,
    };
    (follows && moment(alert, "at") != Some(at)).then(|| {
        // A mail that nobody has yet is composed anew, and then names this one.
        let told = told_moment(alert).filter(|_| alert.mailed);
        Decision::Retime { alert_id: alert.id.clone(), about: About { told, ..says().1 } }
    })
}

/// The moment that people last heard of an alert.
fn told_moment(alert: &AlertRow) -> Option<Instant> {
    moment(alert, "told").or_else(|| moment(alert, "at"))
}

/// A moment among the facts of an alert, read without the rest of them.
fn moment(alert: &AlertRow, field: &str) -> Option<Instant> {
    alert.about.get(field)?.as_str()?.parse().ok()
}

/// Alerts that were told and not taken back.
fn standing(known: &[AlertRow]) -> impl Iterator<Item = &AlertRow> {
    known.iter().filter(|alert| alert.status == AlertStatus::Told && alert.withdrawn_at.is_none())
}

#[cfg(test)]
mod tests;
