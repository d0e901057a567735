//! Mail servers that hang, and ends in the midst of a conversation with one.

use std::time::Duration;

use black_box::program::{Program, eventually};
use black_box::smtp::{Act, Listener, Script, Step};
use serde_json::json;

use crate::rig::{Api, Mail, Outside, block, farm, sent, site, state};

/// Longest wait for a mail.
const PATIENCE: Duration = Duration::from_secs(60);

/// Longer than any test.
const NEVER: Duration = Duration::from_secs(3600);

/// Minutes until a message that a killed service had in hand is handed out
/// again: the lease is 20 minutes.
const LEASE_OVER: i64 = 25;

/// A service with one block whose clock has just started, so that one mail is
/// to be sent.
async fn one_mail(outside: &Outside, mail: &Listener) -> (Program, Api, String) {
    let (mut program, base) = outside.serve(None, Some(mail));
    let token = program.line("token for the API, shown this once: ");
    let api = Api::new(&base, &token);
    farm(&api).await;
    site(&api, "hill", true).await;
    block(&api, "bench", "hill").await;
    (program, api, token)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hung_mail_server_holds_up_nothing_else() {
    let outside = Outside::new().await;
    let mail = Listener::start(Script::normal().at(Step::Greeting, Act::Hang));
    let (program, api, _) = one_mail(&outside, &mail).await;
    eventually("a connection", async || (mail.connections() > 0).then_some(())).await;
    outside.set(30 * 60);
    state(&api, "bench", "due").await;
    assert_eq!(mail.messages().len(), 0);
    // It still stops when asked, with sends under way.
    assert!(program.stop(), "ends well");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hung_conversation_holds_up_no_other_mail_and_is_taken_up_again() {
    let outside = Outside::new().await;
    let hung = Script::normal().at(Step::Greeting, Act::Hang).for_first(1, Script::normal());
    let mail = Listener::start(hung);
    let (program, api, token) = one_mail(&outside, &mail).await;
    eventually("a connection", async || (mail.connections() == 1).then_some(())).await;
    block(&api, "terrace", "hill").await;
    assert!(mail.wait_for(1, PATIENCE), "terrace: {}", mail.conversation());
    sent(&api, 1).await;
    program.kill();

    outside.set(LEASE_OVER);
    let (_program, base) = outside.serve(None, Some(&mail));
    assert!(mail.wait_for(2, PATIENCE), "bench: {}", mail.conversation());
    sent(&Api::new(&base, &token), 2).await;
    let subjects: Vec<String> = Mail::heard(&mail).into_iter().map(|mail| mail.subject).collect();
    assert_eq!(subjects.len(), 2, "{subjects:?}");
    assert!(subjects[0].starts_with("terrace: ") && subjects[1].starts_with("bench: "), "{subjects:?}");
}

/// The server took the mail, the service was killed before it heard so: one
/// more copy goes out, the same to the byte, and no third.
#[tokio::test(flavor = "multi_thread")]
async fn a_kill_before_the_reply_costs_one_more_copy_of_the_same_bytes() {
    let outside = Outside::new().await;
    let slow = Script::normal().at(Step::Dot, Act::Drip(NEVER)).for_first(1, Script::normal());
    let mail = Listener::start(slow);
    let (program, _, token) = one_mail(&outside, &mail).await;
    assert!(mail.wait_for(1, PATIENCE), "started: {}", mail.conversation());
    program.kill();

    // As long as the lease runs, nobody knows but that it is still under way.
    let (program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    block(&api, "terrace", "hill").await;
    assert!(mail.wait_for(2, PATIENCE), "started: {}", mail.conversation());
    sent(&api, 1).await;
    let first = mail.messages().remove(0);
    assert!(mail.messages()[1..].iter().all(|other| other.bytes != first.bytes));

    outside.set(LEASE_OVER);
    assert!(mail.wait_for(3, PATIENCE), "the copy: {}", mail.conversation());
    sent(&api, 2).await;
    program.kill();
    outside.set(2 * LEASE_OVER);
    let (_program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    block(&api, "orchard-end", "hill").await;
    assert!(mail.wait_for(4, PATIENCE), "started: {}", mail.conversation());
    sent(&api, 3).await;

    let messages = mail.messages();
    assert_eq!(messages.len(), 4, "{}", mail.conversation());
    assert_eq!(messages[2].bytes, first.bytes, "the same Message-ID and the same bytes");
    let copies = messages.iter().filter(|other| other.bytes == first.bytes).count();
    assert_eq!(copies, 2);
}

/// A stop that is asked for lets the server's reply come in first.
#[tokio::test(flavor = "multi_thread")]
async fn a_stop_amid_a_mail_costs_no_copy() {
    let outside = Outside::new().await;
    let reply = Act::Late(Duration::from_secs(1));
    let mail = Listener::start(Script::normal().at(Step::Dot, reply).for_first(1, Script::normal()));
    let (program, _, token) = one_mail(&outside, &mail).await;
    assert!(mail.wait_heard("\r\n.\r\n", PATIENCE), "{}", mail.conversation());
    assert!(program.stop(), "ends well");
    assert_eq!(mail.messages().len(), 1, "the stop waited for the reply");

    outside.set(LEASE_OVER);
    let (_program, base) = outside.serve(None, Some(&mail));
    let api = Api::new(&base, &token);
    sent(&api, 1).await;
    block(&api, "terrace", "hill").await;
    assert!(mail.wait_for(2, PATIENCE), "started: {}", mail.conversation());
    sent(&api, 2).await;
    let ids: Vec<String> = Mail::heard(&mail).into_iter().map(|mail| mail.header_id).collect();
    assert!(ids.len() == 2 && ids[0] != ids[1], "{ids:?}");
    let alerts = api.get("alerts?limit=100").await;
    assert_eq!(alerts["items"].as_array().map(Vec::len), Some(2), "{}", json!(alerts));
}
