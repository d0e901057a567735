//! Frost over a running leg: the hold, what lifts it, and when the clock starts
//! anew. Days at 15 °C grow half a style a day on the curve `reference`; a frost
//! lies between two readings at 15 °C, so that its own hours grow nothing to
//! speak of.

use model::season::{Season, State};
use model::series::Reading;
use model::time::{HOUR, Instant, MINUTE};
use serde_json::{Value, json};

use crate::kit::{count, damage, decision, hour, note_text, noted, ruled_plan, season, spray, start};

/// Readings every half hour at 15 °C, and at −2.2 °C for an hour from each of `frosts`.
fn nights(frosts: &[f64], hours: f64) -> Vec<Reading> {
    let steps = (hours * 2.0) as i64;
    let celsius = |n: i64| {
        let at = n as f64 / 2.0;
        if frosts.iter().any(|frost| (*frost..=frost + 1.0).contains(&at)) { -2.2 } else { 15.0 }
    };
    (0..=steps).map(|n| Reading::instant(hour(0.0).plus(n * 30 * MINUTE), celsius(n))).collect()
}

fn reckoned(entries: &[Value], frosts: &[f64], hours: f64) -> Season {
    season(&ruled_plan(&json!({})), entries, &nights(frosts, hours), hour(hours))
}

fn bloom() -> [Value; 3] {
    let buds = json!({"id": "b", "kind": "bud-count", "at": hour(0.0), "buds_per_tree": [180, 180]});
    [buds, count("c1", hour(1.0), &[30, 30]), count("c2", hour(13.0), &[120, 120])]
}

fn bloom_and(more: &[Value]) -> Vec<Value> {
    [&bloom()[..], more].concat()
}

/// Frost before the mark: held, with the due time still shown; and `due` after it.
#[test]
fn frost_before_the_mark_and_after() {
    let before = reckoned(&bloom(), &[28.0], 32.0);
    assert_eq!(before.state, State::Hold);
    let hold = before.hold.as_ref().unwrap();
    assert_eq!(hold.since, hour(28.5), "30 minutes at the line");
    assert!(hold.says.starts_with("Look at the flowers first"));
    assert!(before.legs[0].reached_at.is_none());
    let later = reckoned(&bloom(), &[28.0], 48.0);
    assert_eq!(later.state, State::Hold);
    assert!(later.legs[0].reached_at.is_some(), "the clock runs on under the hold");
    assert!(later.look_again_at.is_some() && noted(&later, "hold", None));
}

/// Frost between due and spray: held until the spray ends the leg, and no damage
/// count after the spray takes its leg back.
#[test]
fn a_spray_ends_the_hold() {
    let due = reckoned(&bloom(), &[], 50.0);
    assert_eq!(due.state, State::Due);
    assert_eq!(reckoned(&bloom(), &[51.0], 54.0).state, State::Hold);
    let sprayed = bloom_and(&[spray("s1", hour(55.0), "ammonium-thiosulfate")]);
    let season = reckoned(&sprayed, &[51.0], 60.0);
    assert_eq!((season.state, season.legs.len()), (State::Growing, 2));
    let counted = [&sprayed[..], &[damage("d", hour(58.0), (20, 200), (80, 800))]].concat();
    let season = reckoned(&counted, &[51.0], 60.0);
    assert_eq!((season.anew, season.legs.len(), season.legs[1].from), (None, 2, hour(55.0)));
}

#[test]
fn a_damage_count_lifts_the_hold() {
    let sound = damage("d", hour(42.0), (190, 200), (760, 800));
    let season = reckoned(&bloom_and(std::slice::from_ref(&sound)), &[28.0], 44.0);
    assert_eq!((season.state, season.anew), (State::Due, None));
    // One from before the frost does not.
    let before = reckoned(&bloom_and(&[damage("d", hour(27.0), (190, 200), (760, 800))]), &[28.0], 44.0);
    assert_eq!(before.state, State::Hold);
    assert_eq!(&*before.verdict.row, "frost-since-count");
}

