//! The named cases of a season, on temperatures for which the answer can be
//! worked out by hand: at a steady 15 °C the curve `reference` grows half a
//! style a day, so 0.60 takes 28 h 48 min and 1.00 two days.

use model::bloom::Basis;
use model::legs::EndedBy;
use model::season::{Season, State};
use model::series::Reading;
use model::time::{DAY, HOUR, MINUTE};
use serde_json::{Value, json};

use crate::kit::{
    at, begin, count, hour, hourly, noted, plan, season, spray, start, steady, two_sprays, with, withdrawal,
};

/// A season at a steady 15 °C up to `hours` after the begin.
fn mild(entries: &[Value], hours: usize) -> Season {
    season(&two_sprays(), entries, &steady(15.0, hours), hour(hours as f64))
}

// ---- counts

/// None open counts as half a flower on all trees together: with five trees
/// 0.1, so on ln c the threshold of 100 lies ln(1000)/ln(2000) of the way.
#[test]
fn zero_at_the_first_count() {
    let season = mild(&[count("c1", hour(0.0), &[0; 5]), count("c2", hour(24.0), &[200; 5])], 24);
    let start = season.start.unwrap();
    let share = 1000_f64.ln() / 2000_f64.ln();
    assert_eq!(start.at, begin().plus((86_400.0 * share).ceil() as i64));
    assert_eq!(start.basis, Basis::BetweenCounts);
}

#[test]
fn a_count_exactly_at_the_threshold() {
    let season = mild(&[count("c1", hour(0.0), &[50, 50]), count("c2", hour(24.0), &[90, 110])], 24);
    let start = season.start.unwrap();
    assert_eq!((start.at, start.basis), (hour(24.0), Basis::BetweenCounts));
    assert_eq!(start.latest, Some(hour(24.0)));
    assert!(start.earliest.unwrap() < hour(24.0));
    assert_eq!(season.state, State::Growing);
    // Alone it is a start no later than the count.
    let alone = mild(&[count("c2", hour(24.0), &[90, 110])], 24).start.unwrap();
    assert_eq!((alone.at, alone.basis, alone.earliest), (hour(24.0), Basis::NoLaterThan, None));
    assert_eq!(alone.latest, Some(hour(24.0)));
}

#[test]
fn one_tree() {
    let entries = [count("c1", hour(0.0), &[50]), count("c2", hour(24.0), &[150, 250])];
    let season = mild(&entries, 24);
    let start = season.start.unwrap();
    assert_eq!((start.earliest, start.latest), (Some(hour(0.0)), Some(hour(24.0))));
    // ln 100 lies halfway between ln 50 and ln 200, in degree-hours as in hours.
    assert!((start.at.since(hour(12.0))).abs() <= 1, "{}", start.at);
    assert!(noted(&season, "count-of-one-tree", Some("c1")));
    // One tree in a later count says nothing of the start.
    let later = [
        count("c1", hour(0.0), &[50, 60]),
        count("c2", hour(20.0), &[150, 250]),
        count("c3", hour(24.0), &[300]),
    ];
    assert!(!noted(&mild(&later, 24), "count-of-one-tree", None));
}

/// No spread between the trees, no width of the interval.
#[test]
fn all_trees_equal() {
    let start =
        mild(&[count("c1", hour(0.0), &[50; 4]), count("c2", hour(24.0), &[200; 4])], 24).start.unwrap();
    assert_eq!((start.earliest, start.latest), (Some(start.at), Some(start.at)));
    assert!((start.at.since(hour(12.0))).abs() <= 1, "{}", start.at);
}

#[test]
fn two_counts_in_the_same_minute() {
    let season = mild(&[count("c1", hour(6.0), &[80, 90]), count("c2", hour(6.0), &[120, 130])], 24);
    let start = season.start.unwrap();
    assert_eq!((start.at, start.earliest, start.latest), (hour(6.0), Some(hour(6.0)), Some(hour(6.0))));
    assert_eq!(start.basis, Basis::BetweenCounts);
}

