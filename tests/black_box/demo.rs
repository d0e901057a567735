//! The demo says what the service says, and follows the weather.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::OnceLock;

use black_box::program::{Build, Program, command, run};
use model::time::Instant;
use serde_json::Value;

use crate::rig::{Api, Mail};

/// What a run printed of its alerts: (block, kind) to the moments, in order.
type Told = BTreeMap<(String, String), Vec<Instant>>;

/// `Wed 1 May, 10:00   North Bench   due   0.60 reached … [2013-05-01T13:17:02Z]`
fn told<'a>(lines: impl Iterator<Item = &'a str>) -> Told {
    let mut told = Told::new();
    for line in lines {
        let columns: Vec<&str> =
            line.split("  ").map(str::trim).filter(|column| !column.is_empty()).collect();
        let (Some(block), Some(kind)) = (columns.get(1), columns.get(2)) else { continue };
        let Some(at) = line.rsplit_once('[').and_then(|(_, at)| at.strip_suffix(']')) else { continue };
        told.entry(((*block).to_owned(), (*kind).to_owned())).or_default().push(at.parse().unwrap());
    }
    told
}

fn played(folder: &Path, flags: &[&str]) -> String {
    let folder = folder.display().to_string();
    let run = run(Build::Plain, &[&["demo", "--pace", "0", "--exit", "--dir", &folder], flags].concat());
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    String::from_utf8(run.stdout).unwrap()
}

/// The printout of a run as it is, played once for all tests that compare with
/// it.
fn plain() -> &'static str {
    static PLAIN: OnceLock<String> = OnceLock::new();
    PLAIN.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        played(&folder.path().join("plain"), &[])
    })
}

/// A printout up to the folders named at its end, without the mails' ids.
fn without_ids(printed: &str) -> Vec<&str> {
    let story = printed.lines().take_while(|line| !line.starts_with("database "));
    story
        .map(|line| line.rsplit_once(" (").filter(|(_, id)| id.ends_with(".eml)")).map_or(line, |cut| cut.0))
        .collect()
}

fn due<'a>(told: &'a Told, block: &str) -> &'a [Instant] {
    told.get(&(block.to_owned(), "due".to_owned())).map_or(&[], Vec::as_slice)
}

const BLOCKS: [&str; 5] = ["North Bench", "North Bench (cardinal)", "Mill Terrace", "Shore Row", "Old Dam"];

#[tokio::test(flavor = "multi_thread")]
async fn printout_api_and_mails_name_the_same_times() {
    let folder = tempfile::tempdir().unwrap();
    let shown = folder.path().display().to_string();
    let mut program = Program::start(command(Build::Plain, &["demo", "--pace", "0", "--dir", &shown]));
    let address = program.line("API ");
    let token = program.line("token ");
    let mails = program.line("mails ");
    let story = program.seen().join("\n");
    assert_eq!(without_ids(&story), without_ids(plain()), "two runs tell the same, line by line");
    let printed = told(story.lines());
    let api = Api::new(address.strip_suffix("/alerts").unwrap(), &token);

    let mut from_api = Told::new();
    let mut at_of_alert = BTreeMap::new();
    let page = api.get("alerts?limit=500").await;
    assert_eq!(page["next"], Value::Null);
    for alert in page["items"].as_array().unwrap().iter().filter(|alert| alert["status"] == "told") {
        let block = api.get(&format!("blocks/{}", alert["block_id"].as_str().unwrap())).await;
        let at: Instant = alert["about"]["at"].as_str().unwrap().parse().unwrap();
        let key = (block["name"].as_str().unwrap().to_owned(), alert["kind"].as_str().unwrap().to_owned());
        from_api.entry(key).or_default().push(at);
        at_of_alert.insert(alert["id"].as_str().unwrap().to_owned(), at);
    }
    assert_eq!(printed, from_api);
    for block in BLOCKS {
        assert_eq!(due(&printed, block).len(), 2, "{block} is due twice");
    }

    let mails = Mail::in_folder(Path::new(&mails));
    assert_eq!(mails.len(), at_of_alert.len(), "a mail for each alert told");
    for mail in mails {
        let spoken = at_of_alert[&mail.alert].spoken("America/New_York".parse().unwrap());
        // Of several in one mail the subject names the most urgent.
        let several = mail.subject.ends_with("more)");
        // What is likely is told no more exactly than it is known.
        let likely = mail.subject.contains(" likely ");
        assert!(several || likely || mail.subject.contains(&spoken), "{spoken}: {}", mail.subject);
        assert!(mail.text.contains(&spoken), "{spoken}: {}", mail.text);
    }
    // The season's own crossings are those that were told.
    let season = api.get("blocks/north-bench/seasons/2013").await;
    let crossings: Vec<Instant> = season["legs"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|leg| leg["reached_at"].as_str())
        .map(|at| at.parse().unwrap())
        .collect();
    assert_eq!(crossings, due(&printed, "North Bench"));
    assert_eq!(season["state"], "done");
    assert!(program.stop(), "ends well when asked");
}

#[test]
fn warmer_air_brings_each_due_time_forward() {
    let folder = tempfile::tempdir().unwrap();
    let warm = played(&folder.path().join("warm"), &["--warmer", "3"]);
    assert!(warm.contains("raised by 3 °C"), "{warm}");
    let (plain, warm) = (told(plain().lines()), told(warm.lines()));
    for block in BLOCKS {
        let (plain, warm) = (due(&plain, block), due(&warm, block));
        assert_eq!((plain.len(), warm.len()), (2, 2), "{block}");
        for (plain, warm) in plain.iter().zip(warm) {
            assert!(warm < plain, "{block}: {warm} is not before {plain}");
        }
    }
}

/// The trees of North Bench run on two curves, and a spray left out there is
/// left out for both.
#[test]
fn without_a_spray_nothing_is_due_again() {
    let folder = tempfile::tempdir().unwrap();
    let printed = played(&folder.path().join("less"), &["--leave-out", "North Bench/1"]);
    let (plain, less) = (told(plain().lines()), told(printed.lines()));
    for block in BLOCKS {
        if block.starts_with("North Bench") {
            assert_eq!(due(&less, block), &due(&plain, block)[..1], "{block} is due once, and not again");
            let overrun = |line: &str| line.contains(&format!(" {block}  ")) && line.contains(" overrun ");
            assert!(printed.lines().any(overrun), "{block}: {printed}");
        } else {
            assert_eq!(due(&less, block), due(&plain, block), "{block}");
        }
    }
}

#[test]
fn a_spray_that_is_not_there_cannot_be_left_out() {
    for (spray, words) in
        [("South Bench/1", "North Bench"), ("North Bench", "BLOCK/NUMBER"), ("North Bench/0", "from 1")]
    {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("demo").display().to_string();
        let refused = run(Build::Plain, &["demo", "--exit", "--dir", &dir, "--leave-out", spray]);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{said}");
        assert!(said.contains(words), "{spray}: {said}");
    }
}
