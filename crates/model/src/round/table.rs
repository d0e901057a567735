//! What it costs to have finished by each step.

use super::problem::{Job, NEVER};

/// Least cost of having finished by each step: never before `from`, never rising, and
/// after the last one that is kept as there.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Table {
    from: usize,
    costs: Vec<i64>,
}

impl Table {
    /// Free from a step on, at no cost.
    pub fn free(from: usize) -> Table {
        Table { from, costs: vec![0] }
    }

    /// The same in place.
    pub fn set_free(&mut self, from: usize) {
        self.from = from;
        self.costs.clear();
        self.costs.push(0);
    }

    /// Least cost of having finished by a step.
    pub fn by(&self, step: usize) -> i64 {
        match step.checked_sub(self.from) {
            Some(after) => self.costs.get(after).or(self.costs.last()).copied().unwrap_or(NEVER),
            None => NEVER,
        }
    }

    /// Least cost whenever it is finished.
    pub fn best(&self) -> i64 {
        self.costs.last().copied().unwrap_or(NEVER)
    }

    /// First step by which it costs no more than `cost`, which it does at some.
    pub fn first_at(&self, cost: i64) -> usize {
        self.from + self.costs.partition_point(|other| *other > cost)
    }

    /// Empties it for a job that takes `work` steps. Gives how long it is.
    pub fn open(&mut self, job: &Job, work: usize) -> usize {
        self.costs.clear();
        let fits = |(begin, end): &&(usize, usize)| begin + work <= *end;
        let first = job.windows.iter().find(fits);
        let last = job.windows.iter().rev().find(fits);
        if let (Some((begin, _)), Some((_, end))) = (first, last) {
            self.from = begin + work;
            self.costs.resize(end + 1 - self.from, NEVER);
        }
        self.costs.len()
    }

    /// Lets the job come after what `before` tells, `way` steps off.
    pub fn relax(&mut self, before: &Table, way: usize, way_cost: i64, job: &Job, work: usize) {
        if before.best() >= NEVER {
            return;
        }
        for &(begin, end) in &job.windows {
            let (Some(last), first) = (end.checked_sub(work), begin.max(before.from + way)) else { continue };
            if first > last {
                continue;
            }
            let early = &job.early[first..=last];
            let late = &job.late[first + work..=last + work];
            let kept = &mut self.costs[first + work - self.from..][..early.len()];
            let known = before.costs.get(first - way - before.from..).unwrap_or_default();
            let known = &known[..known.len().min(kept.len())];
            let (kept, after) = kept.split_at_mut(known.len());
            let lower = |kept: &mut i64, cost: i64| *kept = cost.min(*kept);
            for (((kept, so_far), early), late) in kept.iter_mut().zip(known).zip(early).zip(late) {
                lower(kept, so_far + way_cost + early + late);
            }
            let so_far = before.best() + way_cost;
            let rest = early[known.len()..].iter().zip(&late[known.len()..]);
            for (kept, (early, late)) in after.iter_mut().zip(rest) {
                lower(kept, so_far + early + late);
            }
        }
    }

    /// Having finished earlier is having finished.
    pub fn settle(&mut self) {
        let mut least = NEVER;
        for cost in &mut self.costs {
            // What is beyond never stays there, so that sums do not run over.
            least = least.min(*cost).min(NEVER);
            *cost = least;
        }
    }
}
