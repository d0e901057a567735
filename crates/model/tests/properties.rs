//! What holds for any readings and any log.

use std::sync::Arc;

use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Bound, Growth};
use model::plan::Plan;
use model::season::{self, Season};
use model::series::{Flag, Law, Quality, Reading, Series};
use model::time::{DAY, HOUR, Instant, MINUTE};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select, subsequence};
use serde_json::{Value, json};

use crate::kit::{self, begin, hour};

// ---- readings and logs of any kind

/// Readings over some days at a cadence of their own, instants or means, with
/// holes, failed ones and steps.
fn readings() -> impl Strategy<Value = Vec<Reading>> {
    let one = (1_i64..=150, -5.0..45.0_f64, 0_u8..20);
    (vec(one, 0..120), prop::bool::ANY).prop_map(|(steps, means)| {
        let mut at = begin();
        steps
            .into_iter()
            .map(|(minutes, celsius, odd)| {
                // One in twenty comes after a hole of many hours.
                at = at.plus(minutes * MINUTE * if odd == 0 { 12 } else { 1 });
                let span = if means { minutes.min(60) * MINUTE } else { 0 };
                let flag = if odd == 1 { Flag::Fail } else { Flag::Pass };
                Reading { at, span, celsius, flag }
            })
            .collect()
    })
}

fn any_curve() -> impl Strategy<Value = Arc<Curve>> {
    select(kit::catalogue().curves)
}

fn moment() -> impl Strategy<Value = Instant> {
    (0..10 * DAY).prop_map(|seconds| begin().plus(seconds))
}

/// Moments of which several often are the same.
fn moment_of_the_day() -> impl Strategy<Value = Instant> {
    prop_oneof![moment(), (0..20_i64).prop_map(|half_days| begin().plus(half_days * 12 * HOUR))]
}

/// An entry that stands by itself; ids and times are drawn apart, so that no
/// order follows from another.
fn observed() -> impl Strategy<Value = Value> {
    let counts = vec(0_i64..300, 1..6).prop_map(|open| json!({"kind": "open-count", "open_per_tree": open}));
    const MATERIALS: [&str; 5] = ["ammonium-thiosulfate", "lime-sulfur", "sulfur", "captan", "unheard-of"];
    let spray =
        (select(&MATERIALS[..]), prop::option::of(0..4 * HOUR), prop::option::of(any::<bool>()), 0..6_u8);
    let spray = spray.prop_map(|(material, took_s, thins, odd)| {
        json!({
            "kind": "spray", "material": material, "thins": thins, "took": odd != 0,
            "share_of_block": if odd == 1 { 0.4 } else { 1.0 },
            "finished_at": took_s,
        })
    });
    let damage =
        (0_i64..60, 1_i64..60, prop::option::of(0_i64..200), prop::option::of(vec(100_i64..250, 1..3)));
    let damage = damage.prop_map(|(alive, dead, laterals, clusters)| {
        json!({
            "kind": "damage-count", "kings_alive": alive, "kings_dead": dead, "laterals_alive": laterals,
            "laterals_dead": laterals.map(|alive| 200 - alive), "clusters_per_tree": clusters,
        })
    });
    let walk =
        (vec(0_i64..300, 1..6), any::<bool>(), select(&["spur", "one-year"][..]), select(&["on", "off"][..]));
    let walk = walk.prop_map(|(open, live_only, wood, class)| {
        json!({"kind": "open-count", "open_per_tree": open, "live_only": live_only, "wood": wood, "tree_class": class})
    });
    let stage = (50_i64..70).prop_map(|bbch| json!({"kind": "stage", "bbch": bbch}));
    let set = (vec(0_i64..300, 1..4), select(&["treated", "unsprayed"][..]));
    let set =
        set.prop_map(|(fruit, group)| json!({"kind": "set-count", "fruit_per_tree": fruit, "group": group}));
    prop_oneof![
        2 => damage,
        2 => walk,
        1 => stage,
        1 => set,
        5 => counts,
        5 => spray,
        1 => vec(60_i64..200, 1..4).prop_map(|buds| json!({"kind": "bud-count", "buds_per_tree": buds})),
        1 => Just(json!({"kind": "bloom-start"})),
        1 => Just(json!({"kind": "bloom-end"})),
        1 => any::<bool>().prop_map(|thin| json!({"kind": "decision", "thin": thin})),
        1 => vec(6.0..12.0_f64, 1..4).prop_map(|mm| json!({"kind": "style-length", "lengths_mm": mm})),
        1 => Just(json!({"kind": "note", "text": "mown"})),
    ]
}

