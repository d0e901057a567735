use serde_json::json;

use super::*;
use crate::time::HOUR;

mod brute;
mod gap;
mod refusals;

const ZONE: Tz = chrono_tz::America::New_York;

/// Eight in the evening of 1 May 2013 in New York.
fn now() -> Instant {
    "2013-05-01T20:00:00-04:00".parse().unwrap()
}

fn after(minutes: i64) -> Instant {
    now().plus(minutes * MINUTE)
}

fn window(begin: i64, end: i64) -> Window {
    Window { begin: after(begin), end: after(end) }
}

fn mark(minutes: i64) -> Option<MarkTime> {
    Some(MarkTime { early: None, likely: after(minutes), late: None })
}

/// A block of 2 ha that lies so many metres north of the yard.
fn stop(block: &str, metres: f64, begin: i64, end: i64, likely: i64) -> Stop {
    Stop {
        block: block.to_owned(),
        hectares: 2.0,
        spot: Some(spot(metres, 0.0)),
        litres_per_hectare: None,
        windows: vec![window(begin, end)],
        mark: mark(likely),
        bound: MarkBound::NotBefore,
        style_per_hour: 0.03,
        flowers: None,
        hold_since: None,
        reentry_unrecorded: false,
    }
}

fn spot(north: f64, east: f64) -> Spot {
    let degree = EARTH_KM * 1_000.0 * std::f64::consts::PI / 180.0;
    Spot { latitude: 40.0 + north / degree, longitude: -74.0 + east / degree }
}

fn sprayer(name: &str, hectares_per_hour: f64) -> Sprayer {
    Sprayer {
        name: name.to_owned(),
        hectares_per_hour,
        tank_litres: None,
        fill_minutes: 0.0,
        fill_at: Some(spot(0.0, 0.0)),
        starts_at: None,
        free_from: None,
    }
}

fn ask(stops: Vec<Stop>, sprayers: Vec<Sprayer>) -> Ask {
    Ask {
        stops,
        sprayers,
        ways: Ways { km_per_hour: 12.0, detour: 1.0 },
        working: None,
        zone: ZONE,
        now: now(),
    }
}

fn order(round: &Round, run: usize) -> Vec<&str> {
    round.runs[run].visits.iter().map(|visit| visit.block.as_str()).collect()
}

#[test]
fn each_block_is_sprayed_from_its_mark_on_in_the_order_of_the_marks() {
    let stops = vec![stop("North", 1_000.0, 0, 600, 200), stop("South", 2_000.0, 0, 600, 60)];
    let round = plan(&ask(stops, vec![sprayer("Red", 2.0)]));
    assert_eq!(order(&round, 0), ["South", "North"]);
    let [south, north] = &round.runs[0].visits[..] else { panic!("two visits") };
    // 2 km at 12 km/h are 10 minutes, 2 ha at 2 ha an hour one hour.
    assert_eq!((south.go, south.begin, south.finish), (after(50), after(60), after(120)));
    assert_eq!((north.go, north.begin, north.finish), (after(195), after(200), after(260)));
    assert!(round.exact && south.in_time() && (south.early, south.late) == (0, HOUR));
    // One hour at 0.03 an hour on 2 ha.
    assert!((south.cost - 0.06).abs() < 1e-9, "{}", south.cost);
    assert!((round.cost - 0.12).abs() < 1e-9);
    let told = round.told(ZONE);
    assert_eq!(told[0], "Red:");
    assert_eq!(
        told[1],
        "1. South: go Wed 1 May, 20:50, begin Wed 1 May, 21:00, finish Wed 1 May, 22:00; finished 1.0 h after its \
         mark; 0.03 of the style grow in that time."
    );
}

#[test]
fn two_sprayers_share_what_one_would_be_late_for() {
    let stops = || vec![stop("A", 100.0, 0, 600, 60), stop("B", 100.0, 0, 600, 60)];
    let one = plan(&ask(stops(), vec![sprayer("Red", 1.0)]));
    let two = plan(&ask(stops(), vec![sprayer("Red", 1.0), sprayer("Blue", 1.0)]));
    assert_eq!((order(&one, 0).len(), order(&two, 0).len(), order(&two, 1).len()), (2, 1, 1));
    assert!(two.cost < one.cost);
}

