//! The model against the plain reference program, on springs drawn at random.
//! `SEED` and `CASES` in the environment draw others.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod reference;
mod springs;

use std::path::Path;
use std::sync::Arc;

use model::bloom::Basis;
use model::catalogue::Catalogue;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season;
use model::series::Series;
use model::time::Instant;
use reference::{EndedBy, HOUR, Kind, PROGRESS_WITHIN, State, WITHIN, What};
use serde_json::{Value, json};
use springs::{FLOWERS_PER_CLUSTER, Spring};

/// Springs in a run that asks for no number of its own.
const CASES: u64 = 400;

#[test]
fn the_model_agrees_with_the_reference_program() {
    let asked = |name: &str, or: u64| {
        std::env::var(name)
            .map_or(or, |text| text.parse().unwrap_or_else(|error| panic!("{name}={text}: {error}")))
    };
    let (seed, cases) = (asked("SEED", 20_260_401), asked("CASES", CASES));
    println!("SEED={seed} CASES={cases}");
    let catalogue = catalogue();
    let mut told = [0; 3];
    let mut wrong = Vec::new();
    for case in seed..seed + cases {
        let spring = Spring::of(case);
        let expected = reference::reckon(&spring.block, &spring.readings, &spring.entries, spring.now);
        for crossing in expected.told(spring.now) {
            assert!(crossing.at <= spring.now && crossing.at <= crossing.useful_until);
            told[crossing.kind as usize] += 1;
        }
        let faults = differences(&expected, &reckoned(&spring, &catalogue));
        if !faults.is_empty() {
            wrong.push(format!("SEED={case} CASES=1: {}", faults.join("; ")));
        }
    }
    println!("{} starts, {} marks and {} overruns reached", told[0], told[1], told[2]);
    assert!(wrong.is_empty(), "{} of {cases} springs differ:\n{}", wrong.len(), wrong.join("\n"));
    // Springs in which nothing comes about would agree with anything.
    assert!(cases < CASES || told.iter().all(|many| *many > cases / 4), "{told:?}");
}

/// The curves and materials that ship.
fn catalogue() -> Catalogue {
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
    let [curves, materials] = ["curves.toml", "materials.toml"]
        .map(|name| toml::from_str::<Value>(&std::fs::read_to_string(config.join(name)).unwrap()).unwrap());
    Catalogue::read(&curves, &materials).unwrap()
}

/// The same spring as the service reckons it.
fn reckoned(spring: &Spring, catalogue: &Catalogue) -> season::Season {
    let nodes: Vec<[f64; 2]> = spring.block.curve.iter().map(|node| [node.0, node.1]).collect();
    let block = json!({
        "name": "Long Furlong", "cultivar": "Gala", "flowers_per_cluster": FLOWERS_PER_CLUSTER,
        "target_fruit_per_tree": spring.block.threshold,
        "curve": {
            "form": "nodes", "unit": "fraction-per-day", "nodes": nodes,
            "source": "drawn at random", "status": "constructed",
        },
    });
    let sprays: Vec<Value> =
        spring.block.marks.iter().map(|mark| json!({"material": PLANNED, "mark": mark})).collect();
    let agreed = json!({"sprays": sprays});
    let zone = "America/New_York".parse().unwrap();
    let mut plan = Plan::assemble(None, zone, &block, Some(&agreed), catalogue).unwrap();
    plan.settings.overrun_margin = spring.block.overrun_margin;
    plan.settings.age_days = spring.block.age_limit / reference::DAY;

    let readings = spring
        .readings
        .iter()
        .map(|one| model::series::Reading::instant(Instant(one.at), one.celsius))
        .collect();
    let now = Instant(spring.now);
    let series = Series::join(&[readings], None, now);
    let growth = Growth::new(Arc::new(Course::new(series)), plan.block.curve.clone());
    let buds = spring.buds.map(|buds| {
        // Before anything else that was seen of this spring.
        let at = spring.now - 60 * reference::DAY;
        json!({"id": "buds", "kind": "bud-count", "at": Instant(at), "buds_per_tree": [buds, buds]})
    });
    let entries = spring.entries.iter().map(written).chain(buds);
    let entries = entries.map(|document| Entry::read(&document, None).unwrap()).collect();
    season::reckon(&plan, &FieldLog::by_id(entries).unwrap(), &growth, now)
}

