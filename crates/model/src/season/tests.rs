use std::sync::Arc;

use serde_json::{Value, json};

use super::*;
use crate::catalogue::Catalogue;
use crate::field_log::Entry;
use crate::growth::Course;
use crate::legs::EndedBy;
use crate::series::{Reading, Series};

const BEGIN: i64 = 1_367_107_200;

fn at(hours: i64) -> Instant {
    Instant(BEGIN + hours * HOUR)
}

fn plan() -> Plan {
    let curves = json!({"steady": {
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[0, 0.5], [40, 0.5]],
        "source": "for tests", "status": "constructed", "end_point": "style-base", "cultivars": ["Gala"],
    }});
    let materials = json!({"lime-sulfur": {"name": "Lime sulfur", "role": "thinner"}});
    let catalogue = Catalogue::read(&curves, &materials).unwrap();
    let block = json!({"name": "Far Field", "cultivar": "Gala", "target_fruit_per_tree": 100});
    let sprays = json!({"sprays": [{"material": "lime-sulfur", "mark": 0.5}]});
    Plan::assemble(None, chrono_tz::Europe::Berlin, &block, Some(&sprays), &catalogue).unwrap()
}

fn season(plan: &Plan, entries: &[Value], now: Instant) -> Season {
    let readings = (0..=24 * 60).map(|n| Reading::instant(at(n), 15.0)).collect();
    let course = Course::new(Series::join(&[readings], None, now));
    let growth = Growth::new(Arc::new(course), plan.block.curve.clone());
    let entries = entries.iter().map(|entry| Entry::read(entry, None).unwrap()).collect();
    reckon(plan, &FieldLog::in_order(entries).unwrap(), &growth, now)
}

fn codes(season: &Season) -> Vec<&str> {
    season.notes.iter().map(|note| note.code.as_ref()).collect()
}

fn start() -> Value {
    json!({"id": "s", "kind": "bloom-start", "at": at(0)})
}

/// A curve made for the cultivar and measured to the style base needs no
/// caution of its own.
#[test]
fn a_curve_of_the_cultivar_is_taken_and_not_cautioned() {
    let plan = plan();
    assert_eq!(plan.block.curve.id, "steady");
    let season = season(&plan, &[start()], at(10));
    assert!(!codes(&season).iter().any(|code| code.starts_with("curve-")), "{:?}", season.notes);
    assert!(codes(&season).contains(&"materials-unconfirmed"));
}

/// A corrected entry gives a reopened leg as many days again, however often.
#[test]
fn each_correction_reopens_a_leg_closed_by_age() {
    let mut plan = plan();
    plan.settings.age_days = 2;
    let note = json!({"id": "n", "kind": "note", "at": at(1), "text": "mown"});
    let corrected = |id: &str, hours: i64| {
        json!({"id": id, "kind": "correction", "at": at(hours), "of": "n",
            "entry": {"kind": "note", "at": at(1), "text": "mown again"}})
    };
    let ended = |entries: &[Value], hours: i64| season(&plan, entries, at(hours)).legs[0].ended_at;
    let mut entries = vec![start(), note];
    assert_eq!(ended(&entries, 47), None);
    assert_eq!(ended(&entries, 300), Some(at(48)));
    // While the leg still ran a correction gives it no more time.
    entries.push(corrected("c0", 47));
    assert_eq!(ended(&entries, 300), Some(at(48)));
    entries.push(corrected("c1", 60));
    assert_eq!(ended(&entries, 59), Some(at(48)));
    assert_eq!(ended(&entries, 107), None);
    assert_eq!(ended(&entries, 300), Some(at(108)));
    entries.push(corrected("c2", 200));
    assert_eq!(ended(&entries, 300), Some(at(248)));
}

/// Whichever of bloom end and stand-down came first ends the leg.
#[test]
fn the_first_of_several_ends() {
    let end = |hours: i64| json!({"id": "e", "kind": "bloom-end", "at": at(hours)});
    let down = |hours: i64| json!({"id": "d", "kind": "decision", "thin": false, "at": at(hours)});
    let ended = |entries: &[Value]| {
        let leg = season(&plan(), entries, at(40)).legs.remove(0);
        (leg.ended_at, leg.ended_by)
    };
    assert_eq!(ended(&[start(), end(10), down(20)]), (Some(at(10)), Some(EndedBy::BloomEnd)));
    assert_eq!(ended(&[start(), end(20), down(10)]), (Some(at(10)), Some(EndedBy::StandDown)));
    // An end before the start leaves a leg without length.
    assert_eq!(ended(&[start(), end(-5)]), (Some(at(0)), Some(EndedBy::BloomEnd)));
}

