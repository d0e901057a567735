//! Odds, slots, the round, and looking back, over the running service.

use std::time::Duration;

use black_box::program::{Build, command, run};
use black_box::smtp::{Listener, Script};
use serde_json::{Value, json};

use crate::rig::{Api, BEGIN, Mail, Outside, block, farm, sent, site, state};

const PATIENCE: Duration = Duration::from_secs(60);

fn told(output: &std::process::Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_lies_ahead_has_odds_and_slots_and_is_held_against_what_came() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal());
    let (mut program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &program.line("token for the API, shown this once: "));
    farm(&api).await;
    site(&api, "hill", true).await;
    block(&api, "bench", "hill").await;
    let season = state(&api, "bench", "growing").await;
    assert!(mail.wait_for(1, PATIENCE), "started");
    sent(&api, 1).await;

    // 15 °C for ever is half a style a day: 0.60 after 28.8 hours.
    let leg = &season["odds"]["legs"][0];
    let moment = |at: &Value| at.as_str().unwrap().parse::<model::time::Instant>().unwrap();
    let (early, likely, late) =
        (moment(&leg["odds"]["early"]), moment(&leg["odds"]["likely"]), moment(&leg["odds"]["late"]));
    assert!(early < likely && likely < late, "{leg}");
    let off = likely.since(BEGIN.plus(28 * 3_600 + 48 * 60));
    assert!(off.abs() < 4 * 3_600, "{off} s off the single forecast: {leg}");
    assert!(leg["odds"]["draws"].as_u64().unwrap() >= 1_000, "{leg}");
    let odds = api
        .get(&format!("blocks/bench/seasons/2026/odds?by={}", leg["odds"]["likely"].as_str().unwrap()))
        .await;
    assert_eq!(odds["chances"][0]["likely"], leg["odds"]["likely"], "{odds}");
    assert!((odds["chances"][0]["chance"].as_f64().unwrap() - 0.5).abs() < 0.1, "{odds}");
    assert!(odds["told"][0].as_str().unwrap().contains("leg 1, 0.60 of the style"), "{odds}");
    // The one limit that ships for this material is known to hold at 15 °C.
    let slot = &season["slots"][0];
    assert_eq!((&slot["outcome"], &slot["wanted"]["leg"]), (&json!("named"), &json!(1)), "{slot}");
    // Hour by hour it is looked at anew.
    assert_eq!(slot["hours"], json!([]), "{slot}");
    let hourly = api.get("blocks/bench/seasons/2026/slots").await;
    assert_eq!(hourly["slots"][0]["slot"], slot["slot"], "{hourly}");
    assert!(hourly["slots"][0]["hours"].as_array().unwrap().len() > 24, "{hourly}");
    // Late is what lets flowers through, where counts tell how many.
    let sprayers = json!({"sprayers": [{"name": "the old one", "hectares_per_hour": 2}]});
    let round = api.post("farms/farm/round", sprayers.clone()).await;
    let visit = &round["runs"][0]["visits"][0];
    assert_eq!((&visit["block"], visit["flowers_late"].is_number()), (&json!("bench"), true), "{round}");
    outside.set(10 * 60);
    assert!(mail.wait_for(2, PATIENCE), "started and heads-up");
    let mails = Mail::heard(&mail);
    let heads_up = mails.iter().find(|mail| mail.kind == "heads-up").unwrap_or_else(|| panic!("{mails:?}"));
    for words in
        ["Early (1 in 10)", "Leg 1, from its mark on, within the limits set", "No limit is set for wind"]
    {
        assert!(heads_up.text.contains(words), "{words}: {}", heads_up.text);
    }
    sent(&api, 2).await;

    // Who is told of a slot hears when it closes.
    let own = json!({"limit": [{"what": "warmest", "at": 12, "source": "our own", "status": "own"}]});
    api.set("farms/farm/slot-limits", own).await;
    let season = state(&api, "bench", "growing").await;
    assert_eq!(season["slots"][0]["outcome"], "never", "{}", season["slots"][0]);
    let hourly = api.get("blocks/bench/seasons/2026/slots").await;
    assert_eq!(hourly["slots"][0]["outcome"], "never", "by the farm's own limits: {hourly}");
    assert!(mail.wait_for(3, PATIENCE), "slot-lost");
    let lost = Mail::heard(&mail).into_iter().find(|mail| mail.kind == "slot-lost").unwrap();
    assert!(lost.subject.contains("has closed - none other so far"), "{}", lost.subject);
    assert!(lost.text.contains("our own"), "{}", lost.text);

    // The round says what it lacks.
    let round = api.post("farms/farm/round", sprayers).await;
    assert_eq!(round["runs"][0]["visits"], json!([]), "{round}");
    assert_eq!(round["left_out"][0]["block"], "bench", "{round}");

    outside.set(30 * 60);
    state(&api, "bench", "due").await;
    sent(&api, 4).await;
    let verified = api.get("farms/farm/verification").await;
    assert_eq!(verified["scores"][0]["odds"]["coverage"], json!(1.0), "{verified}");
    assert!(verified["told"][0].as_str().unwrap().contains("too few to judge"), "{verified}");
    assert!(program.stop());

    let database = outside.folder.path().join("bloomtide.db").display().to_string();
    let verify = told(&run(Build::Plain, &["verify", "--database", &database]));
    assert!(verify.starts_with("Quernstone:") && verify.contains("too few to judge"), "{verify}");
    // Steady air is no real weather: it is taken as it is here too.
    let checks = outside.folder.path().join("checks.toml");
    let run = |build, arguments: &[&str]| {
        command(build, arguments).env("BLOOMTIDE_CHECKS", &checks).output().unwrap()
    };
    let picture = outside.folder.path().join("springs.svg").display().to_string();
    let asked = ["hindcast", "hill", "--database", &database, "--start", "05-01T00:00", "--from", "2026"];
    let more = ["--to", "2026", "--mark", "0.30", "--mark", "0.30"];
    let drawn = [&asked[..], &more, &["--picture", &picture]].concat();
    let springs = told(&run(Build::Plain, &drawn));
    // 0.30 is 14.4 hours at 15 °C.
    assert!(springs.contains("leg 1: 14 to 14 h, 14 in the middle, of 1 springs"), "{springs}");
    assert!(std::fs::read_to_string(&picture).unwrap().contains("<title>hill, reference"), "{picture}");
    let csv = told(&run(Build::Plain, &[&asked[..], &more, &["--format", "csv"]].concat()));
    assert!(csv.starts_with("Year,Start,Leg") && csv.lines().count() == 3, "{csv}");
    let nothing = run(Build::Plain, &[&asked[..6], &["--from", "1990", "--to", "1991"]].concat());
    assert!(!nothing.status.success());
    let said = String::from_utf8_lossy(&nothing.stderr).into_owned();
    assert!(said.contains("no readings of such a spring") && said.contains("--archive"), "{said}");
}