/// The material of each planned spray, and one that is for something else.
const PLANNED: &str = "ammonium-thiosulfate";
const OTHER: &str = "captan";

/// An entry as people write it.
fn written(entry: &reference::Entry) -> Value {
    let mut document = match &entry.what {
        What::OpenCount(open) => json!({"kind": "open-count", "open_per_tree": open}),
        What::BloomStart => json!({"kind": "bloom-start"}),
        What::BloomEnd => json!({"kind": "bloom-end"}),
        What::Decision { thin } => json!({"kind": "decision", "thin": thin, "reason": "drawn"}),
        What::Spray { finished_at, planned, thins, took, share_of_block } => json!({
            "kind": "spray", "material": if *planned { PLANNED } else { OTHER },
            "finished_at": finished_at.map(Instant), "thins": thins, "took": took,
            "share_of_block": share_of_block,
        }),
        What::Correction { of, entry } => json!({"kind": "correction", "of": of, "entry": written(entry)}),
        What::Withdrawal { of } => json!({"kind": "withdrawal", "of": of, "reason": "drawn"}),
    };
    document["id"] = json!(entry.id);
    document["at"] = json!(Instant(entry.at));
    document
}

/// What the model says otherwise, beyond what the sums leave open.
fn differences(expected: &reference::Season, found: &season::Season) -> Vec<String> {
    let mut faults = Vec::new();
    let mut differs = |what: &str, expected: &dyn std::fmt::Debug, found: &dyn std::fmt::Debug| {
        faults.push(format!("{what} {expected:?}, the model has {found:?}"));
    };
    let start = found.start.as_ref().filter(|start| start.basis != Basis::Expected).map(|start| start.at.0);
    let near = |a: i64, b: i64| (a - b).abs() <= WITHIN;
    if !matches!((expected.start, start), (Some(a), Some(b)) if near(a, b)) && expected.start != start {
        differs("start", &expected.start, &start);
        return faults;
    }
    let legs = |openers: &mut dyn Iterator<Item = &String>| openers.cloned().collect::<Vec<_>>().join(" ");
    let (ours, theirs) = (
        legs(&mut expected.legs.iter().map(|leg| &leg.opened_by)),
        legs(&mut found.legs.iter().map(|leg| &leg.opened_by)),
    );
    if ours != theirs {
        differs("legs", &ours, &theirs);
        return faults;
    }
    for (ours, theirs) in expected.legs.iter().zip(&found.legs) {
        let of = |what: &str| format!("leg {} {what}", ours.opened_by);
        if !near(ours.from, theirs.from.0) || ours.mark != theirs.mark {
            differs(&of("from and mark"), &(ours.from, ours.mark), &(theirs.from, theirs.mark));
        }
        let reached = theirs.reached_at.map(|at| at.0);
        if !ours.reached.agrees(reached) {
            differs(&of("reached"), &ours.reached, &reached);
        }
        let possible = theirs.may_be_reached_since.map(|at| at.0);
        if reached.is_none() && ours.reached.at.is_none() && !ours.possible.agrees(possible) {
            differs(&of("may be reached"), &ours.possible, &possible);
        }
        let end = (theirs.ended_at.map(|at| at.0), theirs.ended_by.map(ended_by));
        let near_end = ours.ended_at == end.0 || ours.ended_at.zip(end.0).is_some_and(|(a, b)| near(a, b));
        if !near_end || ours.ended_by != end.1 {
            differs(&of("end"), &(ours.ended_at, ours.ended_by), &end);
        }
        let close = |a: f64, b: f64| (a - b).abs() <= 2.0 * PROGRESS_WITHIN;
        if !close(ours.progress_low, theirs.progress_low) {
            differs(&of("low"), &ours.progress_low, &theirs.progress_low);
        }
        if !close(ours.progress_high, theirs.progress_high) {
            differs(&of("high"), &ours.progress_high, &theirs.progress_high);
        }
    }
    let certain = expected.legs.last().is_none_or(|leg| leg.reached.certain() && leg.overrun.certain());
    if certain && state(found.state) != Some(expected.state) {
        differs("state", &expected.state, &found.state);
    }
    if expected.as_of != found.as_of.map(|at| at.0) {
        differs("last reading", &expected.as_of, &found.as_of);
    }
    faults
}