#[test]
fn being_early_is_very_dear_before_a_not_before_mark_and_little_before_a_not_after_one() {
    // The slot ends an hour after the mark; the work takes two.
    let early = stop("A", 0.0, 0, 120, 60);
    let round = plan(&ask(vec![early.clone()], vec![sprayer("Red", 1.0)]));
    let visit = &round.runs[0].visits[0];
    assert_eq!((visit.early, visit.late, visit.in_time()), (HOUR, HOUR, false));
    assert!((visit.cost - (20.0 * 0.03 + 0.03) * 2.0).abs() < 1e-9);
    assert!(visit.told(ZONE).contains("begins 1.0 h before its mark, where it takes wanted flowers"));
    let after = Stop { bound: MarkBound::NotAfter, ..early };
    let round = plan(&ask(vec![Stop { windows: vec![window(0, 300)], ..after }], vec![sprayer("Red", 1.0)]));
    let visit = &round.runs[0].visits[0];
    // Two hours of work begun at once: nothing else comes nearer.
    assert_eq!((visit.early, visit.late), (HOUR, HOUR));
    assert_eq!(visit.why_late, Some(WhyLate::SlotOrWay));
}

#[test]
fn a_not_after_mark_that_cannot_be_kept_says_why() {
    let block = |name: &str, end| Stop { bound: MarkBound::NotAfter, ..stop(name, 0.0, 0, end, 150) };
    let round = plan(&ask(vec![block("A", 600), block("B", 600)], vec![sprayer("Red", 1.0)]));
    let [first, second] = &round.runs[0].visits[..] else { panic!("two visits") };
    assert!(first.in_time() && first.told(ZONE).contains("ahead of its mark"));
    assert_eq!((second.in_time(), second.why_late), (false, Some(WhyLate::Busy)));
    assert!(second.told(ZONE).contains("the sprayers are at other blocks before"), "{}", second.told(ZONE));
    // With slots that close, only one of them is reached.
    let round = plan(&ask(vec![block("A", 150), block("B", 150)], vec![sprayer("Red", 1.0)]));
    assert_eq!(round.left_out[0].why, Why::Busy);
    assert!(
        round.told(ZONE)[0]
            .contains("cannot be reached in time: in its slots the sprayers are at other blocks")
    );
}

#[test]
fn the_edges_of_a_mark_stand_beside_and_move_nothing() {
    let wide = |bound| {
        let mark = Some(MarkTime { early: Some(after(30)), likely: after(300), late: Some(after(500)) });
        let stop = Stop { mark, bound, ..stop("A", 0.0, 0, 600, 0) };
        plan(&ask(vec![stop], vec![sprayer("Red", 1.0)])).runs.remove(0).visits.remove(0)
    };
    let visit = wide(MarkBound::NotBefore);
    assert_eq!(visit.begin, after(300));
    assert!(
        visit.told(ZONE).ends_with("; the mark may come as late as Thu 2 May, 04:20."),
        "{}",
        visit.told(ZONE)
    );
    let visit = wide(MarkBound::NotAfter);
    assert_eq!(visit.finish, after(300), "as near its mark as can be");
    assert!(
        visit.told(ZONE).ends_with("; the mark may come as early as Wed 1 May, 20:30."),
        "{}",
        visit.told(ZONE)
    );
}

#[test]
fn lateness_goes_by_flowers_through_where_counts_allow() {
    let flowers = |more: f64| {
        Some(Flowers { through: vec![(after(60), 10.0), (after(180), 10.0 + more)], target: 100.0 })
    };
    let quick = Stop { flowers: flowers(80.0), ..stop("Quick", 0.0, 0, 900, 60) };
    let slow = Stop { flowers: flowers(4.0), ..stop("Slow", 0.0, 0, 900, 60) };
    let round = plan(&ask(vec![slow, quick], vec![sprayer("Red", 1.0)]));
    assert_eq!(order(&round, 0), ["Quick", "Slow"], "flowers come through quicker there");
    let visits = &round.runs[0].visits;
    assert!((visits[0].flowers_late.unwrap() - 80.0).abs() < 1e-9);
    assert!((visits[0].cost - 0.8 * 2.0).abs() < 1e-6);
    // Two hours more on the slow one go on as steep as at the end.
    assert!((visits[1].flowers_late.unwrap() - 8.0).abs() < 1e-9);
    assert!(visits[0].told(ZONE).contains("80 more flowers a tree come through"));
}

