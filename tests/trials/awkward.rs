//! A mail server that puts off, cuts off, talks nonsense or too much, at any step. What
//! the service believes of each mail is what the server knows, and none is lost.

use std::collections::HashSet;
use std::time::Duration;

use black_box::smtp::{Act, Listener, Script, Step};

use crate::air::{DAY, HOUR};
use crate::dice::Dice;
use crate::mail::Letter;
use crate::orchard::Orchard;
use crate::rig::{Ended, On, Rig};
use crate::tally::{Names, Tally, say};
use crate::{number, seed};

/// The clock's step.
const STEP: i64 = 20 * 60;

/// A mail is put off some times in a row; more than this is seen in no run.
const ALLOWED: i64 = 8 * HOUR;

/// Connections of which each may go wrong; those after them go well.
const CONNECTIONS: u64 = 600;
/// How many of a hundred do.
const SHARE: u64 = 45;

const BLOCKS: usize = 40;

#[tokio::test(flavor = "multi_thread")]
async fn what_is_believed_of_a_mail_is_what_an_awkward_server_knows_on_sqlite() {
    awkward(On::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_believed_of_a_mail_is_what_an_awkward_server_knows_on_postgres() {
    awkward(On::Postgres).await;
}

async fn awkward(on: On) {
    let seed = seed();
    let wanted = number(40);
    let mut tally = Tally::default();
    for part in 0.. {
        if tally.n >= wanted {
            break;
        }
        tally.add(&spring(on, seed.wrapping_add(part)).await);
    }
    tally.tell("SMTP awkward", on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring; counts connections that went wrong.
async fn spring(on: On, seed: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut script = Script::normal();
    let mut awkward = Vec::new();
    for _ in 0..CONNECTIONS {
        let one = dice.percent(SHARE).then(|| fault(&mut dice));
        awkward.push(one.is_some());
        script = one.unwrap_or_default().for_first(1, script);
    }
    // The last one made answers the first connection.
    awkward.reverse();
    let mut rig = Rig::start(on, seed, 1).await;
    rig.kill(0);
    rig.mail = Listener::start(script);
    rig.smtp = rig.mail.addr;
    rig.launch(0);
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, BLOCKS, DAY).await;
    rig.pass(60).await;
    while rig.now < orchard.last() + 12 * HOUR {
        orchard.step(&mut rig, STEP).await;
        assert_eq!(rig.rest().await, Ended::AtRest);
    }
    let api = rig.api();
    let mut tally =
        Tally::count(&rig.log, &Names::ask(&api).await, &orchard.expected(), |one| one.called + ALLOWED, 0);
    let taken: HashSet<String> = rig.mail.messages().iter().map(|message| Letter::read(message).id).collect();
    for alert in api.all("alerts").await {
        let whole = api.get(&format!("alerts/{}", alert["id"].as_str().unwrap())).await;
        for message in whole["messages"].as_array().unwrap() {
            let known = taken.contains(message["header_id"].as_str().unwrap().trim_matches(['<', '>']));
            let agrees = match message["state"].as_str().unwrap() {
                "sent" => known,
                "unknown" => true,
                _ => !known,
            };
            if !agrees {
                say(&format!("believed and known differ: {message}, taken: {known}"));
                tally.false_ += 1;
            }
        }
    }
    let connections = rig.mail.connections().min(awkward.len());
    Tally { n: awkward[..connections].iter().filter(|bad| **bad).count() as u64, ..tally }
}

/// Something that goes wrong in one connection, and leaves the message unsent.
fn fault(dice: &mut Dice) -> Script {
    let steps = [Step::Greeting, Step::Hello, Step::Mail, Step::Rcpt, Step::Data, Step::Dot];
    let step = *dice.one_of(&steps);
    let script = Script::normal();
    match dice.below(7) {
        0 => script.at(step, Act::Say("421 going down\r\n".to_owned())),
        // Greylisting.
        1 => script.at(Step::Rcpt, Act::Say("450-come\r\n450 again\r\n".to_owned())),
        2 => script.at(step, Act::Say("what?\r\n".to_owned())),
        3 => script.at(step, Act::Close),
        4 => script.at(Step::Dot, Act::Say("452 no room\r\n".to_owned())),
        5 => script.at(Step::Body, Act::Close).body_after(200),
        // Slow, and all there.
        _ => script.at(step, Act::Drip(Duration::from_millis(1))),
    }
}