/// The first count at or above the threshold decides, with the last one before
/// it below; what falls is noted and refused nowhere.
#[test]
fn falling_counts() {
    let rise = [
        count("c1", hour(0.0), &[90, 90]),
        count("c2", hour(10.0), &[50, 50]),
        count("c3", hour(20.0), &[200, 200]),
    ];
    let season = mild(&rise, 24);
    assert!(noted(&season, "count-falls", Some("c2")) && !noted(&season, "count-falls", Some("c3")));
    assert!((season.start.unwrap().at.since(hour(15.0))).abs() <= 1);
    let after = [count("c1", hour(0.0), &[200, 200]), count("c2", hour(10.0), &[50, 50])];
    let season = mild(&after, 24);
    assert_eq!(season.start.unwrap().basis, Basis::NoLaterThan);
    assert_eq!(season.start.unwrap().at, hour(0.0));
    // Only falling below the threshold: nothing is foretold.
    let below = mild(&[count("c1", hour(0.0), &[60, 60]), count("c2", hour(10.0), &[40, 40])], 24);
    assert_eq!((below.start, below.state), (None, State::Watching));
    assert!(noted(&below, "count-again", Some("c2")));
}

/// At 4 °C no degree-hours gather, so the way between the counts goes by the
/// clock.
#[test]
fn no_degree_hours_between_counts() {
    let entries = [count("c1", hour(0.0), &[50, 50]), count("c2", hour(24.0), &[200, 200])];
    let season = season(&two_sprays(), &entries, &steady(4.0, 24), hour(24.0));
    assert!((season.start.unwrap().at.since(hour(12.0))).abs() <= 1);
}

/// With them it goes by the warmth: twelve cold hours, then twelve at 14.5 °C;
/// halfway in degree-hours is three quarters of the way by the clock.
#[test]
fn degree_hours_between_counts() {
    let course = (0..=24).map(|n| if n <= 12 { 4.5 } else { 14.5 });
    let mut readings = hourly(course);
    readings[12] = Reading::instant(hour(12.0), 4.5);
    readings.insert(13, Reading::instant(hour(12.0).plus(1), 14.5));
    let entries = [count("c1", hour(0.0), &[50, 50]), count("c2", hour(24.0), &[200, 200])];
    let season = season(&two_sprays(), &entries, &readings, hour(24.0));
    assert!((season.start.unwrap().at.since(hour(18.0))).abs() <= 1, "{}", season.start.unwrap().at);
}

/// Below the threshold with two rising counts the forecast tells when to count
/// again; no leg runs on it.
#[test]
fn an_expected_start_runs_no_leg() {
    let entries = [count("c1", hour(0.0), &[25, 25]), count("c2", hour(12.0), &[50, 50])];
    let season = season(&two_sprays(), &entries, &steady(15.0, 48), hour(48.0));
    let start = season.start.unwrap();
    assert_eq!(start.basis, Basis::Expected);
    assert!((start.at.since(hour(24.0))).abs() <= 1, "{}", start.at);
    assert_eq!((season.state, season.legs.len()), (State::Watching, 0));
    assert!(noted(&season, "count-again", Some("c2")));
}

// ---- marks

#[test]
fn marks_of_one_and_beyond() {
    for (mark, days) in [(1.0, 2.0), (1.2, 2.4), (1.5, 3.0), (0.05, 0.1)] {
        let season =
            season(&plan(&[("lime-sulfur", mark)]), &[start(hour(0.0))], &steady(15.0, 96), hour(96.0));
        let leg = &season.legs[0];
        assert_eq!(leg.reached_at, Some(begin().plus((days * 86_400.0) as i64)), "mark {mark}");
        assert!((leg.progress - 2.0).abs() < 1e-8, "progress runs on past the style base: {}", leg.progress);
        assert_eq!(season.state, State::Overrun);
    }
}

