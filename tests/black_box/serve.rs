//! A season told by mail, over kills and hung neighbours.

use std::time::Duration;

use black_box::program::{Build, eventually, run};
use black_box::smtp::{Act, Listener, Script, Step};
use model::time::Instant;
use serde_json::json;

use crate::rig::{Api, BEGIN, Mail, Outside, block, farm, log, site, state, steady_file};

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
    // An hour after the fetch before, when the cell is due again.
    outside.set(29 * 60 + 51);
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
        assert!(mail.subject.contains(&spoken), "{spoken}: {}", mail.subject);
        assert!(mail.subject.starts_with("bench: "), "{}", mail.subject);
        assert!(mail.text.contains("Read and follow the label"), "{}", mail.text);
        assert!(mail.text.contains("model (model-analysis)") || mail.kind == "started", "{}", mail.text);
        assert_eq!(alert["messages"][0]["header_id"], json!(mail.header_id));
    }
    // 0.60 of a style at half a style a day, from the count that was at the threshold.
    assert_eq!(season["legs"][0]["reached_at"], json!(BEGIN.plus(28 * 3600 + 48 * 60)));

    let spray = json!({
        "id": "c-spray", "kind": "spray", "material": "ammonium-thiosulfate", "at": BEGIN.plus(29 * 3600),
        "finished_at": BEGIN.plus(29 * 3600),
    });
    log(&api, "bench", spray).await;
    state(&api, "bench", "growing").await;
    // The counts turn out to be another block's: what was told falls.
    for (id, of) in [("d-back", "a-count"), ("e-back", "b-count")] {
        log(&api, "bench", json!({"id": id, "kind": "withdrawal", "of": of, "at": BEGIN.plus(29 * 3600)}))
            .await;
    }
    let withdrawn = eventually("withdrawals", async || {
        let kinds: Vec<String> = Mail::heard(&mail).into_iter().skip(3).map(|mail| mail.kind).collect();
        (kinds.len() >= 3).then_some(kinds)
    })
    .await;
    assert_eq!(withdrawn, ["withdrawn", "withdrawn", "withdrawn"], "started, heads-up, due");
    sent(&api, 6).await;
    program.kill();
    let (_program, base) = outside.serve(None, Some(&mail));
    state(&Api::new(&base, &token), "bench", "watching").await;
    let ids: std::collections::BTreeSet<String> =
        Mail::heard(&mail).into_iter().map(|mail| mail.header_id).collect();
    assert_eq!((ids.len(), mail.messages().len()), (6, 6), "each mail once");
}

/// Waits until the service knows of `count` mails that they were taken.
async fn sent(api: &Api, count: usize) {
    eventually("mails known as sent", async || {
        let mut sent = 0;
        for alert in api.get("alerts?limit=100").await["items"].as_array().unwrap() {
            let alert = api.get(&format!("alerts/{}", alert["id"].as_str().unwrap())).await;
            sent +=
                alert["messages"].as_array().unwrap().iter().filter(|mail| mail["state"] == "sent").count();
        }
        (sent == count).then_some(())
    })
    .await;
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

#[tokio::test(flavor = "multi_thread")]
async fn a_hung_mail_server_holds_up_nothing_else() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal().at(Step::Greeting, Act::Hang));
    let (mut program, base) = outside.serve(None, Some(&mail));
    let token = program.line("token for the API, shown this once: ");
    let api = Api::new(&base, &token);
    farm(&api).await;
    site(&api, "hill", true).await;
    block(&api, "bench", "hill").await;
    eventually("a connection", async || (mail.connections() > 0).then_some(())).await;
    outside.set(30 * 60);
    state(&api, "bench", "due").await;
    assert_eq!(mail.messages().len(), 0);
    // It still stops when asked, with a send under way.
    assert!(program.stop(), "ends well");
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
    program.kill();
    let (program, _) = outside.serve(None, None);
    assert!(program.stop());
    let (program, _) = outside.serve(None, None);
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
