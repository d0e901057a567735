//! `replay`: one season from a file.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use black_box::program::{Build, run};
use model::time::Instant;
use serde_json::Value;

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data")
}

/// The season kept beside the readings, with its weather file found from
/// anywhere, changed by `change`.
fn season(folder: &Path, change: impl Fn(String) -> String) -> String {
    let text = std::fs::read_to_string(data().join("north-bench-2013.toml")).unwrap();
    let weather = data().join("spring-2013.csv").display().to_string();
    let path = folder.join("season.toml");
    std::fs::write(
        &path,
        change(text.replace("spring-2013.csv\"\ntime_column", &format!("{weather}\"\ntime_column"))),
    )
    .unwrap();
    path.display().to_string()
}

fn json(arguments: &[&str]) -> Value {
    let run = run(Build::Plain, &[&["replay", "--format", "json"], arguments].concat());
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}

#[test]
fn a_season_comes_as_one_object_in_both_places() {
    let folder = tempfile::tempdir().unwrap();
    let whole = json(&[&season(folder.path(), |text| text)]);
    assert_eq!(whole["season"]["legs"], whole["legs"]);
    assert_eq!(whole["season"]["state"], "done");
    assert_eq!(whole["year"], 2013);
    let legs = whole["legs"].as_array().unwrap();
    assert_eq!(legs.len(), 3);
    assert_eq!(
        (&legs[0]["bound"], &legs[1]["bound"]),
        (&Value::from("not-before"), &Value::from("not-after"))
    );
    assert_eq!(legs[0]["ended_by_entry"], "spray-1");
    assert_eq!(legs[1]["opened_by"], "spray-1");
    assert_eq!(legs[2]["mark"], Value::Null);
    assert_eq!(whole["start"]["basis"], "between-counts");
    for field in ["observed", "filled", "forecast", "unknown"] {
        assert!(whole["hours"][field].is_number(), "{field}");
    }
}

#[test]
fn now_cuts_the_season_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let season = season(folder.path(), |text| text);
    let at = json(&[&season, "--now", "2013-05-01T12:00:00-04:00"]);
    assert_eq!(at["state"], "due");
    assert_eq!(at["as_of"], "2013-05-01T16:00:00Z");
    let codes: Vec<&str> =
        at["notes"].as_array().unwrap().iter().filter_map(|note| note["code"].as_str()).collect();
    assert!(codes.contains(&"entry-ahead") && codes.contains(&"readings-ahead"), "{codes:?}");
    let before = json(&[&season, "--now", "2013-04-28T12:00:00-04:00"]);
    assert_eq!((&before["state"], &before["start"]), (&Value::from("watching"), &Value::Null));
}

/// The reference run of a published-curve integration made outside this
/// program (tests/reference, scipy): a start logged at 29 April, 10:00.
#[test]
fn a_logged_start_gives_the_reference_run() {
    let golden: Value = serde_json::from_slice(&black_box::program::bytes(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/crossings.json"),
    ))
    .unwrap();
    let folder = tempfile::tempdir().unwrap();
    let mut compared = 0;
    for case in golden["reference_run"].as_array().unwrap().iter().filter(|case| case["station"] == "EWR") {
        let mark = case["mark"].as_f64().unwrap();
        let curve = case["curve"].as_str().unwrap();
        let season = season(folder.path(), |text| {
            let logs = text.find("[[log]]").unwrap();
            let start = "[[log]]\nid = \"s\"\nkind = \"bloom-start\"\nat = \"2013-04-29T10:00:00-04:00\"\n";
            format!("{}{start}", &text[..logs])
                .replace("curve = \"reference\"", &format!("curve = \"{curve}\""))
                .replace("mark = 0.60", &format!("mark = {mark:.2}"))
        });
        let at: Instant = json(&[&season])["legs"][0]["reached_at"].as_str().unwrap().parse().unwrap();
        let outside = case["reached_at_unix"].as_f64().unwrap();
        assert!((at.0 as f64 - outside).abs() <= 5.0, "{curve} {mark}: {at} against {outside}");
        compared += 1;
    }
    assert_eq!(compared, 4);
}