/// Gives what was observed its id and time; a spray's finish is drawn as
/// seconds after its begin.
fn placed((mut document, at): (Value, Instant), id: String) -> Value {
    if let Some(seconds) = document.get("finished_at").and_then(Value::as_i64) {
        document["finished_at"] = json!(at.plus(seconds));
    }
    document["id"] = json!(id);
    document["at"] = json!(at);
    document
}

/// A log with corrections and withdrawals of its entries.
fn entries() -> impl Strategy<Value = Vec<Entry>> {
    let observed = vec((observed(), moment_of_the_day()), 1..9);
    let amends = vec((any::<Index>(), any::<bool>(), moment_of_the_day(), moment_of_the_day()), 0..4);
    (observed, amends).prop_map(|(observed, amends)| {
        let originals: Vec<Value> = observed
            .into_iter()
            .enumerate()
            .map(|(n, one)| placed(one, format!("e{}", (n * 7) % 10)))
            .collect();
        let mut entries: Vec<Entry> = originals.iter().cloned().map(kit::entry).collect();
        for (n, (of, withdraws, at, corrected_at)) in amends.into_iter().enumerate() {
            let original = of.get(&originals);
            let id = original["id"].as_str().expect("placed");
            let amend = if withdraws {
                kit::withdrawal(&format!("m{n}"), at, id)
            } else {
                let mut inner = original.clone();
                inner["at"] = json!(corrected_at);
                if let Some(fields) = inner.as_object_mut() {
                    fields.remove("finished_at");
                }
                json!({"id": format!("m{n}"), "kind": "correction", "at": at, "of": id, "entry": inner})
            };
            entries.push(kit::entry(amend));
        }
        entries
    })
}

fn plans() -> impl Strategy<Value = Plan> {
    let ruled = kit::ruled();
    (any_curve(), vec(0.05..1.5_f64, 0..4)).prop_map(move |(curve, marks)| {
        let materials = ["ammonium-thiosulfate", "lime-sulfur", "lime-sulfur"];
        let sprays: Vec<(&str, f64)> = materials.into_iter().zip(marks).collect();
        let mut plan = kit::plan(&sprays);
        plan.block.curve = curve;
        plan.table = ruled.rules.verdict.clone();
        plan
    })
}

fn reckoned(plan: &Plan, entries: &[Entry], sources: &[Vec<Reading>], now: Instant) -> Season {
    let log = FieldLog::by_id(entries.to_vec()).expect("ids differ");
    kit::season_of(plan, &log, sources, None, now)
}

/// All of a season, what is not part of its output too.
fn bits(season: &Season) -> (String, Option<Instant>) {
    (serde_json::to_string(season).expect("a season is JSON"), season.look_again_at)
}

/// Each of `items` once and some twice, in another order.
fn stirred<T: Clone + std::fmt::Debug + 'static>(items: Vec<T>) -> impl Strategy<Value = Vec<T>> {
    let count = items.len();
    (Just(items.clone()), subsequence(items, 0..=count))
        .prop_map(|(all, again)| [all, again].concat())
        .prop_shuffle()
}

