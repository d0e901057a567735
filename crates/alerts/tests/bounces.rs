//! A bounce as a real mail server writes it, and TLS to one whose authority only
//! the settings know.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use alerts::mail::bounce::Action;
use alerts::mail::bounce_box::BounceBox;
use alerts::mail::letter::{self, Letter};
use alerts::mail::smtp::{Outcome, Relay, send};
use black_box::mail_server::{GONE, MailServer, PASSWORD, Way};
use model::time::Instant;

const FROM: &str = "clock@quernstone.example";
const ID: &str = "0198c1de-2f00-7abc-8def-0123456789ab@quernstone.example";

#[tokio::test]
async fn what_a_real_server_sends_back_names_the_mail_and_its_recipient() {
    let server = MailServer::start("127.0.0.1");
    let mut relay = Relay::parse(&server.url(Way::Tls, PASSWORD)).unwrap();
    relay.trust(&std::fs::read(server.authority()).unwrap()).unwrap();
    let message = letter::build(&Letter {
        from: FROM.to_owned(),
        to: GONE.to_owned(),
        subject: "North Bench: the clock started".to_owned(),
        text: "It started.\n".to_owned(),
        html: "<p>It started.</p>\n".to_owned(),
        header_id: ID.to_owned(),
        date: Instant(1_777_593_600),
        headers: Vec::new(),
    })
    .unwrap();
    let outcome = send(&relay, FROM, GONE, &message, || async { true }).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}\n{}", server.log());
    server.wait_for("clock", 1);

    let boxed = BounceBox::new(server.maildir("clock"));
    let returned = boxed.look().unwrap().remove(0);
    let told = returned.told.as_ref().unwrap();
    assert_eq!(told.len(), 1, "{told:?}");
    let bounce = &told[0];
    assert_eq!((bounce.action, bounce.status.to_string().as_str()), (Action::Failed, "5.1.1"));
    assert_eq!(bounce.recipient, GONE);
    assert_eq!(bounce.reached_for.as_deref(), Some("nobody@elsewhere.example"));
    assert!(bounce.diagnostic.contains("no such box"), "{bounce:?}");
    assert!(bounce.permanent() && bounce.names(ID, GONE));
    assert!(!bounce.names(ID, "grower@quernstone.example"));
    returned.done().unwrap();
    assert!(boxed.look().unwrap().is_empty());
}
