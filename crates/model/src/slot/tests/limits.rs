use super::*;

/// Rutgers extension 2012: never above 85 °F; read, published.
#[test]
fn what_ships_has_its_source_and_no_figure_that_nobody_published() {
    let shipped = shipped();
    let held = shipped.held(Some("lime-sulfur"));
    assert_eq!(held.len(), 1);
    assert_eq!((held[0].what, held[0].status), (What::Warmest, Status::Published));
    assert!((held[0].at - 29.444_444).abs() < 1e-5, "85 °F");
    assert!(shipped.held(Some("streptomycin")).is_empty());
    assert!(shipped.held(None).is_empty());
    let ats = shipped.facts_for(Some("ammonium-thiosulfate"));
    assert!(ats.iter().any(|fact| fact.says.contains("71 minutes")));
    assert!(shipped.facts_for(Some("oil")).iter().all(|fact| !fact.says.contains("71 minutes")));
}

#[test]
fn the_stricter_of_two_holds_on_either_side() {
    let both = limits(&[("wind", 4.0), ("wind", 5.0), ("coldest", 5.0), ("coldest", 8.0)]);
    let entered = Limits::of_material(&material(json!({
        "name": "Lime sulfur", "role": "thinner", "max_wind_m_s": 3.5, "max_gust_m_s": 9,
        "rain_free_hours_after": 6, "minimum_interval_hours": 48, "min_celsius": 6, "max_celsius": 28,
    })));
    let all = both.and(entered);
    let figures: Vec<(What, f64)> =
        all.held(Some("lime-sulfur")).iter().map(|limit| (limit.what, limit.at)).collect();
    assert_eq!(
        figures,
        [
            (What::Wind, 3.5),
            (What::Gust, 9.0),
            (What::Warmest, 28.0),
            (What::Coldest, 8.0),
            (What::RainFreeAfter, 6.0),
            (What::Interval, 48.0)
        ]
    );
    assert_eq!(all.held(Some("lime-sulfur"))[0].source, "as entered for Lime sulfur");
    let other: Vec<f64> = all.held(Some("urea")).iter().map(|limit| limit.at).collect();
    assert_eq!(other, [4.0, 8.0], "another material's entry is not this one's");
}

#[test]
fn what_is_wrong_is_named_at_its_place() {
    let limit = |fields: Value| {
        let mut limit = json!({"what": "wind", "at": 4.5, "source": "s", "status": "own"});
        for (name, value) in fields.as_object().unwrap() {
            limit[name] = value.clone();
        }
        json!({"limit": [limit]})
    };
    for (fields, pointer, says) in [
        (json!({"speed": 3}), "/limit/0/speed", "is not a field here"),
        (json!({"what": "storm"}), "/limit/0/what", "`storm` is not known"),
        (json!({"what": "mark"}), "/limit/0/what", "`mark` is not known"),
        (json!({"at": -1}), "/limit/0/at", "outside 0.1 to 50"),
        (json!({"at": 0}), "/limit/0/at", "outside 0.1 to 50"),
        (json!({"at": "4"}), "/limit/0/at", "expected a number"),
        (json!({"at": null}), "/limit/0/at", "is missing"),
        (json!({"source": " "}), "/limit/0/source", "is blank"),
        (json!({"status": "sure"}), "/limit/0/status", "`sure` is not known"),
        (json!({"status": null}), "/limit/0/status", "is missing"),
        (json!({"unit": "fahrenheit"}), "/limit/0/unit", "warmest and coldest alone"),
        (json!({"what": "warmest", "at": 185, "unit": "fahrenheit"}), "/limit/0/at", "85.0 °C"),
        (json!({"what": "bee-quiet"}), "/limit/0/at", "takes no figure"),
        (json!({"what": "dew-free-after"}), "/limit/0/spread", "is missing"),
        (json!({"spread": 2}), "/limit/0/spread", "dew-free-after alone"),
        (json!({"materials": [3]}), "/limit/0/materials/0", "expected a text"),
    ] {
        let faults = refused(&limit(fields.clone()));
        assert!(
            faults.iter().any(|(at, detail)| at == pointer && detail.contains(says)),
            "{fields}: {faults:?}"
        );
    }
    assert_eq!(refused(&json!({"limits": []}))[0].0, "/limits");
    assert_eq!(refused(&json!({"fact": [{"source": "s", "status": "own"}]}))[0].0, "/fact/0/says");
    let many = vec![json!({"what": "wind", "at": 4, "source": "s", "status": "own"}); 201];
    assert!(refused(&json!({"limit": many}))[0].1.contains("more than 200"));
}

#[test]
fn every_word_is_the_one_it_is_serialised_by() {
    for what in What::SET.into_iter().chain([What::Reentry, What::Mark]) {
        assert_eq!(serde_json::to_value(what).unwrap(), json!(what.word()));
    }
}

/// Air of 20 °C and 50 % has its dew point at 9.3 °C (psychrometric chart; from memory),
/// and the two functions undo each other.
#[test]
fn humidity_and_dew_point_are_two_sides_of_one() {
    assert!((dew_point(20.0, 50.0) - 9.3).abs() < 0.1);
    assert!((humidity(20.0, 9.3) - 50.0).abs() < 0.5);
    for (celsius, percent) in [(-5.0, 80.0), (3.0, 99.0), (30.0, 12.0)] {
        assert!((humidity(celsius, dew_point(celsius, percent)) - percent).abs() < 1e-9);
    }
}