/// One leg for each curve and mark, from starts off the hour, against the same
/// integration made outside; a curve in mm comes inline with its style length.
#[test]
fn legs_of_every_curve_agree_with_the_integration_made_outside() {
    let reference = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/crossings.json");
    let golden: Value = serde_json::from_slice(&black_box::program::bytes(&reference)).unwrap();
    let nodes = &golden["curves"]["mm-nodes"]["nodes"];
    let inline = format!(
        "curve = {{ form = \"nodes\", unit = \"mm-per-hour\", nodes = {nodes}, source = \"made up\", status = \"constructed\" }}"
    );
    let folder = tempfile::tempdir().unwrap();
    let mut compared: Vec<(&str, f64)> = Vec::new();
    for case in golden["cases"].as_array().unwrap() {
        let start: Instant = case["start"].as_str().unwrap().parse().unwrap();
        let (curve, mark) = (case["curve"].as_str().unwrap(), case["mark"].as_f64().unwrap());
        let fits = case["station"] == "EWR" && case["kind"] == "instant" && start.0 % 3600 != 0;
        if !fits || compared.contains(&(curve, mark)) {
            continue;
        }
        let season = season(folder.path(), |text| {
            let log = format!("[[log]]\nid = \"s\"\nkind = \"bloom-start\"\nat = \"{start}\"\n");
            let curve = if curve == "mm-nodes" { inline.clone() } else { format!("curve = \"{curve}\"") };
            format!("{}{log}", &text[..text.find("[[log]]").unwrap()])
                .replace("curve = \"reference\"", &curve)
                .replace("mark = 0.60", &format!("mark = {mark:?}"))
        });
        let at = &json(&[&season])["legs"][0]["reached_at"];
        let at: Instant = at.as_str().unwrap_or_else(|| panic!("{case}")).parse().unwrap();
        // The beta function is tabled each 0.1 °C; the outside did both.
        let tabled = case["tabled_reached_at_unix"].as_f64();
        let outside = tabled.or(case["reached_at_unix"].as_f64()).unwrap();
        assert!((at.0 as f64 - outside).abs() <= 5.0, "{at} against {case}");
        compared.push((curve, mark));
    }
    let curves: BTreeSet<&str> = compared.iter().map(|(curve, _)| *curve).collect();
    assert_eq!(curves, BTreeSet::from(["cardinal", "mm-nodes", "reference"]), "{compared:?}");
    assert!(compared.len() >= 6, "{compared:?}");
}

#[test]
fn the_table_carries_the_caution() {
    let folder = tempfile::tempdir().unwrap();
    let run = run(Build::Plain, &["replay", &season(folder.path(), |text| text)]);
    let table = String::from_utf8(run.stdout).unwrap();
    assert!(table.contains("Read and follow the label") && table.contains("North Bench"), "{table}");
}

#[test]
fn no_mark_reached_is_no_error() {
    let folder = tempfile::tempdir().unwrap();
    let season = season(folder.path(), |text| {
        text.replace("target_fruit_per_tree = 115", "target_fruit_per_tree = 5000")
    });
    assert_eq!(json(&[&season])["state"], "done", "bloom-end is logged");
}

