//! What is asked, checked, and brought into whole steps.

use chrono::{Days, NaiveTime, TimeZone};
use chrono_tz::Tz;

use super::planned::Why;
use super::problem::{Job, Problem, Rig, costs, filling, spraying, steps};
use super::way::{Spot, Ways};
use super::{Ask, Flowers, HORIZON, MOST_SPRAYERS, MOST_STOPS, STEP, Sprayer, Stop, Window, WorkingDay};
use crate::time::{HOUR, Instant, MINUTE};
use crate::words::NO_REENTRY;

/// Largest area, rate, tank and speed of growth that is taken (constructed).
const MOST_HECTARES: f64 = 10_000.0;
const MOST_HECTARES_AN_HOUR: f64 = 1_000.0;
const MOST_LITRES: f64 = 100_000.0;
const MOST_MINUTES: f64 = 1_440.0;
const MOST_STYLE_AN_HOUR: f64 = 1.0;

/// What can be planned, and what cannot.
pub(super) struct Asked {
    pub problem: Problem,
    /// Stops that cannot be planned, by their place.
    pub left_out: Vec<(usize, Why)>,
    /// What else is to be said.
    pub notes: Vec<String>,
}

impl Asked {
    pub fn of(ask: &Ask) -> Asked {
        let origin = Instant(steps(ask.now.0) as i64 * STEP);
        let mut notes = Vec::new();
        let ways_are_sound = ask.ways.is_sound();
        if !ways_are_sound {
            notes.push(format!(
                "A way cannot be reckoned with {} km/h and a detour of {}: the speed has to be 0.1 to 200 km/h, the \
                 detour 1 to 10.",
                ask.ways.km_per_hour, ask.ways.detour
            ));
        }
        let mut usable: Vec<usize> = Vec::new();
        for (place, sprayer) in ask.sprayers.iter().enumerate() {
            match unfit(sprayer) {
                Some(why) => notes.push(format!("{} is not planned: {why}.", sprayer.name)),
                None if place >= MOST_SPRAYERS => {
                    notes.push(format!(
                        "{} is not planned: more than {MOST_SPRAYERS} sprayers.",
                        sprayer.name
                    ));
                }
                None => usable.push(place),
            }
        }
        let mut left_out = Vec::new();
        let mut jobs = Vec::new();
        for (place, stop) in ask.stops.iter().enumerate() {
            let why = match job(ask, place, stop, origin) {
                Err(why @ Why::Hold { .. }) => why,
                _ if ask.sprayers.is_empty() => Why::NoSprayer,
                _ if usable.is_empty() => Why::NoCapacity,
                _ if !ways_are_sound => Why::NoWays,
                _ if jobs.len() >= MOST_STOPS => Why::TooMany,
                Ok(job) => {
                    jobs.push(job);
                    continue;
                }
                Err(why) => why,
            };
            left_out.push((place, why));
        }
        let mut asked =
            Asked { problem: Problem { origin, jobs, rigs: Vec::new(), ways: Vec::new() }, left_out, notes };
        asked.problem.rigs = usable.iter().map(|place| rig(ask, *place, &asked.problem)).collect();
        asked.drop_what_none_can_do();
        asked.problem.ways = ways(ask, &asked.problem.jobs);
        asked.problem.rigs = usable.iter().map(|place| rig(ask, *place, &asked.problem)).collect();
        let nowhere = asked.problem.jobs.iter().filter(|job| ask.stops[job.stop].spot.is_none());
        for job in nowhere {
            let name = &ask.stops[job.stop].block;
            asked.notes.push(format!("Where {name} lies is not known: no way to it is reckoned."));
        }
        let unrecorded = asked.problem.jobs.iter().map(|job| &ask.stops[job.stop]);
        for stop in unrecorded.filter(|stop| stop.reentry_unrecorded) {
            asked.notes.push(format!("{}: {NO_REENTRY}", stop.block));
        }
        if ask.stops.is_empty() {
            asked.notes.push("There is no block to spray.".to_owned());
        }
        asked
    }

