//! Flowers whose tubes came through. At a steady 15 °C a style takes two days on the
//! curve `reference`.

use model::bloom::Flowers;
use model::season::Season;
use model::series::Reading;
use proptest::collection::vec;
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::kit::{count, damage, hour, ruled_plan, season, spray, start, steady};

const NONE: Flowers = Flowers { low: 0.0, likely: Some(0.0), high: Some(0.0) };

fn buds() -> Value {
    json!({"id": "b", "kind": "bud-count", "at": hour(0.0), "buds_per_tree": [180, 180]})
}

/// 900 flowers; 30 open at 2 h, 120 at 14 h, 300 at 38 h, on equal trees.
fn bloom() -> Vec<Value> {
    let counts = [(2.0, 30), (14.0, 120), (38.0, 300)];
    let counts = counts.iter().map(|(hours, open)| count(&format!("c{hours}"), hour(*hours), &[*open; 4]));
    std::iter::once(buds()).chain(counts).collect()
}

fn mild(entries: &[Value], hours: usize) -> Season {
    season(&ruled_plan(&json!({})), entries, &steady(15.0, hours), hour(hours as f64))
}

fn through(entries: &[Value], hours: usize) -> Flowers {
    mild(entries, hours).flowers_through.expect("a leg runs")
}

/// The readings begin with no flower open: until a style has grown, none is through.
#[test]
fn none_before_the_first_style_is_grown() {
    let mut entries = bloom();
    entries[1] = count("c2", hour(0.0), &[0; 4]);
    assert_eq!(through(&entries, 47), NONE);
    // A flower that opened before the readings may have grown at the greatest rate.
    assert_eq!(through(&bloom(), 40).likely, Some(0.0));
    assert!(through(&bloom(), 40).high > Some(0.0));
}

/// Two days after a count as many are through as were open at it.
#[test]
fn through_follows_the_counts_a_style_later() {
    for (hours, open) in [(50, 30.0), (62, 120.0), (86, 300.0)] {
        let Flowers { low, likely, high } = through(&bloom(), hours);
        assert!((likely.unwrap() - open).abs() < 0.5, "{hours} h: {likely:?}");
        assert!(low <= open + 0.5 && high.unwrap() >= open - 0.5, "{low} {high:?}");
    }
    // On before the clock's own mark of 1.00, which only the flowers of the start reach.
    assert!(through(&bloom(), 55).likely.unwrap() < 100.0);
}

/// The interval lies between the counts around it, and holds what is likely.
#[test]
fn the_interval_is_bounded_by_the_counts() {
    let mut entries = bloom();
    entries[1] = count("c2", hour(2.0), &[20, 40, 25, 35]);
    entries[2] = count("c14", hour(14.0), &[90, 150, 110, 130]);
    let Flowers { low, likely, high } = through(&entries, 56);
    let (likely, high) = (likely.unwrap(), high.unwrap());
    assert!(low < likely && likely < high);
    assert!(20.0 < low && high < 150.0, "{low} to {high}");
    // One tree tells no error: anything between the two counts.
    entries[1] = count("c2", hour(2.0), &[30]);
    entries[2] = count("c14", hour(14.0), &[120]);
    let Flowers { low, high, .. } = through(&entries, 56);
    assert!((low - 30.0).abs() < 1e-9 && (high.unwrap() - 120.0).abs() < 1e-9);
}

/// The first leg keeps what came through before its spray; the second counts only
/// flowers that opened after it.
#[test]
fn a_second_leg_counts_what_opened_since() {
    let sprayed = [&bloom()[..], &[spray("s1", hour(56.0), "ammonium-thiosulfate")]].concat();
    let season = mild(&sprayed, 100);
    let first = season.legs[0].flowers_through.unwrap();
    assert_eq!(Some(first), through(&bloom(), 56).into());
    assert_eq!(season.legs[1].flowers_through, Some(NONE), "nothing that opened since has had two days");
    // Half a day later those of the first half day after the spray are through.
    let later = mild(&sprayed, 116);
    let second = later.legs[1].flowers_through.unwrap().likely.unwrap();
    assert!(second > 0.0);
    let all = later.flowers_through.unwrap().likely.unwrap();
    assert!((all - first.likely.unwrap() - second).abs() < 1e-9);
    let unsprayed = through(&bloom(), 116).likely.unwrap();
    assert!(all < unsprayed, "the spray stopped what was on its way: {all} of {unsprayed}");
}

