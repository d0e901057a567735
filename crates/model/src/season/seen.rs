//! What stands of a log, by what it is for.

use crate::buds::BudCount;
use crate::curve::Measure;
use crate::damage::{ONE_WALK, Tally, clusters_on_a_tree};
use crate::field_log::{Decision, Observed, OpenCount, SetCount, Stand, Standing};
use crate::growth::Growth;
use crate::legs::Ruler;
use crate::plan::Plan;
use crate::stage::{Stage, StageSeen};
use crate::time::Instant;

/// What stands of the log, each kind in order of time.
pub(super) struct Seen<'a> {
    pub opens: Vec<(&'a Standing<'a>, &'a OpenCount)>,
    pub starts: Vec<&'a Standing<'a>>,
    pub sprays: Vec<&'a Standing<'a>>,
    pub stages: Vec<(Instant, StageSeen)>,
    pub buds: Vec<&'a BudCount>,
    pub tallies: Vec<(Instant, &'a Tally)>,
    pub flowers_per_cluster: Option<f64>,
    pub style_lengths_mm: Vec<f64>,
    pub decisions: Vec<(&'a Standing<'a>, &'a Decision)>,
    pub bloom_end: Option<&'a Standing<'a>>,
    pub sets: Vec<(Instant, &'a SetCount)>,
    pub return_bloom: Option<f64>,
    clusters: Option<f64>,
}

impl<'a> Seen<'a> {
    pub(super) fn of(stand: &'a Stand<'a>) -> Seen<'a> {
        let mut seen = Seen {
            opens: Vec::new(),
            starts: Vec::new(),
            sprays: Vec::new(),
            stages: Vec::new(),
            buds: Vec::new(),
            tallies: Vec::new(),
            flowers_per_cluster: None,
            style_lengths_mm: Vec::new(),
            decisions: Vec::new(),
            bloom_end: None,
            sets: Vec::new(),
            return_bloom: None,
            clusters: None,
        };
        for entry in &stand.entries {
            match entry.says {
                Observed::Stage(stage) => seen.stages.push((entry.at, *stage)),
                Observed::BudCount(buds) => seen.buds.push(buds),
                Observed::FlowersPerCluster(flowers) => seen.flowers_per_cluster = Some(mean(flowers)),
                Observed::StyleLength(lengths) => seen.style_lengths_mm.extend(lengths),
                Observed::DamageCount(tally) => seen.tallies.push((entry.at, tally)),
                Observed::OpenCount(open) => seen.opens.push((entry, open)),
                Observed::BloomStart => seen.starts.push(entry),
                Observed::Decision(decision) => seen.decisions.push((entry, decision)),
                Observed::Spray(_) => seen.sprays.push(entry),
                Observed::BloomEnd => seen.bloom_end = seen.bloom_end.or(Some(entry)),
                Observed::SetCount(set) => seen.sets.push((entry.at, set)),
                Observed::ReturnBloom(share) => seen.return_bloom = Some(*share),
                Observed::Recorded(_) => {}
            }
        }
        seen.clusters = seen.counted_clusters();
        seen
    }

    /// The latest decision.
    pub(super) fn decision(&self) -> Option<(&'a Standing<'a>, &'a Decision)> {
        self.decisions.last().copied()
    }

    /// Whether the block is stood down, and by which entry.
    pub(super) fn stood_down(&self) -> Option<&'a Standing<'a>> {
        self.decision().filter(|(_, decision)| !decision.thin).map(|(entry, _)| entry)
    }

    /// Style lengths: those logged this season, else the block's, else borrowed ones.
    pub(super) fn style_lengths<'b>(&'b self, plan: &'b Plan) -> &'b [f64] {
        let own = [&self.style_lengths_mm, &plan.block.style_lengths_mm];
        let lent = plan.lent.style_lengths_mm.as_ref().map(|lent| &lent.value);
        own.into_iter().chain(lent).find(|lengths| !lengths.is_empty()).map_or(&[], Vec::as_slice)
    }

    /// Their mean.
    pub(super) fn style_mm(&self, plan: &Plan) -> Option<f64> {
        let lengths = self.style_lengths(plan);
        (!lengths.is_empty()).then(|| lengths.iter().sum::<f64>() / lengths.len() as f64)
    }

    /// Whose style length is used, where it is not the block's own.
    pub(super) fn borrowed_style(&self, plan: &Plan) -> Option<String> {
        let own = !self.style_lengths_mm.is_empty() || !plan.block.style_lengths_mm.is_empty();
        plan.lent.style_lengths_mm.as_ref().filter(|_| !own).map(|lent| lent.from.clone())
    }

    /// Whether growth can be measured at all: a curve in mm needs a style.
    pub(super) fn can_measure(&self, plan: &Plan, growth: &Growth) -> bool {
        growth.curve().measure == Measure::Style || self.style_mm(plan).is_some()
    }

    pub(super) fn ruler(&self, plan: &Plan, growth: &Growth) -> Ruler {
        Ruler::new(match growth.curve().measure {
            Measure::Style => 1.0,
            // Without a length no leg is run.
            Measure::Millimetre => self.style_mm(plan).unwrap_or(1.0),
        })
    }

    /// Flowers in a cluster: counted this season, else as the block has it.
    pub(super) fn per_cluster(&self, plan: &Plan) -> Option<f64> {
        self.flowers_per_cluster.or(plan.block.flowers_per_cluster)
    }

    /// Flower buds on a tree by the newest count of each wood.
    pub(super) fn buds_per_tree(&self) -> Option<f64> {
        crate::buds::per_tree(&self.buds)
    }

    /// Clusters on a tree: by the newest damage count that has them, else as many as
    /// flower buds.
    pub(super) fn clusters(&self) -> Option<f64> {
        self.clusters
    }

    fn counted_clusters(&self) -> Option<f64> {
        let newest = self.tallies.iter().rev().find(|(_, tally)| !tally.clusters_per_tree.is_empty());
        let walked = newest.and_then(|(newest, _)| {
            let same = self.tallies.iter().filter(|(at, _)| (0..=ONE_WALK).contains(&newest.since(*at)));
            clusters_on_a_tree(same.map(|(_, tally)| *tally))
        });
        walked.or_else(|| self.buds_per_tree())
    }

    /// Flowers on a tree, when clusters and flowers in a cluster are known.
    pub(super) fn flowers(&self, plan: &Plan) -> Option<f64> {
        let per_cluster = self.per_cluster(plan)?;
        self.clusters().map(|clusters| crate::cropload::flowers_per_tree(clusters, per_cluster))
    }

    /// Stages as logged here, else as a lender has them. Whoever logs none, or none
    /// since tight cluster, still has open flowers once some were counted: from
    /// then on it is first bloom at least, or frost on them would go unseen.
    pub(super) fn stages(&self, plan: &Plan) -> Vec<(Instant, Stage)> {
        let own = &self.stages;
        let lent = plan.lent.stages.as_ref().map(|lent| &lent.value);
        let seen = if own.is_empty() { lent.unwrap_or(own) } else { own };
        let mut stages: Vec<(Instant, Stage)> =
            seen.iter().filter_map(|(at, seen)| Some((*at, seen.stage()?))).collect();
        if let Some(open_at) = self.first_open(plan) {
            let place = stages.partition_point(|(at, _)| *at < open_at);
            if stages[..place].last().is_none_or(|(_, stage)| *stage < Stage::FirstBloom) {
                stages.insert(place, (open_at, Stage::FirstBloom));
            }
        }
        stages
    }

    /// When flowers were first known to be open: counted, or at a start logged, else
    /// borrowed.
    fn first_open(&self, plan: &Plan) -> Option<Instant> {
        let open =
            |(_, count): &&(&Standing<'_>, &OpenCount)| count.open_per_tree.iter().any(|open| *open > 0);
        let counted = self.opens.iter().find(open).map(|(entry, _)| entry.at);
        let logged = self.starts.first().map(|entry| entry.at);
        let own = counted.into_iter().chain(logged).min();
        let lent = || plan.lent.start.as_ref().filter(|_| self.opens.is_empty()).map(|lent| lent.value.at);
        own.or_else(lent)
    }

    /// The newest BBCH code, here or at a lender's.
    pub(super) fn bbch(&self, plan: &Plan) -> Option<u8> {
        let lent = plan.lent.stages.as_ref().and_then(|lent| lent.value.last());
        self.stages.last().or(lent).and_then(|(_, seen)| seen.bbch())
    }
}

pub(super) fn mean(counts: &[i64]) -> f64 {
    counts.iter().sum::<i64>() as f64 / counts.len() as f64
}