// ---- the properties

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Along one course growth never falls, low is at most high, and pieces add
    /// up to the whole in whole units.
    #[test]
    fn growth_never_falls_and_adds_up(
        readings in readings(), curve in any_curve(), mut at in vec(moment(), 3)
    ) {
        at.sort();
        let growth = kit::growth(curve, &readings);
        for bound in [Bound::Low, Bound::High] {
            let [a, b, c] = [0, 1, 2].map(|n| growth.units_at(at[n], bound));
            // Within one reading's stretch the last digit of a product may turn.
            prop_assert!(a <= b + 1 && b <= c + 1, "{a} {b} {c}");
            prop_assert_eq!(c - a, (b - a) + (c - b));
        }
        let grown = |bound| growth.units_at(at[2], bound) - growth.units_at(at[0], bound);
        prop_assert!(grown(Bound::Low) <= grown(Bound::High) + 2);
        // At the readings themselves there is no last digit to turn.
        let knots: Vec<i64> = growth.course().series().spans.iter().map(|span| span.to).collect();
        for pair in knots.windows(2) {
            let units = |at, bound| growth.units_at(Instant(at), bound);
            for bound in [Bound::Low, Bound::High] {
                prop_assert!(units(pair[0], bound) <= units(pair[1], bound));
            }
            prop_assert!(units(pair[1], Bound::Low) - units(pair[0], Bound::Low)
                <= units(pair[1], Bound::High) - units(pair[0], Bound::High));
        }
    }

    /// The crossing is the first second at which so much has grown.
    #[test]
    fn a_crossing_is_the_first_second(
        readings in readings(), curve in any_curve(), from in moment(), mark in 0.05..1.5_f64
    ) {
        let growth = kit::growth(curve, &readings);
        let wanted = (mark * model::growth::UNITS) as i64;
        for bound in [Bound::Low, Bound::High] {
            let grown = |at: Instant| growth.units_at(at, bound) - growth.units_at(from, bound);
            match growth.reached(from, wanted, bound) {
                Some(at) => {
                    prop_assert!(at >= from);
                    prop_assert!(grown(at) >= wanted);
                    prop_assert!(grown(at.plus(-1)) < wanted + 1, "a second earlier it was there already");
                }
                None => prop_assert!(grown(hour(24.0 * 400.0)) < wanted),
            }
        }
    }

    /// As time goes on, the progress of the leg from a logged start never falls.
    #[test]
    fn progress_never_falls(readings in readings(), plan in plans(), from in moment()) {
        let entries = [kit::entry(kit::start(from))];
        let (mut low, mut high, mut due) = (0.0, 0.0, None);
        for n in 0..60 {
            let now = from.plus(n * 4 * HOUR);
            let season = reckoned(&plan, &entries, std::slice::from_ref(&readings), now);
            let leg = &season.legs[0];
            prop_assert!(leg.progress_low >= low && leg.progress_high >= high, "{leg:?} after {low} {high}");
            prop_assert!(leg.progress_low <= leg.progress_high);
            prop_assert_eq!(leg.progress, leg.progress_low);
            prop_assert!(due.is_none() || leg.reached_at == due, "reached, then not: {:?}", leg);
            (low, high, due) = (leg.progress_low, leg.progress_high, leg.reached_at);
        }
    }

    /// Order and repetition of readings and entries change nothing, bit for bit.
    #[test]
    fn order_and_repetition_change_nothing(
        (readings, stirred_readings) in readings().prop_flat_map(|all| (Just(all.clone()), stirred(all))),
        (entries, stirred_entries) in entries().prop_flat_map(|all| (Just(all.clone()), stirred(all))),
        plan in plans(),
        now in moment(),
    ) {
        let season = reckoned(&plan, &entries, &[readings], now);
        let again = reckoned(&plan, &stirred_entries, std::slice::from_ref(&stirred_readings), now);
        prop_assert_eq!(bits(&season), bits(&again));
        // In a file the later of several corrections holds; all else goes by time and id.
        if stirred_entries.iter().all(|entry| entry.kind() != "correction") {
            let file = FieldLog::in_order(stirred_entries).expect("ids differ");
            let read = kit::season_of(&plan, &file, &[stirred_readings], None, now);
            prop_assert_eq!(bits(&season), bits(&read));
        }
    }

    /// Whether readings and entries come at once or in two lots, whichever
    /// first, the season is the same.
    #[test]
    fn two_halves_make_the_whole(
        readings in readings(), entries in entries(), plan in plans(), now in moment(),
        reading_halves in vec(any::<bool>(), 120), entry_halves in vec(any::<bool>(), 20),
    ) {
        fn halves<T: Clone>(all: &[T], first: &[bool]) -> (Vec<T>, Vec<T>) {
            let (a, b): (Vec<_>, Vec<_>) = all.iter().cloned().zip(first).partition(|(_, first)| **first);
            (a.into_iter().map(|(one, _)| one).collect(), b.into_iter().map(|(one, _)| one).collect())
        }
        let whole = reckoned(&plan, &entries, std::slice::from_ref(&readings), now);
        let (a, b) = halves(&readings, &reading_halves);
        let (c, d) = halves(&entries, &entry_halves);
        // The first half alone is a season too; adding the second must not depend on it.
        let _ = reckoned(&plan, &c, std::slice::from_ref(&a), now);
        let merged = reckoned(&plan, &[d, c].concat(), &[[b, a].concat()], now);
        prop_assert_eq!(bits(&whole), bits(&merged));
    }

    /// A withdrawn entry gives back the season without it. What differs is
    /// meant to: nothing at all while no leg is closed by age, since only a leg
    /// that age has closed is reopened by the withdrawal.
    #[test]
    fn a_withdrawn_spray_gives_back_the_season_without_it(
        readings in readings(), entries in entries(), plan in plans(), now in moment(),
        material in select(&["ammonium-thiosulfate", "lime-sulfur", "sulfur"][..]),
        at in moment(), taken_back in 0..HOUR,
    ) {
        let sources = [readings];
        let without = reckoned(&plan, &entries, &sources, now);
        let mut with = entries.clone();
        with.push(kit::entry(kit::spray("x-spray", at, material)));
        with.push(kit::entry(kit::withdrawal("x-back", now.plus(-taken_back), "x-spray")));
        prop_assert_eq!(bits(&reckoned(&plan, &with, &sources, now)), bits(&without));
        // Corrected first, then withdrawn: the same.
        let inner = kit::spray("x-spray", at.plus(HOUR), "lime-sulfur");
        with.push(kit::entry(json!({
            "id": "x-corrected", "kind": "correction", "at": now.plus(-taken_back), "of": "x-spray", "entry": inner,
        })));
        prop_assert_eq!(bits(&reckoned(&plan, &with, &sources, now)), bits(&without));
    }

    /// Whatever the log says, a season holds together.
    #[test]
    fn a_season_holds_together(readings in readings(), entries in entries(), plan in plans(), now in moment()) {
        let season = reckoned(&plan, &entries, &[readings], now);
        if let Some(start) = season.start {
            prop_assert!(start.earliest.is_none_or(|earliest| earliest <= start.at), "{start:?}");
            prop_assert!(start.latest.is_none_or(|latest| start.at <= latest), "{start:?}");
        }
        for (n, leg) in season.legs.iter().enumerate() {
            prop_assert_eq!(leg.number, n + 1);
            prop_assert!(leg.progress_low >= 0.0 && leg.progress_low <= leg.progress_high);
            prop_assert_eq!(leg.ended_at.is_some(), leg.ended_by.is_some());
            prop_assert!(leg.reached_at.is_none() || leg.expected_at.is_none());
            prop_assert!(leg.reached_at.is_none() || leg.may_be_reached_since.is_none());
            prop_assert_eq!(leg.mark.is_some(), n < plan.sprays.len());
            if let Some(reached) = leg.reached_at {
                prop_assert!(reached >= leg.from && Some(reached) <= season.as_of);
                prop_assert!(leg.ended_at.is_none_or(|end| reached <= end));
                prop_assert!(leg.reached_earliest.is_none_or(|earliest| earliest <= reached), "{leg:?}");
                prop_assert!(leg.reached_latest.is_none_or(|latest| reached <= latest), "{leg:?}");
                prop_assert!(leg.progress_low >= leg.mark.unwrap() - 1e-8);
            } else if let Some(mark) = leg.mark {
                prop_assert!(leg.progress_low < mark, "{leg:?}");
            }
            match season.legs.get(n + 1) {
                Some(next) => prop_assert_eq!(leg.ended_at, Some(next.from)),
                None => prop_assert!(leg.ended_at.is_none_or(|end| end <= now)),
            }
        }
        prop_assert!(season.look_again_at.is_none_or(|at| at > now));
        // What is written can be read again.
        let text = serde_json::to_string(&season).unwrap();
        let read: Season = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(serde_json::to_string(&read).unwrap(), text);
    }

    /// Nothing changes by itself before `look_again_at`: time alone does not
    /// move a season whose readings are all in.
    #[test]
    fn nothing_changes_before_it_is_time_to_look_again(
        readings in readings(), entries in entries(), plan in plans(), now in moment(), ahead in 0..20 * DAY,
    ) {
        let season = reckoned(&plan, &entries, std::slice::from_ref(&readings), now);
        let then = season.look_again_at.map_or(now.plus(ahead), |at| at.plus(-1).min(now.plus(ahead)));
        let later = reckoned(&plan, &entries, &[readings], then);
        prop_assert_eq!(bits(&season), bits(&later));
    }
}

