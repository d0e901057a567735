//! One table for each way into the model: what is wrong, where the fault
//! points, and a word that its text must have.

use model::block::Block;
use model::curve::Curve;
use model::field_log::Entry;
use model::input::{self, Faults};
use model::plan::Plan;
use model::site::Place;
use model::time::{Instant, MINUTE};
use serde_json::{Value, json};

use crate::kit::{self, at, hour};

/// Sets a field of a sound document, or takes it out with null.
fn changed(sound: &Value, pointer: &str, value: Value) -> Value {
    let mut document = sound.clone();
    let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
    let parent = document.pointer_mut(parent).expect("the parent is there").as_object_mut().expect("a table");
    if value.is_null() {
        parent.remove(name);
    } else {
        parent.insert(name.to_owned(), value);
    }
    document
}

/// What is wrong: field, value (null takes it out), pointer of the fault, and
/// words of its text.
type Row = (&'static str, Value, &'static str, &'static str);

/// Tries each row against a sound document: exactly one fault, at that place,
/// in words that say what was expected.
fn refuses<T: std::fmt::Debug>(sound: &Value, rows: Vec<Row>, read: impl Fn(&Value) -> Result<T, Faults>) {
    read(sound).unwrap_or_else(|faults| panic!("{sound} is sound, but: {faults}"));
    for (field, value, pointer, words) in rows {
        let document = changed(sound, field, value.clone());
        let Err(faults) = read(&document) else { panic!("{field} = {value} was taken") };
        assert_eq!(faults.0.len(), 1, "{field} = {value}: {faults}");
        assert_eq!(faults.0[0].pointer, pointer, "{field} = {value}: {faults}");
        assert!(faults.0[0].detail.contains(words), "{field} = {value}: {faults}");
        assert!(faults.to_string().starts_with(pointer), "{faults}");
    }
}

#[test]
fn entries() {
    let read = |document: &Value| Entry::read(document, None);
    let count = kit::count("c1", hour(0.0), &[41, 66, 58]);
    refuses(
        &count,
        vec![
            ("/open_per_tree", json!([41, -3, 58]), "/open_per_tree/1", "-3 is outside 0 to"),
            ("/open_per_tree", json!([41, 66, 58.5]), "/open_per_tree/2", "whole number"),
            ("/open_per_tree", json!([41, "66"]), "/open_per_tree/1", "the text `66`"),
            ("/open_per_tree", json!([]), "/open_per_tree", "at least one"),
            ("/open_per_tree", json!(41), "/open_per_tree", "expected a list"),
            ("/open_per_tree", json!([41, 1e300]), "/open_per_tree/1", "whole number"),
            ("/open_per_tree", json!([100_001]), "/open_per_tree/0", "outside"),
            ("/open_per_tree", Value::Null, "/open_per_tree", "missing"),
            ("/open_per_trees", json!([1]), "/open_per_trees", "not a field here; known: at, "),
            ("/kind", json!("opencount"), "/kind", "open-count"),
            ("/kind", Value::Null, "/kind", "missing"),
            ("/at", Value::Null, "/at", "missing"),
            ("/at", json!("28.4.2013 10:00"), "/at", "2013-04-28T10:00:00-04:00"),
            ("/at", json!("2013-04-28T10:00:00"), "/at", "is not a time"),
            ("/at", json!("2013-02-29T10:00:00Z"), "/at", "is not a time"),
            ("/at", json!("0213-04-28T10:00:00Z"), "/at", "1900 to 2199"),
            ("/id", Value::Null, "/id", "missing"),
            ("/id", json!(" "), "/id", "blank"),
            ("/id", json!(7), "/id", "expected a text"),
            ("/id", json!("x".repeat(101)), "/id", "at most 100"),
            ("/id", json!("a\nb"), "/id", "control"),
            ("/live_only", json!("yes"), "/live_only", "true or false"),
            ("/tree_class", json!("heavy"), "/tree_class", "on, off"),
        ],
        read,
    );
    refuses(
        &kit::spray("s1", hour(0.0), "lime-sulfur"),
        vec![
            ("/material", Value::Null, "/material", "missing"),
            ("/material", json!(""), "/material", "blank"),
            ("/finished_at", json!(hour(-1.0)), "/finished_at", "before the begin"),
            ("/share_of_block", json!(1.5), "/share_of_block", "outside 0 to 1"),
            ("/share_of_block", json!(-0.1), "/share_of_block", "outside 0 to 1"),
            ("/thins", json!(1), "/thins", "true or false"),
            ("/matreial", json!("oil"), "/matreial", "not a field"),
            ("/wind", json!([3]), "/wind", "a text or a number"),
        ],
        read,
    );
    let lengths = json!({"id": "l1", "kind": "style-length", "at": hour(0.0), "lengths_mm": [8.1, 9.0]});
    refuses(
        &lengths,
        vec![
            ("/lengths_mm", json!([8.1, 0.9]), "/lengths_mm/1", "outside 1 to 30"),
            ("/lengths_mm", json!([30.5]), "/lengths_mm/0", "outside 1 to 30"),
        ],
        read,
    );
    let decision = json!({"id": "d1", "kind": "decision", "at": hour(0.0), "thin": true});
    refuses(&decision, vec![("/thin", Value::Null, "/thin", "missing")], read);
    let withdrawal = kit::withdrawal("w1", hour(0.0), "s1");
    refuses(&withdrawal, vec![("/of", Value::Null, "/of", "missing")], read);
    let correction = json!({"id": "t1", "kind": "correction", "at": hour(0.0), "of": "c1", "entry": count});
    refuses(
        &correction,
        vec![
            ("/of", Value::Null, "/of", "missing"),
            ("/entry", Value::Null, "/entry", "missing"),
            ("/entry", json!("c1"), "/entry", "expected a table"),
            ("/entry/kind", json!("withdrawal"), "/entry/kind", "open-count"),
            ("/entry/open_per_tree", json!([5, -1]), "/entry/open_per_tree/1", "-1 is outside"),
            ("/entry/open", json!([5]), "/entry/open", "not a field"),
        ],
        read,
    );
    for document in [json!([]), json!("count"), json!(null)] {
        let faults = Entry::read(&document, None).unwrap_err();
        assert!(faults.to_string().contains("expected a table"), "{faults}");
    }
    assert!(
        Entry::read(&changed(&count, "/id", Value::Null), Some("log-1"))
            .is_ok_and(|entry| entry.id == "log-1")
    );
}

/// More than ten minutes ahead of the receiving clock is refused, at the field
/// that says so.
#[test]
fn times_ahead() {
    let now = hour(0.0);
    let ten = now.plus(10 * MINUTE);
    let over = ten.plus(1);
    let spray = |begin: Instant, finish: Instant| json!({"id": "s1", "kind": "spray", "at": begin, "finished_at": finish, "material": "lime-sulfur"});
    let corrected =
        |entry: Value| json!({"id": "t1", "kind": "correction", "at": now, "of": "s1", "entry": entry});
    let only_finish = json!({"id": "s1", "kind": "spray", "finished_at": over, "material": "lime-sulfur"});
    let rows = [
        (kit::count("c1", ten, &[1]), None),
        (kit::count("c1", over, &[1]), Some("/at")),
        (spray(now, ten), None),
        (spray(now, over), Some("/finished_at")),
        (only_finish, Some("/finished_at")),
        (corrected(spray(now, ten)), None),
        (corrected(spray(now, over)), Some("/entry/finished_at")),
        (corrected(kit::count("c1", over, &[1])), Some("/entry/at")),
        (kit::withdrawal("w1", over, "s1"), Some("/at")),
    ];
    for (document, pointer) in rows {
        match (kit::entry(document.clone()).check_not_ahead(now), pointer) {
            (Ok(()), None) => {}
            (Err(faults), Some(pointer)) => {
                assert_eq!(faults.0[0].pointer, pointer, "{document}");
                assert!(faults.0[0].detail.contains("more than 10 minutes ahead"), "{faults}");
            }
            (answer, _) => panic!("{document}: {answer:?}"),
        }
    }
}

#[test]
fn blocks() {
    let curves = kit::catalogue().curves;
    let read = |document: &Value| input::read(document, |fields| Block::from_fields(fields, &curves));
    let sound = json!({
        "name": "Quarry Bank", "cultivar": "Gala", "curve": "reference", "style_length_mm": 8.8,
        "flowers_per_cluster": 5, "target_fruit_per_tree": 115,
    });
    refuses(
        &sound,
        vec![
            (
                "/curve",
                json!("refrence"),
                "/curve",
                "`refrence` is not a curve here; known: reference, cardinal",
            ),
            ("/curve", json!(3), "/curve", "expected a text"),
            ("/curve", Value::Null, "/curve", "no curve is kept for cultivar `Gala`"),
            ("/style_length_mm", json!(0.9), "/style_length_mm", "outside 1 to 30"),
            ("/style_length_mm", json!(30.1), "/style_length_mm", "outside 1 to 30"),
            ("/style_lengths_mm", json!([8.0]), "/style_length_mm", "give one of them"),
            ("/target_fruit_per_tree", Value::Null, "/target_fruit_per_tree", "missing"),
            ("/target_fruit_per_tree", json!(-1), "/target_fruit_per_tree", "outside"),
            ("/target_fruit_per_tree", json!("115"), "/target_fruit_per_tree", "the text `115`"),
            ("/target", json!({"fruit_per_cm2": 5, "girth_cm": 30}), "/target", "give one of them"),
            ("/flowers_per_cluster", json!(0), "/flowers_per_cluster", "outside 1 to 20"),
            ("/start_factor", json!(0), "/start_factor", "outside"),
            ("/name", Value::Null, "/name", "missing"),
            ("/cultivar", json!(" "), "/cultivar", "blank"),
            ("/flower_per_cluster", json!(5), "/flower_per_cluster", "not a field here"),
            (
                "/curve",
                json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[5, 1], [5, 2]],
                "source": "own", "status": "measured"}),
                "/curve/nodes",
                "rise from node to node",
            ),
        ],
        read,
    );
    // A curve in millimetres needs the length of the style.
    let by_mm = json!({"form": "nodes", "unit": "mm-per-hour", "nodes": [[4, 0], [24, 0.25], [40, 0]],
        "source": "own", "status": "measured"});
    refuses(
        &changed(&sound, "/curve", by_mm),
        vec![("/style_length_mm", Value::Null, "/style_length_mm", "is in millimetres")],
        read,
    );
    // The target from its inputs, each of which is needed.
    let inputs = json!({"boxes_per_area": 1500, "fruit_per_box": 100, "trees_per_area": 1000});
    let by_inputs = changed(&changed(&sound, "/target_fruit_per_tree", Value::Null), "/target", inputs);
    refuses(
        &by_inputs,
        vec![
            ("/target/trees_per_area", Value::Null, "/target/trees_per_area", "missing"),
            ("/target/trees_per_area", json!(0), "/target/trees_per_area", "outside"),
            ("/target/boxes", json!(3), "/target/boxes", "not a field here"),
        ],
        read,
    );
}