    /// Leaves out what no sprayer could do were it the only block.
    fn drop_what_none_can_do(&mut self) {
        let Problem { jobs, rigs, origin, .. } = &self.problem;
        let mut kept = Vec::with_capacity(jobs.len());
        for (number, job) in jobs.iter().enumerate() {
            if rigs.iter().any(|rig| self.problem.soonest(rig, number).is_some()) {
                kept.push(job.clone());
                continue;
            }
            let needs = rigs.iter().map(|rig| rig.work(number, 0).0).min().unwrap_or(0);
            let longest = job.windows.iter().map(|(begin, end)| end - begin).max().unwrap_or(0);
            let reached = rigs.iter().map(|rig| rig.free + rig.first[number]).min().unwrap_or(0);
            let why = if needs > longest {
                Why::SlotTooShort { needs: needs as i64 * STEP, longest: longest as i64 * STEP }
            } else {
                Why::TooFar { there: origin.plus(reached as i64 * STEP) }
            };
            self.left_out.push((job.stop, why));
        }
        self.problem.jobs = kept;
    }
}

/// Why a sprayer cannot be planned.
fn unfit(sprayer: &Sprayer) -> Option<String> {
    let within = |number: f64, most: f64| number > 0.0 && number <= most;
    let spots = [sprayer.fill_at, sprayer.starts_at];
    match sprayer {
        Sprayer { hectares_per_hour: 0.0, .. } => Some("it has no capacity, 0 ha an hour".to_owned()),
        Sprayer { hectares_per_hour: rate, .. } if !within(*rate, MOST_HECTARES_AN_HOUR) => {
            Some(format!("{rate} ha an hour is not above 0 and up to {MOST_HECTARES_AN_HOUR}"))
        }
        Sprayer { tank_litres: Some(litres), .. } if !within(*litres, MOST_LITRES) => {
            Some(format!("a tank of {litres} L is not above 0 and up to {MOST_LITRES}"))
        }
        Sprayer { fill_minutes: minutes, .. } if !(0.0..=MOST_MINUTES).contains(minutes) => {
            Some(format!("{minutes} minutes for a filling are not 0 to {MOST_MINUTES}"))
        }
        _ if !spots.iter().flatten().all(Spot::is_sound) => {
            Some("where it is filled or stands is no place on the earth".to_owned())
        }
        _ => None,
    }
}

/// A stop in steps, or why it cannot be planned.
fn job(ask: &Ask, place: usize, stop: &Stop, origin: Instant) -> Result<Job, Why> {
    if let Some(since) = stop.hold_since {
        return Err(Why::Hold { since });
    }
    let within = |number: f64, most: f64| number > 0.0 && number <= most;
    if !within(stop.hectares, MOST_HECTARES) {
        return Err(Why::NoArea { hectares: stop.hectares.is_finite().then_some(stop.hectares) });
    }
    if stop.spot.is_some_and(|spot| !spot.is_sound()) {
        return Err(Why::NoPlace);
    }
    if stop.litres_per_hectare.is_some_and(|rate| !within(rate, MOST_LITRES)) {
        return Err(Why::NoRate);
    }
    let growth = (0.0..=MOST_STYLE_AN_HOUR).contains(&stop.style_per_hour);
    if !growth || stop.flowers.as_ref().is_some_and(|flowers| !sound(flowers)) {
        return Err(Why::NoPace);
    }
    let mark = stop.mark.ok_or(Why::NoMark)?;
    let windows = within_steps(&stop.windows, ask.now, origin);
    if windows.is_empty() {
        return Err(Why::NoSlot);
    }
    let windows = match ask.working {
        Some(day) => within_steps(&at_work(&stop.windows, day, ask.zone, ask.now), ask.now, origin),
        None => windows,
    };
    let Some((_, last)) = windows.last() else { return Err(Why::OutsideDay) };
    let (early, late) = costs(stop, mark.likely, origin, last + 1);
    Ok(Job { stop: place, windows, early, late })
}

/// Whether moments rise, flowers never fall, and something is wanted.
fn sound(flowers: &Flowers) -> bool {
    let known = flowers.through.iter().all(|(_, number)| (0.0..1e9).contains(number));
    let rising = flowers.through.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1);
    known && rising && !flowers.through.is_empty() && flowers.target > 0.0 && flowers.target.is_finite()
}

