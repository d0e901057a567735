//! Which alerts a season calls for, given what was told before.
//!
//! Pure. A key is season, kind, subject and generation, and holds no reckoned
//! time, so that a season reckoned again on other readings never tells twice.

use model::bloom::Basis;
use model::frost::Night;
use model::legs::{EndedBy, Leg};
use model::plan::Plan;
use model::record::Confirmation;
use model::season::{self, DECIDE_AHEAD, FEW_BEE_HOURS, NO_DECISION, Season, State};
use model::through;
use model::time::{HOUR, Instant};
use store::{AlertRow, AlertStatus};

use crate::about::{About, AlertKind, Judged};

/// An alert is sent only this long after the moment it is about.
pub const USEFUL: i64 = 72 * HOUR;

const STOOD_DOWN: &str = "the block is stood down";
const LOOKED: &str = "damage was counted";

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
            verdict: Some(self.judged()),
            night: None,
            on_hold: self.season.hold.is_some(),
            through: self.through(),
            bees: self.bees(),
            closed_until: self.closed_until(),
            reentry_known: self.season.reentry.as_ref().is_none_or(|reentry| reentry.until.is_some()),
            confirmed: self.confirmed(),
            takes_back: None,
        }
    }

    fn judged(&self) -> Judged {
        let verdict = &self.season.verdict;
        Judged {
            advice: verdict.verdict,
            says: verdict.says.clone(),
            close: verdict.close,
            would_change: verdict.would_change.first().cloned(),
        }
    }

    /// How many flowers came through, against the target.
    fn through(&self) -> Option<String> {
        through::told(self.season.flowers_through?, self.plan.block.target_fruit_per_tree)
    }

    fn bees(&self) -> Option<String> {
        let notes = self.season.notes.iter().rev();
        notes.into_iter().find(|note| note.code == FEW_BEE_HOURS).map(|note| note.text.to_string())
    }

    fn closed_until(&self) -> Option<Instant> {
        let closed = self.season.reentry.as_ref().filter(|reentry| reentry.closed)?;
        closed.until
    }

    /// Who confirmed the planned materials, when all are.
    fn confirmed(&self) -> Option<String> {
        if self.plan.sprays.is_empty() || !self.plan.unconfirmed().is_empty() {
            return None;
        }
        let planned = |confirmed: &&Confirmation| {
            self.plan.sprays.iter().any(|spray| confirmed.covers(&spray.material))
        };
        let spoken: Vec<String> =
            self.plan.confirmed.iter().filter(planned).map(Confirmation::spoken).collect();
        Some(spoken.join(" "))
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
        let mut called: Vec<Called> = self.to_decide().into_iter().chain(self.started()).collect();
        called.extend(self.season.frost.nights.iter().filter_map(|night| self.check_damage(night)));
        for leg in &self.season.legs {
            called.extend(self.heads_up(leg));
            called.extend(self.due(leg));
        }
        called
    }

    /// The start is near, and nobody has said whether to thin.
    fn to_decide(&self) -> Option<Called> {
        let start = self.season.start.filter(|start| start.basis == Basis::Expected)?;
        let near = start.at.since(self.now) <= DECIDE_AHEAD;
        (near && self.season.decision.is_none() && self.season.state == State::Watching).then(|| Called {
            subject: NO_SUBJECT.to_owned(),
            about: self.about(AlertKind::Decide, Some(start.at)),
            untold: None,
        })
    }

    /// A night at the kill line has passed; told on the morning after it, and not
    /// before someone may go in.
    fn check_damage(&self, night: &Night) -> Option<Called> {
        let hit = night.hit_at?;
        let morning = season::morning_after(night, self.plan.zone)?;
        if self.now < self.closed_until().map_or(morning, |until| until.max(morning)) {
            return None;
        }
        let over = match self.season.state {
            State::StoodDown => Some(STOOD_DOWN),
            State::Done => Some("the season is over"),
            _ => None,
        };
        let late = self.now.since(morning) > USEFUL;
        Some(Called {
            subject: night.date.to_string(),
            untold: over
                .or(self.looked(hit).then_some(LOOKED))
                .or(late.then_some("it came to light more than 72 hours late")),
            about: About {
                night: Some(season::night_spoken(night, self.plan.zone)),
                ..self.about(AlertKind::CheckDamage, Some(hit))
            },
        })
    }

    /// Whether damage was counted after a frost.
    fn looked(&self, hit: Instant) -> bool {
        self.season.damage.as_ref().is_some_and(|damage| damage.at >= hit)
    }

    fn night(&self, subject: &str) -> Option<&Night> {
        self.season.frost.nights.iter().find(|night| night.date.to_string() == subject)
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
                if let Some(reason) = self.settled(kind, &alert.subject) {
                    return Some(Decision::Close { alert_id: alert.id.clone(), reason });
                }
                if matches!(kind, AlertKind::Decide | AlertKind::CheckDamage) {
                    return None;
                }
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

    /// Why nobody needs to be asked any more.
    fn settled(&self, kind: AlertKind, subject: &str) -> Option<&'static str> {
        match kind {
            AlertKind::Decide if self.season.decision.is_some() => Some("a decision is logged"),
            AlertKind::CheckDamage => {
                let hit = self.night(subject).and_then(|night| night.hit_at)?;
                self.looked(hit).then_some(LOOKED)
            }
            _ => None,
        }
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
            AlertKind::Withdrawn | AlertKind::Decide => true,
            AlertKind::CheckDamage => self.night(subject).is_some_and(|night| night.hit_at.is_some()),
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
