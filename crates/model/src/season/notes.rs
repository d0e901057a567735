//! What a reader must know beside the figures, in words.

use std::borrow::Cow;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::judged::Facts;
use super::reentry::Reentry;
use super::seen::Seen;
use super::started::{Anew, Hold, Started};
use crate::block::{Offset, USUAL_STYLE_MM};
use crate::bloom::{Basis, Count, Start, WIDE_SPREAD, Walk};
use crate::curve::{EndPoint, Measure};
use crate::field_log::{Stand, Standing};
use crate::growth::Growth;
use crate::legs::{EndedBy, Leg, Opening};
use crate::plan::{MarkBound, Plan};
use crate::pollination::BeeHours;
use crate::time::{HOUR, Instant};
use crate::words;

/// One note, with a code for programs and a sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// Stable code.
    pub code: Cow<'static, str>,
    /// Sentence.
    pub text: Cow<'static, str>,
    /// Id of the entry that it speaks of.
    pub entry: Option<String>,
}

/// Thinning sprays closer than this are likely two halves of one.
const ONE_NIGHT: i64 = 12 * HOUR;

/// Counts farther apart than this, hours, leave the start to chance (constructed: bloom
/// opens by half within a warm day).
const LONG_BETWEEN: i64 = 48;

impl Note {
    /// A note on the season as a whole.
    pub fn new(code: &'static str, text: impl Into<Cow<'static, str>>) -> Note {
        Note { code: Cow::Borrowed(code), text: text.into(), entry: None }
    }

    pub(super) fn on(entry: &Standing<'_>, code: &'static str, text: impl Into<Cow<'static, str>>) -> Note {
        Note { entry: Some(entry.id.to_owned()), ..Note::new(code, text) }
    }
}

pub(super) fn on_plan(plan: &Plan, seen: &Seen<'_>, growth: &Growth, threshold: f64, notes: &mut Vec<Note>) {
    if threshold <= 0.0 {
        notes.push(Note::new("no-target", "The target is no fruit, so no clock runs."));
    }
    let curve = growth.curve();
    if !curve.cultivars.contains(&plan.block.cultivar) {
        notes.push(Note::new("curve-not-cultivar-specific", words::NOT_CULTIVAR_SPECIFIC));
    }
    if curve.end_point != EndPoint::StyleBase {
        let text = "The curve's source does not say that it counts to the foot of the style; if it counts to the \
                    ovule, a mark is reached sooner than shown.";
        notes.push(Note::new("curve-end-point", text));
    }
    on_style(plan, seen, curve.measure, notes);
    if let Some(offset) = &plan.block.offset {
        notes.push(Note::new("offset", spoken(offset)));
    }
    let unconfirmed = plan.unconfirmed();
    if !unconfirmed.is_empty() {
        let text = if plan.confirmed.is_empty() {
            Cow::Borrowed(words::UNCONFIRMED)
        } else {
            Cow::Owned(format!("{}: {}", unconfirmed.join(", "), words::UNCONFIRMED))
        };
        notes.push(Note::new(MATERIALS_UNCONFIRMED, text));
    }
}

fn on_style(plan: &Plan, seen: &Seen<'_>, measure: Measure, notes: &mut Vec<Note>) {
    let Some(mm) = seen.style_mm(plan) else {
        if measure == Measure::Millimetre {
            let text = "The curve is in millimetres and no style length is there to borrow: no clock runs.";
            notes.push(Note::new("no-style-length", text));
        }
        return;
    };
    if let Some(from) = seen.borrowed_style(plan) {
        let text = format!(
            "The style length is that of {from}: measure this block's own, it may differ by a tenth."
        );
        notes.push(Note::new("style-borrowed", text));
    }
    if measure == Measure::Style {
        let text =
            format!("Style length {mm:.1} mm is shown, not used: the curve is in shares of the style.");
        notes.push(Note::new("style-length-not-used", text));
    }
    if !(USUAL_STYLE_MM.0..=USUAL_STYLE_MM.1).contains(&mm) {
        let text = format!(
            "A style of {mm:.1} mm is unusual (mostly {} to {} mm): measure again.",
            USUAL_STYLE_MM.0, USUAL_STYLE_MM.1
        );
        notes.push(Note::new("style-length-unusual", text));
    }
}

