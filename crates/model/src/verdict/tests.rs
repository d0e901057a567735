use serde_json::{Value, json};

use super::*;

fn shipped() -> Table {
    let document: toml::Value = toml::from_str(include_str!("../../../../config/verdict.toml")).unwrap();
    Table::read(&serde_json::to_value(document).unwrap()).unwrap()
}

/// 180 clusters of five, a target of 100, so many of 200 kings and of 800
/// laterals alive, each cluster counting once.
fn figures(kings: f64, laterals: f64) -> Figures {
    let measured = |share| Some(Measured { share, n: 200.0, per_cluster: 1.0 });
    Figures {
        target: 100.0,
        clusters: Some(180.0),
        flowers_per_cluster: 5.0,
        kings: measured(kings),
        laterals: measured(laterals),
        frost_ahead: Some(false),
        stand_down_line: 4.0,
        ..Figures::default()
    }
}

fn judge(figures: &Figures) -> Verdict {
    shipped().judge(figures)
}

fn value(verdict: &Verdict, figure: &str) -> f64 {
    verdict.lines.iter().find(|stand| stand.figure == figure).unwrap().value
}

/// Common practice, no source: 900 flowers on a tree for 100 fruit, one in nine
/// wanted. One king in five and 45 % of the laterals leave 360, 3.6 for each
/// fruit: stand down. Four kings in five and nine laterals in ten leave 792: thin.
#[test]
fn practice_on_both_sides() {
    let frosted = judge(&figures(0.2, 0.45));
    assert_eq!(frosted.verdict, Advice::StandDown);
    assert!((value(&frosted, "live-flowers-per-fruit") - 3.6).abs() < 1e-9);
    let whole = judge(&figures(0.8, 0.9));
    assert_eq!(whole.verdict, Advice::Thin);
    assert!((value(&whole, "live-flowers-per-fruit") - 7.92).abs() < 1e-9);
    assert!((value(&whole, "live-kings-per-fruit") - 1.44).abs() < 1e-9, "exactly on its line");
    // Six flowers in a cluster beside five.
    let six = judge(&Figures { flowers_per_cluster: 6.0, ..figures(0.2, 0.45) });
    assert_eq!(six.verdict, Advice::LeanStandDown, "{:.2}", value(&six, "live-flowers-per-fruit"));
}

/// Ratio exactly 1.8, share exactly 0.80, line exactly 4.0: at the line each
/// falls on the side that the table names; a hair beyond on the other.
#[test]
fn each_line_from_both_sides() {
    let verdict = |kings: f64, laterals: f64| judge(&figures(kings, laterals)).row;
    assert_eq!(verdict(0.80, 0.9), "enough-kings");
    assert_eq!(verdict(0.799, 0.9), "between", "too few kings and too uneven");
    let more = |kings: f64| judge(&Figures { clusters: Some(200.0), ..figures(kings, 0.9) }).row;
    assert_eq!(more(0.79), "uneven-damage");
    assert_eq!(more(0.80), "enough-kings");
    // 100 clusters: 1.0 king for each fruit is not below 1.
    let hundred = |kings| judge(&Figures { clusters: Some(100.0), ..figures(kings, 0.9) }).row;
    assert_eq!(hundred(1.0), "between");
    assert_eq!(hundred(0.99), "few-kings");
    // 100 clusters of five with king share 0.8 and four in five laterals: 4.0.
    let at = |laterals| judge(&Figures { clusters: Some(100.0), ..figures(0.8, laterals) });
    assert_eq!(at(0.8).verdict, Advice::StandDown, "{:?}", at(0.8).lines);
    assert_eq!(at(0.801).verdict, Advice::LeanStandDown);
    // A cultivar that bears every other year is stood down at 2.5 alone.
    let biennial = Figures { clusters: Some(100.0), stand_down_line: 2.5, ..figures(0.8, 0.8) };
    assert_eq!(judge(&biennial).row, "few-kings");
}

