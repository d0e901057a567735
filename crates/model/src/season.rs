//! A season of one block as one pure fold over plan, field log and growth.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::bloom::{self, Basis, Bloom, Flowers, Start, Walk, WalkSeen};
use crate::buds::Buds;
use crate::cropload::Target;
use crate::damage::Damage;
use crate::field_log::{FieldLog, Stand};
use crate::frost::Ahead;
use crate::growth::{Growth, Hours};
use crate::legs::{Leg, Ruler};
use crate::odds::Outlook;
use crate::plan::Plan;
use crate::style::StyleLength;
use crate::time::{HOUR, Instant};
use crate::verdict::Verdict;

mod judged;
mod lending;
mod notes;
mod outcome;
mod reentry;
mod runs;
mod seen;
mod sprays;
mod started;
mod window;
pub use judged::{FrostSeen, morning_after, spoken as night_spoken};
pub use lending::Lender;
pub use notes::{FEW_BEE_HOURS, MATERIALS_UNCONFIRMED, NO_DECISION, Note};
pub use outcome::{Outcome, SetOn};
pub use reentry::Reentry;
use seen::Seen;
use started::Started;
pub use started::{Anew, Hold};
pub use window::window;

/// Raised whenever the same input gives another season than before; goes into
/// [`Catalogue::edition`](crate::catalogue::Catalogue::edition).
pub const MODEL_VERSION: i64 = 7;

/// At this progress the oldest flowers of a leg are through, whatever its mark.
const THROUGH: f64 = 1.0;

/// Where a season stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// The threshold is not reached.
    Watching,
    /// A leg runs.
    Growing,
    /// Low progress is at the mark and no spray is logged.
    Due,
    /// Low progress is well beyond the mark and no spray is logged.
    Overrun,
    /// A frost has come over the running leg and nobody has looked yet.
    Hold,
    /// The season is over.
    Done,
    /// It was decided not to thin.
    StoodDown,
}

impl State {
    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            State::Watching => "watching",
            State::Growing => "growing",
            State::Due => "due",
            State::Overrun => "overrun",
            State::Hold => "hold",
            State::Done => "done",
            State::StoodDown => "stood-down",
        }
    }
}

/// A reckoned season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Season {
    /// Bloom year.
    pub year: i32,
    /// Where it stands.
    pub state: State,
    /// End of the last reading used.
    pub as_of: Option<Instant>,
    /// When the clock started, or is expected to.
    pub start: Option<Start>,
    /// Its legs in order.
    pub legs: Vec<Leg>,
    /// Hours by quality from leg 1's start to the last leg's end or `as_of`.
    pub hours: Hours,
    /// Fruit wanted on a tree.
    pub target: f64,
    /// What that rests on, and how far the sample behind it can be trusted.
    pub target_rests_on: Target,
    /// The same in a sentence or two.
    pub target_told: String,
    /// Live open flowers a tree at which the clock starts.
    pub threshold: f64,
    /// Live open flowers, walk by walk.
    pub counts: Vec<Counted>,
    /// When to count open flowers next, where that is called for.
    pub count_again_at: Option<Instant>,
    /// The frost after which leg 1 starts anew.
    pub anew: Option<Anew>,
    /// A frost over the running leg that nobody has looked at yet.
    pub hold: Option<Hold>,
    /// Live flowers a tree whose tubes came through before a spray, by `as_of`.
    pub flowers_through: Option<Flowers>,
    /// The latest decision.
    pub decision: Option<Decided>,
    /// What the table says of thinning; the person decides.
    pub verdict: Verdict,
    /// Buds against the target.
    pub buds: Option<Buds>,
    /// Style length.
    pub style: Option<StyleLength>,
    /// Cold nights so far, and ahead.
    pub frost: FrostSeen,
    /// What frost left alive.
    pub damage: Option<Damage>,
    /// Until when nobody works in the block.
    pub reentry: Option<Reentry>,
    /// What is another block's.
    pub borrowed: Borrowed,
    /// What set, and whether bloom returned.
    pub outcome: Option<Outcome>,
    /// What a reader must know beside the figures.
    pub notes: Vec<Note>,
    /// First moment at which time alone can change it; not part of the output.
    #[serde(skip)]
    pub look_again_at: Option<Instant>,
}

/// Live open flowers by one walk through the block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Counted {
    /// The entry, the last one of the walk.
    pub entry: String,
    /// When.
    pub at: Instant,
    /// Live open flowers a tree.
    pub live_open_per_tree: f64,
    /// Trees counted.
    pub trees: usize,
    /// Standard error of the mean.
    pub error: f64,
    /// What was seen beside.
    #[serde(flatten)]
    pub seen: WalkSeen,
}

