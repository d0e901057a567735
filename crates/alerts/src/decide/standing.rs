//! What becomes of alerts that were told: they are closed, taken back, or their
//! time is told anew.

use std::borrow::Cow;

use model::alert_kind::AlertKind;
use model::frost::Night;
use model::legs::{EndedBy, Leg};
use model::season::State;
use model::time::Instant;
use store::AlertRow;

use super::called::LOOKED;
use super::facts::{Facts, STOOD_DOWN};
use super::{Called, Decision, MOVED, moment, standing, told_moment};
use crate::about::About;

impl Facts<'_> {
    /// Alerts told of what has ended since: a mail of them that still waits would
    /// come too late.
    pub(super) fn closes(&self, known: &[AlertRow]) -> Vec<Decision> {
        standing(known)
            .filter(|alert| alert.useful_until > self.now)
            .filter_map(|alert| {
                let kind = AlertKind::named(&alert.kind).filter(|kind| *kind != AlertKind::Withdrawn)?;
                let reason = match self.settled(kind, alert) {
                    Some(reason) => Some(reason),
                    None => match kind {
                        AlertKind::Decide
                        | AlertKind::CheckDamage
                        | AlertKind::CountNow
                        | AlertKind::Frost
                        | AlertKind::Blind => None,
                        AlertKind::Started => self.over_by(kind, self.season.legs.first(), alert),
                        _ => self.over_by(kind, self.leg(leg_of(&alert.subject)), alert),
                    },
                };
                Some(Decision::Close { alert_id: alert.id.clone(), reason: reason? })
            })
            .collect()
    }

    fn over_by(&self, kind: AlertKind, leg: Option<&Leg>, alert: &AlertRow) -> Option<&'static str> {
        match leg {
            Some(leg) => self.over(leg),
            // With no leg, only a stand-down leaves an alert standing.
            None => Some(STOOD_DOWN).filter(|_| self.holds(kind, &alert.subject)),
        }
    }

    /// Why nobody needs to hear of it any more, whatever its leg does.
    fn settled(&self, kind: AlertKind, alert: &AlertRow) -> Option<&'static str> {
        let over = matches!(self.season.state, State::Done | State::StoodDown);
        match kind {
            AlertKind::Decide if self.season.decision.is_some() => Some("a decision is logged"),
            AlertKind::CheckDamage => {
                let hit = self.night(&alert.subject).and_then(|night| night.hit_at)?;
                self.looked(hit).then_some(LOOKED)
            }
            AlertKind::CountNow => {
                let latest = self.season.counts.last().map(|count| count.entry.as_str());
                (latest != Some(&alert.subject)).then_some("flowers were counted since")
            }
            AlertKind::Blind if over => Some("the season is over"),
            AlertKind::Blind => {
                let may_be = moment(alert, "may_be_since").is_some();
                let heard = !may_be && self.season.as_of > moment(alert, "unread_from");
                heard.then_some("readings came in again")
            }
            AlertKind::Frost if over => Some("the season is over"),
            _ => None,
        }
    }

    fn night(&self, subject: &str) -> Option<&Night> {
        self.season.frost.nights.iter().find(|night| night.date.to_string() == subject)
    }

    /// Alerts that went out and no longer hold on what is now known.
    pub(super) fn withdrawals(&self, known: &[AlertRow]) -> Vec<Decision> {
        standing(known)
            .filter_map(|alert| {
                let kind = AlertKind::named(&alert.kind).filter(|kind| !self.holds(*kind, &alert.subject))?;
                let told: Option<About> = serde_json::from_value(alert.about.clone()).ok();
                let told = told.unwrap_or_else(|| self.about(kind, None));
                let about = About {
                    kind: AlertKind::Withdrawn,
                    takes_back: Some(kind),
                    as_of: self.season.as_of,
                    at: told.told.or(told.at),
                    ..told
                };
                let reason = format!("`{}` does not hold on what is now known", kind.word());
                Some(Decision::Withdraw { alert_id: alert.id.clone(), reason, about })
            })
            .collect()
    }

    fn holds(&self, kind: AlertKind, subject: &str) -> bool {
        let leg = self.leg(leg_of(subject));
        let stood_down = self.season.state == State::StoodDown;
        // A logged spray closes it, whenever the moment was.
        let reached = |at: fn(&Leg) -> Option<Instant>| match leg {
            Some(leg) => at(leg).is_some() || leg.ended_by == Some(EndedBy::Spray) || stood_down,
            None => stood_down,
        };
        match kind {
            AlertKind::CheckDamage => self.night(subject).is_some_and(|night| night.hit_at.is_some()),
            AlertKind::Started => !self.season.legs.is_empty() || stood_down,
            AlertKind::HeadsUp | AlertKind::Moved | AlertKind::BloomCheck | AlertKind::SlotLost => {
                leg.is_some() || stood_down
            }
            AlertKind::Due => reached(|leg| leg.reached_at),
            AlertKind::Overrun => reached(|leg| leg.overrun_at),
            AlertKind::Withdrawn
            | AlertKind::Decide
            | AlertKind::CountNow
            | AlertKind::Frost
            | AlertKind::Blind => true,
        }
    }

    /// Legs whose time is another by more than [`MOVED`] than people were told last.
    /// Where the mark is told anew in this pass, that says it.
    pub(super) fn moved(&self, known: &[AlertRow], decided: &[Decision]) -> Vec<Decision> {
        let told_now = |leg: &Leg| {
            decided.iter().any(|decision| match decision {
                Decision::Tell { subject, about, .. } => {
                    *subject == leg.opened_by
                        && matches!(about.kind, AlertKind::HeadsUp | AlertKind::Due | AlertKind::Overrun)
                }
                _ => false,
            })
        };
        let taken_back = |alert: &AlertRow| {
            decided.iter().any(
                |decision| matches!(decision, Decision::Withdraw { alert_id, .. } if *alert_id == alert.id),
            )
        };
        let mut moved = Vec::new();
        for leg in self.season.legs.iter().filter(|leg| !told_now(leg)) {
            let Some(at) = leg.reached_at.or_else(|| self.expected(leg)) else { continue };
            let last = standing(known)
                .filter(|alert| leg_of(&alert.subject) == leg.opened_by && !taken_back(alert))
                .filter(|alert| matches!(alert.kind.as_str(), "heads-up" | "moved" | "due"))
                .max_by_key(|alert| (alert.raised_at, &alert.id));
            // Likely is held against likely, where odds were told.
            let likely = |alert: &AlertRow| moment(alert, "likely_at").or_else(|| told_moment(alert));
            let Some(was) = last.and_then(likely) else { continue };
            // What has not gone out yet is put right in its own mail.
            let unsent = last.is_some_and(|alert| !alert.mailed && alert.kind != AlertKind::Moved.word());
            if at.since(was).abs() <= MOVED || unsent || self.untold(leg, at).is_some() {
                continue;
            }
            let ordinal = known.iter().filter(|alert| {
                alert.kind == AlertKind::Moved.word() && leg_of(&alert.subject) == leg.opened_by
            });
            let called = Called {
                kind: AlertKind::Moved,
                subject: Cow::Owned(format!("{}/{}", leg.opened_by, ordinal.count() + 1)),
                at,
                untold: None,
                says: Box::new(move || {
                    let because = "the time told last moved by more than 6 hours".to_owned();
                    (because, About { was: Some(was), ..self.about_leg(AlertKind::Moved, leg, at) })
                }),
            };
            moved.extend(self.settle(called, known));
        }
        moved
    }
}

/// The leg of a subject: `moved` has an ordinal behind it.
pub(super) fn leg_of(subject: &str) -> &str {
    subject.split_once('/').map_or(subject, |(leg, _)| leg)
}
