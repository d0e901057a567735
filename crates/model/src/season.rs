//! A season of one block as one pure fold over plan, field log and growth.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::bloom::{self, Basis, Count, Start};
use crate::curve::Measure;
use crate::field_log::{FieldLog, Observed, Stand, Standing};
use crate::growth::{Growth, Hours};
use crate::legs::{self, Closing, EndedBy, Leg, Opening, Ruler};
use crate::plan::Plan;
use crate::time::{DAY, HOUR, Instant};

mod notes;
mod sprays;
mod window;
pub use notes::{NO_DECISION, Note};
use sprays::Reset;
pub use window::window;

/// Raised whenever the same input gives another season than before; goes into
/// [`Catalogue::edition`](crate::catalogue::Catalogue::edition).
pub const MODEL_VERSION: i64 = 2;

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
    /// What a reader must know beside the figures.
    pub notes: Vec<Note>,
    /// First moment at which time alone can change it; not part of the output.
    #[serde(skip)]
    pub look_again_at: Option<Instant>,
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
    let stand = field_log.stand(now);
    let seen = Seen::of(&stand);
    let mut notes = Vec::new();
    let threshold = plan.threshold();
    let start = if threshold > 0.0 { start(plan, &seen, growth, threshold, &mut notes) } else { None };
    notes::on_plan(plan, seen.style_mm(plan), growth, threshold, &mut notes);
    notes::on_decision(seen.decision.is_some(), threshold, &mut notes);
    notes::on_log(&stand, &mut notes);

    let end = close(&seen, &stand);
    let running = start.filter(|start| start.basis != Basis::Expected && start.at <= now);
    let mut legs = match &running {
        Some(start) => cut(plan, &seen, &stand, start, end, growth, now, &mut notes),
        None => Vec::new(),
    };
    if running.is_none() {
        let first = start.map(|start| start.at);
        sprays::note_before_start(plan, &seen.sprays, first, &mut notes);
    }
    notes::on_legs(&mut legs, growth, plan, &mut notes);

    let state = state(&seen, &legs, plan);
    let year = plan
        .year
        .or_else(|| start.map(|start| start.at.local_year(plan.zone)))
        .or_else(|| stand.entries.last().map(|entry| entry.at.local_year(plan.zone)))
        .unwrap_or_else(|| now.local_year(plan.zone));
    let look_again_at = look_again(&stand, &legs, plan, growth, now);
    Season {
        year,
        state,
        as_of: growth.course().as_of(),
        start,
        hours: hours(&legs, growth),
        legs,
        notes,
        look_again_at,
    }
}

/// The ruler that a season's growth is measured with.
pub(crate) fn ruler(plan: &Plan, stand: &Stand<'_>, growth: &Growth) -> Ruler {
    Seen::of(stand).ruler(plan, growth)
}

/// What stands of the log, by what it is for.
struct Seen<'a> {
    counts: Vec<(&'a Standing<'a>, Count)>,
    starts: Vec<&'a Standing<'a>>,
    sprays: Vec<&'a Standing<'a>>,
    buds: Option<f64>,
    flowers_per_cluster: Option<f64>,
    style_lengths_mm: Vec<f64>,
    decision: Option<(&'a Standing<'a>, bool)>,
    bloom_end: Option<&'a Standing<'a>>,
}

impl<'a> Seen<'a> {
    fn of(stand: &'a Stand<'a>) -> Seen<'a> {
        let mut seen = Seen {
            counts: Vec::new(),
            starts: Vec::new(),
            sprays: Vec::new(),
            buds: None,
            flowers_per_cluster: None,
            style_lengths_mm: Vec::new(),
            decision: None,
            bloom_end: None,
        };
        for entry in &stand.entries {
            match entry.says {
                Observed::OpenCount(open) => seen.counts.push((entry, Count::of(entry.at, open))),
                Observed::BudCount(buds) => seen.buds = Some(mean(buds)),
                Observed::FlowersPerCluster(flowers) => seen.flowers_per_cluster = Some(mean(flowers)),
                Observed::StyleLength(lengths) => seen.style_lengths_mm.extend(lengths),
                Observed::BloomStart => seen.starts.push(entry),
                Observed::Decision { thin } => seen.decision = Some((entry, *thin)),
                Observed::Spray(_) => seen.sprays.push(entry),
                Observed::BloomEnd => seen.bloom_end = seen.bloom_end.or(Some(entry)),
                Observed::Recorded(_) => {}
            }
        }
        // Of several counts at one moment the lower comes first: flowers open.
        seen.counts.sort_by(|(_, a), (_, b)| a.at.cmp(&b.at).then(a.mean.total_cmp(&b.mean)));
        seen
    }

    /// Mean style length: what was logged this season, else what the block has.
    fn style_mm(&self, plan: &Plan) -> Option<f64> {
        let lengths = if self.style_lengths_mm.is_empty() {
            &plan.block.style_lengths_mm
        } else {
            &self.style_lengths_mm
        };
        (!lengths.is_empty()).then(|| lengths.iter().sum::<f64>() / lengths.len() as f64)
    }

    fn ruler(&self, plan: &Plan, growth: &Growth) -> Ruler {
        Ruler::new(match growth.curve().measure {
            Measure::Style => 1.0,
            // A curve in mm without a length is refused where blocks are read.
            Measure::Millimetre => self.style_mm(plan).unwrap_or(1.0),
        })
    }

    /// Flowers on a tree, when buds and flowers in a cluster are known.
    fn flowers(&self, plan: &Plan) -> Option<f64> {
        let per_cluster = self.flowers_per_cluster.or(plan.block.flowers_per_cluster)?;
        self.buds.map(|buds| crate::cropload::flowers_per_tree(buds, per_cluster))
    }
}