#[test]
fn bad_input_is_named_at_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let swapped = ("latitude = 40.6925\nlongitude = -74.1687", "latitude = -74.1687\nlongitude = 40.6925");
    let cases: Vec<(&str, (&str, &str), &[&str])> = vec![
        ("unknown zone", ("America/New_York", "America/Newyork"), &["/site/time_zone", "America/Newyork"]),
        ("swapped coordinates", swapped, &["/site/longitude", "swapped"]),
        (
            "unknown curve",
            ("curve = \"reference\"", "curve = \"spline\""),
            &["/block/curve", "spline", "cardinal"],
        ),
        ("cultivar without a curve", ("curve = \"reference\"\n", ""), &["/block/curve", "Gala"]),
        ("mark too high", ("mark = 0.60", "mark = 1.6"), &["/plan/0/mark", "0.05 to 1.5"]),
        ("mark too low", ("mark = 0.60", "mark = 0.01"), &["/plan/0/mark", "0.05 to 1.5"]),
        (
            "style too long",
            ("style_length_mm = 8.8", "style_length_mm = 31"),
            &["/block/style_length_mm", "1 to 30"],
        ),
        (
            "style too short",
            ("style_length_mm = 8.8", "style_length_mm = 0.5"),
            &["/block/style_length_mm", "1 to 30"],
        ),
        ("negative count", ("[41, 66", "[-41, 66"), &["/log/0/open_per_tree/0", "-41"]),
        ("fractional count", ("[41, 66", "[41.5, 66"), &["/log/0/open_per_tree/0", "41.5"]),
        ("unknown kind", ("kind = \"spray\"", "kind = \"sprayed\""), &["/log/2/kind", "sprayed", "spray"]),
        (
            "not a time",
            ("at = \"2013-04-28T10:00:00-04:00\"", "at = \"28 April\""),
            &["/log/0/at", "28 April"],
        ),
        ("same id twice", ("id = \"count-2\"", "id = \"count-1\""), &["count-1"]),
        ("misspelt field", ("flowers_per_cluster", "flowers_per_claster"), &["/block/flowers_per_claster"]),
        (
            "missing column",
            ("temperature_column = \"temp\"", "temperature_column = \"celsius\""),
            &["celsius", "temp"],
        ),
        ("kelvin that is fahrenheit", ("unit = \"fahrenheit\"", "unit = \"kelvin\""), &["kelvin"]),
        (
            "another encoding",
            ("kind = \"instant\"", "kind = \"instant\"\nencoding = \"utf-16le\""),
            &["utf-16le"],
        ),
        ("nothing matches", ("origin = \"EWR\"", "origin = \"EWX\""), &["EWX", "EWR", "JFK"]),
        (
            "unknown zone of the stamps",
            (
                "time_format = \"rfc3339\"",
                "time_format = \"%Y-%m-%dT%H:%M:%SZ\"\ntime_zone = \"Mars/Olympus\"",
            ),
            &["/weather/time_zone", "Mars/Olympus"],
        ),
        (
            "no such weather file",
            ("spring-2013.csv\"\ntime_column", "spring-2031.csv\"\ntime_column"),
            &["spring-2031.csv"],
        ),
        (
            "latitude out of range",
            ("latitude = 40.6925", "latitude = 140.6925"),
            &["/site/latitude", "140.6925"],
        ),
        ("no target", ("target_fruit_per_tree = 115\n", ""), &["target_fruit_per_tree"]),
        ("not a time of day", ("T20:20:00", "T25:20:00"), &["/log/2/finished_at", "25:20"]),
        ("broken toml", ("[block]", "[block"), &["season.toml"]),
    ];
    for (name, (from, to), words) in cases {
        let season = season(folder.path(), |text| {
            assert!(text.contains(from), "{name}: the season file lacks {from}");
            text.replacen(from, to, 1)
        });
        let run = run(Build::Plain, &["replay", "--format", "json", &season]);
        let error = String::from_utf8(run.stderr).unwrap();
        assert_eq!(run.status.code(), Some(2), "{name}: {error}");
        assert!(run.stdout.is_empty(), "{name}");
        for word in words {
            assert!(error.to_lowercase().contains(&word.to_lowercase()), "{name}: {word} is not in: {error}");
        }
    }
    let missing = run(Build::Plain, &["replay", "nowhere.toml"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&missing.stderr).contains("nowhere.toml"));
}