/// Without a count past it nothing tells how many more opened, when the flowers of the
/// tree are not known: at least as many as counted.
#[test]
fn flowers_of_the_tree_not_known() {
    let Flowers { low, likely, high } = through(&bloom()[1..], 100);
    assert!((low - 300.0).abs() < 1e-6);
    assert_eq!((likely, high), (None, None));
    let logged = mild(&[start(hour(2.0))], 60).flowers_through.unwrap();
    assert!((logged.low - 100.0).abs() < 1e-9, "a start logged is as many as are wanted");
}

/// A later count that is lower takes nothing back: flowers do not close.
#[test]
fn falling_counts_take_nothing_back() {
    let mut entries = bloom();
    entries.push(count("c44", hour(44.0), &[280; 4]));
    let (before, after) = (through(&entries, 86).likely.unwrap(), through(&entries, 92).likely.unwrap());
    assert!((before - 290.0).abs() < 0.5 && after >= before, "{before} {after}");
}

/// What froze comes through no more: half of each sort alive, half as many.
#[test]
fn frost_takes_flowers_that_were_on_their_way() {
    let cold = |n: i64| if (50..=51).contains(&n) { -2.2 } else { 15.0 };
    let readings: Vec<Reading> = crate::kit::hourly((0..=90).map(cold));
    let through = |more: &[Value]| {
        let entries = [&bloom()[..], more].concat();
        season(&ruled_plan(&json!({})), &entries, &readings, hour(90.0))
            .flowers_through
            .unwrap()
            .likely
            .unwrap()
    };
    let (all, half) = (through(&[]), through(&[damage("d", hour(64.0), (100, 200), (400, 800))]));
    assert!(half < 0.7 * all && half > 0.3 * all, "{half} of {all}");
}

/// What is said of a mark that passed goes as far as the readings do, and says so.
#[test]
fn how_long_ago_the_mark_was_is_told_by_the_last_reading() {
    let plan = ruled_plan(&json!({}));
    let season = season(&plan, &[start(hour(0.0))], &steady(15.0, 40), hour(44.0));
    let leg = season.running().unwrap();
    let (reached, as_of) = (leg.reached_at.unwrap(), season.as_of.unwrap());
    let first = model::through::what_now(&season, &plan).remove(0);
    assert_eq!(
        first,
        format!(
            "Leg 1 reached its mark of {:.2} {}, {} hours before the last reading, {}; by then it stood at {:.2} of \
             the style.",
            leg.mark.unwrap(),
            reached.spoken(plan.zone),
            as_of.since(reached) / 3_600,
            as_of.spoken(plan.zone),
            leg.progress_low
        )
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// As readings go on without a spray, no flower that came through goes back, none
    /// comes through that the tree does not have, and the interval holds together.
    #[test]
    fn through_never_falls(
        trees in vec(vec(0_i64..400, 1..5), 1..5),
        celsius in vec(-1.0..32.0_f64, 120),
        known in any::<bool>(),
    ) {
        let counts = trees.iter().zip(0..).map(|(open, n)| {
            count(&format!("c{n}"), hour(f64::from(n) * 7.0), open)
        });
        // A start that is logged runs the clock whatever the counts say.
        let entries: Vec<Value> =
            counts.chain([start(hour(1.0))]).chain(known.then(buds)).collect();
        let most = if known && trees.iter().flatten().all(|open| *open < 900) { 900.0 } else { f64::INFINITY };
        let (mut low, mut likely, mut high) = (0.0, 0.0, 0.0);
        for hours in (30..120).step_by(6) {
            let readings = crate::kit::hourly(celsius[..=hours].iter().copied());
            let season = season(&ruled_plan(&json!({})), &entries, &readings, hour(hours as f64));
            let now = season.flowers_through.unwrap();
            prop_assert!(now.low >= low - 1e-6, "{now:?} after {low}");
            prop_assert!(now.low <= most + 1e-6);
            if let Some(some) = now.likely {
                prop_assert!(some >= likely - 1e-6 && some >= now.low - 1e-6 && some <= most + 1e-6, "{now:?}");
                likely = some;
            }
            if let Some(some) = now.high {
                prop_assert!(some >= high - 1e-6 && some >= now.low - 1e-6 && some <= most + 1e-6, "{now:?}");
                prop_assert!(now.likely.is_none_or(|likely| likely <= some + 1e-6));
                high = some;
            }
            low = now.low;
        }
    }
}