/// Overrun at max(1.0, mark + 0.25) of low progress.
#[test]
fn overrun_comes_at_its_line() {
    for (mark, due, overrun) in [(0.6, 29, 48), (0.9, 44, 56), (1.5, 72, 84)] {
        let state = |hours: usize| {
            let plan = plan(&[("lime-sulfur", mark)]);
            season(&plan, &[start(hour(0.0))], &steady(15.0, hours), hour(hours as f64)).state
        };
        assert_eq!(state(due - 1), State::Growing, "mark {mark}");
        assert_eq!(state(due), State::Due, "mark {mark}");
        assert_eq!(state(overrun - 1), State::Due, "mark {mark}");
        assert_eq!(state(overrun + 1), State::Overrun, "mark {mark}");
    }
}

// ---- sprays

#[test]
fn spray_before_the_mark_in_leg_1() {
    let season = mild(&[start(hour(0.0)), spray("s1", hour(24.0), "ammonium-thiosulfate")], 48);
    let leg = &season.legs[0];
    assert_eq!((leg.reached_at, leg.ended_at, leg.ended_by), (None, Some(hour(24.0)), Some(EndedBy::Spray)));
    assert_eq!(leg.ended_by_entry.as_deref(), Some("s1"));
    assert!((leg.progress - 0.5).abs() < 1e-8);
    assert!(noted(&season, "spray-before-mark", Some("s1")));
    let text = &season.notes.iter().find(|note| note.code == "spray-before-mark").unwrap().text;
    assert!(text.contains("wanted flowers are at risk"), "{text}");
    let second = &season.legs[1];
    assert_eq!((second.from, second.opened_by.as_str()), (hour(24.0), "s1"));
    assert!((second.progress - 0.5).abs() < 1e-8, "the second leg starts from nothing");
}

#[test]
fn spray_before_the_mark_in_leg_2() {
    let entries = [
        start(hour(0.0)),
        spray("s1", hour(30.0), "ammonium-thiosulfate"),
        spray("s2", hour(50.0), "lime-sulfur"),
    ];
    let season = mild(&entries, 60);
    assert_eq!(season.legs.len(), 3);
    assert_eq!(season.legs[0].reached_at, Some(hour(28.8)));
    assert_eq!((season.legs[1].reached_at, season.legs[1].ended_by), (None, Some(EndedBy::Spray)));
    assert!(!noted(&season, "spray-before-mark", None));
    // After the plan a leg runs with no mark: never due, still shown.
    let third = &season.legs[2];
    assert_eq!((third.mark, third.bound, third.reached_at, third.expected_at), (None, None, None, None));
    assert!(third.progress > 0.0 && season.state == State::Growing);
}

/// The plan may turn the bound round, and the note follows it.
#[test]
fn a_bound_that_the_plan_sets() {
    let mut plan = two_sprays();
    plan.sprays[0].bound = model::plan::MarkBound::NotAfter;
    let entries = [start(hour(0.0)), spray("s1", hour(24.0), "ammonium-thiosulfate")];
    let season = season(&plan, &entries, &steady(15.0, 48), hour(48.0));
    assert!(!noted(&season, "spray-before-mark", None));
}

#[test]
fn partial_spray() {
    let part = with(spray("s1", hour(30.0), "ammonium-thiosulfate"), "share_of_block", 0.5);
    let season = mild(&[start(hour(0.0)), part], 40);
    assert_eq!((season.legs.len(), season.state), (1, State::Due));
    assert!(noted(&season, "spray-partial", Some("s1")));
}

#[test]
fn a_spray_that_rain_spoiled() {
    let spoiled = with(spray("s1", hour(30.0), "ammonium-thiosulfate"), "took", false);
    let season = mild(&[start(hour(0.0)), spoiled], 40);
    assert_eq!((season.legs.len(), season.state), (1, State::Due));
    assert!(noted(&season, "spray-spoiled", Some("s1")));
}