/// When the rows for thinning and for standing down both match, the first one
/// holds and both are shown.
#[test]
fn both_thin_and_stand_down_match() {
    let verdict = judge(&figures(0.8, 0.35));
    let rows: Vec<&str> = verdict.matching.iter().map(|row| row.row.as_str()).collect();
    assert_eq!(verdict.verdict, Advice::StandDown);
    assert_eq!(rows, ["few-flowers", "enough-kings", "uneven-damage", "between"]);
}

#[test]
fn frost_stands_before_the_counts() {
    let since = Figures {
        frost_since_count: true,
        frost_night: Some("the night of 29 April".into()),
        ..figures(0.8, 0.9)
    };
    let verdict = judge(&since);
    assert_eq!(verdict.verdict, Advice::CountFirst);
    assert!(verdict.would_change.iter().any(|change| change.contains("after the night of 29 April")));
    let ahead = Figures {
        frost_ahead: Some(true),
        frost_asked_until: Some("Thu 2 May, 18:00".into()),
        ..figures(0.8, 0.9)
    };
    let verdict = judge(&ahead);
    assert_eq!(verdict.verdict, Advice::Wait);
    assert!(verdict.would_change.contains(&"No frost by Thu 2 May, 18:00.".to_owned()));
}

/// No forecast is not "no frost": the row does not match, and it is named.
#[test]
fn a_missing_forecast_is_named() {
    let verdict = judge(&Figures { frost_ahead: None, ..figures(0.8, 0.9) });
    assert_eq!((verdict.verdict, verdict.missing), (Advice::Thin, vec!["forecast".to_owned()]));
}

/// A count that the table needs and nobody made leaves it to the person.
#[test]
fn a_missing_count_is_the_persons_call() {
    for (figures, missing) in [
        (Figures { clusters: None, ..figures(0.8, 0.9) }, "bud-count"),
        (Figures { kings: None, laterals: None, ..figures(0.8, 0.9) }, "damage-count"),
        (Figures { laterals: None, ..figures(0.8, 0.9) }, "laterals"),
    ] {
        let verdict = judge(&figures);
        assert_eq!((verdict.verdict, verdict.row.as_str()), (Advice::YourCall, "missing"));
        assert_eq!(verdict.missing, [missing]);
    }
    let uncounted = judge(&Figures { kings: None, laterals: None, ..figures(0.8, 0.9) });
    assert!(uncounted.would_change[0].contains("the table would say thin"), "{:?}", uncounted.would_change);
}

#[test]
fn no_fruit_wanted_is_no_timing() {
    let verdict = judge(&Figures { target: 0.0, ..figures(0.8, 0.9) });
    assert_eq!((verdict.verdict, verdict.close), (Advice::NoTiming, false));
    assert!(verdict.lines.is_empty() && verdict.missing.is_empty());
}

/// An interval across a line makes the verdict close and says how many more
/// clusters would tell; far from each line it is not close.
#[test]
fn close_verdicts_name_what_would_tell() {
    let sample = |share: f64, n: f64| Some(Measured { share, n, per_cluster: 1.0 });
    let near = Figures {
        clusters: Some(300.0),
        kings: sample(0.88, 50.0),
        laterals: sample(0.9, 50.0),
        ..figures(0.0, 0.0)
    };
    let verdict = judge(&near);
    assert_eq!((verdict.verdict, verdict.close), (Advice::Thin, true));
    // Wilson's lower edge of 0.88 passes 0.80 somewhere between 77 and 110 clusters.
    let (before, after) = (crate::stats::wilson(0.88, 77.0).0, crate::stats::wilson(0.88, 110.0).0);
    assert!(before < 0.80 && 0.80 < after);
    let more = verdict.more_clusters.unwrap();
    let edge = |more: usize| crate::stats::wilson(0.88, 50.0 + more as f64).0;
    assert!(edge(more) >= 0.80 && edge(more - 1) < 0.80, "{more}");
    let sound = Figures { kings: sample(0.95, 200.0), laterals: sample(0.95, 200.0), ..near.clone() };
    assert!(!judge(&sound).close);
    // A share on its line stays close however many are cut.
    let on = judge(&Figures { kings: sample(0.80, 50.0), ..near });
    assert_eq!((on.close, on.more_clusters), (true, None));
}

