//! Sending against a real listener that misbehaves step by step. What was sent
//! is counted at the listener.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "smtp/awkward.rs"]
mod awkward;
#[path = "smtp/protected.rs"]
mod protected;
#[path = "smtp/turns.rs"]
mod turns;

use std::time::Duration;

use alerts::mail::letter::{self, Letter};
use alerts::mail::smtp::{Outcome, Relay, Stage, Timeouts, send};
use black_box::smtp::{Act, Listener, Script, Step};
use mail_parser::MessageParser;
use model::time::Instant;

const FROM: &str = "alerts@mail.example";
const TO: &str = "ann@longacre.example";

/// For tests in which the answer comes.
const PATIENT: Duration = Duration::from_secs(30);
/// For tests in which it does not.
const BRIEF: Duration = Duration::from_millis(700);

fn within(limit: Duration) -> Timeouts {
    Timeouts { connect: PATIENT, reply: limit, dot: limit, quit: limit }
}

fn relay(listener: &Listener) -> Relay {
    let mut relay = Relay::parse(&format!("smtp://{}", listener.addr)).unwrap();
    relay.timeouts = within(PATIENT);
    relay
}

fn letter() -> Letter {
    Letter {
        from: format!("Orchard alerts <{FROM}>"),
        to: format!("Ann <{TO}>"),
        subject: "Südhang: spray due Wed 1 May, 17:10".to_owned(),
        text: "Now 14.5 °C.\n.\n..hidden\nEnd\n".to_owned(),
        html: "<p>Now 14.5 °C.</p>\n.\n".to_owned(),
        header_id: letter::header_id("due-1", "mail.example").unwrap(),
        date: Instant(1_367_442_600),
        headers: Vec::new(),
    }
}

fn message() -> String {
    letter::build(&letter()).unwrap()
}

/// Some 8 MB: more than the sockets between two processes hold.
fn large() -> String {
    format!("Subject: large\r\n\r\n{}", "a line of text\r\n".repeat(500_000))
}

async fn give(relay: &Relay, message: &str) -> Outcome {
    send(relay, FROM, TO, message, || async { true }).await
}

/// One try against `script`, patient.
async fn against(script: Script) -> (Outcome, Listener) {
    let listener = Listener::start(script);
    let outcome = give(&relay(&listener), &message()).await;
    (outcome, listener)
}

fn stage_of(outcome: &Outcome) -> Option<Stage> {
    match outcome {
        Outcome::Later { stage, .. } => Some(*stage),
        _ => None,
    }
}

/// The steps of a conversation without TLS and sign-in, and what each is
/// called in an outcome.
const STEPS: [(Step, Stage); 6] = [
    (Step::Greeting, Stage::Greeting),
    (Step::Hello, Stage::Hello),
    (Step::Mail, Stage::Mail),
    (Step::Rcpt, Stage::Rcpt),
    (Step::Data, Stage::Data),
    (Step::Dot, Stage::Dot),
];

#[tokio::test]
async fn what_arrives_is_what_was_composed() {
    let (outcome, listener) = against(Script::normal()).await;
    assert_eq!(outcome, Outcome::Sent { reply: "2.0.0 taken as L1".to_owned() });
    let messages = listener.messages();
    assert_eq!(messages.len(), 1);
    assert_eq!(messages[0].from, FROM);
    assert_eq!(messages[0].to, [TO]);
    assert_eq!(messages[0].text(), message());
    let read = MessageParser::default().parse(&messages[0].bytes).unwrap();
    let unix = |text: std::borrow::Cow<'_, str>| text.replace("\r\n", "\n");
    assert_eq!(read.subject(), Some(letter().subject.as_str()));
    assert_eq!(unix(read.body_text(0).unwrap()), letter().text);
    assert_eq!(unix(read.body_html(0).unwrap()), letter().html);
    assert!(listener.wait_closed(PATIENT), "{}", listener.conversation());
    assert!(listener.heard(1).ends_with("\r\n.\r\nQUIT\r\n"));
}

#[tokio::test]
async fn the_mark_is_set_after_the_recipient_and_before_data() {
    let listener = Listener::start(Script::normal());
    let outcome = send(&relay(&listener), FROM, TO, &message(), || async {
        let heard = listener.heard(1);
        assert!(heard.contains("RCPT TO:<"), "{heard}");
        assert!(!heard.contains("DATA"), "{heard}");
        true
    })
    .await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}");
}

#[tokio::test]
async fn without_the_mark_nothing_is_offered() {
    let listener = Listener::start(Script::normal());
    let outcome = send(&relay(&listener), FROM, TO, &message(), || async { false }).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Offer));
    assert!(listener.wait_closed(PATIENT));
    assert!(!listener.heard(1).contains("DATA"));
    assert!(listener.messages().is_empty());
}

#[tokio::test]
async fn the_mark_is_not_set_for_a_refused_recipient() {
    let say = Act::Say("550 5.1.1 no such box\r\n".to_owned());
    let listener = Listener::start(Script::normal().at(Step::Rcpt, say));
    let outcome = send(&relay(&listener), FROM, TO, &message(), || async {
        panic!("offered after the recipient was refused")
    })
    .await;
    assert_eq!(
        outcome,
        Outcome::Refused { stage: Stage::Rcpt, code: 550, text: "5.1.1 no such box".to_owned() }
    );
}

#[tokio::test]
async fn nothing_that_could_pass_for_two_lines_reaches_a_server() {
    let listener = Listener::start(Script::normal());
    let relay = relay(&listener);
    let sly = "ann@longacre.example>\r\nRCPT TO:<all@elsewhere.example";
    let refused = |outcome: Outcome, wanted: u16| {
        assert!(
            matches!(outcome, Outcome::Refused { stage: Stage::Envelope, code, .. } if code == wanted),
            "{outcome:?}"
        );
    };
    for address in [sly, "", "ann", "ann @longacre.example", "zoë@longacre.example"] {
        refused(send(&relay, FROM, address, &message(), || async { true }).await, 553);
        refused(send(&relay, address, TO, &message(), || async { true }).await, 553);
    }
    for message in ["a\nb\r\n", "a: b\r\n\r\n\n.\r\nMAIL FROM:<x@y.example>\r\n", "é\r\n", ""] {
        refused(give(&relay, message).await, 554);
    }
    let mut sly_hello = relay.clone();
    sly_hello.hello = "host\r\nMAIL FROM:<x@y.example>".to_owned();
    let outcome = give(&sly_hello, &message()).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Hello));
    assert_eq!(listener.connections(), 0);
}

#[tokio::test]
async fn no_server_at_all_is_later() {
    let listener = Listener::start(Script::normal());
    let relay = relay(&listener);
    drop(listener);
    let outcome = give(&relay, &message()).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Connect), "{outcome:?}");
}
