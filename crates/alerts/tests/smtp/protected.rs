//! STARTTLS, TLS, certificates and signing in.

use std::io;
use std::net::TcpStream;
use std::sync::Arc;

use alerts::mail::smtp::{Credentials, Security};
use black_box::smtp::{Duplex, Wrap};
use rustls::crypto::ring;
use rustls::pki_types::PrivateKeyDer;
use rustls::{RootCertStore, ServerConfig, ServerConnection, StreamOwned};

use super::*;

/// A server with a certificate of its own for `name`, and who trusts it.
fn certificate_for(name: &str) -> (Wrap, Arc<RootCertStore>) {
    let made = rcgen::generate_simple_self_signed([name.to_owned()]).unwrap();
    let certificate = made.cert.der().clone();
    let key = PrivateKeyDer::try_from(made.signing_key.serialize_der()).unwrap();
    let mut roots = RootCertStore::empty();
    roots.add(certificate.clone()).unwrap();
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![certificate], key)
        .unwrap();
    let config = Arc::new(config);
    let wrap = move |tcp: TcpStream| -> io::Result<Box<dyn Duplex>> {
        let session = ServerConnection::new(Arc::clone(&config)).map_err(io::Error::other)?;
        Ok(Box::new(StreamOwned::new(session, tcp)))
    };
    (Arc::new(wrap), Arc::new(roots))
}

fn signing_in(listener: &Listener, security: Security, roots: &Arc<RootCertStore>) -> Relay {
    let mut relay = relay(listener);
    relay.security = security;
    relay.credentials = Some(Credentials::new("ann", "tr33trunk"));
    relay.roots = Some(Arc::clone(roots));
    relay
}

/// Base64 of NUL ann NUL tr33trunk.
const PLAIN: &str = "AUTH PLAIN AGFubgB0cjMzdHJ1bms=";

#[tokio::test]
async fn starttls_then_the_rest_in_tls() {
    let (wrap, roots) = certificate_for("127.0.0.1");
    let script = Script::normal().start_tls(wrap).offer_in_tls(&["AUTH CRAM-MD5 DIGEST-MD5 PLAIN LOGIN"]);
    let listener = Listener::start(script);
    let relay = signing_in(&listener, Security::StartTls, &roots);
    let outcome = give(&relay, &message()).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}\n{}", listener.conversation());
    let heard = listener.heard(1);
    assert!(heard.contains(PLAIN), "{heard}");
    assert!(!heard.contains("CRAM"), "{heard}");
    let before_tls = heard.split_once("STARTTLS").unwrap().0;
    assert_eq!(before_tls, "EHLO [127.0.0.1]\r\n");
    assert_eq!(listener.messages()[0].text(), message());
}

#[tokio::test]
async fn tls_from_the_first_byte() {
    let (wrap, roots) = certificate_for("127.0.0.1");
    let listener = Listener::start(Script::normal().tls(wrap).offer("AUTH LOGIN"));
    let relay = signing_in(&listener, Security::Tls, &roots);
    let outcome = give(&relay, &message()).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}\n{}", listener.conversation());
    assert!(listener.heard(1).contains("AUTH LOGIN\r\nYW5u\r\n"));
    assert_eq!(listener.messages().len(), 1);
}

/// After each of these nobody has heard an address or a password.
fn nothing_told(outcome: &Outcome, listener: &Listener) {
    assert_eq!(stage_of(outcome), Some(Stage::Tls), "{outcome:?}\n{}", listener.conversation());
    let heard = listener.heard(1);
    for word in ["MAIL", "AUTH", "DATA"] {
        assert!(!heard.contains(word), "{heard}");
    }
    assert!(listener.messages().is_empty());
}

#[tokio::test]
async fn starttls_taken_out_of_the_offer_is_later_and_never_plain() {
    let (_, roots) = certificate_for("127.0.0.1");
    let listener = Listener::start(Script::normal().offer("AUTH PLAIN").offer("SIZE 1000000"));
    let relay = signing_in(&listener, Security::StartTls, &roots);
    let outcome = give(&relay, &message()).await;
    nothing_told(&outcome, &listener);
    assert!(format!("{outcome:?}").contains("does not offer STARTTLS"));
}