fn ended_by(by: model::legs::EndedBy) -> EndedBy {
    match by {
        model::legs::EndedBy::Spray => EndedBy::Spray,
        model::legs::EndedBy::BloomEnd => EndedBy::BloomEnd,
        model::legs::EndedBy::StandDown => EndedBy::StandDown,
        model::legs::EndedBy::Age => EndedBy::Age,
    }
}

/// The reference program's word for a state; it has none for a hold.
fn state(state: season::State) -> Option<State> {
    match state {
        season::State::Watching => Some(State::Watching),
        season::State::Growing => Some(State::Growing),
        season::State::Due => Some(State::Due),
        season::State::Overrun => Some(State::Overrun),
        season::State::Done => Some(State::Done),
        season::State::StoodDown => Some(State::StoodDown),
        season::State::Hold => None,
    }
}

/// Whom the reference program would tell, on a spring worked out by hand: at a
/// steady 15 °C half a style a day grows.
#[test]
fn crossings_are_told_while_they_are_of_use() {
    let block = reference::Block {
        curve: vec![(5.0, 0.0), (15.0, 0.5), (25.0, 0.0)],
        marks: vec![0.6, 1.0],
        threshold: 100.0,
        flowers: None,
        overrun_margin: 0.25,
        age_limit: 21 * reference::DAY,
    };
    let readings: Vec<reference::Reading> =
        (0..=200).map(|hour| reference::Reading { at: hour * HOUR, celsius: 15.0 }).collect();
    let spray = What::Spray {
        finished_at: Some(31 * HOUR),
        planned: true,
        thins: None,
        took: true,
        share_of_block: 1.0,
    };
    let entries = [
        reference::Entry { id: "b".into(), at: 0, what: What::BloomStart },
        reference::Entry { id: "s".into(), at: 30 * HOUR, what: spray },
    ];
    let season = reference::reckon(&block, &readings, &entries, 200 * HOUR);
    let told: Vec<(Kind, String, i64, i64)> = season
        .told(200 * HOUR)
        .into_iter()
        .map(|one| (one.kind, one.leg, one.at, one.useful_until))
        .collect();
    // 0.60 after 28 h 48 min; the second leg 1.00 after 48 h, and 1.25 after 60 h.
    let leg = |kind, leg: &str, at: i64, until: i64| (kind, leg.to_owned(), at, until);
    assert_eq!(
        told,
        [
            leg(Kind::Started, "start", 0, 30 * HOUR),
            leg(Kind::Due, "start", 28 * HOUR + 48 * 60, 30 * HOUR),
            leg(Kind::Due, "s", 78 * HOUR, 150 * HOUR),
            leg(Kind::Overrun, "s", 90 * HOUR, 162 * HOUR),
        ]
    );
    let useful = |now| {
        season.told(now).into_iter().filter(|one| one.useful(now)).map(|one| one.kind).collect::<Vec<_>>()
    };
    assert_eq!(useful(29 * HOUR), [Kind::Started, Kind::Due]);
    assert_eq!(useful(151 * HOUR), [Kind::Overrun]);
    assert_eq!(useful(170 * HOUR), []);
    assert!(season.allows(Kind::Due, "start") && season.allows(Kind::Overrun, "s"));
    assert!(!season.allows(Kind::Overrun, "start") && !season.allows(Kind::Due, "of no such spray"));
}
