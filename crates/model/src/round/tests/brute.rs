//! Held against every order, every sharing out and every time, reckoned apart from the
//! planner from what was asked.

use std::collections::HashMap;

use super::*;

/// Numbers of a fixed row.
pub(super) struct Draw(pub u64);

impl Draw {
    pub fn below(&mut self, end: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 20) as i64 % end
    }

    pub fn share(&mut self) -> f64 {
        self.below(1_000) as f64 / 1_000.0
    }
}

/// A farm of so many blocks and sprayers whose slots are short and often in one
/// another's way.
pub(super) fn farm(draw: &mut Draw, blocks: usize, sprayers: usize, spread: i64) -> Ask {
    let stops = (0..blocks).map(|n| {
        let begin = draw.below(spread);
        let likely = begin + draw.below(120) - 40;
        let mut windows = vec![window(begin, begin + 60 + draw.below(120))];
        if draw.below(3) == 0 {
            let again = begin + 200 + draw.below(100);
            windows.push(window(again, again + 70));
        }
        let curve = vec![(after(likely - 60), 20.0), (after(likely + 60), 20.0 + 60.0 * draw.share())];
        Stop {
            hectares: 0.3 + 1.7 * draw.share(),
            spot: Some(spot(3_000.0 * draw.share(), 3_000.0 * draw.share())),
            litres_per_hectare: (draw.below(4) > 0).then_some(900.0),
            windows,
            bound: if draw.below(2) == 0 { MarkBound::NotBefore } else { MarkBound::NotAfter },
            style_per_hour: 0.01 + 0.03 * draw.share(),
            flowers: (draw.below(3) == 0).then_some(Flowers { through: curve, target: 100.0 }),
            ..stop(&format!("B{n}"), 0.0, 0, 1, likely)
        }
    });
    let stops: Vec<Stop> = stops.collect();
    let rigs = (0..sprayers).map(|n| Sprayer {
        tank_litres: (draw.below(3) > 0).then_some(1_000.0 + 1_000.0 * draw.share()),
        fill_minutes: 10.0 + 10.0 * draw.share(),
        free_from: (draw.below(3) == 0).then(|| after(draw.below(90))),
        starts_at: (draw.below(3) == 0).then(|| spot(2_000.0 * draw.share(), 0.0)),
        ..sprayer(&format!("S{n}"), 1.0 + 1.5 * draw.share())
    });
    let sprayers = rigs.collect();
    Ask { ways: Ways { km_per_hour: 10.0, detour: 1.3 }, ..ask(stops, sprayers) }
}

/// What is worth more than any cost, so that fewest blocks are left out.
const LEFT: f64 = 1e8;
/// A step of way, in styles on one hectare.
const WAY: f64 = 1e-4;

fn in_steps(seconds: f64) -> i64 {
    (seconds / 300.0).ceil() as i64
}

fn drive(ask: &Ask, from: Option<Spot>, to: Option<Spot>) -> f64 {
    let (from, to) = (from.unwrap(), to.unwrap());
    (from.km_to(&to) * ask.ways.detour / ask.ways.km_per_hour * 3_600.0).round()
}

/// Cost of one block, begun and finished at moments in steps after now.
fn price(stop: &Stop, begin: i64, finish: i64) -> f64 {
    let mark = stop.mark.unwrap().likely.since(now()) as f64 / 3_600.0;
    let (begin, finish) = (begin as f64 / 12.0, finish as f64 / 12.0);
    let weight = if stop.bound == MarkBound::NotBefore { 20.0 } else { 0.1 };
    let early = weight * (mark - begin).max(0.0) * stop.style_per_hour;
    let late = match &stop.flowers {
        // Two points, and the line through them on either side of the mark.
        Some(flowers) => {
            let [(_, low), (_, high)] = flowers.through[..] else { panic!("two points") };
            (finish - mark).max(0.0) * (high - low) / 2.0 / flowers.target
        }
        None => (finish - mark).max(0.0) * stop.style_per_hour,
    };
    // Costs are whole millionths, the early and the late one by itself.
    let whole = |cost: f64| (cost * stop.hectares * 1e6).round() / 1e6;
    whole(early) + whole(late)
}

