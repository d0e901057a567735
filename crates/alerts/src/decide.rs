//! Which alerts a season calls for, given what was told before.
//!
//! Pure. A key is season, kind, subject and generation, and holds no reckoned
//! time, so that a season reckoned again on other readings never tells twice.

use model::bloom::Basis;
use model::legs::{EndedBy, Leg};
use model::plan::Plan;
use model::season::{NO_DECISION, Season, State};
use model::time::{HOUR, Instant};
use store::{AlertRow, AlertStatus};

use crate::about::{About, AlertKind};

/// An alert is sent only this long after the moment it is about.
pub const USEFUL: i64 = 72 * HOUR;

const STOOD_DOWN: &str = "the block is stood down";

/// Subject of `started`, of which a season has one.
const NO_SUBJECT: &str = "-";

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
    /// Take an alert back, and tell that.
    Withdraw {
        /// Id of the alert taken back, which is the withdrawal's subject.
        alert_id: String,
        /// What the withdrawal says.
        about: About,
    },
}

/// Decides for one season.
pub fn decide(season: &Season, plan: &Plan, curve: &str, known: &[AlertRow], now: Instant) -> Vec<Decision> {
    let facts = Facts { season, plan, curve, now };
    let mut decisions = facts.withdrawals(known);
    for called in facts.called_for() {
        decisions.extend(settle(called, known));
    }
    decisions.extend(facts.closes(known));
    decisions
}

/// Until when an alert is worth sending, should it not go out at once.
pub fn useful_until(about: &About, now: Instant) -> Instant {
    match about.kind {
        AlertKind::Withdrawn => now.plus(USEFUL),
        _ => about.at.unwrap_or(now).plus(USEFUL),
    }
}

/// What a season calls for on its own, whatever was told before.
struct Called {
    subject: String,
    about: About,
    /// Why no one should be told, when so.
    untold: Option<&'static str>,
}

struct Facts<'a> {
    season: &'a Season,
    plan: &'a Plan,
    curve: &'a str,
    now: Instant,
}