/// Style lengths of this season stand before the block's own, whatever entry
/// they came with; a curve in mm is measured by their mean.
#[test]
fn the_style_that_a_curve_in_mm_is_measured_by() {
    let curve = json!({"form": "nodes", "unit": "mm-per-day", "nodes": [[0, 4], [40, 4]],
        "source": "for tests", "status": "constructed"});
    let block = json!({"name": "Far Field", "cultivar": "Gala", "curve": curve, "style_lengths_mm": [7, 9],
        "target_fruit_per_tree": 100});
    let sprays = json!({"sprays": [{"material": "lime-sulfur", "mark": 0.5}]});
    let plan = Plan::assemble(None, chrono_tz::Europe::Berlin, &block, Some(&sprays), &Catalogue::default())
        .unwrap();
    assert_eq!(
        season(&plan, &[start()], at(30)).legs[0].reached_at,
        Some(at(24)),
        "half of 8 mm at 4 mm a day"
    );
    let measured =
        |id: &str, mm: f64| json!({"id": id, "kind": "style-length", "at": at(1), "lengths_mm": [mm]});
    let longer = season(&plan, &[start(), measured("a", 11.0), measured("b", 13.0)], at(40));
    assert_eq!(longer.legs[0].reached_at, Some(at(36)), "half of 12 mm");
    assert!(!codes(&longer).contains(&"style-length-not-used"));
}

/// The clock starts at so many open flowers as the block's start factor says.
#[test]
fn the_start_factor_moves_the_threshold() {
    let mut plan = plan();
    plan.block.start_factor = 0.5;
    assert_eq!(plan.threshold(), 50.0);
    let counts = [
        json!({"id": "a", "kind": "open-count", "at": at(0), "open_per_tree": [25, 25]}),
        json!({"id": "b", "kind": "open-count", "at": at(24), "open_per_tree": [100, 100]}),
    ];
    let start = season(&plan, &counts, at(24)).start.unwrap();
    assert!(start.at.since(at(12)).abs() <= 1, "{start:?}");
}

/// Without a start the year is that of the last entry, else that of now.
#[test]
fn the_year_of_a_season_without_a_start() {
    let plan = plan();
    assert_eq!(season(&plan, &[], at(0)).year, 2013);
    let old = json!({"id": "n", "kind": "note", "at": "2011-12-31T23:30:00Z", "text": "snow"});
    assert_eq!(season(&plan, &[old], at(0)).year, 2012, "New Year has come in Berlin");
}

/// Words for people and programs do not change by accident.
#[test]
fn words_of_states() {
    let states = [State::Watching, State::Growing, State::Due, State::Overrun, State::Done, State::StoodDown];
    for state in states {
        assert_eq!(serde_json::to_value(state).unwrap(), json!(state.word()));
    }
}

/// A change of the plan holds for legs not yet sprayed: what was due then stays
/// what was due.
#[test]
fn a_changed_plan_leaves_sprayed_legs_as_they_were() {
    let version = |mark: f64| json!({"sprays": [{"material": "lime-sulfur", "mark": mark}, {"material": "lime-sulfur", "mark": mark}]});
    let spray = |id: &str, hours: i64| json!({"id": id, "kind": "spray", "material": "lime-sulfur", "at": at(hours), "finished_at": at(hours + 1)});
    let (first, second) = (version(0.5), version(0.75));
    let changed = |set_at: i64| {
        let versioned = plan().with_versions([(at(-24), &first), (at(set_at), &second)]);
        Plan { sprays: versioned.versions[1].sprays.clone(), ..versioned }
    };
    let marks = |plan: &Plan, entries: &[Value]| {
        season(plan, entries, at(60)).legs.iter().map(|leg| leg.mark).collect::<Vec<_>>()
    };
    let after = changed(40);
    assert_eq!(marks(&after, &[start()]), [Some(0.75)], "the running leg has the new mark");
    let one = [start(), spray("s-1", 30)];
    assert_eq!(marks(&after, &one), [Some(0.5), Some(0.75)]);
    let two = [start(), spray("s-1", 30), spray("s-2", 50)];
    assert_eq!(marks(&after, &two), [Some(0.5), Some(0.75), None]);
    assert_eq!(marks(&changed(20), &one), [Some(0.75), Some(0.75)], "changed before the spray");
    // A plan that was written down after the sprays has nothing before it.
    let late = Plan { versions: Vec::new(), ..plan() }.with_versions([(at(55), &first), (at(58), &second)]);
    assert_eq!(marks(&late, &one)[0], Some(0.5));
}

