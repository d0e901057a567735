//! The runs of the clock, cut at the sprays that reset it and closed when the season
//! is.

use super::notes::{self, Note};
use super::seen::Seen;
use super::sprays::{self, Reset};
use crate::bloom::Start;
use crate::field_log::{Observed, Stand, Standing};
use crate::growth::Growth;
use crate::legs::{self, Closing, EndedBy, Leg, Opening, Ruler, Target};
use crate::plan::Plan;
use crate::time::{DAY, Instant};

/// What closes the season, whatever leg runs then.
pub(super) fn close(seen: &Seen<'_>, stand: &Stand<'_>) -> Ending {
    let entry = |entry: &Standing<'_>, by| Closing { at: entry.at, by, entry: Some(entry.id.to_owned()) };
    let stood_down = seen.stood_down().map(|at| entry(at, EndedBy::StandDown));
    let ended = seen.bloom_end.map(|at| entry(at, EndedBy::BloomEnd));
    let logged = match (stood_down, ended) {
        (Some(down), Some(end)) => Some(if down.at < end.at { down } else { end }),
        (down, end) => down.or(end),
    };
    Ending { logged, amended_at: stand.amended_at.clone() }
}

/// How a season ends.
pub(super) struct Ending {
    pub logged: Option<Closing>,
    pub amended_at: Vec<Instant>,
}

impl Ending {
    /// When a leg that opened at `opened` is closed by age: so many days later,
    /// or after the last correction that reopened it.
    pub(super) fn by_age(&self, opened: Instant, plan: &Plan) -> Instant {
        let days = plan.settings.age_days * DAY;
        self.amended_at.iter().fold(
            opened.plus(days),
            |end, amended| {
                if *amended > end { amended.plus(days) } else { end }
            },
        )
    }

    /// The first thing that closes a leg opened at `opened`, spray aside.
    fn of_leg(&self, opened: Instant, plan: &Plan) -> Closing {
        let age = Closing { at: self.by_age(opened, plan), by: EndedBy::Age, entry: None };
        match &self.logged {
            Some(logged) if logged.at <= age.at => Closing { at: logged.at.max(opened), ..logged.clone() },
            _ => age,
        }
    }
}

/// Cuts the run of the clock at the sprays that reset it.
#[expect(clippy::too_many_arguments, reason = "one fold over all that a season consists of")]
pub(super) fn cut(
    plan: &Plan,
    seen: &Seen<'_>,
    stand: &Stand<'_>,
    start: &Start,
    end: Ending,
    growth: &Growth,
    now: Instant,
    notes: &mut Vec<Note>,
) -> Vec<Leg> {
    debug_assert!(stand.entries.is_sorted_by_key(|entry| entry.at));
    let ruler = seen.ruler(plan, growth);
    let mut legs = Vec::with_capacity(plan.sprays.len() + 1);
    let mut opening = Opening::start(start);
    if end.logged.as_ref().is_some_and(|closing| closing.by == EndedBy::StandDown && closing.at <= start.at) {
        sprays::note_before_start(plan, &seen.sprays, None, notes);
        return legs;
    }
    let mut open = true;
    for entry in &seen.sprays {
        if entry.at < start.at {
            sprays::note_before_start(plan, &[entry], Some(start.at), notes);
            continue;
        }
        let Reset::Ends { finished_at } = sprays::resets(plan, entry, legs.len(), now, notes) else {
            continue;
        };
        let closing = end.of_leg(opening.at, plan);
        if !open || entry.at > closing.at {
            open = false;
            notes.push(notes::after_the_end(entry));
            continue;
        }
        let next = Opening {
            by: entry.id.to_owned(),
            at: entry.at,
            earliest: Some(entry.at),
            latest: Some(finished_at),
        };
        notes::on_two_in_one_night(&opening, entry, notes);
        let closing = Closing { at: entry.at, by: EndedBy::Spray, entry: Some(entry.id.to_owned()) };
        let opened = std::mem::replace(&mut opening, next);
        let sprayed = leg(plan, legs.len(), opened, Some(closing), growth, ruler);
        legs.push(Leg { sprayed_with: material(entry), ..sprayed });
    }
    let closing = Some(end.of_leg(opening.at, plan)).filter(|closing| closing.at <= now);
    legs.push(leg(plan, legs.len(), opening, closing, growth, ruler));
    legs
}

/// When the first spray after a start reset the clock.
pub(super) fn first_reset(plan: &Plan, seen: &Seen<'_>, start: Instant, now: Instant) -> Option<Instant> {
    let mut unheard = Vec::new();
    let mut resets = |entry: &&&Standing<'_>| {
        matches!(sprays::resets(plan, entry, 0, now, &mut unheard), Reset::Ends { .. })
    };
    seen.sprays.iter().filter(|entry| entry.at >= start).find(|entry| resets(entry)).map(|entry| entry.at)
}

fn material(entry: &Standing<'_>) -> Option<String> {
    match entry.says {
        Observed::Spray(spray) => Some(spray.material.clone()),
        _ => None,
    }
}

fn leg(
    plan: &Plan,
    index: usize,
    opening: Opening,
    closing: Option<Closing>,
    growth: &Growth,
    ruler: Ruler,
) -> Leg {
    let planned = match &closing {
        Some(closing) if closing.by == EndedBy::Spray => plan.when_sprayed(index, closing.at),
        _ => plan.sprays.get(index),
    };
    let target = planned.map(|spray| Target {
        mark: spray.mark,
        bound: spray.bound,
        overrun: super::THROUGH.max(spray.mark + plan.settings.overrun_margin),
    });
    legs::run(index + 1, opening, target, closing, growth, ruler)
}
