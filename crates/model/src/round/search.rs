//! A good round of many blocks: put in one by one, then mended.

use super::problem::{LEFT_OUT, NEVER, Problem};
use super::table::Table;

/// Most steps of tables that are filled in all, which bounds the time that it takes.
const MOST_TRIED: usize = 100_000_000;
/// The same of mending one round.
const MOST_MENDED: usize = 15_000_000;
/// What looking at a job takes beside, in steps.
const EACH: usize = 50;
/// How often for each block some are taken out and put back.
const TAKEN_OUT: usize = 100;
/// Most blocks that are taken out at once.
const MOST_OUT: usize = 8;
/// A round is gone on from while it is not dearer than the last one by this share, which
/// shrinks to nothing.
const DEARER: f64 = 0.3;
/// One place in so many is passed over, so that the same blocks come back otherwise.
const PASSED_OVER: usize = 12;
/// Longest part of a route that is moved as it is.
const LONGEST_PART: usize = 3;

/// The order of each sprayer's jobs, and the jobs that are left out.
#[derive(Debug, Clone, Default)]
pub(super) struct Routes {
    pub routes: Vec<Vec<usize>>,
    costs: Vec<i64>,
    left: Vec<usize>,
}

impl Routes {
    /// What it costs in all.
    pub fn cost(&self) -> i64 {
        self.costs.iter().sum::<i64>() + self.left.len() as i64 * LEFT_OUT
    }
}

/// Searches for a good round. The same problem gives the same one.
pub(super) fn routes(problem: &Problem) -> Routes {
    let mut search = Search { problem, tables: Default::default(), tried: 0, draws: 1, passes_over: false };
    let end = |job: usize| problem.jobs[job].windows.last().map(|window| window.1);
    let begin = |job: usize| problem.jobs[job].windows.first().map(|window| window.0);
    let dear = |job: usize| problem.jobs[job].late.last().copied();
    let mut best: Option<Routes> = None;
    for order in 0..3 {
        let mut jobs: Vec<usize> = (0..problem.jobs.len()).collect();
        match order {
            0 => jobs.sort_by_key(|job| end(*job)),
            1 => jobs.sort_by_key(|job| begin(*job)),
            _ => jobs.sort_by_key(|job| std::cmp::Reverse(dear(*job))),
        }
        let count = problem.rigs.len();
        let mut routes = Routes { routes: vec![Vec::new(); count], costs: vec![0; count], left: jobs };
        search.put_in(&mut routes);
        if best.as_ref().is_none_or(|best| routes.cost() < best.cost()) {
            best = Some(routes);
        }
    }
    let mut best = best.unwrap_or_default();
    search.mend(&mut best);
    let mut now = best.clone();
    let turns = TAKEN_OUT * problem.jobs.len();
    for turn in 0..turns {
        if search.tried > MOST_TRIED {
            break;
        }
        let mut other = now.clone();
        search.take_out(&mut other);
        search.mix(&mut other.left);
        search.passes_over = true;
        search.put_in(&mut other);
        search.passes_over = false;
        let gone = (turn as f64 / turns as f64).max(search.tried as f64 / MOST_TRIED as f64);
        let share = DEARER * (1.0 - gone).max(0.0);
        let dearer = (now.cost() % LEFT_OUT) as f64 * share;
        if other.cost() < now.cost().saturating_add(dearer as i64) {
            if other.cost() < best.cost() {
                best = other.clone();
            }
            now = other;
        }
    }
    search.mend(&mut best);
    best
}

/// Where a job can be put in.
struct Place {
    rig: usize,
    at: usize,
    /// What the route costs with it.
    cost: i64,
    /// By how much that is dearer.
    more: i64,
}

struct Search<'a> {
    problem: &'a Problem,
    tables: (Table, Table),
    /// Steps filled so far.
    tried: usize,
    /// State of the numbers that are drawn.
    draws: u64,
    /// Whether some places are passed over.
    passes_over: bool,
}