/// A file whose bytes are not in the encoding that the season file says.
#[test]
fn readings_in_another_encoding_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(data().join("spring-2013.csv")).unwrap();
    let readings = folder.path().join("utf-16.csv");
    let utf_16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    std::fs::write(&readings, utf_16).unwrap();
    let weather = data().join("spring-2013.csv").display().to_string();
    let season = season(folder.path(), |text| text.replace(&weather, &readings.display().to_string()));
    let refused = run(Build::Plain, &["replay", &season]);
    let error = String::from_utf8(refused.stderr).unwrap();
    assert_eq!(refused.status.code(), Some(2), "{error}");
    assert!(error.contains("utf-16.csv") && error.to_lowercase().contains("utf-8"), "{error}");
    assert!(refused.stdout.is_empty());
}

#[test]
fn an_unusual_style_length_is_noted_and_no_error() {
    let folder = tempfile::tempdir().unwrap();
    let of = |length: &str| {
        let to = format!("style_length_mm = {length}");
        let season = json(&[&season(folder.path(), |text| text.replace("style_length_mm = 8.8", &to))]);
        season["notes"].to_string()
    };
    for length in ["4.9", "15.5"] {
        assert!(of(length).contains("style-length-unusual"), "{length}: {}", of(length));
    }
    for length in ["5.0", "15.0"] {
        assert!(!of(length).contains("style-length-unusual"), "{length}: {}", of(length));
    }
}

/// JFK's one bad row, 2013-05-09T02Z, 13.1 °F between 57.02 and 57.2.
#[test]
fn a_bad_row_moves_no_crossing_while_the_checks_are_on() {
    let folder = tempfile::tempdir().unwrap();
    let spring = std::fs::read_to_string(data().join("spring-2013.csv")).unwrap();
    let bad = |line: &&str| line.starts_with("JFK") && line.ends_with("2013-05-09T02:00:00Z");
    assert_eq!(spring.lines().filter(bad).count(), 1);
    let clean: Vec<&str> = spring.lines().filter(|line| !bad(line)).collect();
    let clean_path = folder.path().join("clean.csv");
    std::fs::write(&clean_path, clean.join("\n") + "\n").unwrap();
    let mut moved = Vec::new();
    for day in 5..=8 {
        for hour in (0..24).step_by(6) {
            let reached = |checks: &str, clean: bool| {
                let season = season(folder.path(), |text| {
                    let log = format!(
                        "[[log]]\nid = \"s\"\nkind = \"bloom-start\"\nat = \"2013-05-{day:02}T{hour:02}:00:00-04:00\"\n"
                    );
                    let file = data().join("spring-2013.csv").display().to_string();
                    let text = format!("{}{log}", &text[..text.find("[[log]]").unwrap()])
                        .replace("origin = \"EWR\"", "origin = \"JFK\"")
                        .replace("checks = \"on\"", &format!("checks = \"{checks}\""));
                    if clean { text.replace(&file, &clean_path.display().to_string()) } else { text }
                });
                let season = json(&[&season, "--now", "2013-05-14T00:00:00Z"]);
                let failed =
                    season["notes"].as_array().unwrap().iter().any(|note| note["code"] == "readings-failed");
                (season["legs"][0]["reached_at"].as_str().unwrap().parse::<Instant>().unwrap(), failed)
            };
            let (with, told) = reached("on", false);
            let (without_row, _) = reached("on", true);
            let (taken, silent) = reached("off", false);
            assert_eq!(with, without_row, "5 to 8 May, {day} {hour}: to the second");
            assert!(!silent);
            if taken != with {
                assert!(told, "a leg that runs over it says so");
                moved.push(taken.since(with) / 60);
            }
        }
    }
    // The legs from each hour of those days, to 0.60 and 1.00, are moved by 34 to 146
    // minutes (crates/weather/CHECKS.md).
    assert!(moved.len() >= 4 && moved.iter().all(|minutes| (34..=146).contains(minutes)), "{moved:?}");
}

