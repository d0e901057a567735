//! The kill loop: the service is ended in the midst of its work, at each named point
//! and at random moments, and starts again as if nothing had been.

use std::time::Duration;

use crate::air::HOUR;
use crate::dice::Dice;
use crate::orchard::{Block, Expected, Orchard};
use crate::rig::{Ended, On, Rig};
use crate::tally::{Names, Tally};
use crate::{number, seed};

/// The clock goes on by so much at a time: longer than any lease, so that whatever a
/// dead instance held is free again.
const STEP: i64 = 30 * 60;

/// A reading comes within the hour in which its cell is fetched; and a step.
const ALLOWED: i64 = 100 * 60;

/// Blocks of one orchard, and the time over which they start: a mail or two a step.
const BLOCKS: std::ops::RangeInclusive<u64> = 24..=60;
const SPREAD: i64 = 20 * HOUR;

/// Most kills of one orchard's spring.
const KILLS: u64 = 60;

#[tokio::test(flavor = "multi_thread")]
async fn killed_at_any_moment_it_sends_each_mail_once_on_sqlite() {
    killed(On::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_at_any_moment_it_sends_each_mail_once_on_postgres() {
    killed(On::Postgres).await;
}

async fn killed(on: On) {
    let seed = seed();
    let wanted = number(30);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&orchard_under_fire(on, seed.wrapping_add(part), left.min(KILLS)).await);
    }
    tally.tell("kill loop", on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring of one orchard, with at most so many kills.
async fn orchard_under_fire(on: On, seed: u64, kills: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut rig = Rig::start(on, seed, 1).await;
    let blocks = usize::try_from(kills.clamp(*BLOCKS.start(), *BLOCKS.end())).unwrap();
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, blocks, SPREAD).await;
    rig.pass(60).await;
    let mut done = 0;
    while rig.now < orchard.last() + 4 * HOUR {
        rig.set(rig.now + STEP);
        let steps_left = u64::try_from((orchard.last() - rig.now) / STEP).unwrap_or(0) + 1;
        let share = 100 * (kills - done) / steps_left;
        while done < kills && dice.percent(share.max(5)) && fire(&mut rig, &mut orchard, &mut dice).await {
            done += 1;
            rig.kill(0);
            rig.launch(0);
            // One in four is hit again while it takes up what the one before left.
            if !dice.percent(25) {
                break;
            }
        }
        rig.disarm(0);
        let (api, now) = (rig.api(), rig.now);
        orchard.log_starts(&api, now).await;
        rig.set(now + 1);
        // The point that was disarmed may have been passed before.
        if rig.rest().await != Ended::AtRest {
            rig.kill(0);
            rig.launch(0);
            rig.rest().await;
        }
    }
    let called: Vec<Expected> = orchard.blocks.iter().flat_map(Block::expected).collect();
    let names = Names::ask(&rig.api()).await;
    Tally { n: done, ..Tally::count(&rig.log, &names, &called, |one| one.called + ALLOWED, STEP) }
}

/// Aims at the service, at a named point or a random moment; gives whether it was hit
/// before it had come to rest.
async fn fire(rig: &mut Rig, orchard: &mut Orchard, dice: &mut Dice) -> bool {
    let by_point = dice.percent(60);
    if by_point {
        let point: &&str = dice.one_of(&store::trial::POINTS);
        rig.arm(0, point, 1 + dice.below(3), false);
    }
    let (api, now) = (rig.api(), rig.now);
    let delay = Duration::from_micros(dice.below(u64::try_from(rig.took.as_micros()).unwrap()));
    let shot = async {
        match by_point {
            true => std::future::pending().await,
            false => tokio::time::sleep(delay).await,
        }
    };
    let logging = async {
        orchard.log_starts(&api, now).await;
        std::future::pending::<()>().await;
    };
    let ended = tokio::select! {
        () = logging => None,
        () = shot => None,
        ended = rig.end() => Some(ended),
    };
    match ended {
        Some(ended) => ended != Ended::AtRest,
        None => !rig.at_rest(),
    }
}
