//! What a block takes from another: start, stage, style. Never damage.

use model::bloom::Basis;
use model::input;
use model::lent::Lent;
use model::plan::Plan;
use model::season::{Season, State};
use model::series::Reading;
use model::time::HOUR;
use serde_json::{Value, json};

use crate::kit::{
    count, damage, hour, hourly, note_text, noted, ruled_plan, season, start, steady, two_sprays,
};

fn borrowing(lent: &Value) -> Plan {
    let lent = input::read(lent, |fields| Some(Lent::from_fields(fields))).expect("sound");
    Plan { lent, ..ruled_plan(&json!({})) }
}

fn lent_start(hours: f64) -> Value {
    json!({"start": {"from": "North Bench", "at": hour(hours), "earliest": hour(hours - 2.0), "latest": hour(hours + 3.0)}})
}

fn mild(plan: &Plan, entries: &[Value]) -> Season {
    season(plan, entries, &steady(15.0, 48), hour(48.0))
}

/// Half a day wider on either side (constructed), and whose it is.
#[test]
fn a_borrowed_start_runs_the_clock() {
    let season = mild(&borrowing(&lent_start(14.0)), &[]);
    let start = season.start.unwrap();
    assert_eq!((start.at, season.state), (hour(14.0), State::Due));
    assert_eq!((start.earliest, start.latest), (Some(hour(0.0)), Some(hour(29.0))));
    assert_eq!(season.borrowed.start.as_deref(), Some("North Bench"));
    assert!(note_text(&season, "start-borrowed").contains("North Bench"));
    assert_eq!(season.legs[0].from, hour(14.0));
}

/// What the lender does not know of its start is not known here.
#[test]
fn an_unknown_edge_stays_unknown() {
    let mut plan = borrowing(&lent_start(14.0));
    if let Some(lent) = &mut plan.lent.start {
        (lent.value.basis, lent.value.earliest) = (Basis::NoLaterThan, None);
    }
    let start = mild(&plan, &[]).start.unwrap();
    assert_eq!((start.earliest, start.latest), (None, Some(hour(29.0))));
}

#[test]
fn an_own_count_or_start_outranks_it() {
    let plan = borrowing(&lent_start(14.0));
    let counted = mild(&plan, &[count("c1", hour(20.0), &[30, 30]), count("c2", hour(40.0), &[150, 150])]);
    let at = counted.start.unwrap().at;
    assert!(hour(20.0) < at && at < hour(40.0) && counted.borrowed.start.is_none());
    assert!(!noted(&counted, "start-borrowed", None));
    let below = mild(&plan, &[count("c1", hour(20.0), &[30, 30])]);
    assert_eq!((below.state, below.borrowed.start), (State::Watching, None));
    let logged = mild(&plan, &[start(hour(30.0))]);
    assert_eq!((logged.start.unwrap().at, logged.borrowed.start), (hour(30.0), None));
}

/// A donor that corrects its start moves this block's.
#[test]
fn a_corrected_donor_moves_it() {
    let donor = |corrected: Option<f64>| {
        let mut entries = vec![start(hour(14.0))];
        entries.extend(corrected.map(|hours| {
            json!({"id": "x", "kind": "correction", "at": hour(40.0), "of": "start-1",
                "entry": {"kind": "bloom-start", "at": hour(hours)}})
        }));
        season(&two_sprays(), &entries, &steady(15.0, 48), hour(48.0)).start.unwrap()
    };
    let at = |corrected| {
        let mut plan = borrowing(&lent_start(0.0));
        if let Some(lent) = &mut plan.lent.start {
            lent.value = donor(corrected);
        }
        let season = mild(&plan, &[]);
        (season.start.unwrap().at, season.legs[0].from)
    };
    assert_eq!(at(None), (hour(14.0), hour(14.0)));
    assert_eq!(at(Some(20.0)), (hour(20.0), hour(20.0)));
}

