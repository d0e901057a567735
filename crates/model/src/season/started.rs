//! When the clock started, and when a frost that took the flowers takes it back.

use std::borrow::Cow;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::judged::Facts;
use super::runs;
use super::seen::Seen;
use crate::bloom::{self, Basis, Bloom, Count, Start, Walk};
use crate::frost::Night;
use crate::growth::Growth;
use crate::lent;
use crate::plan::Plan;
use crate::time::Instant;

/// The clock's start with the counts that it rests on.
pub(super) struct Started {
    /// When, if it is known or foreseen.
    pub start: Option<Start>,
    /// Whether it is another block's.
    pub borrowed: bool,
    /// Live open flowers, walk by walk; after a frost that took the clock back, what
    /// it left comes first.
    pub counts: Vec<Count>,
    /// The frost after which the clock starts anew.
    pub anew: Option<Anew>,
}

/// A frost that left fewer live open flowers than are wanted while leg 1 ran.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Anew {
    /// When 30 minutes at the kill line were full.
    pub frost_at: Instant,
    /// Live open flowers a tree that it left.
    pub left_open: f64,
}

/// A leg that runs over a frost which nobody has looked at yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hold {
    /// When 30 minutes at the kill line were full.
    pub since: Instant,
    /// Local date on which that night began.
    #[serde(with = "crate::frost::date")]
    pub night: NaiveDate,
    /// Its minimum, °C.
    pub minimum_c: Option<f64>,
    /// What lifts it.
    pub says: String,
}

impl Started {
    /// Finds the start, and finds it anew after each frost on leg 1 whose damage
    /// count leaves fewer live open flowers than the threshold. Once a spray has
    /// ended leg 1 no count takes it back.
    pub(super) fn find(
        plan: &Plan,
        seen: &Seen<'_>,
        walks: &[Walk<'_>],
        growth: &Growth,
        facts: &Facts,
        now: Instant,
    ) -> Started {
        let mut started = Started::after(plan, seen, walks, growth, None);
        if facts.damage.is_none() {
            return started;
        }
        let frosts: Vec<Instant> = facts.frosts().iter().filter_map(|night| night.hit_at).collect();
        for (n, frost_at) in frosts.iter().copied().enumerate() {
            let Some((counted_at, alive)) = facts.left_by(frost_at, frosts.get(n + 1).copied()) else {
                continue;
            };
            let Some(start) =
                started.start.filter(|start| start.basis != Basis::Expected && start.at <= frost_at)
            else {
                continue;
            };
            let sprayed = runs::first_reset(plan, seen, start.at, now);
            if sprayed.is_some_and(|at| at <= counted_at) {
                continue;
            }
            // What was counted after the frost has lost its dead already.
            let before = started.counts.partition_point(|count| count.at <= frost_at);
            let bloom = Bloom::new(&started.counts[..before], seen.flowers(plan), growth.course());
            let Some(open) = bloom.map(|bloom| bloom.reckoned_at(frost_at)) else {
                continue;
            };
            let left_open = alive.of(open);
            if left_open < plan.threshold() {
                let anew = Anew { frost_at, left_open };
                started = Started::after(plan, seen, walks, growth, Some(anew));
            }
        }
        started
    }

    /// The start by what was logged and counted, after a frost that took back an
    /// earlier one.
    fn after(
        plan: &Plan,
        seen: &Seen<'_>,
        walks: &[Walk<'_>],
        growth: &Growth,
        anew: Option<Anew>,
    ) -> Started {
        let later = |at: Instant| anew.is_none_or(|anew| at > anew.frost_at);
        let left = anew.map(|anew| Count { at: anew.frost_at, mean: anew.left_open, trees: 2, error: 0.0 });
        let counted = walks.iter().map(|walk| walk.count).filter(|count| later(count.at));
        let counts: Vec<Count> = left.into_iter().chain(counted).collect();
        let logged = seen.starts.iter().find(|entry| later(entry.at));
        let (start, borrowed) = match (logged, &plan.lent.start) {
            (Some(entry), _) => {
                let at = entry.at;
                (Some(Start { at, earliest: Some(at), latest: Some(at), basis: Basis::Logged }), false)
            }
            (None, Some(lent)) if counts.is_empty() => (Some(lent::widened(lent.value)), true),
            _ => {
                let threshold = plan.threshold();
                (bloom::from_counts(&counts, threshold, seen.flowers(plan), growth.course()), false)
            }
        };
        Started { start, borrowed, counts, anew }
    }

    /// The counts that bloom is reckoned from: without any, as many flowers as are
    /// wanted at the logged or borrowed start.
    pub(super) fn bloom_counts(&self, threshold: f64, facts: &Facts) -> Cow<'_, [Count]> {
        match self.start {
            Some(start) if self.counts.is_empty() => {
                Cow::Owned(vec![Count { at: start.at, mean: threshold, trees: 1, error: 0.0 }])
            }
            // A flower that froze comes through no more.
            _ if facts.damage.is_some() => self.counts.iter().map(|count| facts.survivors(*count)).collect(),
            _ => Cow::Borrowed(&self.counts),
        }
    }
}

/// The hold on a leg that began at `from` and runs: the newest frost since, unless
/// damage was counted or a person decided to go on, with a reason, after it.
pub(super) fn hold(
    from: Instant,
    seen: &Seen<'_>,
    frosts: &[&Night],
    counted_at: Option<Instant>,
) -> Option<Hold> {
    let (night, since) =
        frosts.iter().rev().find_map(|night| night.hit_at.filter(|at| *at >= from).map(|at| (night, at)))?;
    if counted_at.is_some_and(|at| at >= since) {
        return None;
    }
    let after = seen.decisions.iter().filter(|(entry, decision)| entry.at >= since && decision.thin);
    let reasoned = |reason: &Option<String>| reason.as_ref().is_some_and(|reason| !reason.trim().is_empty());
    if after.clone().any(|(_, decision)| reasoned(&decision.reason)) {
        return None;
    }
    let says = if after.count() > 0 {
        "A decision to go on was logged without a reason: give one, or count the damage."
    } else {
        "Look at the flowers first: a damage count lifts this, or a decision to go on with its reason."
    };
    Some(Hold { since, night: night.date, minimum_c: night.minimum_c, says: says.to_owned() })
}