/// 5 to 15 mm is usual; outside it a style is taken, and noted.
#[test]
fn an_unusual_style_is_noted() {
    for (mm, unusual) in [(4.9, true), (5.0, false), (15.0, false), (15.1, true), (1.0, true), (30.0, true)] {
        let block = json!({"name": "Quarry Bank", "cultivar": "Gala", "curve": "reference",
            "style_length_mm": mm, "target_fruit_per_tree": 100});
        let season = kit::season(&kit::plan_of(&block, &[]), &[], &[], hour(0.0));
        assert_eq!(kit::noted(&season, "style-length-unusual", None), unusual, "{mm} mm");
        assert!(kit::noted(&season, "style-length-not-used", None), "{mm} mm");
    }
}

#[test]
fn plans() {
    let block = json!({"name": "Quarry Bank", "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 100});
    let catalogue = kit::catalogue();
    let read = |document: &Value| {
        Plan::assemble(None, chrono_tz::America::New_York, &block, Some(document), &catalogue)
    };
    let spray = |mark: Value| json!([{"material": "lime-sulfur", "mark": mark}]);
    refuses(
        &json!({"sprays": spray(json!(0.6))}),
        vec![
            ("/sprays", spray(json!(0.04)), "/plan/sprays/0/mark", "outside 0.05 to 1.5"),
            ("/sprays", spray(json!(1.51)), "/plan/sprays/0/mark", "outside 0.05 to 1.5"),
            ("/sprays", spray(json!(60)), "/plan/sprays/0/mark", "outside 0.05 to 1.5"),
            ("/sprays", spray(json!("0.6")), "/plan/sprays/0/mark", "expected a number"),
            ("/sprays", spray(Value::Null), "/plan/sprays/0/mark", "missing"),
            ("/sprays", json!([{"mark": 0.6}]), "/plan/sprays/0/material", "missing"),
            (
                "/sprays",
                json!([{"material": "oil", "mark": 0.6, "bound": "before"}]),
                "/plan/sprays/0/bound",
                "not-before, not-after",
            ),
            (
                "/sprays",
                json!([{"material": "oil", "mark": 0.6, "marks": 1}]),
                "/plan/sprays/0/marks",
                "not a field",
            ),
            ("/sprays", json!("none"), "/plan/sprays", "expected a table"),
            (
                "/sprays",
                json!(vec![json!({"material": "oil", "mark": 0.6}); 13]),
                "/plan/sprays",
                "more than 12",
            ),
            ("/age_days", json!(0), "/plan/age_days", "outside 1 to 120"),
            ("/overrun_margin", json!(-0.1), "/plan/overrun_margin", "outside"),
            ("/lead_hours", json!(1.5), "/plan/lead_hours", "whole number"),
            ("/leadhours", json!(12), "/plan/leadhours", "not a field"),
        ],
        read,
    );
    for mark in [0.05, 1.5] {
        assert!(read(&json!({"sprays": spray(json!(mark))})).is_ok(), "{mark}");
    }
}

#[test]
fn places() {
    let read = |document: &Value| input::read(document, Place::from_fields);
    let newark = json!({"latitude": 40.6925, "longitude": -74.1687, "elevation_m": 2, "time_zone": "America/New_York"});
    refuses(
        &newark,
        vec![
            ("/time_zone", json!("America/Newark"), "/time_zone", "`America/Newark` is not a time zone"),
            ("/time_zone", json!("EDT"), "/time_zone", "IANA"),
            ("/time_zone", Value::Null, "/time_zone", "missing"),
            ("/latitude", json!(90.1), "/latitude", "outside -90 to 90"),
            ("/latitude", Value::Null, "/latitude", "missing"),
            ("/longitude", json!(-180.5), "/longitude", "outside -180 to 180"),
            ("/longitude", json!("74W"), "/longitude", "expected a number"),
            ("/elevation_m", json!(9_000), "/elevation_m", "outside"),
            ("/lattitude", json!(40), "/lattitude", "not a field here"),
        ],
        read,
    );
    // Swapped, told from the zone: one fault, wherever the orchard lies.
    for (latitude, longitude, zone) in [
        (-74.17, 40.69, "America/New_York"),
        (-120.5, 46.6, "America/Los_Angeles"),
        (176.8, -39.6, "Pacific/Auckland"),
        (76.9, 32.0, "Asia/Kolkata"),
        (-71.0, -35.0, "America/Santiago"),
    ] {
        let swapped =
            json!({"latitude": latitude, "longitude": longitude, "elevation_m": 90, "time_zone": zone});
        let right =
            json!({"latitude": longitude, "longitude": latitude, "elevation_m": 90, "time_zone": zone});
        assert!(read(&right).is_ok(), "{zone}");
        match read(&swapped) {
            Err(faults) => {
                assert_eq!(faults.0.len(), 1, "{faults}");
                assert!(["/longitude", "/latitude"].contains(&faults.0[0].pointer.as_str()), "{faults}");
                assert!(faults.0[0].detail.contains("swapped"), "{faults}");
            }
            // Santiago's pair fits its zone both ways round.
            Ok(_) => assert_eq!(zone, "America/Santiago"),
        }
    }
}

#[test]
fn curves() {
    let read = |document: &Value| Curve::read_all(&json!({"own": document}));
    let nodes = json!({
        "form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [15, 0.5], [24, 1.0], [43.7, 0]],
        "source": "own measurements", "status": "measured", "covered": [5, 30], "end_point": "style-base",
    });
    refuses(
        &nodes,
        vec![
            ("/form", json!("node"), "/own/form", "nodes, beta"),
            ("/form", Value::Null, "/own/form", "missing"),
            ("/unit", json!("mm-per-minute"), "/own/unit", "mm-per-hour"),
            ("/unit", Value::Null, "/own/unit", "missing"),
            ("/source", Value::Null, "/own/source", "missing"),
            ("/status", json!("guessed"), "/own/status", "from-memory"),
            ("/status", Value::Null, "/own/status", "missing"),
            ("/nodes", Value::Null, "/own/nodes", "missing"),
            ("/nodes", json!([[4, 0]]), "/own/nodes", "2 to 1000"),
            ("/nodes", json!([[4, 0], [4, 1]]), "/own/nodes", "rise"),
            ("/nodes", json!([[4, 0], [5]]), "/own/nodes", "pairs"),
            ("/nodes", json!([[4, 0], [5, "1"]]), "/own/nodes", "pairs"),
            ("/nodes", json!([[4, 0], [5, -0.1]]), "/own/nodes", "rates from 0"),
            ("/nodes", json!([[4, 0], [75, 0.1]]), "/own/nodes", "within −60 to 60"),
            ("/nodes", json!([[4, 0], [24, 51]]), "/own/nodes", "50 a day"),
            ("/nodes", json!([[4, 0], [24, 0]]), "/own/nodes", "zero everywhere"),
            ("/covered", json!([30, 5]), "/own/covered", "lower first"),
            ("/covered", json!([5]), "/own/covered", "lower first"),
            ("/end_point", json!("base"), "/own/end_point", "style-base"),
            ("/lag_inside", json!("no"), "/own/lag_inside", "true or false"),
            ("/tmin", json!(6.3), "/own/tmin", "not a field here"),
        ],
        read,
    );
    let beta = json!({
        "form": "beta", "unit": "fraction-per-day", "tmin": 6.3, "topt": 28.6, "tmax": 43.7, "rate_at_topt": 1.08,
        "source": "own fit", "status": "constructed",
    });
    refuses(
        &beta,
        vec![
            ("/topt", json!(6.0), "/own/topt", "tmin < topt < tmax"),
            ("/topt", json!(44.0), "/own/topt", "tmin < topt < tmax"),
            ("/tmax", Value::Null, "/own/tmax", "missing"),
            ("/rate_at_topt", json!(0), "/own/rate_at_topt", "above 0"),
            ("/rate_at_topt", json!(51), "/own/rate_at_topt", "up to 50 a day"),
            ("/nodes", json!([[4, 0], [5, 1]]), "/own/nodes", "not a field here"),
        ],
        read,
    );
    // Several faults are all told at once.
    let faults = read(&json!({"form": "nodes", "unit": "feet", "nodes": [[4, 0]]})).unwrap_err();
    let pointers: Vec<&str> = faults.0.iter().map(|fault| fault.pointer.as_str()).collect();
    assert_eq!(pointers, ["/own/unit", "/own/source", "/own/status", "/own/nodes"]);
    assert_eq!(at("2013-04-28T00:00:00Z"), kit::begin());
}