/// Clusters still to cut, by scipy (derived): none where no line is spanned, nor
/// beyond 200.
#[test]
fn clusters_needed_against_scipy() {
    let golden: Value =
        serde_json::from_str(include_str!("../../../../tests/reference/damage.json")).unwrap();
    let rows = golden["needed"].as_array().unwrap();
    let more: Vec<Option<u64>> = rows.iter().map(|row| row["more"].as_u64()).collect();
    assert!(more.contains(&Some(200)) && more.contains(&None));
    for row in rows {
        let table = Table::read(&json!({"row": [
            {"id": "a", "when": [{"figure": "live-king-share", "at_least": row["line"]}], "verdict": "thin",
             "says": "Thin.", "basis": "for tests"},
            {"id": "b", "verdict": "your-call", "says": "Your call.", "basis": "for tests"},
        ]}));
        let (share, n) = (row["share"].as_f64().unwrap(), row["n"].as_f64().unwrap());
        let kings = Some(Measured { share, n, per_cluster: 1.0 });
        let judged = table.unwrap().judge(&Figures { kings, ..figures(share, share) });
        assert_eq!(judged.more_clusters.map(|more| more as u64), row["more"].as_u64(), "{row}");
    }
}

#[test]
fn a_table_that_cannot_be_judged_is_refused_at_its_place() {
    let row = |when: Value| {
        json!({"row": [
            {"id": "a", "when": [when], "verdict": "thin", "says": "Thin.", "basis": "practice"},
            {"id": "b", "verdict": "your-call", "says": "Your call.", "basis": "constructed"},
        ]})
    };
    let fault = |document: &Value| Table::read(document).unwrap_err().to_string();
    assert!(Table::read(&row(json!({"figure": "live-king-share", "at_least": 0.8}))).is_ok());
    for (when, place) in [
        (json!({"figure": "moon", "at_least": 1}), "/row/0/when/0/figure"),
        (json!({"figure": "live-king-share"}), "/row/0/when/0/figure"),
        (json!({"figure": "live-king-share", "is": true}), "/row/0/when/0/figure"),
        (json!({"figure": "frost-forecast", "at_least": 1}), "/row/0/when/0/figure"),
        (json!({"figure": "target", "at_most": "high"}), "/row/0/when/0/at_most"),
    ] {
        assert!(fault(&row(when)).contains(place));
    }
    let open = json!({"row": [{"id": "a", "when": [{"figure": "target", "at_most": 0}], "verdict": "thin",
        "says": "Thin.", "basis": "practice"}]});
    assert!(fault(&open).contains("must hold always"));
}

/// Written and read again it is the same table, each side and kind of line in it.
#[test]
fn a_table_is_written_as_it_is_read() {
    assert_eq!(Table::read(&shipped().document()).unwrap(), shipped());
    let document = json!({"row": [
        {"id": "a", "when": [
            {"figure": "target", "below": 1.5},
            {"figure": "live-king-share", "above": 0.25},
            {"figure": "live-flowers-per-fruit", "at_least": "stand-down-line"},
            {"figure": "live-kings-per-fruit", "at_most": 2.0},
            {"figure": "frost-forecast", "is": false},
        ], "verdict": "your-call", "says": "Look.", "basis": "constructed"},
        {"id": "b", "verdict": "thin", "says": "Thin.", "basis": "constructed"},
    ]});
    assert_eq!(Table::read(&document).unwrap().document(), document);
}