#[test]
fn a_decision_lifts_the_hold_with_its_reason_alone() {
    let season = |reason: Option<&str>, hours: f64| {
        reckoned(&bloom_and(&[decision("x", hour(hours), true, reason)]), &[28.0], 44.0)
    };
    assert_eq!(season(Some("tops are sound"), 40.0).state, State::Due);
    let without = season(None, 40.0);
    assert_eq!(without.state, State::Hold);
    assert!(note_text(&without, "hold").contains("without a reason"));
    assert_eq!(season(Some("tops are sound"), 20.0).state, State::Hold, "from before the frost");
}

/// A tenth alive of the some 460 that were open is fewer than the 100 wanted: leg 1 is
/// taken back, then starts where live flowers reach 100 again.
#[test]
fn too_few_left_starts_leg_1_anew() {
    let frosted = bloom_and(&[damage("d", hour(42.0), (20, 200), (80, 800))]);
    let season = reckoned(&frosted, &[28.0], 44.0);
    assert_eq!((season.state, season.legs.len(), season.start), (State::Watching, 0, None));
    let anew = season.anew.unwrap();
    assert_eq!(anew.frost_at, hour(28.5));
    assert!((12.0..90.0).contains(&anew.left_open), "a tenth of 120 to 900: {}", anew.left_open);
    assert!(noted(&season, "start-anew", None));
    assert!(season.count_again_at.unwrap() >= hour(44.0));
    // Still below, then reached.
    let below = [&frosted[..], &[count("c3", hour(50.0), &[80, 80])]].concat();
    assert_eq!(reckoned(&below, &[28.0], 51.0).state, State::Watching);
    let reached = [&below[..], &[count("c4", hour(62.0), &[130, 130])]].concat();
    let season = reckoned(&reached, &[28.0], 64.0);
    let start = season.start.unwrap();
    assert!(hour(50.0) < start.at && start.at < hour(62.0), "{start:?}");
    assert_eq!((season.state, season.legs.len(), season.legs[0].from), (State::Growing, 1, start.at));
}

/// Live counts after the frost do not lower what is taken to have been open at it.
#[test]
fn counts_after_the_frost_say_nothing_of_what_was_open_at_it() {
    let frosted = bloom_and(&[damage("d", hour(42.0), (20, 200), (80, 800))]);
    let left = |entries: &[Value]| reckoned(entries, &[28.0], 51.0).anew.unwrap().left_open;
    let counted = [&frosted[..], &[count("c3", hour(50.0), &[80, 80])]].concat();
    assert_eq!(left(&counted), left(&frosted));
}

/// Without a count of buds nothing is known of all flowers of the tree; the start is
/// taken back all the same.
#[test]
fn leg_1_starts_anew_without_a_bud_count() {
    let mut entry = damage("d", hour(42.0), (2, 200), (8, 800));
    entry.as_object_mut().unwrap().remove("clusters_per_tree");
    let entries = [&bloom()[1..], &[entry]].concat();
    let season = reckoned(&entries, &[14.0], 44.0);
    assert_eq!(season.state, State::Watching);
    assert!(season.anew.unwrap().left_open < 100.0);
}

#[test]
fn a_frost_after_the_first_spray_restarts_nothing() {
    let entries = bloom_and(&[
        spray("s1", hour(44.0), "ammonium-thiosulfate"),
        damage("d", hour(66.0), (20, 200), (80, 800)),
    ]);
    let season = reckoned(&entries, &[52.0], 68.0);
    assert_eq!((season.anew, season.legs.len(), season.legs[1].from), (None, 2, hour(44.0)));
    assert_eq!(reckoned(&entries[..4], &[52.0], 60.0).state, State::Hold, "but the second leg is held");
}

/// Each frost is read with its own count: nine in ten lived through the first, a
/// tenth through the second.
#[test]
fn two_frosts_with_a_count_after_each() {
    let first = damage("d1", hour(42.0), (180, 200), (720, 800));
    let second = damage("d2", hour(66.0), (20, 200), (80, 800));
    let one = reckoned(&bloom_and(std::slice::from_ref(&first)), &[28.0], 50.0);
    assert_eq!((one.anew, one.legs.len()), (None, 1));
    let held = reckoned(&bloom_and(std::slice::from_ref(&first)), &[28.0, 52.0], 60.0);
    assert_eq!((held.state, held.hold.unwrap().since), (State::Hold, hour(52.5)));
    let both = reckoned(&bloom_and(&[first, second]), &[28.0, 52.0], 68.0);
    assert_eq!(both.anew.unwrap().frost_at, hour(52.5), "the first frost took nothing back");
    assert_eq!(both.frost.nights.iter().filter(|night| night.hit_at.is_some()).count(), 2);
}