impl Facts<'_> {
    fn about(&self, kind: AlertKind, at: Option<Instant>) -> About {
        About {
            kind,
            at,
            earliest: None,
            latest: None,
            leg: None,
            mark: None,
            bound: None,
            material: None,
            threshold: self.plan.threshold(),
            target: Some(self.plan.block.target_fruit_per_tree),
            basis: None,
            as_of: self.season.as_of,
            decided: !self.season.notes.iter().any(|note| note.code == NO_DECISION),
            curve: self.curve.to_owned(),
            temperatures: Vec::new(),
            checked: Vec::new(),
            takes_back: None,
        }
    }

    fn about_leg(&self, kind: AlertKind, leg: &Leg, at: Instant) -> About {
        About {
            earliest: leg.reached_earliest,
            latest: leg.reached_latest,
            leg: Some(leg.number),
            mark: leg.mark,
            bound: leg.bound,
            material: self.plan.sprays.get(leg.number - 1).map(|spray| spray.material.clone()),
            ..self.about(kind, Some(at))
        }
    }

    fn called_for(&self) -> Vec<Called> {
        let mut called: Vec<Called> = self.started().into_iter().collect();
        for leg in &self.season.legs {
            called.extend(self.heads_up(leg));
            called.extend(self.due(leg));
        }
        called
    }

    fn started(&self) -> Option<Called> {
        let start = self.season.start.filter(|start| start.basis != Basis::Expected)?;
        let first = self.season.legs.first()?;
        Some(Called {
            subject: NO_SUBJECT.to_owned(),
            untold: self.untold(first, start.at),
            about: About {
                earliest: start.earliest,
                latest: start.latest,
                leg: Some(1),
                mark: first.mark,
                material: self.plan.sprays.first().map(|spray| spray.material.clone()),
                basis: Some(start.basis),
                ..self.about(AlertKind::Started, Some(start.at))
            },
        })
    }

    fn heads_up(&self, leg: &Leg) -> Option<Called> {
        let expected = leg.expected_at?;
        leg.mark?;
        let soon = expected.since(self.now) <= self.plan.settings.lead_hours * HOUR;
        let untold = self.untold(leg, expected);
        (soon && untold.is_none()).then(|| Called {
            subject: leg.opened_by.clone(),
            about: self.about_leg(AlertKind::HeadsUp, leg, expected),
            untold,
        })
    }

    fn due(&self, leg: &Leg) -> Option<Called> {
        let reached = leg.reached_at?;
        Some(Called {
            subject: leg.opened_by.clone(),
            about: self.about_leg(AlertKind::Due, leg, reached),
            untold: self.untold(leg, reached),
        })
    }

    /// Why telling of a moment of a leg is of no use any more.
    fn untold(&self, leg: &Leg, moment: Instant) -> Option<&'static str> {
        let late = self.now.since(moment) > USEFUL;
        self.over(leg).or(late.then_some("it came to light more than 72 hours late"))
    }

    /// Why nothing more is to be said of a leg.
    fn over(&self, leg: &Leg) -> Option<&'static str> {
        match leg.ended_by {
            Some(EndedBy::Spray) => Some("the spray of this leg is logged already"),
            Some(EndedBy::BloomEnd) => Some("the bloom is over"),
            Some(EndedBy::StandDown) => Some(STOOD_DOWN),
            Some(EndedBy::Age) => Some("the season is closed"),
            None if self.season.state == State::StoodDown => Some(STOOD_DOWN),
            None => None,
        }
    }

    /// Alerts told of a leg that has ended since: a mail of them that still
    /// waits would come too late.
    fn closes(&self, known: &[AlertRow]) -> Vec<Decision> {
        standing(known)
            .filter(|alert| alert.useful_until > self.now)
            .filter_map(|alert| {
                let kind = AlertKind::named(&alert.kind).filter(|kind| *kind != AlertKind::Withdrawn)?;
                let leg = match kind {
                    AlertKind::Started => self.season.legs.first(),
                    _ => self.season.legs.iter().find(|leg| leg.opened_by == alert.subject),
                };
                let over = match leg {
                    Some(leg) => self.over(leg),
                    // With no leg, only a stand-down leaves an alert standing.
                    None => Some(STOOD_DOWN).filter(|_| self.holds(kind, &alert.subject)),
                };
                Some(Decision::Close { alert_id: alert.id.clone(), reason: over? })
            })
            .collect()
    }

    /// Alerts that went out and no longer hold on what is now known.
    fn withdrawals(&self, known: &[AlertRow]) -> Vec<Decision> {
        standing(known)
            .filter_map(|alert| {
                let kind = AlertKind::named(&alert.kind).filter(|kind| !self.holds(*kind, &alert.subject))?;
                let told: Option<About> = serde_json::from_value(alert.about.clone()).ok();
                let told = told.unwrap_or_else(|| self.about(kind, None));
                let about = About {
                    kind: AlertKind::Withdrawn,
                    takes_back: Some(kind),
                    as_of: self.season.as_of,
                    ..told
                };
                Some(Decision::Withdraw { alert_id: alert.id.clone(), about })
            })
            .collect()
    }

    fn holds(&self, kind: AlertKind, subject: &str) -> bool {
        let leg = self.season.legs.iter().find(|leg| leg.opened_by == subject);
        let stood_down = self.season.state == State::StoodDown;
        match kind {
            AlertKind::Withdrawn => true,
            AlertKind::Started => !self.season.legs.is_empty() || stood_down,
            AlertKind::HeadsUp => leg.is_some() || stood_down,
            AlertKind::Due => match leg {
                // A logged spray closes it, whenever the mark was.
                Some(leg) => leg.reached_at.is_some() || leg.ended_by == Some(EndedBy::Spray) || stood_down,
                None => stood_down,
            },
        }
    }
}

/// Alerts that were told and not taken back.
fn standing(known: &[AlertRow]) -> impl Iterator<Item = &AlertRow> {
    known.iter().filter(|alert| alert.status == AlertStatus::Told && alert.withdrawn_at.is_none())
}

fn settle(called: Called, known: &[AlertRow]) -> Option<Decision> {
    let Called { subject, about, untold } = called;
    let latest = known
        .iter()
        .filter(|alert| alert.kind == about.kind.word() && alert.subject == subject)
        .max_by_key(|alert| alert.generation);
    let standing = latest.filter(|alert| alert.withdrawn_at.is_none());
    let generation =
        standing.map_or_else(|| latest.map_or(1, |alert| alert.generation + 1), |alert| alert.generation);
    match (standing, untold) {
        (Some(alert), _) if alert.status == AlertStatus::Told => {
            let told: Option<About> = serde_json::from_value(alert.about.clone()).ok();
            let moved = about.kind == AlertKind::Due && told.is_some_and(|told| told.at != about.at);
            moved.then(|| Decision::Retime { alert_id: alert.id.clone(), about })
        }
        (Some(_), Some(_)) => None,
        (Some(alert), None) => {
            Some(Decision::Tell { subject, generation, skipped_before: Some(alert.id.clone()), about })
        }
        (None, Some(reason)) => Some(Decision::Skip { subject, generation, reason, about }),
        (None, None) => Some(Decision::Tell { subject, generation, skipped_before: None, about }),
    }
}

#[cfg(test)]
mod tests;