/// A borrowed stage gives frost its line; one logged here outranks it. Tight cluster
/// is 27 °F, −2.8 °C; green tip 18 °F (published).
#[test]
fn a_borrowed_stage() {
    let stage =
        |stage: &str| borrowing(&json!({"stage": {"from": "North Bench", "at": hour(0.0), "stage": stage}}));
    let cold = |n: i64| if (20..=21).contains(&n) { -3.0 } else { 8.0 };
    let readings: Vec<Reading> = hourly((0..=30).map(cold));
    let buds = json!({"id": "b", "kind": "bud-count", "at": hour(0.0), "buds_per_tree": [180, 180]});
    let reckoned = |plan: &Plan, entries: &[Value]| season(plan, entries, &readings, hour(30.0));
    let tight = reckoned(&stage("tight-cluster"), std::slice::from_ref(&buds));
    assert_eq!(tight.borrowed.stage.as_deref(), Some("North Bench"));
    assert!(tight.frost.look_after.is_some() && tight.frost.stage.unwrap().word() == "tight-cluster");
    assert!(reckoned(&stage("green-tip"), &[buds]).frost.look_after.is_none());
    let own = json!({"id": "s", "kind": "stage", "at": hour(1.0), "stage": "green-tip"});
    let own = reckoned(&stage("tight-cluster"), &[own]);
    assert!(own.frost.look_after.is_none() && own.borrowed.stage.is_none());
}

/// Half of a borrowed 8 mm at 4 mm a day takes a day, and the style is a tenth less
/// sure on either side (constructed); one measured here outranks it.
#[test]
fn a_borrowed_style() {
    let curve = json!({"form": "nodes", "unit": "mm-per-day", "nodes": [[0, 4], [40, 4]],
        "source": "for tests", "status": "constructed"});
    let block = json!({"curve": curve, "borrows": {"style_length": "another-block"}});
    let lent = json!({"style_length": {"from": "North Bench", "lengths_mm": [7.8, 8.2]}});
    let lent = input::read(&lent, |fields| Some(Lent::from_fields(fields))).expect("sound");
    let mut plan = Plan { lent, ..ruled_plan(&block) };
    plan.sprays[0].mark = 0.5;
    let borrowed = mild(&plan, &[start(hour(0.0))]);
    assert_eq!(borrowed.legs[0].reached_at, Some(hour(24.0)));
    assert_eq!(borrowed.borrowed.style_length.as_deref(), Some("North Bench"));
    assert!(note_text(&borrowed, "style-borrowed").contains("North Bench"));
    let own = json!({"id": "l", "kind": "style-length", "at": hour(0.0), "lengths_mm": [11.8, 12.2]});
    let own = mild(&plan, &[start(hour(0.0)), own]);
    assert_eq!((own.legs[0].reached_at, own.borrowed.style_length), (Some(hour(36.0)), None));
}

/// Frost lies where it lies: no document lends a damage count.
#[test]
fn damage_is_never_borrowed() {
    let donor = json!({"damage": {"from": "North Bench", "kings_alive": 1}});
    let read = input::read(&donor, |fields| {
        let lent = Lent::from_fields(fields);
        fields.refuse_unknown();
        Some(lent)
    });
    assert!(read.unwrap_err().to_string().contains("damage"));
    let season = mild(&borrowing(&lent_start(14.0)), &[]);
    assert!(
        season.damage.is_none() && season.verdict.missing.iter().any(|missing| missing == "damage-count")
    );
    let own = mild(&borrowing(&lent_start(14.0)), &[damage("d", hour(1.0), (160, 200), (720, 800))]);
    assert_eq!(own.damage.unwrap().clusters_examined, 200);
}

/// A block that borrows its start has open flowers from then on, and a frost on them
/// holds its leg.
#[test]
fn frost_on_a_borrowed_start() {
    let cold = |n: i64| if (30..=31).contains(&n) { -2.2 } else { 15.0 };
    let readings = hourly((0..=40).map(cold));
    let season = season(&borrowing(&lent_start(14.0)), &[], &readings, hour(40.0));
    assert_eq!(season.state, State::Hold);
    assert_eq!(season.hold.unwrap().since.since(hour(30.0)), HOUR / 2);
}
