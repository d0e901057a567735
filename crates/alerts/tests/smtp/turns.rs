//! Answers that belong to another question.

use std::sync::Arc;

use super::*;

const UNASKED: [&str; 4] = ["250 ok\r\n", "354 go on\r\n", "554 no\r\n", "2"];

/// A try ends before the dot with `stage`, or is unknown at the dot; the
/// message is never called sent.
fn never_sent(outcome: &Outcome, stage: Stage, listener: &Listener) {
    let fine = match outcome {
        Outcome::Later { stage: at, .. } => *at == stage && stage != Stage::Dot,
        Outcome::Unknown { .. } => stage == Stage::Dot,
        _ => false,
    };
    assert!(fine, "{stage}: {outcome:?}\n{}", listener.conversation());
}

#[tokio::test]
async fn one_answer_too_many_in_the_same_piece_ends_the_try() {
    for (step, stage) in STEPS {
        for text in UNASKED {
            let script = Script::normal().at(step, Act::Surplus(text.to_owned()));
            let (outcome, listener) = against(script).await;
            never_sent(&outcome, stage, &listener);
        }
    }
}

#[tokio::test]
async fn two_answers_to_the_dot_are_none_whichever_comes_first() {
    for text in ["554 no\r\n250 ok\r\n", "250 ok\r\n554 no\r\n", "451 wait\r\n451 wait\r\n"] {
        let (outcome, listener) = against(Script::normal().at(Step::Dot, Act::Say(text.to_owned()))).await;
        never_sent(&outcome, Stage::Dot, &listener);
    }
}

#[tokio::test]
async fn two_codes_in_one_answer_end_the_try() {
    for (step, stage) in STEPS {
        for text in ["250-ok\r\n554 no\r\n", "554-no\r\n250 ok\r\n", "354-go\r\n250 ok\r\n"] {
            let (outcome, listener) = against(Script::normal().at(step, Act::Say(text.to_owned()))).await;
            never_sent(&outcome, stage, &listener);
        }
    }
}

#[tokio::test]
async fn an_answer_too_many_that_comes_later_never_makes_a_refused_message_sent() {
    let pause = Duration::from_millis(40);
    for (step, _) in STEPS {
        for text in ["250 ok\r\n", "354 go on\r\n"] {
            // The message itself is refused, so `Sent` would be wrong each time.
            let refusing = if step == Step::Dot {
                let both = Act::Then(pause, "554 no\r\n".to_owned());
                Script::normal().at(Step::Dot, both)
            } else {
                Script::normal()
                    .at(step, Act::Then(pause, text.to_owned()))
                    .at(Step::Dot, Act::Say("554 no\r\n".to_owned()))
            };
            let (outcome, listener) = against(refusing).await;
            assert!(
                !matches!(outcome, Outcome::Sent { .. }),
                "{step:?} {text:?}: {outcome:?}\n{}",
                listener.conversation()
            );
        }
    }
}

#[tokio::test]
async fn only_the_answer_of_a_step_counts_for_it() {
    let wrong = [
        (Step::Greeting, Stage::Greeting, "250 ok\r\n"),
        (Step::Hello, Stage::Hello, "220 hi\r\n"),
        (Step::Hello, Stage::Hello, "354 go on\r\n"),
        (Step::Mail, Stage::Mail, "354 go on\r\n"),
        (Step::Mail, Stage::Mail, "220 hi\r\n"),
        (Step::Rcpt, Stage::Rcpt, "354 go on\r\n"),
        (Step::Data, Stage::Data, "250 ok\r\n"),
        (Step::Data, Stage::Data, "221 bye\r\n"),
        (Step::Dot, Stage::Dot, "354 go on\r\n"),
        (Step::Dot, Stage::Dot, "251 elsewhere\r\n"),
        (Step::Dot, Stage::Dot, "220 hi\r\n"),
    ];
    for (step, stage, text) in wrong {
        let (outcome, listener) = against(Script::normal().at(step, Act::Say(text.to_owned()))).await;
        never_sent(&outcome, stage, &listener);
        if step == Step::Data {
            assert!(!listener.heard(1).contains("Subject"), "{text:?}");
        }
    }
}

