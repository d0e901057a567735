//! Refusals, silence, dripping, garbage, cut connections.

use std::time::Instant as Started;

use tokio::task::JoinSet;

use super::*;

#[tokio::test]
async fn a_421_or_451_at_any_step_is_later() {
    for (step, stage) in STEPS {
        for text in ["421 4.3.2 going down\r\n", "451 4.7.1 come back\r\n"] {
            let (outcome, listener) = against(Script::normal().at(step, Act::Say(text.to_owned()))).await;
            assert_eq!(stage_of(&outcome), Some(stage), "{outcome:?}");
            let cause = format!("{outcome:?}");
            assert!(cause.contains(text.trim_end()), "{cause}");
            assert!(listener.messages().is_empty());
        }
    }
}

#[tokio::test]
async fn a_5xx_at_any_step_is_refused_in_the_servers_words() {
    for (step, stage) in STEPS {
        for (code, words) in [(550, "5.1.1 no"), (552, "5.2.2 full"), (554, "5.7.1 policy")] {
            let say = Act::Say(format!("{code} {words}\r\n"));
            let (outcome, listener) = against(Script::normal().at(step, say)).await;
            assert_eq!(outcome, Outcome::Refused { stage, code, text: words.to_owned() });
            assert!(listener.messages().is_empty());
            assert!(listener.wait_closed(PATIENT));
        }
    }
}

#[tokio::test]
async fn several_lines_are_one_answer() {
    let lines = |code| Act::Say(format!("{code}-one\r\n{code}-\r\n{code} three\r\n"));
    let script = Script::normal()
        .at(Step::Greeting, lines(220))
        .at(Step::Hello, lines(250))
        .at(Step::Mail, lines(250))
        .at(Step::Rcpt, lines(250))
        .at(Step::Data, lines(354))
        .at(Step::Dot, lines(250));
    let (outcome, listener) = against(script).await;
    assert!(
        matches!(&outcome, Outcome::Sent { reply } if reply.starts_with("one") && reply.ends_with("three")),
        "{outcome:?}"
    );
    assert_eq!(listener.messages().len(), 1);

    let refusal = Act::Say("550-5.1.1 no such\r\n550 5.1.1 box\r\n".to_owned());
    let (outcome, _listener) = against(Script::normal().at(Step::Rcpt, refusal)).await;
    assert!(
        matches!(&outcome, Outcome::Refused { stage: Stage::Rcpt, code: 550, text } if text.contains("no such") && text.contains("box")),
        "{outcome:?}"
    );
}

#[tokio::test]
async fn a_late_250_is_waited_for() {
    let late = Act::Late(Duration::from_millis(900));
    let listener = Listener::start(Script::normal().at(Step::Dot, late));
    let mut relay = relay(&listener);
    relay.timeouts.reply = PATIENT;
    relay.timeouts.dot = PATIENT;
    // Far shorter than the wait: the dot has a deadline of its own.
    relay.timeouts.quit = Duration::from_millis(100);
    let outcome = give(&relay, &message()).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}");
    assert_eq!(listener.messages().len(), 1);
}

/// At each step at once, with short deadlines: before the dot not sent, after
/// it unknown, and in either case the connection is dropped in time.
async fn held_up(act: Act, limit: Duration) {
    let mut tries = JoinSet::new();
    for (step, stage) in STEPS {
        let act = act.clone();
        tries.spawn(async move {
            let listener = Listener::start(Script::normal().at(step, act));
            let mut relay = relay(&listener);
            relay.timeouts = within(limit);
            let started = Started::now();
            let outcome = give(&relay, &message()).await;
            let took = started.elapsed();
            (stage, outcome, took, listener)
        });
    }
    while let Some(tried) = tries.join_next().await {
        let (stage, outcome, took, listener) = tried.unwrap();
        match &outcome {
            Outcome::Unknown { cause } if stage == Stage::Dot => {
                assert!(cause.contains("within"), "{cause}");
            }
            Outcome::Later { stage: at, cause } if stage != Stage::Dot => {
                assert_eq!(*at, stage, "{outcome:?}");
                assert!(cause.contains("within"), "{cause}");
            }
            _ => panic!("{stage}: {outcome:?}\n{}", listener.conversation()),
        }
        assert!(took >= limit, "{stage} gave up after {took:?}");
        assert!(took < limit + Duration::from_secs(4), "{stage} took {took:?}");
        assert!(listener.wait_closed(PATIENT), "{stage} is still open");
    }
}