/// The season with more entries in its log, up to `now`.
fn with_entries(folder: &Path, entries: &str, now: &str) -> Value {
    let season = season(folder, |text| format!("{text}\n{entries}"));
    json(&[&season, "--now", now])
}

/// Common practice, no source, on numbers of our own: a target of 115, 207 clusters
/// of five. Four kings in five and nine laterals in ten: thin. One king in five and
/// 45 % of the laterals leave 414 live flowers, 3.6 for each fruit: stand down.
#[test]
fn the_verdict_is_given_with_what_would_change_it() {
    let folder = tempfile::tempdir().unwrap();
    let entries = |kings: i64, laterals: i64| {
        format!(
            r#"
[[log]]
id = "buds"
kind = "bud-count"
at = "2013-04-20T09:00:00-04:00"
buds_per_tree = [207, 207, 207]

[[log]]
id = "damage"
kind = "damage-count"
at = "2013-04-24T09:00:00-04:00"
kings_alive = {kings}
kings_dead = {}
laterals_alive = {laterals}
laterals_dead = {}
"#,
            200 - kings,
            800 - laterals
        )
    };
    let at = |entries: &str| with_entries(folder.path(), entries, "2013-04-30T12:00:00-04:00");
    let whole = at(&entries(160, 720));
    assert_eq!(whole["verdict"]["verdict"], "thin", "{}", whole["verdict"]);
    assert_eq!(whole["verdict"]["missing"], serde_json::json!(["forecast"]), "no forecast is not no frost");
    assert_eq!(whole["season"]["verdict"], whole["verdict"]);
    let frosted = at(&entries(40, 360));
    assert_eq!(frosted["verdict"]["row"], "few-flowers");
    let uncounted = at("");
    assert_eq!(uncounted["verdict"]["verdict"], "your-call");
    assert_eq!(uncounted["verdict"]["missing"], serde_json::json!(["bud-count", "damage-count", "forecast"]));
    // The table says it in words.
    let path = season(folder.path(), |text| format!("{text}\n{}", entries(40, 360)));
    let table = run(Build::Plain, &["replay", &path]);
    let text = String::from_utf8(table.stdout).unwrap();
    for said in
        ["verdict: stand down", "414 live flowers", "decided: nothing yet", "kings examined are alive"]
    {
        assert!(text.contains(said), "{said}: {text}");
    }
}

/// A start that another block lends is half a day wider on either side.
#[test]
fn a_lent_start_is_shown_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let lent = r#"
[lent.start]
from = "Upper Terrace"
at = "2013-04-29T10:00:00-04:00"
"#;
    let path = season(folder.path(), |text| {
        let counts = text.find("[[log]]").unwrap();
        format!("{}{lent}", &text[..counts])
    });
    let season = json(&[&path, "--now", "2013-05-03T00:00:00Z"]);
    assert_eq!(season["start"]["at"], "2013-04-29T14:00:00Z");
    assert_eq!(season["start"]["earliest"], "2013-04-29T02:00:00Z");
    assert_eq!(season["borrowed"]["start"], "Upper Terrace");
    // The same crossing as from a start logged there (tests/reference).
    assert_eq!(season["legs"][0]["reached_at"], "2013-05-01T13:50:08Z");
}

/// What is wrong with a count is said at its field.
#[test]
fn counts_that_do_not_add_up_are_refused_at_their_field() {
    let folder = tempfile::tempdir().unwrap();
    let path = season(folder.path(), |text| {
        format!(
            "{text}\n[[log]]\nkind = \"damage-count\"\nat = \"2013-04-24T09:00:00-04:00\"\nkings_alive = 10\nkings_dead = 3\nclusters_examined = 14\n"
        )
    });
    let refused = run(Build::Plain, &["replay", &path]);
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(said.contains("clusters_examined") && said.contains("13"), "{said}");
}
