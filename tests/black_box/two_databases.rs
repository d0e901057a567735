//! The service on Postgres, and two of it on one database.

use black_box::postgres::Postgres;
use black_box::program::{Build, eventually, run};

use crate::rig::{Api, Mail, Outside, block, farm, site, state};

#[tokio::test(flavor = "multi_thread")]
async fn two_services_on_one_postgres_send_each_mail_once() {
    let cluster = Postgres::start();
    let databases = cluster.database();
    let database = databases.service.clone();
    let unmigrated = run(Build::Plain, &["serve", "--database", &database, "--listen", "127.0.0.1:0"]);
    assert_eq!(unmigrated.status.code(), Some(2));
    let words = String::from_utf8_lossy(&unmigrated.stderr).into_owned();
    assert!(words.contains("bloomtide migrate"), "{words}");
    assert!(run(Build::Plain, &["migrate", "--database", &databases.owner]).status.success());

    for above in [&databases.owner, &databases.administrator] {
        let refused = run(Build::Plain, &["serve", "--database", above, "--listen", "127.0.0.1:0"]);
        assert_eq!(refused.status.code(), Some(2));
        let words = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(words.contains("the wall between farms would not hold"), "{words}");
    }

    let outside = Outside::new().await;
    let (mut one, base) = outside.serve(Some(&database), None);
    let (two, other) = outside.serve(Some(&database), None);
    let token = one.line("token for the API, shown this once: ");
    let api = Api::new(&base, &token);
    farm(&api).await;
    site(&api, "hill", true).await;
    for bench in ["bench-1", "bench-2", "bench-3", "bench-4"] {
        block(&api, bench, "hill").await;
    }
    outside.set(5 * 60);
    let mails = || Mail::in_folder(&outside.mail_folder());
    eventually("started and heads-up", async || (mails().len() >= 8).then_some(())).await;
    outside.set(30 * 60);
    for bench in ["bench-1", "bench-2", "bench-3", "bench-4"] {
        state(&Api::new(&other, &token), bench, "due").await;
    }
    eventually("due", async || (mails().len() >= 12).then_some(())).await;
    assert!(one.stop() && two.stop());
    let mails = mails();
    for kind in ["started", "heads-up", "due"] {
        assert_eq!(mails.iter().filter(|mail| mail.kind == kind).count(), 4, "{kind}");
    }
}