// ---- unknown hours

/// Units by which sums of so many stretches may differ in their last digit.
const LAST_DIGITS: i64 = 1_000;

fn grown(growth: &Growth, from: f64, to: f64, bound: Bound) -> i64 {
    growth.units_at(hour(to), bound) - growth.units_at(hour(from), bound)
}

/// Ten days that have shown, at each hour, 8 °C and 26 °C on three days or more;
/// then three days anywhere between the two.
fn days_within_a_known_range() -> impl Strategy<Value = Vec<Reading>> {
    vec(8.0..=26.0_f64, 72).prop_map(|last| {
        let before = (0..240).map(|n| if (n / 24) % 2 == 0 { 8.0 } else { 26.0 });
        kit::hourly(before.chain(last))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Taking readings away only widens low to high, and giving them back makes
    /// the two meet, as long as what was read lay within the range that the ten
    /// days before had shown at that hour. Outside it, or with a range shown
    /// only on the hour while temperature runs on to the next one, the truth
    /// may lie beyond the bounds: they are the range of ten days, not a promise.
    #[test]
    fn an_unknown_hour_only_widens(
        readings in days_within_a_known_range(), curve in any_curve(),
        first in 241_usize..300, missing in 3_usize..10, more in 0_usize..4, before in any::<bool>(),
    ) {
        let without = |from: usize, count: usize| -> Vec<Reading> {
            [&readings[..from], &readings[from + count..]].concat()
        };
        let whole = kit::growth(curve.clone(), &readings);
        let gap = kit::growth(curve.clone(), &without(first, missing));
        let from = if before { first.saturating_sub(more).max(241) } else { first };
        let wider = kit::growth(curve, &without(from, missing + (if before { first - from } else { more })));
        let bounds = |growth: &Growth| {
            (grown(growth, 240.0, 311.0, Bound::Low), grown(growth, 240.0, 311.0, Bound::High))
        };
        let (truth, met) = bounds(&whole);
        prop_assert_eq!(truth, met, "with all readings low and high meet");
        let (low, high) = bounds(&gap);
        prop_assert!(low <= truth + LAST_DIGITS && truth <= high + LAST_DIGITS, "{low} {truth} {high}");
        let (lower, higher) = bounds(&wider);
        prop_assert!(lower <= low + LAST_DIGITS && high <= higher + LAST_DIGITS, "{lower} {low} {high} {higher}");
    }

    /// In a season: with the gap filled the two meet, and the crossing on low
    /// can only come earlier than it was told.
    #[test]
    fn low_and_high_meet_when_the_gap_is_filled(
        readings in days_within_a_known_range(), first in 241_usize..280, missing in 3_usize..12,
    ) {
        let gap: Vec<Reading> = [&readings[..first], &readings[first + missing..]].concat();
        let plan = kit::two_sprays();
        let entries = [kit::entry(kit::start(hour(240.0)))];
        let now = hour(311.0);
        let open = reckoned(&plan, &entries, std::slice::from_ref(&gap), now);
        // The missing hours come later, as a late upload does.
        let late = [&gap[..], &readings[first..first + missing]].concat();
        let filled = reckoned(&plan, &entries, &[late], now);
        let (open, filled) = (&open.legs[0], &filled.legs[0]);
        prop_assert_eq!(filled.progress_low, filled.progress_high);
        prop_assert!(open.progress_low <= filled.progress_low + 1e-9 && filled.progress_high <= open.progress_high + 1e-9);
        if let (Some(told), Some(known)) = (open.reached_at, filled.reached_at) {
            prop_assert!(known <= told.plus(1), "{known} {told}");
        }
        prop_assert_eq!(filled.may_be_reached_since, None);
    }

    /// The stretches of a series follow one another without holes, and only
    /// what is unknown has bounds in place of a line.
    #[test]
    fn a_series_has_no_holes(first in readings(), second in readings(), now in moment()) {
        let series = Series::join(&[first, second], None, now);
        for pair in series.spans.windows(2) {
            prop_assert_eq!(pair[0].to, pair[1].from);
        }
        for span in &series.spans {
            prop_assert!(span.from < span.to);
            prop_assert_eq!(matches!(span.law, Law::Line(..)), span.quality != Quality::Unknown);
            prop_assert!(span.quality != Quality::Forecast);
        }
        prop_assert!(series.as_of.is_none_or(|at| at <= now));
        prop_assert!(series.ahead.is_none_or(|at| at > now));
        prop_assert!(series.end().is_none_or(|end| Some(end) == series.as_of));
    }
}

/// The same season at any `now` comes from the same growth, shared or its own.
#[test]
fn sharing_growth_changes_no_bit() {
    let plan = kit::two_sprays();
    let readings = kit::spring("EWR");
    let now = kit::at("2013-05-10T00:00:00Z");
    let shared = kit::growth_of(plan.block.curve.clone(), std::slice::from_ref(&readings), None, now);
    for n in 0..48 {
        let log = kit::log(&[kit::start(kit::at("2013-04-28T00:00:00Z").plus(n * 1_234))]);
        let own = kit::season_of(&plan, &log, std::slice::from_ref(&readings), None, now);
        assert_eq!(bits(&season::reckon(&plan, &log, &shared, now)), bits(&own));
    }
}