/// Slots in whole steps from now to the horizon, in order and apart.
fn within_steps(windows: &[Window], now: Instant, origin: Instant) -> Vec<(usize, usize)> {
    let until = now.plus(HORIZON);
    let mut within: Vec<(usize, usize)> = windows
        .iter()
        .filter_map(|window| {
            let (begin, end) = (window.begin.max(origin), window.end.min(until));
            let end = usize::try_from(end.since(origin).div_euclid(STEP)).ok()?;
            let begin = steps(begin.since(origin));
            (begin < end).then_some((begin, end))
        })
        .collect();
    within.sort_unstable();
    let mut apart: Vec<(usize, usize)> = Vec::with_capacity(within.len());
    for (begin, end) in within {
        match apart.last_mut().filter(|last| last.1 >= begin) {
            Some(last) => last.1 = last.1.max(end),
            None => apart.push((begin, end)),
        }
    }
    apart
}

/// The parts of slots that lie in the working day, on the wall clock of the zone.
fn at_work(windows: &[Window], day: WorkingDay, zone: Tz, now: Instant) -> Vec<Window> {
    let mut parts = Vec::new();
    for window in windows {
        let (from, until) = (window.begin.max(now), window.end.min(now.plus(HORIZON)));
        // Yesterday's working day may run past midnight.
        let mut date = from.local_date(zone).pred_opt();
        let last = until.local_date(zone);
        while let Some(today) = date.filter(|date| *date <= last) {
            date = today.checked_add_days(Days::new(1));
            let over = u64::from(day.end <= day.begin);
            let begin = clock(today, day.begin, zone);
            let end = today.checked_add_days(Days::new(over)).and_then(|day_of| clock(day_of, day.end, zone));
            let (Some(begin), Some(end)) = (begin, end) else { continue };
            let (begin, end) = (begin.max(from), end.min(until));
            if begin < end {
                parts.push(Window { begin, end });
            }
        }
    }
    parts
}

/// A time of day on the wall clock; where clocks go forward over it, an hour later.
fn clock(date: chrono::NaiveDate, minutes: u32, zone: Tz) -> Option<Instant> {
    let (date, minutes) = match minutes {
        1_440.. => (date.checked_add_days(Days::new(1))?, 0),
        minutes => (date, minutes),
    };
    let wall = date.and_time(NaiveTime::from_hms_opt(minutes / 60, minutes % 60, 0)?);
    let skipped = wall.checked_add_signed(chrono::TimeDelta::seconds(HOUR))?;
    let on = |wall| zone.from_local_datetime(&wall).earliest();
    on(wall).or_else(|| on(skipped)).map(|moment| Instant(moment.timestamp()))
}

/// A sprayer in steps.
fn rig(ask: &Ask, place: usize, problem: &Problem) -> Rig {
    let sprayer = &ask.sprayers[place];
    let stops = || problem.jobs.iter().map(|job| &ask.stops[job.stop]);
    let from = sprayer.starts_at.or(sprayer.fill_at);
    let free = sprayer.free_from.unwrap_or(problem.origin).since(problem.origin).clamp(0, HORIZON + MINUTE);
    let millilitres =
        |stop: &Stop| stop.litres_per_hectare.map_or(0.0, |rate| rate * stop.hectares * 1_000.0);
    Rig {
        sprayer: place,
        free: steps(free),
        tank: sprayer.tank_litres.map_or(0, |litres| ((litres * 1_000.0).round() as i64).max(1)),
        litres: stops().map(|stop| millilitres(stop).round() as i64).collect(),
        spraying: stops().map(|stop| spraying(stop, sprayer)).collect(),
        filling: stops().map(|stop| filling(stop, sprayer, &ask.ways)).collect(),
        first: stops().map(|stop| steps(ask.ways.seconds(from, stop.spot))).collect(),
    }
}

/// Steps from each job to each other.
fn ways(ask: &Ask, jobs: &[Job]) -> Vec<Vec<usize>> {
    let spot = |job: &Job| ask.stops[job.stop].spot;
    let way = |ways: &Ways, one: &Job, other: &Job| steps(ways.seconds(spot(one), spot(other)));
    jobs.iter().map(|one| jobs.iter().map(|other| way(&ask.ways, one, other)).collect()).collect()
}
