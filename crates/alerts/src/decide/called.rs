//! What a season calls for, kind by kind.

use std::borrow::Cow;

use model::alert_kind::AlertKind;
use model::bloom::Basis;
use model::frost::{Ahead, Night, night_of};
use model::legs::Leg;
use model::season::{self, COUNT_AHEAD, DECIDE_AHEAD, FEED_UNHEARD_HOURS, FROST_AHEAD, State};
use model::time::{HOUR, Instant};
use store::AlertRow;

use super::facts::{Facts, STOOD_DOWN};
use super::{Called, USEFUL, standing};
use crate::about::About;

/// Why nobody needs to look for damage any more.
pub(super) const LOOKED: &str = "damage was counted";

/// Subject of what a season has one of.
const NO_SUBJECT: &str = "-";

/// Why `due` is left untold where both came up at once.
const BOTH: &str = "it came up together with `overrun`, which says more";

impl Facts<'_> {
    pub(super) fn called_for(&self, known: &[AlertRow]) -> Vec<Called<'_>> {
        let mut called: Vec<Called<'_>> = self.count_now().into_iter().collect();
        called.extend(self.to_decide());
        called.extend(self.started());
        called.extend(self.frost());
        called.extend(self.season.frost.nights.iter().filter_map(|night| self.check_damage(night)));
        for leg in &self.season.legs {
            called.extend(self.heads_up(leg));
            called.extend(self.due(leg, known));
            called.extend(self.overrun(leg));
            called.extend(self.bloom_check(leg));
            called.extend(self.slot_lost(leg, known));
        }
        called.extend(self.blind());
        called
    }

    /// Open flowers are near the threshold: one more count catches the start.
    fn count_now(&self) -> Option<Called<'_>> {
        let start = self.season.start.filter(|start| start.basis == Basis::Expected)?;
        let latest = self.season.counts.last()?;
        let near =
            self.within(start.at, self.odds_of_start(), COUNT_AHEAD) && self.season.state == State::Watching;
        // Nobody is asked to go in before the block is open again.
        (near && self.closed_until().is_none()).then(|| Called {
            kind: AlertKind::CountNow,
            subject: Cow::Borrowed(latest.entry.as_str()),
            at: start.at,
            untold: None,
            says: Box::new(move || {
                let because = "open flowers are expected at the threshold within 24 hours".to_owned();
                let about = self.about(AlertKind::CountNow, Some(start.at));
                let about = About { count_at: self.season.count_again_at, ..about };
                (because, self.with_odds(about, self.odds_of_start()))
            }),
        })
    }

    /// The start is near, and nobody has said whether to thin.
    fn to_decide(&self) -> Option<Called<'_>> {
        let start = self.season.start.filter(|start| start.basis == Basis::Expected)?;
        let near = self.within(start.at, self.odds_of_start(), DECIDE_AHEAD);
        (near && self.season.decision.is_none() && self.season.state == State::Watching).then(|| Called {
            kind: AlertKind::Decide,
            subject: Cow::Borrowed(NO_SUBJECT),
            at: start.at,
            untold: None,
            says: Box::new(move || {
                let because = "the start is expected within 48 hours and no decision is logged".to_owned();
                let about = self.about(AlertKind::Decide, Some(start.at));
                (because, self.with_odds(about, self.odds_of_start()))
            }),
        })
    }

    /// Frost is forecast for a night that is near, and there are flowers to lose.
    fn frost(&self) -> Option<Called<'_>> {
        self.season.frost.stage?;
        let ahead = self.season.frost.ahead?;
        let Ahead::Cold { at, lowest_c, line_c, .. } = ahead else { return None };
        let night = night_of(at, self.plan.zone);
        let near = at >= self.now && at.since(self.now) <= FROST_AHEAD;
        near.then(|| Called {
            kind: AlertKind::Frost,
            subject: Cow::Owned(night.to_string()),
            at,
            untold: None,
            says: Box::new(move || {
                let told = ahead.chance_told().map(|told| format!("; {}", told.trim_end_matches('.')));
                let told = told.unwrap_or_default();
                let because = format!(
                    "the forecast of {lowest_c:.1} °C comes near the kill line of {line_c:.1} °C{told}"
                );
                let night = format!(
                    "the night of {} ({lowest_c:.1} °C forecast, kill line {line_c:.1} °C{told})",
                    night.format("%-d %B")
                );
                (because, About { night: Some(night), ..self.about(AlertKind::Frost, Some(at)) })
            }),
        })
    }

    /// A night at the kill line has passed; told on the morning after it, and not
    /// before someone may go in.
    fn check_damage<'a>(&'a self, night: &'a Night) -> Option<Called<'a>> {
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
            kind: AlertKind::CheckDamage,
            subject: Cow::Owned(night.date.to_string()),
            at: hit,
            untold: over
                .or(self.looked(hit).then_some(LOOKED))
                .or(late.then_some("it came to light more than 72 hours late")),
            says: Box::new(move || {
                let spoken = season::night_spoken(night, self.plan.zone);
                let about = self.about(AlertKind::CheckDamage, Some(hit));
                let because = "readings lay at the kill line for 30 minutes".to_owned();
                (because, About { night: Some(spoken), ..about })
            }),
        })
    }

    /// Whether damage was counted after a frost.
    pub(super) fn looked(&self, hit: Instant) -> bool {
        self.season.damage.as_ref().is_some_and(|damage| damage.at >= hit)
    }

    fn started(&self) -> Option<Called<'_>> {
        let start = self.season.start.filter(|start| start.basis != Basis::Expected)?;
        let first = self.season.legs.first()?;
        Some(Called {
            kind: AlertKind::Started,
            subject: Cow::Borrowed(NO_SUBJECT),
            at: start.at,
            untold: self.untold(first, start.at),
            says: Box::new(move || {
                let about = About {
                    earliest: start.earliest,
                    latest: start.latest,
                    leg: Some(1),
                    mark: first.mark,
                    material: self.plan.sprays.first().map(|spray| spray.material.clone()),
                    basis: Some(start.basis),
                    ..self.about(AlertKind::Started, Some(start.at))
                };
                ("live open flowers reached the threshold".to_owned(), about)
            }),
        })
    }

    fn heads_up<'a>(&'a self, leg: &'a Leg) -> Option<Called<'a>> {
        // The mail names the forecast's own time beside the odds.
        let expected = leg.expected_at.or_else(|| self.expected(leg))?;
        let mark = leg.mark?;
        let lead = self.plan.settings.lead_hours;
        let soon = self.within(expected, self.odds_of(leg), lead * HOUR);
        (soon && self.untold(leg, expected).is_none()).then(|| {
            self.of_leg(AlertKind::HeadsUp, leg, expected, None, move || {
                format!("readings and forecast reach {mark:.2} within {lead} hours")
            })
        })
    }

    fn due<'a>(&'a self, leg: &'a Leg, known: &[AlertRow]) -> Option<Called<'a>> {
        let reached = leg.reached_at?;
        // Where `due` was told before, `overrun` follows it.
        let told = || {
            standing(known).any(|alert| alert.kind == AlertKind::Due.word() && alert.subject == leg.opened_by)
        };
        let both = (leg.overrun_at.is_some() && !told()).then_some(BOTH);
        let untold = self.untold(leg, reached).or(both);
        Some(self.of_leg(AlertKind::Due, leg, reached, untold, || {
            format!("low progress reached {:.2} on readings", leg.mark.unwrap_or_default())
        }))
    }

    fn overrun<'a>(&'a self, leg: &'a Leg) -> Option<Called<'a>> {
        let overrun = leg.overrun_at?;
        Some(self.of_leg(AlertKind::Overrun, leg, overrun, self.untold(leg, overrun), || {
            "low progress is well beyond the mark and no spray is logged".to_owned()
        }))
    }

    /// What is called for once a leg.
    fn of_leg<'a>(
        &'a self,
        kind: AlertKind,
        leg: &'a Leg,
        at: Instant,
        untold: Option<&'static str>,
        because: impl FnOnce() -> String + 'a,
    ) -> Called<'a> {
        Called {
            kind,
            subject: Cow::Borrowed(leg.opened_by.as_str()),
            at,
            untold,
            says: Box::new(move || (because(), self.about_leg(kind, leg, at))),
        }
    }

    /// Nothing is heard of the site while a leg runs, or unread hours leave open
    /// whether its mark is reached.
    fn blind(&self) -> Vec<Called<'_>> {
        let running = match self.season.running() {
            Some(leg) if self.season.state != State::StoodDown => leg,
            _ => return Vec::new(),
        };
        let mut blind = Vec::new();
        if let (Some(from), Some(since)) = (running.unread_from, running.may_be_reached_since) {
            blind.push(Called {
                kind: AlertKind::Blind,
                subject: Cow::Owned(format!("{from}/{}", running.opened_by)),
                at: since,
                untold: None,
                says: Box::new(move || {
                    let because = "hours without a reading leave open whether the mark is reached".to_owned();
                    let about = self.about_leg(AlertKind::Blind, running, since);
                    (because, About { unread_from: Some(from), may_be_since: Some(since), ..about })
                }),
            });
        }
        let last = self.season.as_of.unwrap_or(running.from);
        let hours = self.unheard_hours();
        if self.beside.awake && self.now.since(last) > hours * HOUR {
            let subject = self.season.as_of.map(|at| Cow::Owned(at.to_string()));
            blind.push(Called {
                kind: AlertKind::Blind,
                subject: subject.unwrap_or(Cow::Borrowed(NO_SUBJECT)),
                at: last,
                untold: None,
                says: Box::new(move || {
                    let because = format!("no reading came for more than {hours} hours while a leg runs");
                    let about = self.about_leg(AlertKind::Blind, running, last);
                    (because, About { unread_from: Some(last), ..about })
                }),
            });
        }
        blind
    }

    /// Hours within which a new reading is to come.
    fn unheard_hours(&self) -> i64 {
        if self.beside.fed { FEED_UNHEARD_HOURS } else { self.plan.settings.readings_within_hours }
    }
}