#[test]
fn two_sprays_in_one_night() {
    let entries = [
        start(hour(0.0)),
        spray("s1", hour(30.0), "ammonium-thiosulfate"),
        spray("s2", hour(33.0), "ammonium-thiosulfate"),
    ];
    let season = mild(&entries, 40);
    assert_eq!(season.legs.len(), 3);
    assert_eq!((season.legs[1].from, season.legs[1].ended_at), (hour(30.0), Some(hour(33.0))));
    assert!(noted(&season, "sprays-close", Some("s2")));
    assert!(noted(&season, "spray-other-material", Some("s2")), "lime sulfur was planned");
}

#[test]
fn spray_with_no_finish() {
    let mut draft = spray("s1", hour(30.0), "ammonium-thiosulfate");
    draft.as_object_mut().unwrap().remove("finished_at");
    let season = mild(&[start(hour(0.0)), draft], 40);
    assert_eq!((season.legs.len(), season.state), (1, State::Due));
    assert!(noted(&season, "spray-draft", Some("s1")));
}

/// Where the begin is absent the finish stands for both.
#[test]
fn a_spray_with_only_its_finish() {
    let mut late = spray("s1", hour(30.0), "ammonium-thiosulfate");
    late.as_object_mut().unwrap().remove("at");
    let season = mild(&[start(hour(0.0)), late], 40);
    assert_eq!(season.legs[1].from, hour(31.0));
}

/// A spray under way ends no leg until its finish has come; the season says so,
/// and when to look again.
#[test]
fn a_spray_whose_finish_lies_ahead() {
    let entries = [start(hour(0.0)), spray("s1", hour(40.0).plus(-10 * MINUTE), "ammonium-thiosulfate")];
    let now = mild(&entries, 40);
    assert!(noted(&now, "spray-under-way", Some("s1")) && now.legs.len() == 1);
    assert!(!noted(&now, "spray-draft", None), "it has a finish");
    let finish = hour(40.0).plus(50 * MINUTE);
    assert_eq!(now.look_again_at, Some(finish));
    let then = season(&two_sprays(), &entries, &steady(15.0, 40), finish);
    assert_eq!(then.legs.len(), 2);
}

