//! The mail server is away for six hours: refused, swallowed, reset. All mails go
//! out once within ten minutes of its return, in order.

use std::time::{Duration, Instant as Moment};

use crate::air::HOUR;
use crate::dice::Dice;
use crate::door::{Door, Way};
use crate::orchard::{Block, Expected, Orchard};
use crate::rig::{Ended, Event, On, Rig};
use crate::tally::{Names, Tally};
use crate::{number, seed};

/// The clock's steps while the server is away, and when it is back.
const STEP: i64 = 15 * 60;
const MINUTE: i64 = 60;

/// How long it is away.
const AWAY: i64 = 6 * HOUR;

/// From the server's return on.
const ALLOWED: i64 = 10 * MINUTE;

/// A reading comes within the hour in which its cell is fetched; and a step.
const READING: i64 = 80 * MINUTE;

/// Connections that the service holds at a time.
const SIDE_BY_SIDE: usize = 8;

/// Most blocks of one orchard.
const BLOCKS: u64 = 150;

#[tokio::test(flavor = "multi_thread")]
async fn a_mail_server_away_for_six_hours_costs_no_mail_on_sqlite() {
    away(On::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mail_server_away_for_six_hours_costs_no_mail_on_postgres() {
    away(On::Postgres).await;
}

async fn away(on: On) {
    let seed = seed();
    let wanted = number(12);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(on, seed.wrapping_add(part), left).await);
    }
    tally.tell("SMTP away 6 h", on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring with the server away once in each way.
async fn spring(on: On, seed: u64, wanted: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut rig = Rig::start(on, seed, 1).await;
    let mut door = Door::before(rig.mail.addr).await;
    rig.kill(0);
    rig.smtp = door.addr;
    rig.launch(0);
    let blocks = usize::try_from(wanted.clamp(12, BLOCKS)).unwrap();
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, blocks, 24 * HOUR).await;
    let mut ways = [Way::Refuses, Way::Swallows, Way::Resets];
    dice.shuffle(&mut ways);
    let mut outages = Vec::new();
    for way in ways {
        let until = rig.now + dice.between(4, 12) * HOUR;
        go_on(&mut rig, &mut orchard, until).await;
        let begin = rig.now;
        door.set(way).await;
        while rig.now < begin + AWAY {
            rig.set(rig.now + STEP);
            let (api, now) = (rig.api(), rig.now);
            orchard.log_starts(&api, now).await;
            rig.set(now + 1);
            rest(&mut rig, &door).await;
        }
        door.set(Way::Open).await;
        rest(&mut rig, &door).await;
        outages.push((begin, rig.now));
        for _ in 0..ALLOWED / MINUTE {
            rig.pass(MINUTE).await;
        }
    }
    let until = orchard.last() + 4 * HOUR;
    go_on(&mut rig, &mut orchard, until).await;

    let called: Vec<Expected> = orchard.blocks.iter().flat_map(Block::expected).collect();
    let names = Names::ask(&rig.api()).await;
    let meets = |one: &Expected| {
        outages.iter().find(|(begin, back)| one.called < *back && one.called + READING >= *begin)
    };
    let by = |one: &Expected| {
        let undisturbed = one.called + READING;
        meets(one).map_or(undisturbed, |(_, back)| undisturbed.max(back + ALLOWED))
    };
    let tally = Tally::count(&rig.log, &names, &called, by, 0);
    assert_eq!(out_of_order(&rig.log), 0, "seed {seed}: older mails waited while newer ones went");
    Tally { n: called.iter().filter(|one| meets(one).is_some()).count() as u64, ..tally }
}

/// Mails that went before more older ones than are sent side by side.
fn out_of_order(log: &[Event]) -> usize {
    let composed: Vec<i64> = log
        .iter()
        .filter_map(|event| match event {
            Event::Taken(_, letter) => Some(letter.date),
            _ => None,
        })
        .collect();
    let older = |n: usize| composed[n..].iter().filter(|date| **date < composed[n]).count();
    (0..composed.len()).filter(|n| older(*n) > SIDE_BY_SIDE).count()
}

/// Goes on with the mail server there.
async fn go_on(rig: &mut Rig, orchard: &mut Orchard, until: i64) {
    while rig.now < until {
        rig.set(rig.now + STEP);
        let (api, now) = (rig.api(), rig.now);
        orchard.log_starts(&api, now).await;
        rig.set(now + 1);
        assert_eq!(rig.rest().await, Ended::AtRest);
    }
}

/// Waits for rest while connections may be held: each is let go after a while.
async fn rest(rig: &mut Rig, door: &Door) {
    let begun = Moment::now();
    loop {
        tokio::select! {
            ended = rig.rest() => {
                assert_eq!(ended, Ended::AtRest);
                return;
            }
            () = tokio::time::sleep(Duration::from_millis(20)) => {}
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "no rest, {} held", door.held());
        door.let_go();
    }
}