/// Least cost of the blocks of an order from the `n`-th on, free at a step.
fn least(
    ask: &Ask,
    rig: &Sprayer,
    order: &[usize],
    n: usize,
    free: i64,
    known: &mut HashMap<(usize, i64), f64>,
) -> f64 {
    let Some(block) = order.get(n) else { return 0.0 };
    if let Some(cost) = known.get(&(n, free)) {
        return *cost;
    }
    let stop = &ask.stops[*block];
    let wets = |block: &usize| {
        let stop = &ask.stops[*block];
        (stop.litres_per_hectare.unwrap_or(0.0) * stop.hectares * 1_000.0).round()
    };
    let before: f64 = order[..n].iter().map(wets).sum();
    // Full at first; filled whenever dry with more to go.
    let fills = |litres: f64| {
        rig.tank_litres.map_or(0.0, |tank| ((litres / (tank * 1_000.0).round()).ceil() - 1.0).max(0.0))
    };
    let fills = fills(before + wets(block)) - fills(before);
    let to_fill = drive(ask, stop.spot, rig.fill_at) + drive(ask, rig.fill_at, stop.spot);
    let work = (stop.hectares / rig.hectares_per_hour * 3_600.0).round()
        + fills * (to_fill + (rig.fill_minutes * 60.0).round());
    let work = in_steps(work).max(1);
    let from = match n {
        0 => rig.starts_at.or(rig.fill_at),
        n => ask.stops[order[n - 1]].spot,
    };
    let way = in_steps(drive(ask, from, stop.spot));
    let mut best = f64::INFINITY;
    for window in &stop.windows {
        let begin = in_steps(window.begin.since(now()) as f64);
        let end = window.end.since(now()).div_euclid(300);
        for start in begin.max(free + way)..=end - work {
            let rest = least(ask, rig, order, n + 1, start + work, known);
            best = best.min(price(stop, start, start + work) + way as f64 * WAY + rest);
        }
    }
    known.insert((n, free), best);
    best
}

/// Least cost of each set of blocks for one sprayer, over all orders of it.
fn by_set(ask: &Ask, rig: &Sprayer) -> Vec<f64> {
    let mut best = vec![f64::INFINITY; 1 << ask.stops.len()];
    let free = in_steps(rig.free_from.map_or(0, |at| at.since(now())) as f64);
    let mut open: Vec<Vec<usize>> = vec![Vec::new()];
    while let Some(order) = open.pop() {
        let cost = least(ask, rig, &order, 0, free, &mut HashMap::new());
        let set = order.iter().fold(0_usize, |set, block| set | 1 << block);
        best[set] = best[set].min(cost);
        if cost < f64::INFINITY {
            for block in (0..ask.stops.len()).filter(|block| !order.contains(block)) {
                open.push([&order[..], &[block]].concat());
            }
        }
    }
    best
}

/// Least cost over every sharing out; the last sprayer's number is nobody's.
fn brute(ask: &Ask) -> f64 {
    let sets: Vec<Vec<f64>> = ask.sprayers.iter().map(|rig| by_set(ask, rig)).collect();
    let takers = ask.sprayers.len() + 1;
    let ways = takers.pow(ask.stops.len() as u32);
    let shared = |number: usize| {
        let mut own = vec![0_usize; takers];
        let mut rest = number;
        for block in 0..ask.stops.len() {
            own[rest % takers] |= 1 << block;
            rest /= takers;
        }
        let left = own[takers - 1].count_ones();
        sets.iter().zip(own).map(|(costs, set)| costs[set]).sum::<f64>() + f64::from(left) * LEFT
    };
    (0..ways).map(shared).fold(f64::INFINITY, f64::min)
}

/// The same measure of a round that was planned.
fn measure(ask: &Ask, round: &Round) -> f64 {
    let way = |visit: &Visit| visit.begin.since(visit.go) as f64 / 300.0 * WAY;
    let ways: f64 = round.runs.iter().flat_map(|run| &run.visits).map(way).sum();
    let visited: usize = round.runs.iter().map(|run| run.visits.len()).sum();
    assert_eq!(visited + round.left_out.len(), ask.stops.len(), "each block once");
    round.cost + ways + round.left_out.len() as f64 * LEFT
}

/// Each visit lies in a slot, begins when the sprayer can be there, and takes its time.
pub(super) fn sound(ask: &Ask, round: &Round) {
    for (run, rig) in round.runs.iter().zip(&ask.sprayers) {
        let mut free = rig.free_from.unwrap_or(now());
        for visit in &run.visits {
            assert!(visit.go >= free && visit.go <= visit.begin && visit.begin < visit.finish);
            let stop = ask.stops.iter().find(|stop| stop.block == visit.block).unwrap();
            let slot = |window: &&Window| window.begin <= visit.begin && visit.finish <= window.end;
            assert!(stop.windows.iter().any(|window| slot(&window)), "{visit:?}");
            free = visit.finish;
        }
    }
}

#[test]
fn no_order_no_sharing_out_and_no_time_is_better() {
    let mut draw = Draw(20_130_501);
    let (mut late, mut left) = (0, 0);
    for (blocks, sprayers, cases) in
        [(1, 1, 10), (3, 1, 30), (4, 2, 30), (5, 2, 16), (4, 3, 8), (6, 1, 4), (6, 2, 4)]
    {
        for case in 0..cases {
            let asked = farm(&mut draw, blocks, sprayers, 240);
            let round = plan(&asked);
            sound(&asked, &round);
            let (planned, best) = (measure(&asked, &round), brute(&asked));
            assert!((planned - best).abs() < 1e-5, "{blocks} blocks, case {case}: {planned} and {best}");
            let all = || round.runs.iter().flat_map(|run| &run.visits);
            (late, left) =
                (late + all().filter(|visit| !visit.in_time()).count(), left + round.left_out.len());
        }
    }
    assert!(late > 10 && left > 10, "cases that are too easy show nothing: {late} late, {left} left out");
}
