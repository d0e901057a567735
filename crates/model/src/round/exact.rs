//! The best round of few blocks: every set of them, every last one, every step.

use super::problem::{LEFT_OUT, NEVER, Problem, Rig};
use super::table::Table;

/// The order of each sprayer's jobs at the least cost.
pub(super) fn routes(problem: &Problem) -> Vec<Vec<usize>> {
    let sets = 1_usize << problem.jobs.len();
    // Least cost of each set with the sprayers so far, and what the last one of them
    // has of it.
    let mut least: Vec<i64> = vec![NEVER; sets];
    least[0] = 0;
    let mut own: Vec<Vec<usize>> = Vec::new();
    for rig in &problem.rigs {
        let alone = Alone::of(problem, rig);
        let mut next = vec![NEVER; sets];
        let mut has = vec![0; sets];
        for set in 0..sets {
            // Every part of the set, the empty one last.
            let mut part = set;
            loop {
                let cost = (least[set & !part] + alone.cost(part)).min(NEVER);
                if cost < next[set] {
                    (next[set], has[set]) = (cost, part);
                }
                if part == 0 {
                    break;
                }
                part = (part - 1) & set;
            }
        }
        least = next;
        own.push(has);
    }
    let left = |set: usize| (problem.jobs.len() - set.count_ones() as usize) as i64 * LEFT_OUT;
    let best = (0..sets).min_by_key(|set| (least[*set] + left(*set), *set));
    let mut set = best.unwrap_or(0);
    let mut routes: Vec<Vec<usize>> = Vec::new();
    for (rig, has) in problem.rigs.iter().zip(own).rev() {
        routes.push(Alone::of(problem, rig).order(has[set]));
        set &= !has[set];
    }
    routes.reverse();
    routes
}

/// What one sprayer can do by itself.
struct Alone<'a> {
    problem: &'a Problem,
    rig: &'a Rig,
    start: Table,
    /// By set and last job.
    tables: Vec<Table>,
}

impl<'a> Alone<'a> {
    fn of(problem: &'a Problem, rig: &'a Rig) -> Alone<'a> {
        let count = problem.jobs.len();
        let start = Table::free(rig.free);
        let mut alone = Alone { problem, rig, start, tables: vec![Table::default(); count << count] };
        for set in 1..1_usize << count {
            for job in members(set) {
                let mut table = Table::default();
                let before = set & !(1 << job);
                let (work, _) = rig.work(job, alone.litres(before));
                table.open(&problem.jobs[job], work);
                for (last, done) in alone.before(before) {
                    let (way, cost) = problem.way(rig, last, job);
                    table.relax(done, way, cost, &problem.jobs[job], work);
                }
                table.settle();
                alone.tables[set * count + job] = table;
            }
        }
        alone
    }

    /// What has gone through the tank with a set of jobs.
    fn litres(&self, set: usize) -> i64 {
        members(set).map(|job| self.rig.litres[job]).sum()
    }

    /// Every way of having done a set: the last job, and its table.
    fn before(&self, set: usize) -> Vec<(Option<usize>, &Table)> {
        match set {
            0 => vec![(None, &self.start)],
            _ => members(set).map(|last| (Some(last), self.table(set, last))).collect(),
        }
    }

    fn table(&self, set: usize, last: usize) -> &Table {
        &self.tables[set * self.problem.jobs.len() + last]
    }

    fn cost(&self, set: usize) -> i64 {
        if set == 0 {
            return 0;
        }
        members(set).map(|last| self.table(set, last).best()).min().unwrap_or(NEVER)
    }

    /// The order in which a set costs least, found from its end.
    fn order(&self, set: usize) -> Vec<usize> {
        let (mut set, mut order) = (set, Vec::new());
        let Some(mut job) = members(set).min_by_key(|last| self.table(set, *last).best()) else {
            return order;
        };
        let mut by = self.table(set, job).first_at(self.table(set, job).best());
        loop {
            order.push(job);
            let before = set & !(1 << job);
            if before == 0 {
                break;
            }
            let (work, _) = self.rig.work(job, self.litres(before));
            let cost = self.table(set, job).by(by);
            let begin = by - work;
            let here = self.problem.jobs[job].early[begin] + self.problem.jobs[job].late[by];
            let found = members(before).find_map(|last| {
                let (way, way_cost) = self.problem.way(self.rig, Some(last), job);
                let free = begin.checked_sub(way)?;
                let done = self.table(before, last);
                (done.by(free) + way_cost + here == cost).then_some((last, free))
            });
            let Some((last, free)) = found else { break };
            let done = self.table(before, last);
            by = done.first_at(done.by(free));
            (set, job) = (before, last);
        }
        order.reverse();
        order
    }
}

/// The jobs of a set.
fn members(set: usize) -> impl Iterator<Item = usize> {
    (0..usize::BITS as usize).filter(move |job| set >> job & 1 == 1)
}