/// How the block's air is taken to differ from that of its site, and who says
/// so.
fn spoken(offset: &Offset) -> String {
    let apart = |celsius: f64| match celsius {
        0.0 => None,
        cold if cold < 0.0 => Some(format!("{} °C colder", -cold)),
        warm => Some(format!("{warm} °C warmer")),
    };
    let (day, night) = (offset.day_c, offset.night_c);
    let how = match (apart(day), apart(night)) {
        (None, None) => "as warm as its site by day and by night".to_owned(),
        (Some(always), Some(_)) if day == night => format!("{always} than its site by day and by night"),
        (Some(day), Some(night)) => format!("{day} by day and {night} by night than its site"),
        (Some(day), None) => format!("{day} than its site by day and as warm by night"),
        (None, Some(night)) => format!("as warm as its site by day and {night} by night"),
    };
    let note = offset.note.trim_end_matches('.');
    format!("The block is taken to be {how} ({}: {note}).", offset.author)
}

/// Code of the note that planned materials are not confirmed.
pub const MATERIALS_UNCONFIRMED: &str = "materials-unconfirmed";

/// Code of the note that bees may have had too few hours.
pub const FEW_BEE_HOURS: &str = "few-bee-hours";

/// Code of the note that no one has decided yet whether to thin.
pub const NO_DECISION: &str = "no-decision";

pub(super) fn on_decision(logged: bool, threshold: f64, notes: &mut Vec<Note>) {
    if !logged && threshold > 0.0 {
        notes.push(Note::new(NO_DECISION, "No decision to thin this block is logged yet."));
    }
}

pub(super) fn on_log(stand: &Stand<'_>, notes: &mut Vec<Note>) {
    for (id, at) in &stand.ahead {
        let text = format!("Left out: it lies after now, at {at}.");
        notes.push(Note { entry: Some((*id).to_owned()), ..Note::new("entry-ahead", text) });
    }
    for id in &stand.orphans {
        let text =
            "It speaks of an entry that this log does not have, or of another kind; nothing was changed.";
        notes.push(Note { entry: Some((*id).to_owned()), ..Note::new("entry-orphan", text) });
    }
}