/// The next leg runs from when the spray began; its finish is the late edge.
#[test]
fn the_finish_gives_the_late_edge() {
    let season = mild(&[start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")], 100);
    let leg = &season.legs[1];
    assert_eq!(leg.reached_at, Some(hour(78.0)));
    assert_eq!((leg.reached_earliest, leg.reached_latest), (Some(hour(78.0)), Some(hour(79.0))));
}

#[test]
fn a_material_that_the_plan_does_not_name() {
    let asks = |material: &str| mild(&[start(hour(0.0)), spray("s1", hour(30.0), material)], 40);
    for material in ["sulfur", "oil", "copper", "urea", "grandmother's brew", "lime-sulfur-oil"] {
        let season = asks(material);
        assert!(noted(&season, "spray-asks", Some("s1")), "{material}");
        assert_eq!((season.legs.len(), season.state), (1, State::Due), "{material}");
    }
    // Known for something else and not acting on flowers: no question.
    let season = asks("captan");
    assert!(!noted(&season, "spray-asks", None) && season.legs.len() == 1);
    // Once the person has said so, it ends the leg whatever was planned.
    let said = with(spray("s1", hour(30.0), "sulfur"), "thins", true);
    let season = mild(&[start(hour(0.0)), said], 40);
    assert_eq!(season.legs.len(), 2);
    assert!(noted(&season, "spray-other-material", Some("s1")));
    // And what the plan names does not, when the person says it was not to thin.
    let said = with(spray("s1", hour(30.0), "ammonium-thiosulfate"), "thins", false);
    let season = mild(&[start(hour(0.0)), said], 40);
    assert!(season.legs.len() == 1 && !noted(&season, "spray-asks", None));
}

#[test]
fn a_spray_before_the_start() {
    let entries = [spray("s1", hour(2.0), "ammonium-thiosulfate"), start(hour(5.0))];
    let season = mild(&entries, 40);
    assert_eq!((season.legs.len(), season.legs[0].from), (1, hour(5.0)));
    assert!(noted(&season, "spray-before-start", Some("s1")));
    // The same while the threshold is not reached at all.
    let season = mild(&[spray("s1", hour(2.0), "ammonium-thiosulfate")], 40);
    assert_eq!(season.state, State::Watching);
    assert!(noted(&season, "spray-before-start", Some("s1")));
}

#[test]
fn two_logged_starts() {
    let later = json!({"id": "start-0", "kind": "bloom-start", "at": hour(9.0)});
    let entries = [later, start(hour(3.0)), count("c1", hour(20.0), &[150, 150])];
    let season = mild(&entries, 40);
    let held = season.start.unwrap();
    assert_eq!((held.at, held.basis), (hour(3.0), Basis::Logged));
    assert_eq!((held.earliest, held.latest), (Some(hour(3.0)), Some(hour(3.0))));
    assert!(noted(&season, "start-again", Some("start-0")));
    assert!(noted(&season, "start-logged", Some("start-1")), "counts stand behind it");
}

// ---- the end

#[test]
fn bloom_end_closes_the_season() {
    let end = json!({"id": "end", "kind": "bloom-end", "at": hour(20.0)});
    let season = mild(&[start(hour(0.0)), end.clone(), spray("s1", hour(25.0), "ammonium-thiosulfate")], 40);
    let leg = &season.legs[0];
    assert_eq!(season.state, State::Done);
    assert_eq!(
        (leg.ended_at, leg.ended_by, leg.ended_by_entry.as_deref()),
        (Some(hour(20.0)), Some(EndedBy::BloomEnd), Some("end"))
    );
    assert!((leg.progress - 20.0 / 48.0).abs() < 1e-8, "growth counts up to the end");
    assert!(noted(&season, "spray-after-end", Some("s1")));
    let back = mild(&[start(hour(0.0)), end, withdrawal("w", hour(39.0), "end")], 40);
    assert_eq!((back.state, back.legs[0].ended_at), (State::Due, None));
}

#[test]
fn a_stand_down_stops_the_clock_and_a_later_decision_starts_it_again() {
    let decision = |id: &str, hours: f64, thin: bool| json!({"id": id, "kind": "decision", "at": hour(hours), "thin": thin, "reason": "frost"});
    let season = mild(&[start(hour(0.0)), decision("d1", 20.0, false)], 40);
    assert_eq!(season.state, State::StoodDown);
    assert_eq!(
        (season.legs[0].ended_at, season.legs[0].ended_by),
        (Some(hour(20.0)), Some(EndedBy::StandDown))
    );
    let before = mild(&[decision("d1", -20.0, false), start(hour(0.0))], 40);
    assert_eq!((before.state, before.legs.len()), (State::StoodDown, 0));
    let again = mild(&[start(hour(0.0)), decision("d1", 20.0, false), decision("d2", 25.0, true)], 40);
    assert_eq!((again.state, again.legs[0].ended_at), (State::Due, None));
}

fn aged(entries: &[Value], days: usize) -> Season {
    mild(entries, days * 24)
}

#[test]
fn a_leg_ends_by_age_after_21_days() {
    let entries = [start(hour(0.0))];
    let before = season(&two_sprays(), &entries, &steady(15.0, 24 * 21), begin().plus(21 * DAY - 1));
    assert_eq!(before.state, State::Overrun);
    assert_eq!(before.look_again_at, Some(begin().plus(21 * DAY)));
    let after = aged(&entries, 21);
    assert_eq!((after.state, after.legs[0].ended_by), (State::Done, Some(EndedBy::Age)));
    assert_eq!(after.legs[0].ended_at, Some(begin().plus(21 * DAY)));
    assert!(noted(&after, "closed-by-age", None));
    // A spray opens another leg, with 21 days of its own.
    let sprayed = aged(&[start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")], 22);
    assert_eq!(sprayed.state, State::Overrun);
}

#[test]
fn the_last_spray_withdrawn_reopens_done() {
    let mut entries = vec![start(hour(0.0)), spray("s1", hour(30.0), "ammonium-thiosulfate")];
    assert_eq!(aged(&entries, 23).state, State::Done);
    entries.push(withdrawal("w1", hour(23.0 * 24.0), "s1"));
    let season = aged(&entries, 23);
    assert_eq!((season.legs.len(), season.state), (1, State::Overrun));
    assert_eq!(season.legs[0].ended_at, None);
    // Not for ever: as many days from the withdrawal.
    assert_eq!(aged(&entries, 23 + 20).state, State::Overrun);
    assert_eq!(aged(&entries, 23 + 21).state, State::Done);
}

// ---- weather and calendar

#[test]
fn a_whole_leg_below_tmin() {
    for (curve, celsius) in [("reference", 3.9), ("cardinal", 6.2)] {
        let mut plan = two_sprays();
        plan.block.curve = crate::kit::curve(curve);
        let season = season(&plan, &[start(hour(0.0))], &steady(celsius, 240), hour(240.0));
        let leg = &season.legs[0];
        assert_eq!(
            (leg.progress, leg.progress_high, leg.reached_at, leg.expected_at),
            (0.0, 0.0, None, None)
        );
        assert_eq!(season.state, State::Growing);
        assert!(noted(&season, "curve-outside-range", None));
    }
}

/// Readings at one temperature from a moment on.
fn steady_from(from: &str, celsius: f64, hours: i64) -> Vec<Reading> {
    (0..=hours).map(|n| Reading::instant(at(from).plus(n * HOUR), celsius)).collect()
}

#[test]
fn a_southern_season_over_new_year() {
    let mut plan = two_sprays();
    plan.zone = chrono_tz::Pacific::Auckland;
    let began = at("2013-12-30T22:00:00+13:00");
    let readings = steady_from("2013-12-30T00:00:00Z", 15.0, 24 * 6);
    let entries = [start(began), spray("s1", began.plus(30 * HOUR), "ammonium-thiosulfate")];
    let season = season(&plan, &entries, &readings, readings.last().unwrap().at);
    assert_eq!(season.year, 2013, "the year of its start on the block's own clock");
    assert_eq!(season.legs[0].reached_at, Some(began.plus(28 * HOUR + 48 * MINUTE)));
    assert_eq!(season.legs[1].reached_at, Some(began.plus(78 * HOUR)));
    // Half past noon UTC on 31 December is New Year in Auckland already.
    let eve = crate::kit::season(
        &plan,
        &[start(at("2013-12-31T12:30:00Z"))],
        &readings,
        readings.last().unwrap().at,
    );
    assert_eq!(eve.year, 2014);
    plan.year = Some(2013);
    let eve = crate::kit::season(
        &plan,
        &[start(at("2013-12-31T12:30:00Z"))],
        &readings,
        readings.last().unwrap().at,
    );
    assert_eq!(eve.year, 2013, "a year that was agreed holds");
}

#[test]
fn the_29th_of_february() {
    let began = at("2012-02-28T12:00:00-05:00");
    let readings = steady_from("2012-02-28T00:00:00Z", 15.0, 24 * 5);
    let season = season(&two_sprays(), &[start(began)], &readings, readings.last().unwrap().at);
    assert_eq!(season.legs[0].reached_at, Some(at("2012-02-29T21:48:00Z")));
    assert!(model::time::Instant::parse("2013-02-29T12:00:00Z").is_err(), "2013 has none");
}