#[tokio::test]
async fn silence_at_any_step_is_cut() {
    held_up(Act::Hang, BRIEF).await;
}

#[tokio::test]
async fn a_byte_every_half_second_is_cut_too() {
    let drip = Act::Drip(Duration::from_millis(500));
    held_up(drip, Duration::from_millis(1_300)).await;
}

#[tokio::test]
async fn a_server_that_stops_reading_is_cut() {
    let script = Script::normal().at(Step::Body, Act::Hang).body_after(1);
    let listener = Listener::start(script);
    let mut relay = relay(&listener);
    relay.timeouts.reply = BRIEF;
    // Twice over: the sockets may grow to hold the first 8 MB.
    let message = format!("{}{}{}{}", large(), large(), large(), large());
    let outcome = give(&relay, &message).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Body), "{outcome:?}");
}

#[tokio::test]
async fn garbage_at_any_step_is_never_sent() {
    let endless = "250-\r\n".repeat(10_000);
    let long = format!("250 {}\r\n", "x".repeat(50_000));
    let bad = [
        "hello there\r\n",
        "\r\n",
        "99\r\n",
        "2500 ok\r\n",
        "25O ok\r\n",
        "\u{0}\u{1}\u{2}\r\n",
        "HTTP/1.1 400 Bad Request\r\n\r\n",
        &endless,
        &long,
    ];
    for (step, stage) in STEPS {
        for text in bad {
            let (outcome, _listener) = against(Script::normal().at(step, Act::Say(text.to_owned()))).await;
            match &outcome {
                Outcome::Later { stage: at, .. } if stage != Stage::Dot => assert_eq!(*at, stage),
                Outcome::Unknown { .. } if stage == Stage::Dot => {}
                _ => panic!("{stage}, {:.40}: {outcome:?}", text.escape_debug().to_string()),
            }
        }
    }
}

#[tokio::test]
async fn closed_before_the_dot_is_not_sent_and_after_it_unknown() {
    for (step, stage) in STEPS {
        let (outcome, listener) = against(Script::normal().at(step, Act::Close)).await;
        match &outcome {
            Outcome::Later { stage: at, .. } if stage != Stage::Dot => assert_eq!(*at, stage),
            Outcome::Unknown { .. } if stage == Stage::Dot => {}
            _ => panic!("{stage}: {outcome:?}"),
        }
        assert!(listener.messages().is_empty());
    }
}

#[tokio::test]
async fn cut_in_the_midst_of_the_message_is_not_sent() {
    let script = Script::normal().at(Step::Body, Act::Close).body_after(10_000);
    let listener = Listener::start(script);
    let outcome = give(&relay(&listener), &large()).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Body), "{outcome:?}");
    assert!(listener.messages().is_empty());
}

#[tokio::test]
async fn a_server_that_leaves_after_its_250_has_the_message() {
    let (outcome, listener) = against(Script::normal().at(Step::Dot, Act::AnswerAndClose)).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}");
    assert_eq!(listener.messages().len(), 1);
    for act in [Act::Close, Act::Hang, Act::Say("what\r\n".to_owned())] {
        let listener = Listener::start(Script::normal().at(Step::Quit, act.clone()));
        let mut relay = relay(&listener);
        relay.timeouts.quit = Duration::from_millis(300);
        let outcome = give(&relay, &message()).await;
        assert!(matches!(outcome, Outcome::Sent { .. }), "{act:?} {outcome:?}");
    }
}