fn mean(counts: &[i64]) -> f64 {
    counts.iter().sum::<i64>() as f64 / counts.len() as f64
}

fn start(
    plan: &Plan,
    seen: &Seen<'_>,
    growth: &Growth,
    threshold: f64,
    notes: &mut Vec<Note>,
) -> Option<Start> {
    notes::on_counts(&seen.counts, notes);
    if let Some(logged) = seen.starts.first() {
        notes::on_logged_start(&seen.starts, !seen.counts.is_empty(), notes);
        let at = logged.at;
        return Some(Start { at, earliest: Some(at), latest: Some(at), basis: Basis::Logged });
    }
    let counts: Vec<Count> = seen.counts.iter().map(|(_, count)| *count).collect();
    let start = bloom::from_counts(&counts, threshold, seen.flowers(plan), growth.course());
    notes::on_start(start.as_ref(), &seen.counts, threshold, plan.zone, notes);
    start
}

/// What closes the season, whatever leg runs then.
fn close(seen: &Seen<'_>, stand: &Stand<'_>) -> Ending {
    let entry = |entry: &Standing<'_>, by| Closing { at: entry.at, by, entry: Some(entry.id.to_owned()) };
    let stood_down = seen.decision.filter(|(_, thin)| !thin).map(|(at, _)| entry(at, EndedBy::StandDown));
    let ended = seen.bloom_end.map(|at| entry(at, EndedBy::BloomEnd));
    let logged = match (stood_down, ended) {
        (Some(down), Some(end)) => Some(if down.at < end.at { down } else { end }),
        (down, end) => down.or(end),
    };
    Ending { logged, amended_at: stand.amended_at.clone() }
}

struct Ending {
    logged: Option<Closing>,
    amended_at: Vec<Instant>,
}

impl Ending {
    /// When a leg that opened at `opened` is closed by age: so many days later,
    /// or after the last correction that reopened it.
    fn by_age(&self, opened: Instant, plan: &Plan) -> Instant {
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
fn cut(
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
        legs.push(leg(plan, legs.len(), opened, Some(closing), growth, ruler));
    }
    let closing = Some(end.of_leg(opening.at, plan)).filter(|closing| closing.at <= now);
    legs.push(leg(plan, legs.len(), opening, closing, growth, ruler));
    legs
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
    let target = planned.map(|spray| (spray.mark, spray.bound));
    legs::run(index + 1, opening, target, closing, growth, ruler)
}

fn state(seen: &Seen<'_>, legs: &[Leg], plan: &Plan) -> State {
    if seen.decision.is_some_and(|(_, thin)| !thin) {
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
    match (last.reached_at, last.mark) {
        (Some(_), Some(mark)) if last.progress_low >= THROUGH.max(mark + plan.settings.overrun_margin) => {
            State::Overrun
        }
        (Some(_), Some(_)) => State::Due,
        _ => State::Growing,
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

fn look_again(
    stand: &Stand<'_>,
    legs: &[Leg],
    plan: &Plan,
    growth: &Growth,
    now: Instant,
) -> Option<Instant> {
    let running = legs.last().filter(|leg| leg.ended_at.is_none());
    let age = running
        .map(|leg| Ending { logged: None, amended_at: stand.amended_at.clone() }.by_age(leg.from, plan));
    let heads_up =
        running.and_then(|leg| leg.expected_at).map(|at| at.plus(-plan.settings.lead_hours * HOUR));
    let reading = growth.course().series().ahead;
    stand
        .ahead
        .iter()
        .map(|(_, at)| *at)
        .chain(stand.entries.iter().filter_map(sprays::finish))
        .chain(age)
        .chain(heads_up)
        .chain(reading)
        .filter(|at| *at > now)
        .min()
}

#[cfg(test)]
mod tests;
