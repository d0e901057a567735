//! A season told by mail over kills, a hung feed, and starts that are refused.

use std::collections::BTreeSet;
use std::net::TcpListener;
use std::time::Duration;

use black_box::program::{Build, Program, command, eventually, run};
use black_box::smtp::{Listener, Script};
use model::time::Instant;
use serde_json::json;

use crate::rig::{Api, BEGIN, Mail, Outside, block, farm, log, sent, site, state, steady_file};

const PATIENCE: Duration = Duration::from_secs(60);

#[tokio::test(flavor = "multi_thread")]
async fn a_season_is_told_once_over_kills() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal());
    let (mut program, base) = outside.serve(None, Some(&mail));
    let token = program.line("token for the API, shown this once: ");
    let api = Api::new(&base, &token);
    farm(&api).await;
    site(&api, "hill", true).await;
    block(&api, "bench", "hill").await;
    assert!(mail.wait_for(1, PATIENCE), "started: {}", mail.conversation());
    // Between passes: the outcome of what was sent is written.
    sent(&api, 1).await;
    program.kill();

    // At 15 °C 0.60 comes after 28.8 hours: within a day from 4.8 hours on.
    outside.set(5 * 60);
    let (program, base) = outside.serve(None, Some(&mail));
    assert!(mail.wait_for(2, PATIENCE), "heads-up");
    sent(&Api::new(&base, &token), 2).await;
    program.kill();
    // The forecast has it there, the readings do not yet.
    outside.set(28 * 60 + 50);
    let (program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    let season = state(&api, "bench", "growing").await;
    assert_eq!(season["legs"][0]["reached_at"], json!(null), "{season}");
    program.kill();
    // Each cell has its own moment in the hour: by now it has come again.
    outside.set(30 * 60 + 30);
    let (program, base) = outside.serve(None, Some(&mail));
    assert!(mail.wait_for(3, PATIENCE), "due");
    sent(&Api::new(&base, &token), 3).await;
    program.kill();
    let (program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    let season = state(&api, "bench", "due").await;

    let mails = Mail::heard(&mail);
    let kinds: Vec<&str> = mails.iter().map(|mail| mail.kind.as_str()).collect();
    assert_eq!(kinds, ["started", "heads-up", "due"]);
    for mail in &mails {
        let alert = api.get(&format!("alerts/{}", mail.alert)).await;
        let at: Instant = alert["about"]["at"].as_str().unwrap().parse().unwrap();
        let spoken = at.spoken("America/New_York".parse().unwrap());
        // What is likely is told no more exactly than it is known.
        assert!(mail.subject.contains(&spoken) || mail.kind == "heads-up", "{spoken}: {}", mail.subject);
        assert!(mail.text.contains(&spoken), "{spoken}: {}", mail.text);
        assert!(mail.subject.starts_with("bench: "), "{}", mail.subject);
        assert!(mail.text.contains("Read and follow the label"), "{}", mail.text);
        assert!(mail.text.contains("model (model-analysis)") || mail.kind == "started", "{}", mail.text);
        assert_eq!(alert["messages"][0]["header_id"], json!(mail.header_id));
    }
    // 0.60 of a style at half a style a day, from the count that was at the threshold.
    assert_eq!(season["legs"][0]["reached_at"], json!(BEGIN.plus(28 * 3600 + 48 * 60)));

    let sprayed = BEGIN.plus(29 * 3600);
    let spray = json!({
        "id": "c-spray", "kind": "spray", "material": "ammonium-thiosulfate", "at": sprayed, "finished_at": sprayed,
    });
    log(&api, "bench", spray).await;
    state(&api, "bench", "growing").await;
    // The leg is closed: a day on, far beyond its mark, nothing more is told.
    outside.set(30 * 60 + 30 + 24 * 60);
    let day_on = sprayed.plus(24 * 3600).to_string();
    eventually("the next day's readings", async || {
        let season = api.get("blocks/bench/seasons/2026").await;
        (season["as_of"].as_str() >= Some(day_on.as_str()) && season["stale"] == false).then_some(())
    })
    .await;
    let season = state(&api, "bench", "growing").await;
    assert!(season["legs"][1]["progress"].as_f64() > Some(0.4), "{season}");
    assert_eq!(api.get("alerts?limit=100").await["items"].as_array().map(Vec::len), Some(3));
    assert_eq!(mail.messages().len(), 3);

    // The second count turns out to be misread, and what was told falls.
    let reread = json!({"id": "b-count", "kind": "open-count", "at": BEGIN, "open_per_tree": [60, 60]});
    let correction =
        json!({"id": "d-reread", "kind": "correction", "of": "b-count", "at": sprayed, "entry": reread});
    log(&api, "bench", correction).await;
    // The start lies ahead again, and nobody has decided yet: one mail says all.
    assert!(mail.wait_for(4, PATIENCE), "three withdrawn, count and decide: {}", mail.conversation());
    sent(&api, 8).await;
    program.kill();
    let (_program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    state(&api, "bench", "watching").await;
    // A mail of the new service shows that it had nothing left of the old one's.
    block(&api, "terrace", "hill").await;
    assert!(mail.wait_for(5, PATIENCE), "the other block's first mail");
    let mails = Mail::heard(&mail);
    assert!(mails[3..8].iter().all(|mail| mail.subject.starts_with("bench: \"")), "{mails:?}");
    assert!(mails[3].subject.ends_with("(+4 more)"), "{mails:?}");
    let mut kinds: Vec<&str> = mails[3..8].iter().map(|mail| mail.kind.as_str()).collect();
    kinds.sort_unstable();
    assert_eq!(kinds, ["count-now", "decide", "withdrawn", "withdrawn", "withdrawn"]);
    assert!(mails[8..].iter().all(|mail| mail.subject.starts_with("terrace: ")), "{mails:?}");
    let ids: BTreeSet<&str> = mails.iter().map(|mail| mail.header_id.as_str()).collect();
    assert_eq!(ids.len(), mail.messages().len(), "each mail once");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hung_feed_holds_up_nothing_else() {
    let outside = Outside::answering_after(Duration::from_secs(3600)).await;
    let mail = Listener::start(Script::normal());
    let (mut program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &program.line("token for the API, shown this once: "));
    outside.set(30 * 60);
    farm(&api).await;
    site(&api, "valley", true).await;
    site(&api, "hill", false).await;
    eventually("the provider is asked", async || {
        outside.weather.received_requests().await.filter(|all| !all.is_empty())
    })
    .await;
    block(&api, "bench", "hill").await;
    let answer = api.upload("sites/hill/readings?source=hill-source", steady_file(30)).await;
    assert_eq!((&answer["stored"], &answer["refused"]), (&json!(55), &json!(0)), "{answer}");
    let due =
        eventually("a due mail", async || Mail::heard(&mail).into_iter().find(|mail| mail.kind == "due"))
            .await;
    assert!(due.text.contains("mast (station)"), "{}", due.text);
}

#[test]
fn the_plain_binary_knows_no_trial_clock() {
    let refused = run(Build::Plain, &["serve", "--trial-clock", "clock"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("unexpected argument '--trial-clock'"));
    let help = |build| String::from_utf8(run(build, &["serve", "--help"]).stdout).unwrap();
    assert!(!help(Build::Plain).contains("trial"));
    assert!(help(Build::Trial).contains("--trial-clock"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_serve_on_one_file_is_refused() {
    let outside = Outside::new().await;
    let (program, _) = outside.serve(None, None);
    let database = outside.folder.path().join("bloomtide.db").display().to_string();
    let second = run(Build::Plain, &["serve", "--database", &database, "--listen", "127.0.0.1:0"]);
    assert_eq!(second.status.code(), Some(2));
    let words = String::from_utf8_lossy(&second.stderr).into_owned();
    assert!(words.contains("another bloomtide serves") && words.contains("--database"), "{words}");
    // A link to the file leads to the same lock.
    let link = outside.folder.path().join("link.db");
    std::os::unix::fs::symlink(&database, &link).unwrap();
    let link = link.display().to_string();
    let second = run(Build::Plain, &["serve", "--database", &link, "--listen", "127.0.0.1:0"]);
    assert_eq!(second.status.code(), Some(2));
    program.kill();
    let (program, _) = outside.serve(None, None);
    assert!(program.stop());
    let (program, _) = outside.serve(None, None);
    assert!(program.stop());
}

/// The token is shown once, so a start that shows nothing must not use it up.
#[test]
fn a_refused_start_keeps_the_token_for_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (database, mails) = (at("b.db"), at("mail"));
    let serve = |listen: &str, from: &str| {
        let settings = ["serve", "--database", &database, "--mail-folder", &mails, "--listen", listen];
        command(Build::Plain, &[&settings[..], &["--mail-from", from]].concat())
    };
    let neighbour = TcpListener::bind("127.0.0.1:0").unwrap();
    let taken = neighbour.local_addr().unwrap().to_string();
    for (listen, from, words) in [
        (taken.as_str(), "clock@quernstone.example", "is it taken?"),
        ("127.0.0.1:0", "nobody", "--mail-from"),
    ] {
        let refused = serve(listen, from).output().unwrap();
        assert_eq!(refused.status.code(), Some(2));
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains(words) && refused.stdout.is_empty(), "{said}");
    }
    let mut program = Program::start(serve("127.0.0.1:0", "clock@quernstone.example"));
    assert!(program.line("token for the API, shown this once: ").starts_with("bt_"));
    assert!(program.stop());
    let mut program = Program::start(serve("127.0.0.1:0", "clock@quernstone.example"));
    program.line("no mail server is set");
    assert!(!program.seen().iter().any(|line| line.contains("bt_")), "shown once: {:?}", program.seen());
    assert!(program.stop());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_newer_database_is_refused() {
    let outside = Outside::new().await;
    let (program, _) = outside.serve(None, None);
    assert!(program.stop());
    let database = outside.folder.path().join("bloomtide.db");
    let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", database.display())).await.unwrap();
    let raised = sqlx::query(
        "INSERT INTO _sqlx_migrations (version, description, installed_on, success, checksum, execution_time) \
         SELECT 9999, description, installed_on, success, checksum, execution_time FROM _sqlx_migrations LIMIT 1",
    )
    .execute(&pool)
    .await
    .unwrap();
    assert_eq!(raised.rows_affected(), 1);
    pool.close().await;
    let database = database.display().to_string();
    for arguments in [vec!["serve", "--listen", "127.0.0.1:0", "--database"], vec!["migrate", "--database"]] {
        let refused = run(Build::Plain, &[arguments, vec![database.as_str()]].concat());
        assert_eq!(refused.status.code(), Some(2));
        let words = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(words.contains("the database is newer than this program"), "{words}");
    }
}