/// Everything about counts and start.
pub(super) fn on_bloom(
    plan: &Plan,
    seen: &Seen<'_>,
    walks: &[Walk<'_>],
    started: &Started,
    start: Option<&Start>,
    threshold: f64,
    notes: &mut Vec<Note>,
) {
    on_walks(walks, seen, threshold, notes);
    if threshold <= 0.0 {
        return;
    }
    if let Some(Anew { frost_at, left_open }) = started.anew {
        let text = format!(
            "The frost of {} left {left_open:.0} live open flowers a tree, fewer than the {threshold:.0} wanted: leg 1 \
             starts anew when they are reached again.",
            frost_at.spoken(plan.zone)
        );
        notes.push(Note::new("start-anew", text));
    }
    if started.borrowed {
        let from = plan.lent.start.as_ref().map_or("another block", |lent| &lent.from);
        let text = format!(
            "The start is that of {from}, known to half a day more on either side: count open flowers in this block."
        );
        notes.push(Note::new("start-borrowed", text));
        return;
    }
    let later = |at: Instant| started.anew.is_none_or(|anew| at > anew.frost_at);
    let starts: Vec<&Standing<'_>> = seen.starts.iter().filter(|entry| later(entry.at)).copied().collect();
    let counts: Vec<(&Standing<'_>, Count)> =
        walks.iter().filter(|walk| later(walk.count.at)).map(|walk| (walk.entry, walk.count)).collect();
    if starts.is_empty() {
        if start.is_none() && started.start.is_some() {
            // Reached or foreseen, but nothing measures the growth from there on.
            return;
        }
        on_start(start, &counts, threshold, plan.zone, notes);
    } else {
        on_logged_start(&starts, !counts.is_empty(), notes);
    }
}

fn on_walks(walks: &[Walk<'_>], seen: &Seen<'_>, threshold: f64, notes: &mut Vec<Note>) {
    let (mut reached, logged) = (false, !seen.starts.is_empty());
    for pair in walks.windows(2) {
        let (before, after) = (pair[0].count.mean, pair[1].count.mean);
        if after < before {
            let text = format!("Fewer open flowers than at the count before: {after:.1} after {before:.1}.");
            notes.push(Note::on(pair[1].entry, "count-falls", text));
        }
        let hours = pair[1].count.at.since(pair[0].count.at) / HOUR;
        let first = !reached;
        reached |= before >= threshold || after >= threshold;
        if first && !logged && before < threshold && after >= threshold && hours > LONG_BETWEEN {
            let text = format!(
                "{hours} hours lie between the count below the threshold and this one: the start is known no better \
                 than that. If you saw it, log the bloom start."
            );
            notes.push(Note::on(pair[1].entry, "start-between-far-counts", text));
        }
    }
    let bloom_end = seen.bloom_end;
    for Walk { entry, seen, .. } in walks {
        if let Some((on, off)) = seen.apart {
            let text = format!(
                "Trees differ by more than half: bearing trees have {on:.0} open flowers, resting ones {off:.0}. The \
                 clock goes by the bearing ones."
            );
            notes.push(Note::on(entry, "trees-told-apart", text));
        } else if let Some(spread) = seen.spread.filter(|spread| *spread > WIDE_SPREAD) {
            let text = format!(
                "Trees differ by {:.0} % of their mean: if some bear this year and others rest, count them apart \
                 (`tree_class`).",
                spread * 100.0
            );
            notes.push(Note::on(entry, "trees-differ", text));
        }
        if let Some(tree) = seen.odd_tree {
            let text = format!(
                "One tree with {tree} open flowers lies far from the others: a seedling, a pollinizer, or a slip of the \
                 pen? It counts as it stands."
            );
            notes.push(Note::on(entry, "odd-tree", text));
        }
        if bloom_end.is_some_and(|end| entry.at > end.at) {
            let text = "Open flowers were counted after the end of bloom was logged, and the season stays closed: \
                        withdraw the end if flowers still open.";
            notes.push(Note::on(entry, "count-after-end", text));
        }
        if seen.dead_taken_off {
            let text =
                "All open flowers were counted: dead ones were taken off by the damage count, kings first.";
            notes.push(Note::on(entry, "dead-taken-off", text));
        }
    }
}

fn on_logged_start(starts: &[&Standing<'_>], counted: bool, notes: &mut Vec<Note>) {
    if counted {
        notes.push(Note::on(
            starts[0],
            "start-logged",
            "A start was logged; it stands before what the counts say.",
        ));
    }
    for entry in &starts[1..] {
        notes.push(Note::on(entry, "start-again", "A start was logged before; the earliest holds."));
    }
}

fn on_start(
    start: Option<&Start>,
    counts: &[(&Standing<'_>, Count)],
    threshold: f64,
    zone: Tz,
    notes: &mut Vec<Note>,
) {
    let last = counts.last().map(|(entry, _)| *entry);
    match start {
        Some(Start { basis: Basis::NoLaterThan, .. }) => {
            let text = "The first count was at the threshold already: the clock started no later than then, \
                        perhaps well before.";
            notes.push(Note {
                entry: counts.first().map(|(entry, _)| entry.id.to_owned()),
                ..Note::new("start-no-count-below", text)
            });
        }
        Some(Start { basis: Basis::Expected, at, .. }) => {
            let text = format!(
                "{threshold:.0} open flowers a tree are expected about {}: count again by then.",
                at.spoken(zone)
            );
            notes.push(Note {
                entry: last.map(|entry| entry.id.to_owned()),
                ..Note::new("count-again", text)
            });
        }
        None if last.is_some() => {
            let text = format!(
                "Below {threshold:.0} open flowers a tree, and the counts at hand do not foretell when: count again within a day."
            );
            notes.push(Note {
                entry: last.map(|entry| entry.id.to_owned()),
                ..Note::new("count-again", text)
            });
        }
        _ => {}
    }
    if let Some(Start { basis: Basis::BetweenCounts, .. }) = start
        && let Some(above) = counts.iter().position(|(_, count)| count.mean >= threshold)
        && let Some((entry, _)) =
            counts[above.saturating_sub(1)..=above].iter().find(|(_, count)| count.trees < 2)
    {
        let text = "One tree was counted: the start lies anywhere between the two counts.";
        notes.push(Note::on(entry, "count-of-one-tree", text));
    }
}

pub(super) fn on_two_in_one_night(opening: &Opening, entry: &Standing<'_>, notes: &mut Vec<Note>) {
    if opening.by != "start" && entry.at.since(opening.at) < ONE_NIGHT {
        let text = "Two thinning sprays within twelve hours: each resets the clock. If they were two parts of one \
                    round, correct the first with the share of the block that it covered.";
        notes.push(Note::on(entry, "sprays-close", text));
    }
}

pub(super) fn after_the_end(entry: &Standing<'_>) -> Note {
    Note::on(entry, "spray-after-end", "The season was closed before this spray, so it resets nothing.")
}

pub(super) fn on_legs(legs: &mut [Leg], growth: &Growth, plan: &Plan, notes: &mut Vec<Note>) {
    let as_of = growth.course().as_of();
    for leg in legs.iter() {
        spray_before_mark(leg, as_of, notes);
        if leg.may_be_reached_since.is_some() {
            let text = format!(
                "Leg {}: hours are unknown; the mark may be reached already, and cannot be told from the readings.",
                leg.number
            );
            notes.push(Note::new("may-be-reached", text));
        }
        let too_few = |hours: &BeeHours| hours.too_few(plan.settings.fewest_bee_hours);
        if let Some(hours) = leg.bee_hours.filter(too_few) {
            let text = format!(
                "Leg {}: {:.0} hours fit for bees since it began; tubes may be behind the figure.",
                leg.number, hours.fit
            );
            notes.push(Note::new(FEW_BEE_HOURS, text));
        }
        if leg.ended_by == Some(EndedBy::Age) {
            let text = format!(
                "Closed {} days after leg {} opened; a correction opens it again.",
                plan.settings.age_days, leg.number
            );
            notes.push(Note::new("closed-by-age", text));
        }
    }
    if let (Some(first), Some(last)) = (legs.first(), legs.last()) {
        let until = last.ended_at.or(as_of).unwrap_or(first.from);
        if growth.outside_between(first.from, until) {
            let (low, high) = growth.curve().covered;
            let text = format!("Some hours lay outside {low} to {high} °C, where the curve's data ends.");
            notes.push(Note::new("curve-outside-range", text));
        }
        let hours = growth.course().hours(first.from, until);
        if hours.unknown > 0.0 {
            let text = format!(
                "{:.1} hours without a usable reading: progress lies between low and high.",
                hours.unknown
            );
            notes.push(Note::new("hours-unknown", text));
        }
    }
}

/// What frost and damage have to say.
pub(super) fn on_frost(facts: &Facts, started: &Started, hold: Option<&Hold>, notes: &mut Vec<Note>) {
    if let Some(hold) = hold {
        notes.push(Note::new("hold", format!("Frost came over the running leg. {}", hold.says)));
    }
    if let Some(damage) = &facts.damage {
        if damage.early {
            let text = "Damage was counted within 12 hours of the coldest moment: browning may not show yet.";
            notes.push(Note::new("damage-early", text));
        }
        if started.start.is_some_and(|start| start.basis != Basis::Expected && damage.at > start.at) {
            let text = "Damage was counted after the start: it tells of what was open then, too.";
            notes.push(Note::new("damage-after-start", text));
        }
    }
}

/// When someone may go in again.
pub(super) fn on_reentry(reentry: Option<&Reentry>, zone: Tz, notes: &mut Vec<Note>) {
    match reentry {
        Some(Reentry { until: Some(until), closed: true, entry, .. }) => {
            let text = words::nobody_before(&until.spoken(zone));
            notes.push(Note { entry: Some(entry.clone()), ..Note::new("closed-for-reentry", text) });
        }
        Some(Reentry { until: None, entry, .. }) => {
            notes.push(Note { entry: Some(entry.clone()), ..Note::new("no-reentry", words::NO_REENTRY) });
        }
        _ => {}
    }
}

/// Before a not-before mark a spray takes wanted flowers.
fn spray_before_mark(leg: &Leg, as_of: Option<Instant>, notes: &mut Vec<Note>) {
    let (Some(mark), Some(MarkBound::NotBefore), Some(EndedBy::Spray)) = (leg.mark, leg.bound, leg.ended_by)
    else {
        return;
    };
    let read = as_of >= leg.ended_at;
    if !read || leg.reached_at.is_some() {
        return;
    }
    let text = if leg.progress_high >= mark {
        format!(
            "Sprayed when leg {} may not have been at its mark of {mark:.2}: wanted flowers may be at risk.",
            leg.number
        )
    } else {
        format!(
            "Sprayed at {:.2} of the style, before leg {}'s mark of {mark:.2}: wanted flowers are at risk.",
            leg.progress_low, leg.number
        )
    };
    notes.push(Note { entry: leg.ended_by_entry.clone(), ..Note::new("spray-before-mark", text) });
}