/// A corrected reading that takes the frost away lifts the hold.
#[test]
fn a_corrected_reading_lifts_the_hold() {
    let mut readings = nights(&[28.0], 44.0);
    let plan = ruled_plan(&json!({}));
    let state = |readings: &[Reading]| season(&plan, &bloom(), readings, hour(44.0)).state;
    assert_eq!(state(&readings), State::Hold);
    for reading in readings.iter_mut().filter(|reading| reading.celsius < 0.0) {
        reading.celsius = 2.2;
    }
    assert_eq!(state(&readings), State::Due);
}

/// 28 °F is −2.22 °C, a feed of tenths says −2.2 (published line): 30 minutes count,
/// 29 do not; an hourly mean at the line counts as its hour.
#[test]
fn at_the_line_for_half_an_hour() {
    let plan = ruled_plan(&json!({}));
    let dip = |minutes: i64, celsius: f64| -> Vec<Reading> {
        let edge = |at: Instant, celsius: f64| Reading::instant(at, celsius);
        let cold = hour(28.0);
        let mut readings: Vec<Reading> = (0..=28).map(|n| edge(hour(f64::from(n)).plus(-60), 15.0)).collect();
        readings.extend([edge(cold, celsius), edge(cold.plus(minutes * MINUTE), celsius)]);
        readings.push(edge(cold.plus(minutes * MINUTE + 1), 15.0));
        readings.extend((29..=40).map(|n| edge(hour(f64::from(n)), 15.0)));
        readings
    };
    let state = |readings: &[Reading]| season(&plan, &bloom(), readings, hour(40.0)).state;
    assert_eq!(state(&dip(30, -2.2)), State::Hold);
    assert_eq!(state(&dip(29, -2.2)), State::Growing);
    assert_eq!(state(&dip(50, -2.1)), State::Growing);
    let means = |celsius: f64| -> Vec<Reading> {
        let celsius = |n: i64| if n == 29 { celsius } else { 15.0 };
        (1..=40).map(|n| Reading::mean_ending(hour(n as f64), HOUR, celsius(n))).collect()
    };
    assert_eq!((state(&means(-2.2)), state(&means(-2.1))), (State::Hold, State::Growing));
}

/// Nobody logged a stage, or none since tight cluster (27 °F): flowers that were
/// counted open are open flowers (28 °F).
#[test]
fn open_flowers_freeze_whatever_stage_was_logged() {
    let tight = json!({"id": "t", "kind": "stage", "at": hour(0.0), "stage": "tight-cluster"});
    assert_eq!(reckoned(&bloom(), &[28.0], 32.0).state, State::Hold);
    assert_eq!(reckoned(&bloom_and(std::slice::from_ref(&tight)), &[28.0], 32.0).state, State::Hold);
    // Before any flower is open the stage's own line holds: −2.2 °C is no frost.
    let buds = reckoned(&[tight, count("c1", hour(20.0), &[0, 0])], &[28.0], 32.0);
    assert!(buds.frost.nights.iter().all(|night| night.hit_at.is_none()), "{:?}", buds.frost.nights);
}

/// Browning shows some twelve hours after the coldest moment (common practice).
#[test]
fn a_count_within_twelve_hours_is_early() {
    let season = |hours: f64| {
        let entries = bloom_and(&[damage("d", hour(hours), (190, 200), (760, 800))]);
        reckoned(&entries, &[28.0], 44.0)
    };
    assert!(noted(&season(39.9), "damage-early", None));
    assert!(!noted(&season(40.0), "damage-early", None));
    assert!(noted(&season(40.0), "damage-after-start", None));
    let before = bloom_and(&[damage("d", hour(0.5), (190, 200), (760, 800))]);
    assert!(!noted(&reckoned(&before, &[], 44.0), "damage-after-start", None));
}

/// A frost while no leg runs holds nothing; the table asks for a count.
#[test]
fn frost_before_the_start_holds_nothing() {
    let season = reckoned(&[bloom()[1].clone(), start(hour(30.0))], &[20.0], 40.0);
    assert_eq!((season.state, season.hold), (State::Growing, None));
    assert_eq!(&*season.verdict.row, "frost-since-count");
}
