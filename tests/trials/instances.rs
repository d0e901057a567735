//! Several instances on one Postgres: started, killed, and stopped in the midst of a
//! mail for twice the lease. Each alert is taken once, or twice as the same bytes
//! after the one that took over had noted that the outcome was unknown.

use crate::air::HOUR;
use crate::dice::Dice;
use crate::orchard::{Block, Expected, Orchard};
use crate::rig::{Ended, On, Rig};
use crate::tally::{Names, Tally};
use crate::{number, seed};

/// The clock's step: longer than any lease.
const STEP: i64 = 25 * 60;

/// A reading comes within the hour in which its cell is fetched; and a step.
const ALLOWED: i64 = 100 * 60;

/// Steps for which one stays stopped: twice a message's lease of 20 minutes.
const STOPPED: u32 = 2;

/// Where a send is under way.
const SENDING: [&str; 6] = [
    store::trial::BEFORE_MAIL,
    store::trial::OFFERED,
    store::trial::AFTER_DATA,
    store::trial::AFTER_DOT,
    store::trial::AFTER_250,
    store::trial::AFTER_COMMIT,
];

/// From so many passes on, some stop amid a transaction too: the database cuts it after
/// a minute, for which the others wait.
const LONG: u64 = 100;

#[tokio::test(flavor = "multi_thread")]
async fn two_instances_killed_and_stopped_send_each_mail_once() {
    several(2, "2 instances").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn five_instances_killed_and_stopped_send_each_mail_once() {
    several(5, "5 instances").await;
}

async fn several(count: usize, trial: &str) {
    let seed = seed();
    let wanted = number(10);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(count, seed.wrapping_add(part), left).await);
    }
    tally.tell(trial, On::Postgres, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring; each step is a pass of all instances that run, and counts where one of
/// them was killed or stopped, or where at least two worked beside each other.
async fn spring(count: usize, seed: u64, wanted: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut rig = Rig::start(On::Postgres, seed, count).await;
    let blocks = usize::try_from(wanted.clamp(16, 60)).unwrap();
    let spread = i64::try_from(wanted.clamp(16, 60)).unwrap() * STEP;
    let mut orchard = Orchard::plant(&rig.api(), seed, 3, blocks, spread).await;
    for other in 1..count {
        rig.launch(other);
    }
    rig.pass(60).await;
    let mut passes = 0;
    let mut stopped: Option<(usize, u32)> = None;
    while rig.now < orchard.last() + 4 * HOUR {
        let victim = (dice.below(count as u64)) as usize;
        if stopped.is_none() && dice.percent(50) {
            let amid = wanted >= LONG && dice.percent(3);
            let point = if amid { &store::trial::OUTBOX } else { dice.one_of(&SENDING) };
            // The first is asked by the trial itself and is only ever killed.
            rig.arm(victim, point, 1 + dice.below(2), victim > 0 && dice.percent(70));
        }
        rig.set(rig.now + STEP);
        let (api, now) = (rig.api(), rig.now);
        orchard.log_starts(&api, now).await;
        rig.set(now + 1);
        loop {
            match rig.rest().await {
                Ended::AtRest => break,
                Ended::Gone(number) => {
                    rig.kill(number);
                    if dice.percent(70) {
                        rig.launch(number);
                    }
                }
                Ended::Stopped(number) => stopped = Some((number, STOPPED)),
            }
        }
        passes += u64::from(rig.running() >= 2);
        match &mut stopped {
            Some((number, 0)) => {
                rig.resume(*number);
                stopped = None;
            }
            Some((_, steps)) => *steps -= 1,
            None => (0..count).for_each(|number| rig.disarm(number)),
        }
        let few = rig.running() < 2;
        if let Some(absent) = rig.absent().filter(|_| few || dice.percent(50)) {
            rig.launch(absent);
        }
    }
    if let Some((number, _)) = stopped {
        rig.resume(number);
    }
    rig.pass(STEP).await;
    rig.pass(STEP).await;
    let called: Vec<Expected> = orchard.blocks.iter().flat_map(Block::expected).collect();
    let names = Names::ask(&rig.api()).await;
    let tally =
        Tally::count(&rig.log, &names, &called, |one| one.called + ALLOWED, STOPPED as i64 * STEP + STEP);
    Tally { n: passes, ..tally }
}
