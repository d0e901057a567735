//! What an alert of a season says.

use model::alert_kind::AlertKind;
use model::legs::{EndedBy, Leg};
use model::plan::Plan;
use model::record::Confirmation;
use model::season::{FEW_BEE_HOURS, NO_DECISION, Season, State};
use model::through;
use model::time::Instant;

use super::{Beside, USEFUL};
use crate::about::{About, Judged};

/// Why nothing is told of a block that is not thinned.
pub(super) const STOOD_DOWN: &str = "the block is stood down";

/// A season with what stands beside it.
pub(super) struct Facts<'a> {
    pub(super) season: &'a Season,
    pub(super) plan: &'a Plan,
    pub(super) beside: &'a Beside<'a>,
    pub(super) now: Instant,
}

impl Facts<'_> {
    pub(super) fn about(&self, kind: AlertKind, at: Option<Instant>) -> About {
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
            curve: self.beside.curve.to_owned(),
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
            was: None,
            told: None,
            count_at: None,
            odds: None,
            likely: None,
            likely_at: None,
            slot: None,
            slot_told: None,
            lost: None,
            unread_from: None,
            may_be_since: None,
        }
    }

    pub(super) fn about_leg(&self, kind: AlertKind, leg: &Leg, at: Instant) -> About {
        About {
            earliest: leg.reached_earliest,
            latest: leg.reached_latest,
            leg: Some(leg.number),
            mark: leg.mark,
            bound: leg.bound,
            material: self.plan.sprays.get(leg.number - 1).map(|spray| spray.material.clone()),
            ..self.with_ahead(self.about(kind, Some(at)), leg)
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

    pub(super) fn closed_until(&self) -> Option<Instant> {
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

    /// Why telling of a moment of a leg is of no use any more.
    pub(super) fn untold(&self, leg: &Leg, moment: Instant) -> Option<&'static str> {
        let late = self.now.since(moment) > USEFUL;
        self.over(leg).or(late.then_some("it came to light more than 72 hours late"))
    }

    /// Why nothing more is to be said of a leg.
    pub(super) fn over(&self, leg: &Leg) -> Option<&'static str> {
        match leg.ended_by {
            Some(EndedBy::Spray) => Some("the spray of this leg is logged already"),
            Some(EndedBy::BloomEnd) => Some("the bloom is over"),
            Some(EndedBy::StandDown) => Some(STOOD_DOWN),
            Some(EndedBy::Age) => Some("the season is closed"),
            None if self.season.state == State::StoodDown => Some(STOOD_DOWN),
            None => None,
        }
    }

    /// The leg that an entry opened, by the subject of its alerts.
    pub(super) fn leg(&self, subject: &str) -> Option<&Leg> {
        self.season.legs.iter().find(|leg| leg.opened_by == subject)
    }
}