#[tokio::test]
async fn starttls_turned_down_is_later_whatever_the_code() {
    for text in ["454 4.7.0 not now\r\n", "502 5.5.1 what\r\n", "250 ok\r\n", "421 bye\r\n", "oh\r\n"] {
        let (wrap, roots) = certificate_for("127.0.0.1");
        let script = Script::normal().start_tls(wrap).at(Step::StartTls, Act::Say(text.to_owned()));
        let listener = Listener::start(script);
        let relay = signing_in(&listener, Security::StartTls, &roots);
        nothing_told(&give(&relay, &message()).await, &listener);
    }
}

#[tokio::test]
async fn an_answer_put_behind_starttls_ends_the_try() {
    let injected = "250-mail.example\r\n250 AUTH PLAIN\r\n".to_owned();
    for act in [Act::Surplus(injected.clone()), Act::Then(Duration::from_millis(40), injected)] {
        let (wrap, roots) = certificate_for("127.0.0.1");
        let script = Script::normal().start_tls(wrap).at(Step::StartTls, act);
        let listener = Listener::start(script);
        let relay = signing_in(&listener, Security::StartTls, &roots);
        nothing_told(&give(&relay, &message()).await, &listener);
    }
}

#[tokio::test]
async fn a_certificate_for_another_name_or_from_nobody_known_is_later() {
    for security in [Security::StartTls, Security::Tls] {
        let script = |wrap| match security {
            Security::Tls => Script::normal().tls(wrap),
            _ => Script::normal().start_tls(wrap),
        };
        let (wrap, roots) = certificate_for("other.example");
        let listener = Listener::start(script(wrap));
        let relay = signing_in(&listener, security, &roots);
        nothing_told(&give(&relay, &message()).await, &listener);

        let (wrap, roots) = certificate_for("127.0.0.1");
        let listener = Listener::start(script(wrap));
        let mut relay = signing_in(&listener, security, &roots);
        relay.roots = None;
        nothing_told(&give(&relay, &message()).await, &listener);
    }
}

#[tokio::test]
async fn silence_in_the_handshake_is_cut() {
    // Says it will go on in TLS and does not: there is no TLS here.
    for security in [Security::StartTls, Security::Tls] {
        let (_, roots) = certificate_for("127.0.0.1");
        let listener = Listener::start(match security {
            Security::Tls => Script::normal().at(Step::Greeting, Act::Hang),
            _ => Script::normal().offer("STARTTLS").at(Step::StartTls, Act::Say("220 go on\r\n".to_owned())),
        });
        let mut relay = signing_in(&listener, security, &roots);
        relay.timeouts = within(BRIEF);
        let outcome = give(&relay, &message()).await;
        assert_eq!(stage_of(&outcome), Some(Stage::Tls), "{outcome:?}");
        assert!(listener.wait_closed(PATIENT));
        assert!(!listener.heard(1).contains("MAIL"));
    }
}

#[tokio::test]
async fn signing_in_on_this_machine_and_what_can_go_wrong() {
    let plain = |script: Script| async move {
        let listener = Listener::start(script);
        let mut relay = relay(&listener);
        relay.timeouts.reply = Duration::from_secs(5);
        relay.credentials = Some(Credentials::new("ann", "tr33trunk"));
        (give(&relay, &message()).await, listener)
    };
    let offering = || Script::normal().offer("AUTH PLAIN");
    let say = |text: &str| Act::Say(text.to_owned());

    let (outcome, listener) = plain(offering()).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}");
    assert!(listener.heard(1).contains(PLAIN));

    let (outcome, listener) = plain(offering().at(Step::Auth, say("535 5.7.8 no\r\n"))).await;
    assert!(
        matches!(&outcome, Outcome::Refused { stage, code: 535, .. } if *stage == Stage::Auth && stage.concerns_the_relay()),
        "{outcome:?}"
    );
    assert!(!format!("{outcome:?}").contains("tr33trunk"));
    assert!(!listener.heard(1).contains("MAIL"));

    for script in [
        Script::normal(),
        Script::normal().offer("AUTH CRAM-MD5"),
        offering().at(Step::Auth, say("454 4.7.0 later\r\n")),
        offering().at(Step::Auth, say("421 4.3.2 bye\r\n")),
        offering().at(Step::Auth, say("250 ok\r\n")),
        offering().at(Step::Auth, Act::Surplus("250 ok\r\n".to_owned())),
        offering().at(Step::Auth, Act::Close),
    ] {
        let shown = format!("{script:?}");
        let (outcome, listener) = plain(script).await;
        assert_eq!(stage_of(&outcome), Some(Stage::Auth), "{shown}: {outcome:?}");
        assert!(!listener.heard(1).contains("MAIL"), "{shown}");
    }
}