/// A decision as it was logged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decided {
    /// Whether to thin.
    pub thin: bool,
    /// When.
    pub at: Instant,
    /// Why.
    pub reason: Option<String>,
    /// The entry.
    pub entry: String,
}

/// Names of the blocks that something is borrowed from.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Borrowed {
    /// Whose start it is.
    pub start: Option<String>,
    /// Whose stage.
    pub stage: Option<String>,
    /// Whose style length.
    pub style_length: Option<String>,
}

impl Season {
    /// The season as the outside reads it: its fields at the top, and the same
    /// object once more under `season`.
    pub fn document(&self) -> Value {
        let season = serde_json::to_value(self).unwrap_or_default();
        let mut document = season.clone();
        if let Value::Object(fields) = &mut document {
            fields.insert("season".to_owned(), season);
        }
        document
    }

    /// The leg that runs.
    pub fn running(&self) -> Option<&Leg> {
        self.legs.last().filter(|leg| leg.ended_at.is_none())
    }
}

/// Reckons a season. The same plan, log, growth and `now` give the same bits,
/// in whatever order readings and entries came.
pub fn reckon(plan: &Plan, field_log: &FieldLog, growth: &Growth, now: Instant) -> Season {
    reckon_under(plan, field_log, growth, None, now)
}

/// The same under an outlook, whose members tell how likely frost is. Nothing else of a
/// season hangs on it.
pub fn reckon_under(
    plan: &Plan,
    field_log: &FieldLog,
    growth: &Growth,
    outlook: Option<&Outlook>,
    now: Instant,
) -> Season {
    let stand = field_log.stand(now);
    let seen = Seen::of(&stand);
    let mut notes = Vec::new();
    let threshold = plan.threshold();
    let facts = judged::Facts::of(plan, &seen, growth, now);
    let frosts = facts.frosts();
    let walks = bloom::walks(&seen.opens, |at| facts.alive_at(at));
    let started = Started::find(plan, &seen, &walks, growth, &facts, now);
    let start = started.start.filter(|_| threshold > 0.0 && seen.can_measure(plan, growth));
    notes::on_bloom(plan, &seen, &walks, &started, start.as_ref(), threshold, &mut notes);
    notes::on_plan(plan, &seen, growth, threshold, &mut notes);
    notes::on_decision(seen.decision().is_some(), threshold, &mut notes);
    notes::on_log(&stand, &mut notes);
    sprays::note_limits(plan, &seen.sprays, &mut notes);

    let end = runs::close(&seen, &stand);
    let running = start.filter(|start| start.basis != Basis::Expected && start.at <= now);
    let mut legs = match &running {
        Some(start) => runs::cut(plan, &seen, &stand, start, end, growth, now, &mut notes),
        None => Vec::new(),
    };
    if running.is_none() {
        let first = start.map(|start| start.at);
        sprays::note_before_start(plan, &seen.sprays, first, &mut notes);
    }
    let flowers_through = through(&mut legs, plan, &seen, &started, &facts, growth);
    bees(&mut legs, growth);
    let on_hold = legs.last().filter(|leg| leg.ended_at.is_none());
    let hold = on_hold.and_then(|leg| started::hold(leg.from, &seen, &frosts, facts.counted_at()));
    let state = state(&seen, &legs, hold.is_some());
    let frost = facts.seen(plan, &seen, start.as_ref(), legs.last(), state, growth, outlook, now);
    let reentry = reentry::latest(plan, &seen.sprays, growth.course().as_of(), now);
    notes::on_legs(&mut legs, growth, plan, &mut notes);
    notes::on_frost(&facts, &started, hold.as_ref(), &mut notes);
    notes::on_reentry(reentry.as_ref(), plan.zone, &mut notes);

    let year = plan
        .year
        .or_else(|| start.map(|start| start.at.local_year(plan.zone)))
        .or_else(|| stand.entries.last().map(|entry| entry.at.local_year(plan.zone)))
        .unwrap_or_else(|| now.local_year(plan.zone));
    let count_again_at = match state {
        State::Watching if threshold > 0.0 => {
            let last = started.counts.last().map(|count| count.at);
            // By what was read last, so that the same readings give the same answer.
            let since = growth.course().as_of().max(last).unwrap_or(now);
            let open_again = reentry.as_ref().and_then(|reentry| reentry.until);
            bloom::next_count(started.start.as_ref(), last, plan.zone, since, open_again)
        }
        _ => None,
    };
    let look_again_at =
        look_again(&stand, &legs, plan, growth, &reentry, &facts, &frost, start.as_ref(), now);
    Season {
        year,
        state,
        as_of: growth.course().as_of(),
        start,
        hours: hours(&legs, growth),
        target: plan.block.target_fruit_per_tree,
        target_rests_on: plan.block.target.clone(),
        target_told: plan.block.target.told(),
        threshold,
        counts: walks.iter().map(counted).collect(),
        count_again_at,
        anew: started.anew,
        hold,
        flowers_through,
        decision: seen.decision().map(|(entry, decision)| Decided {
            thin: decision.thin,
            at: entry.at,
            reason: decision.reason.clone(),
            entry: entry.id.to_owned(),
        }),
        verdict: facts.verdict(plan, &seen, &frost),
        buds: facts.buds(plan, &seen),
        style: facts.style(plan, &seen, growth),
        frost,
        damage: facts.damage,
        reentry,
        borrowed: Borrowed {
            start: plan.lent.start.as_ref().filter(|_| started.borrowed).map(|lent| lent.from.clone()),
            stage: plan.lent.stages.as_ref().filter(|_| seen.stages.is_empty()).map(|lent| lent.from.clone()),
            style_length: seen.borrowed_style(plan),
        },
        outcome: outcome::of(&seen, plan),
        legs,
        notes,
        look_again_at,
    }
}