#[tokio::test]
async fn a_word_in_the_midst_of_the_message_stops_it_before_the_dot() {
    let script =
        Script::normal().at(Step::Body, Act::Say("552 5.3.4 too large\r\n".to_owned())).body_after(10_000);
    let listener = Listener::start(script);
    let outcome = give(&relay(&listener), &large()).await;
    assert_eq!(stage_of(&outcome), Some(Stage::Body), "{outcome:?}");
    assert!(format!("{outcome:?}").contains("too large"), "{outcome:?}");
    assert!(listener.wait_closed(PATIENT));
    assert!(listener.messages().is_empty());
}

#[tokio::test]
async fn a_server_that_gives_up_while_the_mark_is_set_gets_no_data() {
    let give_up = Act::Then(Duration::from_millis(40), "421 4.4.2 idle\r\n".to_owned());
    let listener = Arc::new(Listener::start(Script::normal().at(Step::Rcpt, give_up)));
    let slow_mark = || async {
        let listener = Arc::clone(&listener);
        tokio::task::spawn_blocking(move || listener.wait_said("4.4.2 idle\r\n", PATIENT)).await.unwrap()
    };
    let outcome = send(&relay(&listener), FROM, TO, &message(), slow_mark).await;
    // On a slow machine it is seen already with RCPT's answer.
    assert!(matches!(stage_of(&outcome), Some(Stage::Rcpt | Stage::Data)), "{outcome:?}");
    assert!(format!("{outcome:?}").contains("4.4.2 idle"), "{outcome:?}");
    assert!(listener.wait_closed(PATIENT));
    assert!(!listener.heard(1).contains("DATA"));
}

/// The caller gives up on the first try while the server still thinks about the
/// dot; the second try must be answered by the second answer.
#[tokio::test(flavor = "multi_thread")]
async fn a_dropped_try_leaves_no_answer_for_the_next() {
    let pause = Duration::from_millis(150);
    let first = Script::normal().at(Step::Dot, Act::Late(pause));
    let second = Script::normal().at(Step::Dot, Act::Say("554 5.7.1 no\r\n".to_owned()));
    let listener = Arc::new(Listener::start(first.for_first(1, second)));
    let relay = relay(&listener);
    let message = message();

    let dot_sent = tokio::task::spawn_blocking({
        let listener = Arc::clone(&listener);
        move || listener.wait_heard("\r\n.\r\n", PATIENT)
    });
    tokio::select! {
        outcome = give(&relay, &message) => panic!("answered already: {outcome:?}"),
        heard = dot_sent => assert!(heard.unwrap()),
    }
    let outcome = give(&relay, &message).await;
    assert_eq!(outcome, Outcome::Refused { stage: Stage::Dot, code: 554, text: "5.7.1 no".to_owned() });
    assert_eq!(listener.connections(), 2);
    // The first was taken all the same; that is what a caller must allow for.
    assert!(listener.wait_for(1, PATIENT));
    assert_eq!(listener.messages()[0].connection, 1);
}

/// The same with the caller's own time limit, and the answers the other way
/// round.
#[tokio::test]
async fn an_outer_time_limit_leaves_no_answer_for_the_next() {
    let first = Script::normal().at(Step::Data, Act::Hang);
    let listener = Listener::start(first.for_first(1, Script::normal()));
    let relay = relay(&listener);
    let message = message();
    assert!(tokio::time::timeout(Duration::from_millis(200), give(&relay, &message)).await.is_err());
    let outcome = give(&relay, &message).await;
    assert!(matches!(outcome, Outcome::Sent { .. }), "{outcome:?}");
    assert!(listener.wait_closed(PATIENT));
    let taken: Vec<usize> = listener.messages().iter().map(|m| m.connection).collect();
    assert_eq!(taken, [2]);
}