/// What a material's user keeps of its label is held against the sprays; both sides
/// of each line.
#[test]
fn sprays_are_held_against_what_is_kept_of_their_material() {
    let mut plan = plan();
    let mut materials = plan.materials.to_vec();
    materials[0].season_maximum = Some(2);
    materials[0].minimum_interval_hours = Some(48.0);
    plan.materials = Arc::new(materials);
    let spray = |id: &str, hours: i64| json!({"id": id, "kind": "spray", "material": "lime-sulfur", "at": at(hours), "finished_at": at(hours)});
    let found = |hours: &[i64]| {
        let mut entries = vec![start()];
        entries.extend(hours.iter().enumerate().map(|(n, hours)| spray(&format!("s{n}"), *hours)));
        let season = season(&plan, &entries, at(200));
        let limits = ["season-maximum", "minimum-interval"];
        let found = season.notes.iter().filter(|note| limits.contains(&note.code.as_ref()));
        found.map(|note| format!("{} {}", note.code, note.entry.as_deref().unwrap())).collect::<Vec<_>>()
    };
    assert!(found(&[10, 58]).is_empty());
    assert_eq!(found(&[10, 57]), ["minimum-interval s1"]);
    assert_eq!(found(&[10, 60, 110]), ["season-maximum s2"]);
}

/// Every reader sees that the block's air is not its site's, and who says so.
#[test]
fn an_offset_is_told_in_words() {
    let text = |day_c: f64, night_c: f64| {
        let mut plan = plan();
        let (note, author) = ("logger in row 12.".to_owned(), "Ines Kolbe".to_owned());
        plan.block.offset = Some(crate::block::Offset { day_c, night_c, note, author });
        let season = season(&plan, &[start()], at(10));
        season.notes.into_iter().find(|note| note.code == "offset").unwrap().text
    };
    for (day_c, night_c, how) in [
        (-0.5, -1.8, "0.5 °C colder by day and 1.8 °C colder by night than its site"),
        (1.0, -2.0, "1 °C warmer by day and 2 °C colder by night than its site"),
        (-1.5, -1.5, "1.5 °C colder than its site by day and by night"),
        (0.0, -1.8, "as warm as its site by day and 1.8 °C colder by night"),
        (0.7, 0.0, "0.7 °C warmer than its site by day and as warm by night"),
        (0.0, -0.0, "as warm as its site by day and by night"),
    ] {
        let whole = format!("The block is taken to be {how} (Ines Kolbe: logger in row 12).");
        assert_eq!(text(day_c, night_c), whole);
    }
    assert!(!codes(&season(&plan(), &[start()], at(10))).contains(&"offset"));
}

/// A start lag that stands beside a fitted rate goes by before anything grows: at half
/// a style a day the mark of 0.5 comes a day after it.
#[test]
fn a_lag_beside_the_rate_delays_each_leg() {
    let curve = json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[0, 0.5], [40, 0.5]],
        "source": "for tests", "status": "measured", "lag_hours": 6});
    let block =
        json!({"name": "Far Field", "cultivar": "Gala", "curve": curve, "target_fruit_per_tree": 100});
    let sprays = json!({"sprays": [{"material": "lime-sulfur", "mark": 0.5}]});
    let plan = Plan::assemble(None, chrono_tz::Europe::Berlin, &block, Some(&sprays), &Catalogue::default())
        .unwrap();
    let leg = season(&plan, &[start()], at(40)).legs.remove(0);
    assert_eq!(leg.reached_at, Some(at(30)));
    assert_eq!(season(&plan, &[start()], at(6)).legs[0].progress, 0.0);
    assert!((season(&plan, &[start()], at(18)).legs[0].progress - 0.25).abs() < 1e-9);
}

/// Clusters on spurs and on one-year wood add up; several trees of one wood give a
/// mean.
#[test]
fn clusters_of_two_woods_add_up() {
    let tally = |id: &str, wood: &str, clusters: [i64; 2]| {
        json!({"id": id, "kind": "damage-count", "at": at(1), "kings_alive": 10, "kings_dead": 0,
            "laterals_alive": 40, "laterals_dead": 0, "wood": wood, "clusters_per_tree": clusters})
    };
    let entries = [tally("a", "spur", [110, 130]), tally("b", "one-year", [50, 70])];
    let season = season(&plan(), &entries, at(10));
    let live = season.damage.unwrap().live.unwrap();
    assert_eq!((live.clusters_per_tree, live.flowers.unwrap().point), (180.0, 900.0));
}

/// A draft saves with as little as its begin, resets nothing and says what it lacks; a
/// finished spray names its material.
#[test]
fn a_draft_saves_without_its_material() {
    let draft = json!({"id": "d", "kind": "spray", "at": at(5)});
    let season = season(&plan(), &[start(), draft.clone()], at(10));
    assert_eq!(season.legs.len(), 1);
    let mut finished = draft;
    finished["finished_at"] = json!(at(6));
    let faults = Entry::read(&finished, None).unwrap_err();
    assert_eq!(faults.0[0].pointer, "/material");
}