fn counted(walk: &Walk<'_>) -> Counted {
    Counted {
        entry: walk.entry.id.to_owned(),
        at: walk.count.at,
        live_open_per_tree: walk.count.mean,
        trees: walk.count.trees,
        error: walk.count.error,
        seen: walk.seen.clone(),
    }
}

/// The ruler that a season's growth is measured with.
pub(crate) fn ruler(plan: &Plan, stand: &Stand<'_>, growth: &Growth) -> Ruler {
    Seen::of(stand).ruler(plan, growth)
}

/// Flowers on a tree, where they can be reckoned.
pub(crate) fn flowers(plan: &Plan, stand: &Stand<'_>) -> Option<f64> {
    Seen::of(stand).flowers(plan)
}

/// When a spray was finished by the entry of this id; none where that is no spray, or
/// nobody said.
pub(crate) fn finished(stand: &Stand<'_>, entry: &str) -> Option<Instant> {
    stand.entries.iter().find(|standing| standing.id == entry).and_then(sprays::finish)
}

/// Live flowers a tree that will be through in a leg by each of some rising moments,
/// were it not sprayed: by counts, readings and the forecast. It ends where the counts
/// do not tell any more; none where they tell nothing.
pub fn flowers_by(
    plan: &Plan,
    field_log: &FieldLog,
    growth: &Growth,
    leg: &Leg,
    moments: impl Iterator<Item = Instant>,
    now: Instant,
) -> Option<Vec<(Instant, f64)>> {
    let stand = field_log.stand(now);
    let seen = Seen::of(&stand);
    let facts = judged::Facts::of(plan, &seen, growth, now);
    let walks = bloom::walks(&seen.opens, |at| facts.alive_at(at));
    let started = Started::find(plan, &seen, &walks, growth, &facts, now);
    let counts = started.bloom_counts(plan.threshold(), &facts);
    let bloom = Bloom::new(&counts, seen.flowers(plan), growth.course())?;
    let style = seen.ruler(plan, growth).wanted(THROUGH);
    let opened_after = (leg.number > 1).then_some(leg.from);
    let mut most = 0.0_f64;
    let by: Vec<(Instant, f64)> = moments
        .map_while(|at| {
            let through = bloom.through(growth, style, opened_after, at).at_most(bloom.flowers());
            // What is through stays through, however the counts lie.
            most = most.max(through.likely?);
            Some((at, most))
        })
        .collect();
    (by.len() > 1).then_some(by)
}

