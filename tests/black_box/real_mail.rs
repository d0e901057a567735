//! The program and a real mail server: what it sends is read back from the box,
//! and whatever is wrong with the way there, nothing goes unprotected.

use std::path::Path;

use black_box::mail_server::{BOXES, GONE, MailServer, PASSWORD, Way};
use black_box::program::{Program, eventually};
use mail_parser::MessageParser;
use serde_json::json;

use crate::rig::{Api, Mail, Outside, block, sent, site};

/// Minutes until a message that was put off is tried again.
const TRIED_AGAIN: i64 = 2;

fn serve(
    outside: &Outside,
    server: &MailServer,
    url: &str,
    trusted: bool,
    more: &[&str],
) -> (Program, String) {
    let authority = server.authority().display().to_string();
    let mut arguments = vec!["--smtp", url];
    if trusted {
        arguments.extend(["--smtp-ca", &authority]);
    }
    arguments.extend(more);
    outside.serve_with(None, &arguments)
}

/// One block whose clock has just started, and one mail about it for `address`.
async fn one_alert(program: &mut Program, base: &str, address: &str) -> (Api, String) {
    let token = program.line("token for the API, shown this once: ");
    let api = Api::new(base, &token);
    api.post("farms", json!({"id": "farm", "name": "Quernstone", "alert_emails": [address]})).await;
    site(&api, "hill", true).await;
    block(&api, "bench", "hill").await;
    (api, token)
}

/// The sentence that the API has for the one message that there is, once it was
/// put off. The server then hears of a second try when its time has come.
async fn put_off(outside: &Outside, server: &MailServer, api: &Api, why: &str) -> String {
    let said = eventually("put off", async || {
        let alerts = api.get("alerts?limit=100").await;
        let alert = alerts["items"].as_array()?.first()?["id"].as_str()?.to_owned();
        let message = api.get(&format!("alerts/{alert}")).await["messages"].as_array()?.first()?.clone();
        assert_eq!(message["state"], "ready", "{message}");
        message["last_error"].as_str().map(str::to_owned)
    })
    .await;
    let tries = || server.log().matches(why).count();
    assert_eq!(tries(), 1, "{why}: {}", server.log());
    outside.set(TRIED_AGAIN);
    eventually("tried again", async || (tries() > 1).then_some(())).await;
    said
}

/// Nobody had a mail, and no sender or recipient was told to the server.
fn nothing_told(server: &MailServer) {
    let log = server.log();
    assert!(BOXES.iter().all(|name| server.mails(name).is_empty()), "{log}");
    assert!(!log.contains("client=") && !log.contains("from=<"), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_real_server_takes_the_mail_and_the_box_holds_it_as_it_was_composed() {
    let server = MailServer::start("127.0.0.1");
    for (number, way) in [Way::StartTls, Way::Tls].into_iter().enumerate() {
        let outside = Outside::new().await;
        let url = server.url(way, PASSWORD);
        let (mut program, base) = serve(&outside, &server, &url, true, &[]);
        let (api, _) = one_alert(&mut program, &base, "grower@quernstone.example").await;
        let bytes = server.wait_for("grower", number + 1).remove(number);
        sent(&api, 1).await;

        let mail = Mail::read(&bytes);
        assert_eq!(mail.kind, "started");
        assert!(mail.subject.starts_with("bench: "), "{}", mail.subject);
        assert!(
            mail.text.contains("bench") && mail.text.contains("Read and follow the label"),
            "{}",
            mail.text
        );
        let read = MessageParser::default().parse(&bytes).unwrap();
        let address = |list: Option<&mail_parser::Address<'_>>| {
            list.and_then(|list| list.first()).and_then(|one| one.address()).map(str::to_owned)
        };
        assert_eq!(address(read.from()).as_deref(), Some("clock@quernstone.example"));
        assert_eq!(address(read.to()).as_deref(), Some("grower@quernstone.example"));
        assert!(mail.header_id.ends_with("@quernstone.example"), "{}", mail.header_id);
        assert_eq!(read.return_path().as_text(), Some("clock@quernstone.example"));
        assert!(read.body_html(0).unwrap().contains("bench"));
        // `ESMTPSA`: within TLS, and signed in.
        let received = read.header_raw("Received").unwrap();
        assert!(received.contains("ESMTPSA"), "{received}");
        assert!(server.log().contains("sasl_method=PLAIN"), "{}", server.log());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_is_said_tried_again_and_mended_by_the_right_one() {
    let server = MailServer::start("127.0.0.1");
    let outside = Outside::new().await;
    let (mut program, base) = serve(&outside, &server, &server.url(Way::StartTls, "wr0ng"), true, &[]);
    let (api, token) = one_alert(&mut program, &base, "grower@quernstone.example").await;
    let said = put_off(&outside, &server, &api, "authentication failed").await;
    assert!(said.starts_with("535 at signing in: ") && !said.contains("wr0ng"), "{said}");
    nothing_told(&server);

    program.kill();
    let (_program, base) = serve(&outside, &server, &server.url(Way::StartTls, PASSWORD), true, &[]);
    outside.set(20);
    server.wait_for("grower", 1);
    sent(&Api::new(&base, &token), 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_certificate_for_another_name_or_from_nobody_known_gets_no_mail() {
    for (name, trusted) in [("other.example", true), ("127.0.0.1", false)] {
        for way in [Way::StartTls, Way::Tls] {
            let server = MailServer::start(name);
            let outside = Outside::new().await;
            let (mut program, base) = serve(&outside, &server, &server.url(way, PASSWORD), trusted, &[]);
            let (api, _) = one_alert(&mut program, &base, "grower@quernstone.example").await;
            let said = put_off(&outside, &server, &api, "TLS library problem").await;
            assert!(said.starts_with("TLS: ") && said.contains("certificate"), "{name} {way:?}: {said}");
            nothing_told(&server);
            assert!(!server.log().contains("auth="), "nobody signed in: {}", server.log());
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bounce_comes_back_into_the_box_and_is_read_there() {
    let server = MailServer::start("127.0.0.1");
    let outside = Outside::new().await;
    let boxed = server.maildir("clock");
    let url = server.url(Way::StartTls, PASSWORD);
    let (mut program, base) = serve(&outside, &server, &url, true, &["--bounces", boxed.to_str().unwrap()]);
    let (api, _) = one_alert(&mut program, &base, GONE).await;
    sent(&api, 1).await;
    server.wait_for("clock", 1);
    outside.set(1);
    let names = |folder: &Path| {
        let files = std::fs::read_dir(folder).into_iter().flatten().flatten();
        files.map(|file| file.file_name().into_string().unwrap()).collect::<Vec<_>>()
    };
    let seen = eventually("a bounce that was read", async || names(&boxed.join("cur")).pop()).await;
    assert!(seen.ends_with(":2,S"), "{seen}");
    assert!(names(&boxed.join("new")).is_empty());
}