#[test]
fn a_tank_that_runs_dry_costs_the_way_to_fill_it() {
    let wet = |name: &str| Stop { litres_per_hectare: Some(1_000.0), ..stop(name, 1_000.0, 0, 1_200, 0) };
    let tank = Sprayer { tank_litres: Some(3_000.0), fill_minutes: 15.0, ..sprayer("Red", 2.0) };
    let round = plan(&ask(vec![wet("A"), wet("B"), wet("C")], vec![tank]));
    let fills: Vec<i64> = round.runs[0].visits.iter().map(|visit| visit.fills).collect();
    // 6000 L of a tank of 3000 that sets out full: one filling, in the second block.
    assert_eq!(fills, [0, 1, 0]);
    let second = &round.runs[0].visits[1];
    // An hour of spraying, a filling, and 1 km there and back.
    assert_eq!(second.finish.since(second.begin), (60 + 15 + 10) * MINUTE);
    assert!(second.told(ZONE).contains("1 filling"));
}

#[test]
fn work_keeps_to_the_working_day_by_the_wall_clock() {
    let block = stop("A", 0.0, 0, 2_000, 30);
    let day = |begin: u32, end: u32| Some(WorkingDay { begin: begin * 60, end: end * 60 });
    let begin = |working| {
        let round = plan(&Ask { working, ..ask(vec![block.clone()], vec![sprayer("Red", 1.0)]) });
        round.runs[0].visits.first().map(|visit| visit.begin.rfc3339_in(ZONE))
    };
    assert_eq!(begin(None).unwrap(), "2013-05-01T20:30:00-04:00");
    assert_eq!(begin(day(6, 18)).unwrap(), "2013-05-02T06:00:00-04:00");
    assert_eq!(begin(day(21, 4)).unwrap(), "2013-05-01T21:00:00-04:00", "a night's work");
    assert_eq!(begin(day(0, 24)).unwrap(), "2013-05-01T20:30:00-04:00");
    let old = Stop { windows: vec![window(-3_000_000, 2_000)], ..block.clone() };
    let round = plan(&Ask { working: day(6, 18), ..ask(vec![old], vec![sprayer("Red", 1.0)]) });
    assert_eq!(round.runs[0].visits[0].begin.rfc3339_in(ZONE), "2013-05-02T06:00:00-04:00");
    let short = Stop { windows: vec![window(0, 180)], ..block.clone() };
    let round = plan(&Ask { working: day(6, 18), ..ask(vec![short], vec![sprayer("Red", 1.0)]) });
    assert_eq!(round.left_out[0].why, Why::OutsideDay);
}

/// A degree of a meridian is 111.195 km on the mean sphere (by definition of its
/// radius); London to Paris some 344 km (from memory).
#[test]
fn ways_follow_the_great_circle() {
    let at = |latitude, longitude| Spot { latitude, longitude };
    assert!((at(0.0, 0.0).km_to(&at(1.0, 0.0)) - 111.195).abs() < 1e-3);
    assert!((at(51.5074, -0.1278).km_to(&at(48.8566, 2.3522)) - 343.5).abs() < 1.0);
    assert!((at(0.0, 179.9).km_to(&at(0.0, -179.9)) - 22.239).abs() < 1e-3, "over the date line");
    let ways = Ways { km_per_hour: 10.0, detour: 1.5 };
    assert_eq!(ways.seconds(Some(spot(0.0, 0.0)), Some(spot(2_000.0, 0.0))), 1_080);
    assert_eq!(ways.seconds(None, Some(spot(0.0, 0.0))), 0);
}

#[test]
fn rounds_can_be_kept_and_read_again() {
    let stops = vec![stop("A", 500.0, 0, 300, 0), stop("B", 0.0, 0, 30, 0)];
    let round = plan(&ask(stops, vec![sprayer("Red", 1.0)]));
    assert_eq!(round.left_out.len(), 1);
    let text = serde_json::to_string(&round).unwrap();
    assert_eq!(serde_json::from_str::<Round>(&text).unwrap(), round);
    let read: Sprayer = serde_json::from_value(json!({"name": "Red", "hectares_per_hour": 2})).unwrap();
    assert_eq!((read.tank_litres, read.fill_at), (None, None));
    let misspelt = json!({"name": "Red", "hectares_per_hour": 2, "tank": 2_000});
    assert!(serde_json::from_value::<Sprayer>(misspelt).is_err());
}