/// Reckons leg by leg, and in all, how many flowers came through before a spray.
fn through(
    legs: &mut [Leg],
    plan: &Plan,
    seen: &Seen<'_>,
    started: &Started,
    facts: &judged::Facts,
    growth: &Growth,
) -> Option<Flowers> {
    if legs.is_empty() {
        return None;
    }
    let counts = started.bloom_counts(plan.threshold(), facts);
    let bloom = Bloom::new(&counts, seen.flowers(plan), growth.course())?;
    let as_of = growth.course().as_of()?;
    let style = seen.ruler(plan, growth).wanted(THROUGH);
    for leg in legs.iter_mut() {
        let until = leg.ended_at.map_or(as_of, |end| end.min(as_of));
        // The first leg has all that opened before it; a later one what opened since.
        let opened_after = (leg.number > 1).then_some(leg.from);
        leg.flowers_through = Some(bloom.through(growth, style, opened_after, until));
    }
    bloom::sum(legs.iter().filter_map(|leg| leg.flowers_through)).map(|all| all.at_most(bloom.flowers()))
}

/// Hours for bees of each leg up to the last reading.
fn bees(legs: &mut [Leg], growth: &Growth) {
    let course = growth.course();
    let (Some(bees), Some(as_of)) = (course.bees(), course.as_of()) else {
        return;
    };
    for leg in legs {
        let until = leg.ended_at.map_or(as_of, |end| end.min(as_of));
        leg.bee_hours = Some(bees.between(leg.from, until));
    }
}

fn state(seen: &Seen<'_>, legs: &[Leg], hold: bool) -> State {
    if seen.stood_down().is_some() {
        return State::StoodDown;
    }
    if seen.bloom_end.is_some() {
        return State::Done;
    }
    let Some(last) = legs.last() else {
        return State::Watching;
    };
    if last.ended_at.is_some() {
        return State::Done;
    }
    if hold {
        return State::Hold;
    }
    match (last.reached_at, last.overrun_at) {
        (_, Some(_)) => State::Overrun,
        (Some(_), None) => State::Due,
        (None, None) => State::Growing,
    }
}

fn hours(legs: &[Leg], growth: &Growth) -> Hours {
    let (Some(first), Some(last)) = (legs.first(), legs.last()) else {
        return Hours::default();
    };
    match last.ended_at.or(growth.course().as_of()) {
        Some(until) => growth.course().hours(first.from, until),
        None => Hours::default(),
    }
}

#[expect(clippy::too_many_arguments, reason = "all that time alone can change")]
fn look_again(
    stand: &Stand<'_>,
    legs: &[Leg],
    plan: &Plan,
    growth: &Growth,
    reentry: &Option<Reentry>,
    facts: &judged::Facts,
    frost: &FrostSeen,
    start: Option<&Start>,
    now: Instant,
) -> Option<Instant> {
    let running = legs.last().filter(|leg| leg.ended_at.is_none());
    let age = running.map(|leg| {
        runs::Ending { logged: None, amended_at: stand.amended_at.clone() }.by_age(leg.from, plan)
    });
    let heads_up =
        running.and_then(|leg| leg.expected_at).map(|at| at.plus(-plan.settings.lead_hours * HOUR));
    let reading = growth.course().series().ahead;
    let expected = start.filter(|start| start.basis == Basis::Expected);
    let decide = expected.map(|start| start.at.plus(-DECIDE_AHEAD));
    let count = expected.map(|start| start.at.plus(-COUNT_AHEAD));
    let cold = match frost.ahead {
        Some(Ahead::Cold { at, .. }) => Some(at.plus(-FROST_AHEAD)),
        _ => None,
    };
    // A second later: exactly so long after it nothing is missed yet.
    let read = running.and(growth.course().as_of());
    let unheard = [FEED_UNHEARD_HOURS, plan.settings.readings_within_hours];
    stand
        .ahead
        .iter()
        .map(|(_, at)| *at)
        .chain(stand.entries.iter().filter_map(sprays::finish))
        .chain(age)
        .chain(heads_up)
        .chain(reading)
        .chain(decide)
        .chain(count)
        .chain(cold)
        .chain(read.into_iter().flat_map(|at| unheard.map(|hours| at.plus(hours * HOUR + 1))))
        .chain(reentry.as_ref().and_then(|reentry| reentry.until))
        .chain(facts.mornings(plan.zone))
        .filter(|at| *at > now)
        .min()
}

/// So long before the expected start a decision is asked for.
pub const DECIDE_AHEAD: i64 = 48 * HOUR;

/// So long before the expected start another count is asked for.
pub const COUNT_AHEAD: i64 = 24 * HOUR;

/// So long before the first cold hour a frost is told.
pub const FROST_AHEAD: i64 = 24 * HOUR;

/// Hours without a reading after which a site with a feed is not heard any more.
pub const FEED_UNHEARD_HOURS: i64 = 3;

#[cfg(test)]
mod tests;