impl Search<'_> {
    /// Least cost of an order, where it is below `bound`: costs only add up along it.
    fn cost(&mut self, rig: usize, order: impl IntoIterator<Item = usize>, bound: i64) -> i64 {
        let mut done = std::mem::take(&mut self.tables.0);
        done.set_free(self.problem.rigs[rig].free);
        self.cost_after(rig, (done, None, 0), order, bound)
    }

    /// The same of what is left of an order after a last job, with the table of all up to
    /// it and what has gone through the tank.
    fn cost_after(
        &mut self,
        rig: usize,
        (mut done, mut last, mut litres): (Table, Option<usize>, i64),
        order: impl IntoIterator<Item = usize>,
        bound: i64,
    ) -> i64 {
        let mut table = std::mem::take(&mut self.tables.1);
        let mut cost = done.best();
        for job in order {
            litres = self.next(rig, (&done, last, litres), job, &mut table);
            std::mem::swap(&mut done, &mut table);
            (last, cost) = (Some(job), done.best());
            if cost >= bound.min(NEVER) {
                cost = NEVER;
                break;
            }
        }
        self.tables = (done, table);
        cost
    }

    /// Fills the table of a job that comes after a last one; gives what has gone through
    /// the tank with it.
    fn next(
        &mut self,
        rig: usize,
        (done, last, litres): (&Table, Option<usize>, i64),
        job: usize,
        table: &mut Table,
    ) -> i64 {
        let rig = &self.problem.rigs[rig];
        let (work, _) = rig.work(job, litres);
        let (way, cost) = self.problem.way(rig, last, job);
        self.tried += EACH + table.open(&self.problem.jobs[job], work);
        table.relax(done, way, cost, &self.problem.jobs[job], work);
        table.settle();
        litres + rig.litres[job]
    }

    /// A number below `end`, which is above 0 (Knuth's linear congruence; published).
    fn draw(&mut self, end: usize) -> usize {
        self.draws =
            self.draws.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.draws >> 33) as usize % end
    }

    /// Puts each job that is left out where it costs least, in their order.
    fn put_in(&mut self, routes: &mut Routes) {
        for job in std::mem::take(&mut routes.left) {
            let mut best: Option<Place> = None;
            for rig in 0..routes.routes.len() {
                self.best_place(rig, &routes.routes[rig], routes.costs[rig], job, &mut best);
            }
            match best {
                Some(place) => {
                    routes.routes[place.rig].insert(place.at, job);
                    routes.costs[place.rig] = place.cost;
                }
                None => routes.left.push(job),
            }
        }
    }

    /// Looks for a cheaper place of a job in one route. What lies before it is worked out
    /// once for all places.
    fn best_place(&mut self, rig: usize, route: &[usize], now: i64, job: usize, best: &mut Option<Place>) {
        let mut done = Table::free(self.problem.rigs[rig].free);
        let (mut last, mut litres) = (None, 0);
        for at in 0..=route.len() {
            if !(self.passes_over && self.draw(PASSED_OVER) == 0) {
                let bound = best.as_ref().map_or(NEVER, |best| best.more.saturating_add(now));
                let order = [job].into_iter().chain(route[at..].iter().copied());
                let cost = self.cost_after(rig, (done.clone(), last, litres), order, bound);
                if cost < bound {
                    *best = Some(Place { rig, at, cost, more: cost - now });
                }
            }
            if let Some(passed) = route.get(at) {
                let mut table = Table::default();
                litres = self.next(rig, (&done, last, litres), *passed, &mut table);
                (done, last) = (table, Some(*passed));
            }
        }
    }

    /// Takes some jobs out, drawn: any, or such as lie near one another in time.
    fn take_out(&mut self, routes: &mut Routes) {
        let count = self.problem.jobs.len();
        let out = 2 + self.draw(MOST_OUT.min(count.max(2)) - 1);
        let mut jobs: Vec<usize> = (0..count).collect();
        if self.draw(2) == 0 {
            self.mix(&mut jobs);
        } else {
            let middle = match routes.left.len() {
                0 => self.draw(count),
                left => routes.left[self.draw(left)],
            };
            let begin = |job: usize| self.problem.jobs[job].windows.first().map_or(0, |window| window.0);
            jobs.sort_by_key(|job| begin(*job).abs_diff(begin(middle)));
            // Not always the same ones.
            jobs.truncate(2 * out);
            self.mix(&mut jobs);
        }
        for job in jobs.into_iter().take(out) {
            for rig in 0..routes.routes.len() {
                if let Some(place) = routes.routes[rig].iter().position(|other| *other == job) {
                    routes.routes[rig].remove(place);
                    routes.left.push(job);
                    routes.costs[rig] = self.cost(rig, routes.routes[rig].iter().copied(), NEVER);
                    // A filling may have gone to a job that has no time for it.
                    if routes.costs[rig] >= NEVER {
                        routes.left.append(&mut routes.routes[rig]);
                        routes.costs[rig] = 0;
                    }
                }
            }
        }
    }

    /// Brings the jobs that are left out into a drawn order.
    fn mix(&mut self, jobs: &mut [usize]) {
        for place in (1..jobs.len()).rev() {
            jobs.swap(place, self.draw(place + 1));
        }
    }

    /// Mends until nothing helps any more or enough is tried.
    fn mend(&mut self, routes: &mut Routes) {
        let most = self.tried + MOST_MENDED;
        while self.tried <= most {
            let before = routes.cost();
            for one in 0..routes.routes.len() {
                self.turn(routes, one);
                for other in 0..routes.routes.len() {
                    if self.tried > most {
                        return;
                    }
                    self.shift(routes, one, other);
                    if one < other {
                        self.cross(routes, one, other);
                    }
                    if one <= other {
                        self.swap(routes, one, other);
                    }
                }
            }
            self.put_in(routes);
            if routes.cost() >= before {
                return;
            }
        }
    }

    /// Takes new orders of one or two routes where they cost less.
    fn take(&mut self, routes: &mut Routes, new: [(usize, Vec<usize>); 2]) -> bool {
        let [(one, first), (other, second)] = new;
        let now = if one == other { routes.costs[one] } else { routes.costs[one] + routes.costs[other] };
        let cost = self.cost(one, first.iter().copied(), now);
        if cost >= now {
            return false;
        }
        if one == other {
            (routes.routes[one], routes.costs[one]) = (first, cost);
            return true;
        }
        let beside = self.cost(other, second.iter().copied(), now - cost);
        if cost.saturating_add(beside) >= now {
            return false;
        }
        (routes.routes[one], routes.costs[one]) = (first, cost);
        (routes.routes[other], routes.costs[other]) = (second, beside);
        true
    }

    /// Turns a part of a route round.
    fn turn(&mut self, routes: &mut Routes, one: usize) {
        let count = routes.routes[one].len();
        for from in 0..count {
            for to in from + 2..=count {
                let mut order = routes.routes[one].clone();
                order[from..to].reverse();
                self.take(routes, [(one, order), (one, Vec::new())]);
            }
        }
    }

    /// Moves a part of one route into another, or elsewhere in the same.
    fn shift(&mut self, routes: &mut Routes, one: usize, other: usize) {
        for length in 1..=LONGEST_PART {
            let mut from = 0;
            while from + length <= routes.routes[one].len() {
                let mut short = routes.routes[one].clone();
                let part: Vec<usize> = short.drain(from..from + length).collect();
                let into = if one == other { short.clone() } else { routes.routes[other].clone() };
                for place in 0..=into.len() {
                    let mut long = into.clone();
                    long.splice(place..place, part.iter().copied());
                    let new = match one == other {
                        true if place == from => continue,
                        true => [(one, long), (one, Vec::new())],
                        false => [(one, short.clone()), (other, long)],
                    };
                    if self.take(routes, new) {
                        break;
                    }
                }
                from += 1;
            }
        }
    }

    /// Changes two jobs with one another.
    fn swap(&mut self, routes: &mut Routes, one: usize, other: usize) {
        for from in 0..routes.routes[one].len() {
            for to in 0..routes.routes[other].len() {
                let (mut first, mut second) = (routes.routes[one].clone(), routes.routes[other].clone());
                if one == other {
                    if from >= to {
                        continue;
                    }
                    first.swap(from, to);
                } else {
                    std::mem::swap(&mut first[from], &mut second[to]);
                }
                self.take(routes, [(one, first), (other, second)]);
            }
        }
    }

    /// Changes the ends of two routes with one another.
    fn cross(&mut self, routes: &mut Routes, one: usize, other: usize) {
        for from in 0..=routes.routes[one].len() {
            for to in 0..=routes.routes[other].len() {
                let (Some((head, tail)), Some((begin, end))) =
                    (routes.routes[one].split_at_checked(from), routes.routes[other].split_at_checked(to))
                else {
                    break;
                };
                let (first, second) = ([head, end].concat(), [begin, tail].concat());
                self.take(routes, [(one, first), (other, second)]);
            }
        }
    }
}
