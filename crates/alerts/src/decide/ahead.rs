//! What alerts say of what lies ahead: odds, and slots that come and go.

use std::borrow::Cow;

use model::ahead::{bloom_check, kept};
use model::alert_kind::AlertKind;
use model::legs::Leg;
use model::odds::Odds;
use model::slot::{Answer, Kept, Slot};
use model::time::{HOUR, Instant};
use serde::Deserialize;
use store::AlertRow;

use super::facts::Facts;
use super::standing::leg_of;
use super::{Called, standing};
use crate::about::About;

/// Whoever is to look at flowers is told so long before.
const LOOK_TOLD: i64 = 6 * HOUR;

impl Facts<'_> {
    /// The same facts with the odds of a moment.
    pub(super) fn with_odds(&self, about: About, odds: Option<&Odds>) -> About {
        let zone = self.plan.zone;
        About {
            odds: odds.map(|odds| odds.told(zone)),
            likely: odds.and_then(|odds| odds.likely_told(zone)),
            likely_at: odds.and_then(|odds| odds.likely),
            ..about
        }
    }

    /// The same with the odds and the slot of a leg.
    pub(super) fn with_ahead(&self, about: About, leg: &Leg) -> About {
        let answer = self.answer(leg);
        About {
            slot: answer.and_then(|answer| answer.slot),
            slot_told: answer.map(|answer| answer.told_short(self.plan.zone)),
            ..self.with_odds(about, self.odds_of(leg))
        }
    }

    /// The odds of a leg's mark, while it is ahead.
    pub(super) fn odds_of(&self, leg: &Leg) -> Option<&Odds> {
        let ahead = leg.ended_at.is_none() && leg.reached_at.is_none();
        let odds = self.beside.ahead.filter(|_| ahead)?.odds;
        odds.legs.iter().find(|of| of.number == leg.number).map(|of| &of.odds)
    }

    /// When a leg's mark, still ahead, is likely to be reached: by its odds, else by the
    /// single forecast.
    pub(super) fn expected(&self, leg: &Leg) -> Option<Instant> {
        self.odds_of(leg).and_then(|odds| odds.likely).or(leg.expected_at)
    }

    /// The odds of the start, while it is ahead.
    pub(super) fn odds_of_start(&self) -> Option<&Odds> {
        self.beside.ahead?.odds.start.as_ref()
    }

    /// What came of looking for a leg's slot.
    fn answer(&self, leg: &Leg) -> Option<&Answer> {
        let slots = self.beside.ahead.filter(|_| leg.ended_at.is_none())?.slots;
        slots.iter().find(|answer| answer.wanted.leg == leg.number)
    }

    /// A later leg's slot is near, and someone can look at its flowers before it.
    pub(super) fn bloom_check<'a>(&'a self, leg: &'a Leg) -> Option<Called<'a>> {
        let (at, slot) = bloom_check(self.season, self.answer(leg)?, self.plan.zone, self.now)?;
        let near = at.since(self.now) <= LOOK_TOLD && self.closed_until().is_none();
        (near && self.over(leg).is_none()).then(|| Called {
            kind: AlertKind::BloomCheck,
            subject: Cow::Borrowed(leg.opened_by.as_str()),
            at: slot.begin,
            untold: None,
            says: Box::new(move || {
                let because =
                    "the slot of a later leg is near, and its flowers are to be looked at before it"
                        .to_owned();
                let about = self.about_leg(AlertKind::BloomCheck, leg, slot.begin);
                (because, About { count_at: Some(at), ..about })
            }),
        })
    }

    /// A slot that people were told of last has closed.
    pub(super) fn slot_lost<'a>(&'a self, leg: &'a Leg, known: &[AlertRow]) -> Option<Called<'a>> {
        let ahead = self.beside.ahead.filter(|_| leg.ended_at.is_none())?;
        let naming = |alert: &&AlertRow| {
            leg_of(&alert.subject) == leg.opened_by
                && ["heads-up", "moved", "slot-lost"].contains(&alert.kind.as_str())
        };
        let last = standing(known).filter(naming).max_by_key(|alert| (alert.raised_at, &alert.id))?;
        let named: Slot = Slot::deserialize(last.about.get("slot")?).ok().filter(|_| last.mailed)?;
        let kept = kept(self.plan, self.season, ahead.odds, &ahead.sky, (leg.number, &named), self.now)?;
        // One whose time has gone by needs no word: whoever was to use it was there.
        if !matches!(kept, Kept::Closed { .. }) || self.over(leg).is_some() {
            return None;
        }
        let ordinal = known.iter().filter(|alert| {
            alert.kind == AlertKind::SlotLost.word() && leg_of(&alert.subject) == leg.opened_by
        });
        let lost = kept.told(&named, self.plan.zone);
        Some(Called {
            kind: AlertKind::SlotLost,
            subject: Cow::Owned(format!("{}/{}", leg.opened_by, ordinal.count() + 1)),
            at: named.begin,
            untold: None,
            says: Box::new(move || {
                let about = self.about_leg(AlertKind::SlotLost, leg, named.begin);
                ("the slot that was named has closed".to_owned(), About { lost: Some(lost), ..about })
            }),
        })
    }

    /// Whether a moment lies so near, by the single forecast or likely.
    pub(super) fn within(&self, expected: Instant, odds: Option<&Odds>, ahead: i64) -> bool {
        let likely = odds.and_then(|odds| odds.likely);
        likely.map_or(expected, |likely| likely.min(expected)).since(self.now) <= ahead
    }
}
